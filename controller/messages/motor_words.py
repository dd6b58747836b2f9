"""When is a word due to a motor, and which?

A stirrer or pump hears of a change at once, and of what stays the same often enough that its lease never runs out.
"""

from __future__ import annotations

from controller.core.nouns import Instant, Motor
from controller.core.procedure.who_moves import SAY_S, VALID_S
from controller.messages import outgoing

EARLY_S = 0.5  # half a tick: a word that is due now is not put off to the next one


class MotorWords:
    """One tun's motors; all words share one count."""

    def __init__(self) -> None:
        self._said: dict[str, tuple[bool, Instant]] = {}  # by topic: on or off, and when
        self._seq = 0

    def due(self, topic: str, motor: Motor, now: Instant) -> bytes | None:
        """The word to send, or None where the last one still holds."""
        on, said_at = self._said.get(topic, (None, 0.0))
        if on is motor.on and now - said_at < SAY_S - EARLY_S:
            return None
        self._seq += 1
        self._said[topic] = motor.on, now
        return outgoing.motor_command(self._seq, motor, VALID_S)
