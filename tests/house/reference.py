"""Which page tells a stranger every topic, payload, status field, event, fault code, metric and key?

`python -m tests.house.reference` writes `config/reference.md` from the models; a test holds the page to them.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from controller.edge.dashboards import metrics
from controller.messages import asyncapi
from controller.messages.payload_schemas import EVENT_KINDS, FAULT_CODES
from controller.messages.status_schema import UNIT
from tests.edge.statuses import a_mash
from tests.house import keys
from tests.places import CONFIG

PAGE = CONFIG / "reference.md"
SPEAKS = {"send": "the daemon", "receive": "nodes, dashboards, people", "both": "every daemon"}
YES = {True: "yes", False: "no"}
HEAD = """# Reference

Every topic, payload, event, fault code, metric and key. Printed from the code (`python -m tests.house.reference`); the
same topics and payloads stand in `asyncapi.json` for programs. What a node must do: [wiring.md](wiring.md).
"""


def page() -> str:
    """The whole page."""
    schemas = asyncapi.document()["components"]["schemas"]
    parts = [HEAD, "## Topics\n", topics(), "## Payloads\n", *payloads(schemas), "## Events\n", "By `kind`.\n"]
    parts += [table(("kind", "what"), EVENT_KINDS.items()), "## Fault codes of a heater node\n"]
    parts += [table(("code", "what"), FAULT_CODES.items())]
    parts += ["## Metrics\n", "Each with the label `tun`.\n", gauges(), "## Keys of the files\n"]
    for file in keys.FILES:
        rows = ((f"`{key.path}`", *key[1:]) for key in keys.keys(file))
        parts += [f"### {file}\n", table(("key", "form", "without it", "what"), rows)]
    return "\n".join(parts)


def table(head: Iterable[str], rows: Iterable[Iterable[object]]) -> str:
    """A table; an upright line within a cell would end it."""
    first = list(head)
    lines = [first, ["---"] * len(first), *rows]
    return "\n".join("| " + " | ".join(str(cell).replace("|", "\\|") for cell in line) + " |" for line in lines) + "\n"


def topics() -> str:
    head = ("topic", "who speaks", "QoS", "retained", "payload", "what")
    rows = (
        (f"`{c.below}/{c.address}`", SPEAKS[c.direction], c.qos, YES[c.retain], c.payload.__name__, c.says)
        for c in asyncapi.CHANNELS
    )
    return table(head, rows)


def payloads(schemas: dict[str, Any]) -> Iterator[str]:
    for name, schema in schemas.items():
        about = " ".join(schema.get("description", "").split())
        yield f"### {name}\n\n{about}\n"
        if "properties" in schema:
            fields = schema["properties"].items()
            rows = [(f"`{key}`", *form(part), part.get("description", "")) for key, part in fields]
            yield table(("key", "form", "unit", "what"), rows)
        elif "enum" in schema:
            yield f"One of {', '.join(f'`{word}`' for word in schema['enum'])}.\n"


def form(part: dict[str, Any]) -> tuple[str, str]:
    """Form and unit of a field."""
    if "anyOf" in part:
        both = [form(one) for one in part["anyOf"]]
        return " or ".join(one for one, _ in both), next((unit for _, unit in both if unit), "")
    if "$ref" in part:
        return part["$ref"].rsplit("/", 1)[1], ""
    if "enum" in part or "const" in part:
        return ", ".join(f"`{word}`" for word in part.get("enum", [part.get("const")])), ""
    if part.get("type") == "array":
        inner, unit = form(part["items"])
        return f"list of {inner}", unit
    if isinstance(more := part.get("additionalProperties"), dict):
        inner, unit = form(more)
        return f"object of {inner}", unit
    return str(part.get("type", "any")), part.get(UNIT, "")


def gauges() -> str:
    status = {**a_mash(), "second_c": 50.0, "outlet_c": 50.0}
    told = [(f"`{f.name}{metrics.SUFFIX.get(f.kind, '')}`", f.kind, f.unit, f.help) for f in metrics.families(status)]
    return table(("name", "type", "unit", "what"), told)


def main() -> None:
    """Write the page."""
    PAGE.write_text(page(), encoding="utf-8")


if __name__ == "__main__":
    main()
