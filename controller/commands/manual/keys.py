"""Which keys may stand in which file: what does each mean, in which range, and what holds where it is left out?"""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any, NamedTuple, get_args, get_origin

from pydantic.fields import FieldInfo

from controller.commands.manual.key_words import WORDS
from controller.field.hardware_config import NodeTable
from controller.plan.day import Day
from controller.plan.malt_lot import MaltLot
from controller.plan.recipe import Program
from controller.settings.service import Service
from controller.settings.table import is_table, mark_of, show
from controller.settings.tun import Tun

FILES: dict[str, type[Any]] = {
    "programs/NAME.toml": Program,
    "tuns/NAME.toml": Tun,
    "service.toml": Service,
    "nodes/NAME.toml": NodeTable,
    "malts/LOT.toml": MaltLot,
    "day.toml": Day,
}
HEAD = """# Every key of every file

Written by `underback manual --keys`. Quantities are text with their unit, such as `"63 °C"` or `"44 lb"`; another unit
of the same kind serves as well. A key that is left out has the value under "else"; **must** stands where there is none.
What goes over the broker is in `asyncapi.json`; what the advice may be told, in `advice.toml`.
"""

FILLED = ("Tun.name", "Program.name", "Step.name")  # by the file's name, or by kind and place


class Key(NamedTuple):
    """One key of one table."""

    name: str
    takes: str
    otherwise: str
    means: str


class Block(NamedTuple):
    """One table of a file. `also`: headers of tables with the same keys."""

    header: str
    also: list[str]
    keys: list[Key]


def blocks(model: Any) -> list[Block]:
    """The tables of a file, the outermost first; what may stand in several places is told once."""
    found: dict[str, Block] = {}
    for header, table in _tables(model, "", many=False):
        if table.__name__ in found:
            found[table.__name__].also.append(header)
        else:
            found[table.__name__] = Block(header, [], list(_keys(table)))
    return list(found.values())


def _tables(model: Any, path: str, many: bool) -> Iterator[tuple[str, Any]]:
    yield (f"[[{path}]]" if many else f"[{path}]") if path else "", model
    for name, field in model.model_fields.items():
        for inner in _inner(field):
            below = f"{path}.{field.alias or name}".lstrip(".")
            yield from _tables(inner, below, many=get_origin(field.annotation) is tuple)


def _inner(field: FieldInfo) -> list[Any]:
    return [kind for kind in (field.annotation, *get_args(field.annotation)) if is_table(kind)]


def _keys(table: Any) -> Iterator[Key]:
    for name, field in table.model_fields.items():
        otherwise = "-" if f"{table.__name__}.{name}" in FILLED else _otherwise(field)
        yield Key(field.alias or name, _takes(field), otherwise, WORDS[table.__name__][name])


def _takes(field: FieldInfo) -> str:
    """What may be written?"""
    mark, kinds = mark_of(field.metadata), {field.annotation, *get_args(field.annotation)}
    words = [json.dumps(one) for one in get_args(field.annotation) if isinstance(one, (str, int))]
    if mark is not None:
        return f"{show(mark.kind, mark.low)} to {show(mark.kind, mark.high)}"
    if _inner(field):
        return "blocks" if get_origin(field.annotation) is tuple else "a table"
    if words:
        return ", ".join(words)
    if get_origin(field.annotation) is tuple:
        return "a list of texts"
    return "true, false" if bool in kinds else "a table of texts" if get_origin(field.annotation) is dict else "text"


def _otherwise(field: FieldInfo) -> str:
    """What holds where the key is left out?"""
    mark, value = mark_of(field.metadata), field.default
    if field.is_required():
        return "**must**"
    if value in (None, "", ()) or _inner(field) or field.default_factory is not None:
        return "-"
    return show(mark.kind, value) if mark is not None else json.dumps(value)


def page() -> str:
    """The reference as a page."""
    parts = [HEAD]
    for file, model in FILES.items():
        parts.append(f"\n## {file}\n")
        for header, also, keys in blocks(model):
            where = ", ".join(f"`{one}`" for one in (header, *also) if one)
            parts += [f"\n{where}\n"] * bool(where) + ["\n| key | takes | else | means |\n| --- | --- | --- | --- |\n"]
            parts += [f"| `{key.name}` | {key.takes} | {key.otherwise} | {key.means} |\n" for key in keys]
    return "".join(parts)
