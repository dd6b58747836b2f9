"""Which keys may stand in the files of a brewery, in which form, and what does each mean?

Form and default come from the models that read the files; the meaning from `key_words.py`, the comments in the shipped
files, or the comment beside the model's field.
"""

from __future__ import annotations

import inspect
import re
from collections.abc import Iterator
from types import UnionType
from typing import Any, Literal, NamedTuple, Union, get_args, get_origin

from pydantic.fields import FieldInfo
from pydantic_core import PydanticUndefined

from controller.core.guard.registry import ALL
from controller.field.hardware_config import NodeTable
from controller.plan.recipe import Program
from controller.settings.service import Service
from controller.settings.table import Quantity, Table, bounds, mark_of, show
from controller.settings.tun import Tun
from tests.house.key_words import MEANS
from tests.places import CONFIG

FILES: dict[str, type[Table]] = {
    "service.toml": Service,
    "tuns/NAME.toml": Tun,
    "programs/NAME.toml": Program,
    "nodes/NAME.toml": NodeTable,
}
HEADER = re.compile(r"^(?:# )?\[+([\w.]+)\]+ *(?:# *(.*))?$")
LINE = re.compile(r"^(?:# )?(\w+) = (?:\"[^\"]*\"|[^#]*?) *# *(.+)$")


class Key(NamedTuple):
    """One key of a file."""

    path: str
    form: str
    default: str
    means: str


def keys(file: str) -> Iterator[Key]:
    """Every key of a file, the tables within it after its own."""
    place = file.split("/")[0]
    yield from _of(FILES[file], "", {**({} if place == "programs" else _said(place)), **MEANS[file]}, {})


def _of(model: type[Table], above: str, said: dict[str, str], shown: dict[type[Table], str]) -> Iterator[Key]:
    if model in shown:
        yield Key(f"{above}*", "a table", "-", f"as `{shown[model]}*`")
        return
    shown[model], beside = above, _beside(model)
    inner = {name: table for name, field in model.model_fields.items() if (table := _inner(field.annotation))}
    for name, field in model.model_fields.items():
        key = f"{above}{field.alias or name}"
        if name not in inner:
            yield Key(key, _form(field), _default(field), said.get(key) or beside.get(name) or _of_interlock(field))
    for name, table in inner.items():
        yield from _of(table, f"{above}{model.model_fields[name].alias or name}.", said, shown)


def _inner(annotation: Any) -> type[Table] | None:
    """The table that stands under a key, if one does."""
    if isinstance(annotation, type) and issubclass(annotation, Table):
        return annotation
    return next((found for part in get_args(annotation) if (found := _inner(part)) is not None), None)


def _said(place: str) -> dict[str, str]:
    """What do the comments of the shipped files say of each key? The first file that says something counts."""
    found: dict[str, str] = {}
    paths = [CONFIG / place] if place.endswith(".toml") else sorted((CONFIG / place).glob("*.toml"))
    for path in paths:
        table = ""
        for line in path.read_text(encoding="utf-8").splitlines():
            if (header := HEADER.match(line)) is not None:
                table = f"{header[1]}."
            elif (read := LINE.match(line)) is not None:
                found.setdefault(f"{table}{read[1]}", read[2])
    return found


def _beside(model: type[Table]) -> dict[str, str]:
    """What do the comments beside the model's fields say?"""
    lines = (re.match(r"    (\w+): .*?  # (.+)$", line) for line in inspect.getsource(model).splitlines())
    return {line[1]: line[2] for line in lines if line is not None}


def _form(field: FieldInfo) -> str:
    mark = mark_of(field.metadata) or next(
        (
            m
            for part in get_args(field.annotation)
            for m in getattr(part, "__metadata__", ())
            if isinstance(m, Quantity)
        ),
        None,
    )
    if mark is not None:
        return bounds(mark).removeprefix("a value ") + (', or "auto"' if mark.auto else "")
    return _plain(field.annotation)


def _of_interlock(field: FieldInfo) -> str:
    """Of a guard's limit: which interlock does it belong to?"""
    mark = mark_of(field.metadata)
    return "" if mark is None else next((f"of {i.ROW.id}, {i.ROW.name}" for i in ALL if i.ROW.id == mark.note), "")


def _plain(annotation: Any) -> str:
    """A type in words."""
    if get_origin(annotation) is Literal:
        return ", ".join(f"`{word}`" for word in get_args(annotation))
    if get_origin(annotation) in (Union, UnionType):
        return " or ".join(_plain(part) for part in get_args(annotation) if part is not type(None))
    if get_origin(annotation) in (tuple, list):
        return f"a list of {_plain(get_args(annotation)[0])}"
    if get_origin(annotation) is dict:
        return "a table of texts"
    if get_args(annotation):
        return _plain(get_args(annotation)[0])
    return {bool: "true or false", str: "text", int: "a whole number", float: "a number"}.get(annotation, "text")


def _default(field: FieldInfo) -> str:
    mark, value = mark_of(field.metadata), field.get_default(call_default_factory=True)
    if field.is_required() or value is PydanticUndefined:
        return "needed"
    if value is None or value in ("", (), {}):
        return "-"
    if mark is not None:
        return show(mark.kind, value)
    return str(value).lower() if isinstance(value, bool) else str(value)
