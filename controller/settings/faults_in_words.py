"""What is wrong with this table, in words its writer can act on?

Turns what the models refuse into problems: place as steps and keys by name, value found, value wanted, the nearest
known key for an unknown one. What is wrong in one place does not hide what is wrong in another: the faulty pieces are
taken out, and what several values must agree on is looked at wherever all of them could be read.
"""

import copy
import difflib
import json
import re
import types
import unicodedata
from collections.abc import Callable, Iterable, Iterator
from typing import Any, Generic, NamedTuple, TypeVar, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from controller.settings.problems import Problem, found_by
from controller.settings.table import FROM_FILE, Table, is_table, mark_of, show

T = TypeVar("T", bound=Table)
Path = tuple[str | int, ...]


class Read(NamedTuple, Generic[T]):
    """A table that was read, or why it could not be."""

    value: T | None
    problems: tuple[Problem, ...]


def read(model: type[T], data: dict[str, Any], agree: Callable[[T], Iterable[Problem]]) -> Read[T]:
    """The table as a model, or every problem at once. `agree` looks at what several values must agree on."""
    odd = list(_unprintable(data, data, ()))
    try:
        value = model.model_validate(data, by_name=False, context=FROM_FILE)
    except ValidationError as error:
        errors = _told(error)
        problems = [*odd, *(_problem(model, data, details) for details in errors)]
        partly = _partly(model, data, errors)
        return Read(None, _once([*problems, *(found_by((agree,), partly) if partly is not None else ())]))
    problems = [*odd, *agree(value)]
    return Read(None if problems else value, _once(problems))


def _unprintable(data: dict[str, Any], here: Any, path: Path) -> Iterator[Problem]:
    """Which texts hold what moves the cursor or colours a terminal? They are printed, and sent, as they stand."""
    if isinstance(here, str) and any(unicodedata.category(one) == "Cc" and one not in "\n\t" for one in here):
        yield Problem(where(data, path), found(here), "text without control characters", path)
    for key, inner in here.items() if isinstance(here, dict) else enumerate(here) if isinstance(here, list) else ():
        yield from _unprintable(data, inner, (*path, key))


def _once(problems: Iterable[Problem]) -> tuple[Problem, ...]:
    return tuple(dict.fromkeys(problems))


def _told(error: ValidationError) -> list[ErrorDetails]:
    """The refusals; a list whose entries are wrong themselves is not empty for that."""
    errors = error.errors(include_url=False)
    wrong_within = {details["loc"][:at] for details in errors for at in range(len(details["loc"]))}
    return [each for each in errors if each["type"] != "too_short" or each["loc"] not in wrong_within]


# ---------------------------------------------------------------- what could be read


def _partly(model: type[T], data: dict[str, Any], errors: list[ErrorDetails]) -> T | None:
    """The table without what is wrong or missing: asked for, that raises `Unread`. None where too little is left.

    A valid value stands in its place while the rest is read, and goes then.
    """
    rest = copy.deepcopy(data)
    places = [(_path(data, details), details) for details in errors]
    unknown = {path for path, details in places if details["type"] == "extra_forbidden"}
    wrong = {_in_model(model, _missing(path, details)) for path, details in places if path not in unknown}
    gone = {path for path in wrong if not any(path[:at] in wrong for at in range(len(path)))}
    try:
        for path in unknown:
            _within(rest, path[:-1]).pop(path[-1])
        for path in gone:
            _fill(model, rest, path)
        value = model.model_validate(rest, by_name=False, context=FROM_FILE)
    except (ValidationError, LookupError, TypeError):  # a fault of another shape: it is told, and that must do
        return None
    for path in gone:
        _blank(value, path)
    return value


def _missing(path: Path, details: ErrorDetails) -> Path:
    if details["type"] != "missing" or (path and path[-1] == details["loc"][-1]):
        return path
    return (*path, details["loc"][-1])


def _in_model(model: type[BaseModel], path: Path) -> Path:
    """The path as far as models describe it: a fault in a plain list or table takes the whole of it."""
    for at, part in enumerate(path):
        if isinstance(part, str) and model_at(model, path[: at + 1]) is None:
            return path[: at + 1]
    return path


