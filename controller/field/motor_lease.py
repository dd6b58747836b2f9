"""Should a stirrer or pump run now? The same lease as the heater's: a command runs out, OFF is obeyed from anybody."""

from __future__ import annotations

from typing import NamedTuple

from controller.core.nouns import Instant
from controller.messages.strict_json import Refused, document, number, whole

CEILING_S = 30.0  # longest lease, whatever a command says; several times the pace of the commands


class MotorState(NamedTuple):
    """What the motor's output remembers."""

    seq: int = -1  # newest command obeyed since power-up
    until: Instant = 0.0  # end of the lease
    on: bool = False


def obey(state: MotorState, payload: bytes, now: Instant, retained: bool = False) -> tuple[MotorState, str | None]:
    """Is this command taken? The state after it and, when it is refused, the reason."""
    found = Refused("retained") if retained else document(payload)
    if isinstance(found, Refused):
        return state, str(found)
    if not isinstance(found, dict) or not isinstance(found.get("on"), bool):
        return state, "no truth value under `on`"
    seq, valid = whole(found.get("seq")), number(found.get("valid_s"))
    if not found["on"]:
        return MotorState(state.seq if isinstance(seq, Refused) else max(seq, state.seq), now, False), None
    if isinstance(seq, Refused) or isinstance(valid, Refused) or not (valid > 0.0):
        return state, "on needs a whole number seq and a number valid_s above 0"
    if seq == state.seq:
        return state, f"sequence {seq} was obeyed before"
    return MotorState(seq, now + min(valid, CEILING_S), True), None


def beat(state: MotorState, now: Instant) -> MotorState:
    """The state at this moment: off once the lease has run out."""
    return state._replace(on=False) if state.on and not (now < state.until) else state
