"""What an editor knows of our files is what the models take, and the shipped files fit it."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from controller.commands.manual import schemas
from tests.commands.called import called
from tests.places import CONFIG

KINDS = {"program": "programs", "tun": "tuns", "malt": "malts"}
SHIPPED = sorted((kind, path) for kind, folder in KINDS.items() for path in (CONFIG / folder).glob("*.toml"))


def complaints(kind: str, text: str) -> list[str]:
    """What an editor would underline in this file."""
    schema = json.loads((CONFIG / "schemas" / f"{kind}.json").read_text("utf-8"))
    found: Any = json.loads(json.dumps(tomllib.loads(text), default=str))
    return [error.json_path for error in Draft202012Validator(schema).iter_errors(found)]


def test_the_shipped_schemas_are_what_the_models_give() -> None:
    """Run `underback manual --schemas config/schemas` after a change of a key; each is a sound schema."""
    there = {path.name: path.read_text("utf-8") for path in (CONFIG / "schemas").iterdir()}
    assert there == dict(schemas.files())
    for text in there.values():
        Draft202012Validator.check_schema(json.loads(text))


@pytest.mark.parametrize(("kind", "path"), SHIPPED, ids=[path.name for _, path in SHIPPED])
def test_nothing_is_underlined_in_a_shipped_file(kind: str, path: Path) -> None:
    """Each file that ships fits its schema, and its first line names that for an editor."""
    text = path.read_text("utf-8")
    assert text.startswith(f"#:schema ../schemas/{kind}.json\n") and (path.parent / f"../schemas/{kind}.json").is_file()
    assert complaints(kind, text) == []


def test_a_slip_is_underlined_where_it_stands(config: Path) -> None:
    """A key that is not known, a number without its unit, a word that is none of the choices and a missing key; what
    `program new` writes has none of them, in either units."""
    for name, units in (("here", "metric"), ("there", "US")):
        said = ("--tun", "plover", "--malts", "4 kg pale malt", "--aim", "dry", "--rests", "2", "--liquor", "15 kg")
        assert called("program", "new", name, *said, "--units", units, config=config)[0] == 0
        good = (config / "programs" / f"{name}.toml").read_text("utf-8")
        assert complaints("program", good) == []
    for wrong, path in (
        ("splash = true\n" + good, "$"),
        (good.replace('time = "2 h"', "time = 120"), "$.step[3].time"),
        (good.replace('kind = "mash_out"', 'kind = "mashout"'), "$.step[2].kind"),
        (good.replace("[[step]]", "[[steps]]"), "$"),
    ):
        assert path in complaints("program", wrong), wrong
