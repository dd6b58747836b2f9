"""What may an editor offer, and underline, in a file of ours? One JSON Schema a kind of file, from the models.

`underback manual --schemas DIR` writes them; they ship in `config/schemas`, and the first line of a program or tun file
names its own, as editors of TOML read it. What only `check` can tell, such as whether a mash fits its tun, is not in
them.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from types import NoneType, UnionType
from typing import Any, Literal, Union, get_args, get_origin

from controller.brewing import units
from controller.plan.day import Day
from controller.plan.malt_lot import MaltLot
from controller.plan.recipe import Program
from controller.settings.service import Service
from controller.settings.table import Quantity, Table, bounds, is_table, mark_of
from controller.settings.tun import Tun

DRAFT = "https://json-schema.org/draft/2020-12/schema"
FILES: dict[str, type[Table]] = {"program": Program, "tun": Tun, "malt": MaltLot, "service": Service, "day": Day}
WRITTEN = {"type": "string", "pattern": r"^\s*[-+−]?\d+(\.\d+)?\s*[^\d\s]"}  # a number with its unit
Schema = dict[str, Any]


def files() -> Iterator[tuple[str, str]]:
    """Name and text of each file."""
    for name, model in FILES.items():
        text = json.dumps({"$schema": DRAFT, **of(model)}, indent=1, ensure_ascii=False)
        yield f"{name}.json", text + "\n"


def of(model: type[Table]) -> Schema:
    """The schema of one table."""
    texts = {key: {"type": "string", "examples": [example]} for key, example in model.IN_ONE_TEXT.items()}
    named = {field.alias or name: (name, field) for name, field in model.model_fields.items()}
    written = {key: _field(model, name, field.annotation, field.metadata) for key, (name, field) in named.items()}
    needed = [
        key
        for key, (_, field) in named.items()
        if field.is_required() and key not in model.MADE_UP and not any(key.startswith(f"{text}_") for text in texts)
    ]
    table = {"type": "object", "additionalProperties": False, "properties": {**written, **texts}}
    return {**table, "required": needed} if needed else table


def _field(model: type[Table], name: str, annotation: Any, metadata: list[Any]) -> Schema:
    """The schema of one field, with what people may write in its place."""
    mark, also = mark_of(metadata), model.ALSO.get(model.model_fields[name].alias or name, ())
    found = _plain(annotation) if mark is None else _quantity(mark, annotation)
    parts = [found, *({"type": kind} for kind in also)]
    return found if len(parts) == 1 else {"anyOf": parts}


def _quantity(mark: Quantity, annotation: Any) -> Schema:
    """A number with its unit in quotes, or a plain number where the kind has none."""
    if mark.kind == "number":
        whole = int in (annotation, *get_args(annotation))
        return {"type": "integer" if whole else "number", "minimum": mark.low, "maximum": mark.high}
    told = {"description": bounds(mark), "examples": [units.TABLE[mark.kind].example]}
    return {"anyOf": [WRITTEN, {"const": "auto"}], **told} if mark.auto else {**WRITTEN, **told}


def _plain(annotation: Any) -> Schema:
    """The schema of a type that is no quantity by itself."""
    origin, args = get_origin(annotation), get_args(annotation)
    if is_table(annotation):
        return _table(annotation)
    if origin is Literal:
        return {"enum": list(args)}
    if origin in (Union, UnionType):
        parts = [_plain(part) for part in args if part is not NoneType]
        return parts[0] if len(parts) == 1 else {"anyOf": parts}
    if origin in (tuple, list):
        return {"type": "array", "items": _plain(args[0])}
    if origin is dict:
        return {"type": "object", "additionalProperties": {"type": "string"}}
    if args:  # Annotated
        mark = mark_of(annotation.__metadata__)
        return _plain(args[0]) if mark is None else _quantity(mark, args[0])
    simple: dict[Any, Schema] = {bool: {"type": "boolean"}, str: {"type": "string"}, float: WRITTEN}
    return simple[annotation]


def _table(model: type[Table]) -> Schema:
    """A table, that may be written in one text where it has one."""
    return of(model) if not model.TEXT else {"anyOf": [of(model), {"type": "string", "examples": [model.TEXT]}]}
