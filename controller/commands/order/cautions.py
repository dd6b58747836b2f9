"""What does a person hear before heat is asked for, and have they heard it today?

The README's cautions in their short form: once a day and a person on this machine.
"""

from __future__ import annotations

import contextlib
import json
import os
from pathlib import Path

from controller.messages.cautions import CAUTIONS


def lines() -> list[str]:
    """The cautions, numbered."""
    return ["Before heat:", *(f"{number:3}. {line}" for number, line in enumerate(CAUTIONS, 1))]


def due(who: str, day: str) -> list[str]:
    """What is to be said to this person on this day, noted as said; where that cannot be noted it is said each time."""
    path = _place()
    heard = _heard(path)
    if heard.get(who) != day:
        _note(path, {**{name: at for name, at in heard.items() if at == day}, who: day})
        return lines()
    return [f"The cautions were shown to {who} today; `underback order start --help` has them."]


def _place() -> Path:
    """The file below the user's own state, as the XDG base directories have it."""
    home = os.environ.get("XDG_STATE_HOME") or os.path.expanduser("~/.local/state")
    return Path(home) / "underback" / "cautions.json"


def _heard(path: Path) -> dict[str, str]:
    """Who has heard them, and on which day?"""
    with contextlib.suppress(OSError, ValueError):
        read = json.loads(path.read_text(encoding="utf-8"))
        return read if isinstance(read, dict) else {}
    return {}


def _note(path: Path, heard: dict[str, str]) -> None:
    with contextlib.suppress(OSError):
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(json.dumps(heard), encoding="utf-8")
