"""How is a TOML table read strictly?

One base for all files: frozen, unknown keys refused, quantities as text with a unit, keys without the unit suffix of
the attribute. Read from a file (context `FROM_FILE`), a bare number where a unit is needed is refused; built in Python,
numbers are base units already.
"""

import json
import math
import re
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any, ClassVar, Literal, NamedTuple, get_args, get_origin

from pydantic import BaseModel, ConfigDict, GetCoreSchemaHandler, ValidationInfo
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from controller.brewing import units
from controller.settings.problems import Unread

FROM_FILE = {"from_file": True}

_SUFFIX = re.compile(r"_(?:c|k|s|w|l|kg|m|mg_per_l|kj_per_kg|j_per_k|w_per_k|k_per_s|l_per_min|l_per_kg|per_kwh)$")


FieldKind = units.Kind | Literal["number"]


class Quantity(NamedTuple):
    """The mark of a field that is a quantity: its kind and range in base units, bounds included."""

    kind: FieldKind
    low: float
    high: float
    note: str = ""
    source: str = ""
    auto: bool = False  # the word "auto" stands for None: worked out
    rule: str = ""  # how a person comes to the value, where an example would only be copied

    @property
    def unit(self) -> str:
        return "" if self.kind == "number" else units.TABLE[self.kind].base

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        """How is such a field read? By one function; only a whole number goes on to the ordinary reading of one."""
        kinds = (source, *get_args(source))
        optional, whole = type(None) in kinds, int in kinds

        def take(value: Any, info: ValidationInfo) -> float | None:
            if (optional and value is None) or (self.auto and value == "auto"):
                return None
            number = read(self, value, bool(info.context and info.context.get("from_file")))
            return number if whole else float(number)

        if whole:
            return core_schema.with_info_before_validator_function(take, handler(source))
        return core_schema.with_info_plain_validator_function(take)


def key_of(attribute: str) -> str:
    """What is this attribute called in a file? The unit suffix falls away, for the value carries the unit."""
    return _SUFFIX.sub("", attribute)


class Table(BaseModel):
    """One TOML table."""

    model_config = ConfigDict(
        frozen=True,
        extra="forbid",
        alias_generator=key_of,
        validate_by_alias=True,
        validate_by_name=True,
        strict=False,
        defer_build=True,  # a table within another needs no reader of its own
    )
    DROPPED: ClassVar[Mapping[str, str]] = {}  # keys that older files hold, and what is wanted in their place
    IN_ONE_TEXT: ClassVar[Mapping[str, str]] = {}  # keys that hold several of the fields, with an example
    MADE_UP: ClassVar[frozenset[str]] = frozenset()  # keys that are needed, and found elsewhere where they are missing
    ALSO: ClassVar[Mapping[str, tuple[str, ...]]] = {}  # of a key: JSON types that a file may hold besides
    TEXT: ClassVar[str] = ""  # an example, where the whole table may be written in one text

    if not TYPE_CHECKING:

        def __getattr__(self, name: str) -> Any:
            """Asked for only where nothing stands: a value that could not be read (`reading.py`)."""
            if name in type(self).model_fields:
                raise Unread(name)
            return super().__getattr__(name)

    @classmethod
    def example(cls, name: str) -> str:
        """What could stand in this field, in words?"""
        field = cls.model_fields[name]
        mark, key = mark_of(field.metadata), field.alias or name
        if mark is not None and mark.rule and mark.kind != "number":
            return f'{key} = "... {units.TABLE[mark.kind].example.partition(" ")[2]}": {mark.rule}'
        if mark is not None and mark.kind != "number":
            return f'{key} = "{units.TABLE[mark.kind].example}"'
        options = [arg for arg in get_args(field.annotation) if isinstance(arg, str)]
        if options:
            return f"{key} = one of {', '.join(json.dumps(option) for option in options)}"
        if get_origin(field.annotation) is tuple:
            return f"at least one [[{key}]]"
        if field.annotation is str:
            return f'{key} = "..."'
        return f"a table {_block(key, field.annotation)}" if is_table(field.annotation) else f"{key} = a value"


def _block(path: str, model: Any) -> str:
    """A table by its header and what must stand in it; the table within, where it needs nothing else."""
    fields = {field.alias or name: field for name, field in model.model_fields.items()}
    needed = {key: field.annotation for key, field in fields.items() if field.is_required()}
    inner = {key: part for key, part in needed.items() if is_table(part)}
    if needed and inner == needed:
        return " and ".join(_block(f"{path}.{key}", part) for key, part in inner.items())
    return f"[{path}]" + (f" with {', '.join(needed)}" if needed else "")