def _fill(model: type[BaseModel], data: Any, path: Path) -> None:
    """Put something valid at this place; what may be left out is left out."""
    *above, last = path
    inside, holder = model_at(model, path[:-1]), _within(data, above)
    if isinstance(last, int):
        entry = model_at(model, path)
        holder[last] = _least(entry) if entry is not None else None
        return
    field = next(f for name, f in (inside or model).model_fields.items() if (f.alias or name) == last)
    holder.pop(last, None)
    if field.is_required():
        holder[last] = _stand_in(field)


def _within(data: Any, path: Iterable[str | int]) -> Any:
    for part in path:
        data = data[part]
    return data


def _least(model: type[BaseModel]) -> dict[str, Any]:
    return {f.alias or name: _stand_in(f) for name, f in model.model_fields.items() if f.is_required()}


def _stand_in(field: FieldInfo) -> Any:
    """A value that this field takes."""
    mark = mark_of(field.metadata)
    if mark is not None:
        return mark.low if mark.kind == "number" else show(mark.kind, mark.low)
    inner = _model_in(field.annotation)
    if inner is not None:
        return _least(inner) if is_table(field.annotation) else [_least(inner)]
    return next((arg for arg in get_args(field.annotation) if isinstance(arg, str)), "x")


def _blank(value: Any, path: Path) -> None:
    """Take out what only stood in; the key still counts as written."""
    for part in path[:-1]:
        value = value[part] if isinstance(part, int) else getattr(value, _attribute(value, part))
    if isinstance(path[-1], int):
        value[path[-1]].__dict__.clear()
        return
    name = _attribute(value, path[-1])
    value.__dict__.pop(name, None)
    value.model_fields_set.add(name)


def _attribute(value: BaseModel, key: str) -> str:
    return next(name for name, field in type(value).model_fields.items() if (field.alias or name) == key)


# ---------------------------------------------------------------- one refusal in words


def _path(data: dict[str, Any], details: ErrorDetails) -> Path:
    """The keys down to the fault. Marks of unions, which are no keys, fall away."""
    path: list[str | int] = []
    here: Any = data
    for part in details["loc"]:
        inside = isinstance(here, dict) and isinstance(part, str)
        listed = isinstance(here, (list, tuple)) and isinstance(part, int)
        if not inside and not listed:
            break
        path.append(part)
        here = _inner(here, part)
    return tuple(path)


def _inner(data: Any, part: str | int) -> Any:
    """What stands below this key or at this place of a list? None when nothing does."""
    if isinstance(data, dict):
        return data.get(part)
    if isinstance(data, (list, tuple)) and isinstance(part, int) and part < len(data):
        return data[part]
    return None


def where(data: dict[str, Any], path: Path) -> str:
    """The place in words: `[[step]] 2 "conversion": temperature`."""
    words: list[str] = []
    here: Any = data
    for part in path:
        if isinstance(part, int) and words:
            here = _inner(here, part)
            name = here.get("name") if isinstance(here, dict) else None
            called = f' "{name}"' if isinstance(name, str) and len(name) <= 80 else ""
            words[-1] = f"[[{words[-1]}]] {part + 1}{called}"
        else:
            words.append(str(part))
            here = _inner(here, part)
    return ": ".join(words)


def _problem(model: type[BaseModel], data: dict[str, Any], details: ErrorDetails) -> Problem:
    path = _path(data, details)
    place = where(data, path) or "the file"
    match details["type"]:
        case "missing":
            missing = _missing(path, details)
            return Problem(where(data, missing), "nothing", _example(model, missing), path)
        case "extra_forbidden":
            return Problem(where(data, path[:-1]) or "the file", f'unknown key "{path[-1]}"', _known(model, path), path)
        case kind:
            single = kind in ("tuple_type", "list_type") and isinstance(details["input"], dict)
            brackets = f", in TOML [[{path[-1]}]] with double brackets" if single else ""
            shown = found(details["input"]) if kind != "too_long" else f"{len(details['input'])} entries"
            return Problem(place, shown, _wanted(kind, details) + brackets, path)


