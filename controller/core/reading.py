"""What is wrong with this table, in words its writer can act on?

Turns what the models refuse into problems: place as steps and keys by name, value found, value wanted, the nearest
known key for an unknown one. What is wrong in one place does not hide what is wrong in another: the faulty pieces are
left out and the rest is looked at as well.
"""

from __future__ import annotations

import copy
import difflib
import json
import types
from collections.abc import Callable, Iterable
from typing import Any, Generic, NamedTuple, TypeVar, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from controller.core.problems import Problem
from controller.core.table import FROM_FILE, Table

T = TypeVar("T", bound=Table)
Path = tuple[str | int, ...]


class Read(NamedTuple, Generic[T]):
    """A table that was read, or why it could not be."""

    value: T | None
    problems: tuple[Problem, ...]


def read(model: type[T], data: dict[str, Any], agree: Callable[[T], Iterable[Problem]]) -> Read[T]:
    """The table as a model, or every problem at once. `agree` looks at what several values must agree on."""
    try:
        value = model.model_validate(data, by_name=False, context=FROM_FILE)
    except ValidationError as error:
        problems = [_problem(model, data, details) for details in error.errors(include_url=False)]
        return Read(None, _once([*problems, *_beyond(model, data, error, agree)]))
    problems = list(agree(value))
    return Read(None if problems else value, _once(problems))


def _once(problems: Iterable[Problem]) -> tuple[Problem, ...]:
    return tuple(dict.fromkeys(problems))


def _beyond(
    model: type[T], data: dict[str, Any], error: ValidationError, agree: Callable[[T], Iterable[Problem]]
) -> list[Problem]:
    """What else is wrong, once the faulty pieces are left out? Nothing is said of what touches those pieces."""
    rest = copy.deepcopy(data)
    cut = {_cut(_path(model, data, details)) for details in error.errors(include_url=False)}
    for path in sorted(cut, key=_late_first):
        _remove(rest, path)
    try:
        value = model.model_validate(rest, by_name=False, context=FROM_FILE)
    except ValidationError:
        return []
    return [problem for problem in agree(value) if not _touches(problem.path, cut)]


def _touches(path: Path, cut: Iterable[Path]) -> bool:
    """Is this place in a list with an entry left out, or a table with a key left out?"""
    lists = {gone[0] for gone in cut if len(gone) == 2 and isinstance(gone[1], int)}
    return bool(path) and (path[0] in lists or any(gone[: len(path)] == path for gone in cut))


def _late_first(path: Path) -> tuple[int, ...]:
    return tuple(-part if isinstance(part, int) else 0 for part in path)


def _cut(path: Path) -> Path:
    """The whole entry of a list goes when part of it is wrong."""
    at = next((i for i, part in enumerate(path) if isinstance(part, int)), None)
    return path if at is None else path[: at + 1]


def _remove(data: Any, path: Path) -> None:
    for part in path[:-1]:
        data = _inner(data, part)
    if isinstance(data, dict):
        data.pop(path[-1], None)
    elif isinstance(data, list) and isinstance(path[-1], int) and path[-1] < len(data):
        del data[path[-1]]


# ---------------------------------------------------------------- one refusal in words


def _path(model: type[BaseModel], data: dict[str, Any], details: ErrorDetails) -> Path:
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
    """The place in words: `step 2 "conversion": temperature`."""
    words: list[str] = []
    here: Any = data
    for part in path:
        if isinstance(part, int) and words:
            here = _inner(here, part)
            name = here.get("name") if isinstance(here, dict) else None
            words[-1] += f" {part + 1}" + (f' "{name}"' if isinstance(name, str) and len(name) <= 80 else "")
        else:
            words.append(str(part))
            here = _inner(here, part)
    return ": ".join(words)


def _problem(model: type[BaseModel], data: dict[str, Any], details: ErrorDetails) -> Problem:
    path = _path(model, data, details)
    place = where(data, path) or "the file"
    match details["type"]:
        case "missing":
            missing = (*path, str(details["loc"][-1])) if not path or path[-1] != details["loc"][-1] else path
            return Problem(where(data, missing), "nothing", _example(model, missing), path)
        case "extra_forbidden":
            return Problem(where(data, path[:-1]) or "the file", f'unknown key "{path[-1]}"', _known(model, path), path)
        case kind:
            single = kind in ("tuple_type", "list_type") and isinstance(details["input"], dict)
            brackets = f", in TOML [[{path[-1]}]] with double brackets" if single else ""
            return Problem(place, found(details["input"]), _wanted(kind, details) + brackets, path)


def found(value: Any) -> str:
    """The value as it stood in the file, shortened."""
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, (list, tuple)):
        return "an empty list" if not value else "a list"
    if isinstance(value, bool):
        return str(value).lower()
    text = json.dumps(value, ensure_ascii=False) if isinstance(value, str) else str(value)
    return text if len(text) <= 60 else f"{text[:57]}..."


_WANTED = {
    "string_type": "text in quotes",
    "bool_type": "true or false, without quotes",
    "int_type": "a whole number",
    "int_from_float": "a whole number",
    "int_parsing": "a whole number",
    "float_type": "a number",
    "float_parsing": "a number",
    "finite_number": "a finite number",
    "model_type": "a table",
    "model_attributes_type": "a table",
    "dict_type": "a table",
    "tuple_type": "a list",
    "list_type": "a list",
    "too_short": "at least one entry",
    "string_too_short": "some text",
}
_PATTERNS = {
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
        case "string_too_long":
            return f"at most {context['max_length']} characters"
        case "too_long":
            return f"at most {context['max_length']} entries"
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
    near = difflib.get_close_matches(str(value), options, n=1, cutoff=0.6)
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
    inner = model_at(model, path[:-1])
    known = keys(inner) if inner is not None else []
    near = difflib.get_close_matches(str(path[-1]), known, n=1, cutoff=0.5)
    return f'"{near[0]}"' if near else f"one of {', '.join(sorted(known))}"


def _example(model: type[BaseModel], path: Path) -> str:
    """What should stand where nothing stands?"""
    inner = model_at(model, path[:-1])
    name = next((n for n, f in (inner.model_fields if inner else {}).items() if (f.alias or n) == path[-1]), "")
    if inner is None or not issubclass(inner, Table) or not name:
        return "a value"
    return inner.example(name)