def is_table(annotation: object) -> bool:
    return isinstance(annotation, type) and issubclass(annotation, BaseModel)


def mark_of(metadata: Iterable[object]) -> Quantity | None:
    return next((item for item in metadata if isinstance(item, Quantity)), None)


def read(mark: Quantity, value: Any, from_file: bool) -> float:
    """The value in base units. Raises PydanticCustomError that says what was wanted."""
    number = _number(mark, value, from_file)
    if not (mark.low <= number <= mark.high):
        raise wrong(bounds(mark) + _other_scale(mark, value, number))
    return number


def _other_scale(mark: Quantity, value: Any, number: float) -> str:
    """Does it look as if the other temperature scale was meant?"""
    if mark.kind != "temperature" or not isinstance(value, str):
        return ""
    fahrenheit = "F" in value.upper()
    if not fahrenheit and (number > 200.0 or 0.0 < number < 10.0):
        tenth = number / 10.0 if number > 200.0 else number * 10.0
        return f'; did you mean "{tenth:g} °C"?' if mark.low <= tenth <= mark.high else ""
    if not fahrenheit and mark.low <= (other := (number - 32.0) * 5.0 / 9.0) <= mark.high and number > mark.high:
        return f'; this looks like Fahrenheit: "{number:g} °F" is {other:.1f} °C'
    written = number * 9.0 / 5.0 + 32.0
    if fahrenheit and number < mark.low <= written <= mark.high:
        return f'; this looks like Celsius: write "{written:g} °C"'
    return ""


def _number(mark: Quantity, value: Any, from_file: bool) -> float:
    plain = isinstance(value, (int, float)) and not isinstance(value, bool)
    if mark.kind == "number":
        if not plain or not math.isfinite(value):
            raise wrong(f"a plain number {_between(mark)}")
        return float(value) if isinstance(value, float) else value
    if plain and not from_file and math.isfinite(value):
        return float(value)
    row = units.TABLE[mark.kind]
    if not isinstance(value, str):
        hint = units.likely(mark.kind, value) if plain and math.isfinite(value) else row.example
        raise wrong(f'a number with a unit, in quotes, such as "{hint}"')
    try:
        return units.quantity(mark.kind, value)
    except units.NotAQuantity as problem:
        raise wrong(problem.wanted) from None


def wrong(wanted: str, **found: Any) -> PydanticCustomError:
    """A problem with a field, told by what was wanted. `found` overrides the value shown."""
    return PydanticCustomError("wanted", "{wanted}", {"wanted": wanted, **found})


def bounds(mark: Quantity) -> str:
    """The range in words, in the unit a person would write."""
    return f"a value {_between(mark)}"


def _between(mark: Quantity) -> str:
    return f"from {show(mark.kind, mark.low)} to {show(mark.kind, mark.high)}"


_SHOWN: Mapping[str, tuple[float, str]] = {
    "temperature": (1.0, "°C"),
    "difference": (1.0, "K"),
    "rate": (60.0, "K/min"),
    "mass": (1.0, "kg"),
    "volume": (1.0, "L"),
    "loss": (1.0, "W/K"),
    "capacity": (1e-3, "kJ/K"),
    "share": (100.0, "%"),
    "flow": (1.0, "L/min"),
    "length": (1.0, "m"),
    "energy": (1.0, "kWh"),
    "thickness": (1.0, "L/kg"),
    "concentration": (1.0, "mg/L"),
    "price": (1.0, "/kWh"),
    "heat": (1.0, "kJ/kg"),
}


def show(kind: FieldKind, value: float) -> str:
    """A base value as a person would write it."""
    if kind == "duration":
        return show_duration(value)
    if kind == "power":
        return f"{value / 1000:g} kW" if abs(value) >= 1000 else f"{value:g} W"
    factor, unit = _SHOWN.get(kind, (1.0, ""))
    return f"{value * factor:.6g} {unit}".rstrip()


def show_duration(value_s: float) -> str:
    """Seconds as hours, minutes and seconds."""
    if not math.isfinite(value_s):
        return f"{value_s}"
    if value_s < 60 or value_s % 1:
        return f"{value_s:g} s" if value_s < 60 else show_duration(round(value_s))
    hours, rest = divmod(int(value_s), 3600)
    minutes, seconds = divmod(rest, 60)
    parts = [f"{hours} h"] * (hours > 0) + [f"{minutes} min"] * (minutes > 0) + [f"{seconds} s"] * (seconds > 0)
    return " ".join(parts) or "0 s"