def found(value: Any) -> str:
    """The value as it stood in the file, shortened."""
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, (list, tuple)):
        return "an empty list" if not value else "a list"
    if isinstance(value, bool):
        return str(value).lower()
    text = json.dumps(value, ensure_ascii=False) if isinstance(value, str) else str(value)
    text = re.sub(r"[\x7f-\x9f]", lambda odd: f"\\u{ord(odd[0]):04x}", text)
    return text if len(text) <= 60 else f"{text[:57]}..."


_WANTED = {
    "string_type": "text in quotes",
    "bool_type": "true or false, without quotes",
    **dict.fromkeys(("int_type", "int_from_float", "int_parsing"), "a whole number"),
    **dict.fromkeys(("float_type", "float_parsing"), "a number"),
    "finite_number": "a finite number",
    **dict.fromkeys(("model_type", "model_attributes_type", "dict_type"), "a table"),
    **dict.fromkeys(("tuple_type", "list_type"), "a list"),
    "too_short": "at least one entry",
    "string_too_short": "some text",
}
_PATTERNS = {  # the first that occurs in the pattern
    "{1,63}": 'a host name such as "broker.lan", or an address',
    "/]$": "at least two characters without + and #, and no / at either end",
    "+#": "an MQTT topic without + and #",
    r"\d{4}": 'a day such as "2026-03-31"',
    "(/": 'a JSON pointer such as "/temperature"',
}


def _wanted(kind: str, details: ErrorDetails) -> str:
    context = details.get("ctx", {})
    match kind:
        case "wanted":
            return str(context["wanted"])
        case "literal_error":
            return f"one of {str(context['expected']).replace(chr(39), chr(34))}" + _near(details["input"], context)
        case "string_too_long" | "too_long":
            return f"at most {context['max_length']} {'entries' if kind == 'too_long' else 'characters'}"
        case "string_pattern_mismatch":
            pattern = str(context["pattern"])
            return next((text for mark, text in _PATTERNS.items() if mark in pattern), "small letters, digits, - and _")
        case "greater_than" | "greater_than_equal" | "less_than" | "less_than_equal":
            words = {"gt": "more than", "ge": "at least", "lt": "less than", "le": "at most"}
            return next(f"{word} {context[key]:g}" for key, word in words.items() if key in context)
        case _:
            return _WANTED.get(kind, details["msg"])


def _near(value: Any, context: dict[str, Any]) -> str:
    options = [text.strip("' ") for text in str(context["expected"]).replace(" or ", ", ").split(", ")]
    near = difflib.get_close_matches(str(value), options, n=1, cutoff=0.7)
    return f' (did you mean "{near[0]}"?)' if near else ""


# ---------------------------------------------------------------- which keys are there


def model_at(model: type[BaseModel], path: Path) -> type[BaseModel] | None:
    """Which model describes the table at this path?"""
    for part in path:
        if isinstance(part, int):
            continue
        field = next((f for name, f in model.model_fields.items() if part in (f.alias, name)), None)
        inner = _model_in(field.annotation) if field is not None else None
        if inner is None:
            return None
        model = inner
    return model


def _model_in(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    if get_origin(annotation) in (Union, types.UnionType, tuple, list):
        return next((inner for arg in get_args(annotation) if (inner := _model_in(arg)) is not None), None)
    return None


def keys(model: type[BaseModel]) -> list[str]:
    """Which keys may stand in this table?"""
    return [field.alias or name for name, field in model.model_fields.items()]


def _known(model: type[BaseModel], path: Path) -> str:
    """What is wanted in place of a key that is not known?"""
    inner = model_at(model, path[:-1])
    if inner is not None and issubclass(inner, Table) and path[-1] in inner.DROPPED:
        return inner.DROPPED[str(path[-1])]
    known = keys(inner) if inner is not None else []
    near = difflib.get_close_matches(str(path[-1]), known, n=1, cutoff=0.7)
    return f'"{near[0]}"' if near else f"one of {', '.join(sorted(known))}"


def _example(model: type[BaseModel], path: Path) -> str:
    """What should stand where nothing stands?"""
    inner = model_at(model, path[:-1])
    name = next((n for n, f in (inner.model_fields if inner else {}).items() if (f.alias or n) == path[-1]), "")
    if inner is None or not issubclass(inner, Table) or not name:
        return "a value"
    return inner.example(name)
