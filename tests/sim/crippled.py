"""A core whose guard has been sawn off: does what judges it notice?"""

from __future__ import annotations

from typing import Any

from controller.core.heater_command import _GUARD_SEAL, HeaterCommand
from controller.core.state import Outcome
from controller.core.tick import tick
from controller.settings.service import Settings


def crippled(settings: Settings, state: Any, now: float, inputs: Any) -> Outcome:
    """A core whose guard has been sawn off: full heat, whatever is known."""
    outcome = tick(settings, state, now, inputs)
    command = outcome.command
    if command is None or now < 600.0:
        return outcome
    hot = HeaterCommand(command.epoch, command.seq, 1.0, 10.0, "sawn off", seal=_GUARD_SEAL)
    return outcome._replace(command=hot)
