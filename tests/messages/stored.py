"""The message document that is shipped, and what it says against a payload."""

from __future__ import annotations

import json
from typing import Any

from jsonschema import Draft202012Validator

from tests.places import CONFIG

STORED = CONFIG / "asyncapi.json"


def stored() -> dict[str, Any]:
    found: dict[str, Any] = json.loads(STORED.read_text(encoding="utf-8"))
    return found


def payload_validator(channel: str) -> Draft202012Validator:
    """A validator for one channel's payload, by the stored document alone."""
    found = stored()
    message = found["channels"][channel]["messages"][channel]
    return Draft202012Validator({"components": found["components"], **message["payload"]})


def complaints(channel: str, payload: bytes) -> list[str]:
    return [error.message for error in payload_validator(channel).iter_errors(json.loads(payload))]
