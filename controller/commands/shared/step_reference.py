"""Which step is meant by what was typed?

People count steps from 1, as `status`, `watch` and the panel list them, or say their names; on the wire they count from
0.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from controller.commands.shared.exit_codes import Wrong
from controller.edge.files import config_files
from controller.edge.mqtt import requests
from controller.plan import plan
from controller.settings.service import Settings


def typed(text: str) -> int | str:
    """The step's place on the wire where a number was typed, else its name. ValueError for a number that is none."""
    try:
        number = float(text)
    except ValueError:
        return text.strip()
    if number != int(number) or number < 1:
        raise ValueError("a step's number from 1 on, as in `underback status`, or its name is wanted")
    return int(number) - 1


def named(names: Sequence[str], said: str) -> int | None:
    """The step of this name, or the only one whose name begins so; None where there is none or more than one."""
    wanted = said.casefold()
    same = [at for at, name in enumerate(names) if name.casefold() == wanted]
    found = same or [at for at, name in enumerate(names) if wanted and name.casefold().startswith(wanted)]
    return found[0] if len(found) == 1 else None


def place(key: str, names: Sequence[str], said: int | str) -> int:
    """The step's place on the wire. Raises Wrong, with all steps."""
    at = said if isinstance(said, int) else named(names, said)
    if at is not None and at < len(names):
        return at
    steps = ", ".join(f"{number} {name}" for number, name in enumerate(names, 1)) or "nothing: no program is running"
    raise Wrong(f"{key}: found {str(said + 1 if isinstance(said, int) else said)!r}, wanted one of {steps}")


def in_program(config: str | None, settings: Settings, args: dict[str, Any]) -> None:
    """`from_step` of a start, where it was said by name: its place in the program. Raises Wrong or Problems."""
    if not isinstance(args.get("from_step"), str):
        return
    read = config_files.load_program(config_files.config_dir(config), str(args.get("program", "")))
    legs = plan.make(read, settings.tun).course.legs
    args["from_step"] = place("from_step", [leg.name for leg in legs], args["from_step"])


def completed(values: dict[str, Any], status: Mapping[str, Any]) -> None:
    """What an order takes from the status, and the step that is meant in the program that runs. Raises Wrong."""
    requests.fill(values, dict(status))
    args = values.get("args", {})
    if "step" in args:
        args["step"] = place("step", [str(step.get("name")) for step in status.get("steps", [])], args["step"])
