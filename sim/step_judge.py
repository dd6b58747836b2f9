"""Was no step skipped, and was rest time real time? Promises I15 and I16, from the status alone."""

from collections.abc import Callable
from typing import Any

BAND_S = 60.0


class StepJudge:
    """The steps of a run as the status tells them."""

    def __init__(self, broken: Callable[[str, float, str], None]) -> None:
        """`broken` hears of each breach: promise, time, sentence."""
        self._broken = broken
        self._step: tuple[Any, ...] = ()
        self._credited = 0.0
        self._credited_at = self._step_since = 0.0
        self.moves = 0  # accepted orders and events that may move the step on

    def status(self, at: float, said: dict[str, Any], before_at: float) -> None:
        """Steps follow one another, and rest time is real time. `before_at`: when the status before this one came."""
        step, run = said["step"], said["run"]
        if step is None or run is None:
            return
        key = (run, step["index"])
        if self._step and self._step[0] == run and key != self._step:
            jump = step["index"] - self._step[1]
            if jump < 0 or jump > max(1, self.moves):
                self._broken("I15", at, f"step {self._step[1]} is followed by {step['index']}")
        if key != self._step:
            self._step, self._credited, self.moves = key, step["credited_s"], 0
            self._credited_at, self._step_since = at, max(before_at, 0.0)
            return
        grown, took = step["credited_s"] - self._credited, at - self._credited_at
        if grown < -0.2:
            self._broken("I15", at, f"credited time fell by {-grown:.1f} s")
        first = BAND_S if self._credited < 0.2 else 0.0  # the minute in band that opens the rest clock counts
        if grown > took * 1.001 + 1.1 + first or said["step"]["credited_s"] > at - self._step_since + 1.1:
            self._broken("I16", at, f"{grown:.1f} s of rest credited within {took:.1f} s")
        self._credited, self._credited_at = step["credited_s"], at

    def rest_done(self, at: float, said: dict[str, Any], moved: bool) -> None:
        """A rest ends when it was long enough, or when somebody said so (`moved`)."""
        data = said.get("data") or {}
        if data.get("kind") not in ("rest", "mash_out", "souring"):
            return
        if data["credited_s"] < data["planned_s"] - 2.0 and not moved:
            self._broken("I15", at, f"{said['id']} ended at {data['credited_s']:g} of {data['planned_s']:g} s")
