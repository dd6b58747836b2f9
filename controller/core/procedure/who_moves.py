"""Who moves what at which stage of a mash?

One table for the program room and the documentation (common practice, where nothing else is said). It differs from a
brewer's habit on purpose in two rows: heat is never on without the motion that a tun needs for it, so stirrer and pump
also run in a souring hold and while liquor is heated.
"""

from typing import Literal, NamedTuple

from controller.core.nouns import COMES_IN, Instant, Leg, Motor, Phase, RunState
from controller.core.procedure.run import KEPT, Run, leg_of

S, P = RunState, Phase
SAY_S, VALID_S = 1.0, 10.0  # a motor's command is renewed so often and lasts so long, as the heater's does: a pump that
# stood sooner, where all words are lost, would be no flow under heat, and the node latches the second one
PUMP_REST_S = 60.0  # after an addition the pump stays off so long, so that the bed can settle (own proposal)

Moves = Literal["on", "off", "later"]


class Motion(NamedTuple):
    """One stage: what heats, what moves, whether the rest clock runs, and what the run waits for."""

    stage: str
    heater: str
    stirrer: Moves
    pump: Moves
    clock: str
    goes_on: str


TABLE: tuple[Motion, ...] = (
    Motion("not running", "off", "off", "off", "-", "a start"),
    Motion("waiting for a start time", "off", "off", "off", "-", "the clock reaches the computed time"),
    Motion("heating strike liquor", "on", "on", "on", "-", "strike reached and held for a minute"),
    Motion("ready for grain", "holding", "on", "on", "-", "a person says that dough-in begins"),
    Motion("dough-in", "blocked", "on", "off", "-", "a person says that the grain is in"),
    Motion("settling", "blocked", "on", "later", "-", "three minutes of mixing; a correction may be chosen"),
    Motion("ramp", "on, rate limited", "on", "on", "stands", "in band for 60 s, which then count"),
    Motion("rest", "holding", "on", "on", "runs in band", "time, a person, or the iodine result"),
    Motion("waiting for decoction or infusion", "holding", "on", "on", "stands", "a person says returning, or adding"),
    Motion("mash left to cool meanwhile", "off", "on", "on", "stands", "a person says returning"),
    Motion("returning or adding", "blocked", "on", "off", "stands", "a person says that it is in"),
    Motion("waiting for a person", "holding", "on", "on", "stands", "an answer"),
    Motion("mash-out and keep", "holding", "on", "on", "runs in band", "time; a person takes over"),
    Motion("souring hold", "holding, low", "on", "on", "runs in band", "time, or a person by its pH"),
    Motion("held", "off", "on", "off", "stands", "the cause gone, or `restart`"),
    Motion("restarting", "off until proven", "on", "on", "stands", "motion or flow proven, readings good"),
)
BY_STAGE = {row.stage: row for row in TABLE}
ON = {row.stage: Motor(True, row.stage) for row in TABLE}
OFF = {row.stage: Motor(False, row.stage) for row in TABLE}


def stage(run: Run) -> Motion:
    """In which row of the table is the run now?"""
    state = run.state
    if state in KEPT:
        leg = leg_of(run)
        return BY_STAGE["not running" if leg is None else _within(run.phase, leg)]
    if state is S.HELD:
        return BY_STAGE["held"]
    return BY_STAGE["restarting" if state is S.RESTARTING else "not running"]


PLAIN = {
    P.ARMED: "waiting for a start time",
    P.HEATING: "heating strike liquor",
    P.SETTLING: "settling",
    P.RAMPING: "ramp",
}
WAITS = {"dough_in": "ready for grain"} | dict.fromkeys(COMES_IN, "waiting for decoction or infusion")
RESTS = {"mash_out": "mash-out and keep", "keep": "mash-out and keep", "souring": "souring hold"}


def _within(phase: Phase, leg: Leg) -> str:
    if phase is P.RESTING:
        return RESTS.get(leg.kind, "rest")
    if phase is P.WAITING:
        if leg.comes.cooled_c is not None:
            return "mash left to cool meanwhile"
        return WAITS.get(leg.kind, "waiting for a person")
    if phase is P.ADDING:
        return "dough-in" if leg.kind == "dough_in" else "returning or adding"
    return PLAIN[phase]


def motors(run: Run, now: Instant) -> tuple[Motor, Motor]:
    """Stirrer and pump, as the table has them."""
    row = stage(run)
    return _motor(row, row.stirrer, run, now), _motor(row, row.pump, run, now)


def _motor(row: Motion, moves: Moves, run: Run, now: Instant) -> Motor:
    if moves == "later":
        moves = "on" if now - run.phase_since >= PUMP_REST_S else "off"
    return ON[row.stage] if moves == "on" else OFF[row.stage]
