"""How does a record become plain JSON values, and values a record again?

The types say it: every field of a NamedTuple or a frozen dataclass goes along, but for those marked `Fleeting`. An
`Instant` can only be read by the process whose clock it is, so its age goes in its place, below zero where it is still
to come, under the field's name with `_ago_s`. What comes back is checked like anything from outside: a key too many or
too few, or a value of another type, and nothing comes back.
"""

from collections.abc import Mapping
from dataclasses import fields as fields_of
from dataclasses import is_dataclass
from enum import Enum
from functools import lru_cache
from math import isfinite
from types import NoneType, UnionType
from typing import Annotated, Literal, NamedTuple, TypeAlias, TypeVar, Union, get_args, get_origin, get_type_hints

from controller.core.nouns import FLEETING, Instant

Plain: TypeAlias = "bool | int | float | str | list[Plain] | dict[str, Plain] | None"
T = TypeVar("T")
UNIONS = (Union, UnionType)


class Misfit(ValueError):
    """These plain values are no such record."""


class _Field(NamedTuple):
    name: str
    key: str
    hint: object


@lru_cache(maxsize=256)
def _fields(kind: type) -> tuple[_Field, ...] | None:
    """Which fields of this record go along? None: it is no record."""
    names = tuple(each.name for each in fields_of(kind)) if is_dataclass(kind) else getattr(kind, "_fields", None)
    if names is None:
        return None
    hints = get_type_hints(kind, include_extras=True)
    lasting = [(name, hints[name]) for name in names if FLEETING not in getattr(hints[name], "__metadata__", ())]
    return tuple(_Field(name, f"{name}_ago_s" if _aged(hint) else name, hint) for name, hint in lasting)


def _aged(hint: object) -> bool:
    """Is this a moment, or a moment that may be none, or a row of them?"""
    return hint == Instant or any(_aged(each) for each in get_args(hint) if get_origin(hint) is not Annotated)


def plain(value: object, now: float) -> Plain:
    """The value as plain JSON values. TypeError for a type that no record may hold."""
    return _plain(value, type(value), now)


def _plain(value: object, hint: object, now: float) -> Plain:
    kind: type = type(value)
    kept, hint = _fields(kind), _there(hint)
    if kept is not None:
        return {each.key: _plain(getattr(value, each.name), each.hint, now) for each in kept}
    match value:
        case Enum():
            return str(value.value)
        case float() if hint == Instant:
            return now - value
        case None | bool() | int() | float() | str():
            return value
        case tuple():
            return [_plain(each, inner, now) for each, inner in zip(value, _hints(hint, len(value)), strict=True)]
        case Mapping():
            return {str(key): _plain(each, get_args(hint)[1], now) for key, each in value.items()}
        case _:
            raise TypeError(f"a record holds no {type(value).__name__}")


def _there(hint: object) -> object:
    """The type of a value that may be none, where there is one."""
    return next(each for each in get_args(hint) if each is not NoneType) if get_origin(hint) in UNIONS else hint


def _hints(row: object, length: int) -> tuple[object, ...]:
    """The type of each value in a row of this length."""
    hints = get_args(row)
    return hints[:1] * length if hints[-1] is Ellipsis else hints


def record(kind: type[T], said: object, now: float) -> T:
    """The record that these plain values are, its moments on this process' clock. Raises Misfit, and nothing else."""
    value = _value(kind, said, now)
    assert isinstance(value, kind)
    return value


def _value(hint: object, said: object, now: float) -> object:
    """What is said, as a value of this type."""
    origin, args = get_origin(hint), get_args(hint)
    if hint == Instant:
        return now - _number(said)
    if origin in UNIONS:
        return _one_of(args, said, now)
    if origin is Literal:
        return _known(said, said in args if isinstance(said, str | int) else False)
    if origin is tuple:
        return _row(hint, said, now)
    if isinstance(origin, type) and issubclass(origin, Mapping):
        return {_value(args[0], key, now): _value(args[1], each, now) for key, each in _table(said).items()}
    assert isinstance(hint, type), hint
    return _simple(hint, said, now)


def _simple(kind: type, said: object, now: float) -> object:
    kept = _fields(kind)
    if kept is not None:
        table = _table(said)
        if table.keys() != {each.key for each in kept}:
            raise Misfit(f"{kind.__name__}: not its keys")
        return kind(**{each.name: _value(each.hint, table[each.key], now) for each in kept})
    if kind is float:
        return _number(said)
    if issubclass(kind, Enum):
        found = [each for each in kind if each.value == said]
        return _known(found[0] if found else said, bool(found))
    return _known(said, type(said) is kind)


def _known(value: object, fits: bool) -> object:
    if not fits:
        raise Misfit(f"not one of its values: {value!r:.60}")
    return value


def _number(said: object) -> float:
    if isinstance(said, bool) or not isinstance(said, int | float) or not (abs(said) <= 1e300 and isfinite(said)):
        raise Misfit(f"no number to reckon with: {said!r:.60}")
    return float(said)


def _table(said: object) -> Mapping[str, object]:
    if not isinstance(said, Mapping):
        raise Misfit(f"no table: {said!r:.60}")
    return said


def _one_of(hints: tuple[object, ...], said: object, now: float) -> object:
    for hint in hints:
        try:
            return _value(hint, said, now)
        except Misfit:
            continue
    raise Misfit(f"of no type that it may have: {said!r:.60}")


def _row(hint: object, said: object, now: float) -> tuple[object, ...]:
    if not isinstance(said, list | tuple):
        raise Misfit(f"no row: {said!r:.60}")
    each = _hints(hint, len(said))
    if len(each) != len(said):
        raise Misfit("a row of another length")
    return tuple(_value(inner, value, now) for inner, value in zip(each, said, strict=True))
