"""The page that tells a stranger every topic, payload, event, metric and key is true and leaves nothing out."""

from __future__ import annotations

import re
from typing import Any, get_args

import pytest

from controller.core.nouns import FaultCode
from controller.messages.payload_schemas import EVENT_KINDS, FAULT_CODES
from tests.house import keys, reference
from tests.messages.stored import stored
from tests.places import ROOT

SCHEMAS: dict[str, Any] = stored()["components"]["schemas"]
FIELDS = [(name, key, part) for name, s in sorted(SCHEMAS.items()) for key, part in s.get("properties", {}).items()]


def test_the_page_is_what_the_models_give() -> None:
    """Run `python -m tests.house.reference` after a change of a topic, payload, event, metric or key."""
    assert reference.PAGE.read_text(encoding="utf-8") == reference.page()


def test_every_field_of_every_payload_says_what_it_is() -> None:
    """No field is without a description; no number is without its unit."""
    assert [f"{name}.{key}" for name, key, part in FIELDS if not part.get("description")] == []
    numbers = [(name, key, *reference.form(part)) for name, key, part in FIELDS]
    assert [f"{name}.{key}" for name, key, form, unit in numbers if re.search("number|integer", form) and not unit] == [
        "Report.boot"  # a word or a number, as the node likes
    ]
    assert len(SCHEMAS["Status"]["properties"]) > 35


def test_every_event_and_fault_code_is_explained() -> None:
    """Each kind of event that is made, and each fault code, has its line; none is explained that is not made."""
    sources = [path.read_text(encoding="utf-8") for path in sorted((ROOT / "controller").rglob("*.py"))]
    kinds = {kind for source in sources for kind in re.findall(r'\bEvent\(\s*"([a-z ]+)"', source)}
    assert set(EVENT_KINDS) == kinds | {"trip", "prompt"}  # these two are made from a field
    assert set(FAULT_CODES) == set(get_args(FaultCode))


@pytest.mark.parametrize("file", sorted(keys.FILES))
def test_every_key_says_what_it_is(file: str) -> None:
    """No key of any file is without its form and a word of what it means."""
    found = list(keys.keys(file))
    assert [key.path for key in found if not (key.means and key.form and key.default)] == []
    assert len(found) >= 18
