"""How long does the rest of the run take, people answering at once?

What is left of the present step is its rise from the temperature that is there now, the mixing of what goes in, and its
rest. `keep` is left out: it ends when somebody takes over. It informs; the reminder for the run-off liquor rests on it.
"""

from math import inf, isfinite

from controller.core.nouns import COMES_IN, GOES_IN, Instant, Leg, Phase
from controller.core.procedure.orders.envelope import ACTIVE
from controller.core.procedure.run import Run, leg_of

P = Phase
RISING = (P.ARMED, P.HEATING, P.RAMPING)


def finish_in_s(run: Run, now_c: float | None, now: Instant, until: int | None = None) -> float | None:
    """How long until the program's last planned second? None when nothing runs. `now_c`: of the mash, where known.

    `until`: or until the step of this index begins.
    """
    leg = leg_of(run)
    if leg is None or run.course is None or run.state not in ACTIVE:
        return None
    coming = run.course.legs[run.leg + 1 : until]
    later = sum(nxt.comes.away_s + nxt.ramp_s + mixing_s(nxt) + hold_s(nxt) for nxt in coming)
    begins = run.begun.armed_until
    armed_s = max(0.0, begins - now) if run.phase is P.ARMED and begins is not None else 0.0
    rest_s = max(0.0, hold_s(leg) - run.progress.credited_s)
    away_s = away_left_s(run, leg, now)
    return armed_s + away_s + rise_left_s(run, leg, now_c) + mixing_left_s(run, leg, now) + rest_s + later


def mixing_s(leg: Leg) -> float:
    """How long does what goes in at this step take to mix? 0 where nothing does."""
    return leg.mixing_s if leg.kind in GOES_IN else 0.0


def hold_s(leg: Leg) -> float:
    """How long does this step stay at its temperature by the plan?"""
    return 0.0 if leg.kind == "keep" else leg.hold_s


def away_left_s(run: Run, leg: Leg, now: Instant) -> float:
    """How much longer is the pull of the present step away, by the plan?"""
    if run.phase is P.WAITING:
        return max(0.0, leg.comes.away_s - (now - run.phase_since))
    return leg.comes.away_s if run.phase is P.RAMPING else 0.0


def mixing_left_s(run: Run, leg: Leg, now: Instant) -> float:
    """How much of the present step's mixing is still to come?"""
    gone_s = now - run.phase_since if run.phase is P.SETTLING else 0.0
    return max(0.0, mixing_s(leg) - gone_s)


def rise_left_s(run: Run, leg: Leg, now_c: float | None) -> float:
    """How much of the present step's rise is still to come? The planned time by the share of the kelvins still to go,
    and never less than the fastest rise allowed takes for them."""
    adding = run.phase is P.ADDING and leg.kind not in GOES_IN  # an announced one: the rise goes on after it
    if leg.kind in COMES_IN or run.phase not in (*RISING, P.RESTING, P.ADDING):
        return 0.0
    if run.phase is P.ADDING and not adding:
        return 0.0
    if now_c is None:
        return leg.ramp_s if run.phase in RISING else 0.0
    short_k = leg.target_c - now_c
    if run.phase is P.RESTING and abs(short_k) <= leg.tolerance_k:
        return 0.0
    from_c = planned_from_c(run)
    whole_k = 0.0 if from_c is None else leg.target_c - from_c
    share = min(1.0, max(0.0, short_k / whole_k)) if whole_k else 0.0
    least_s = short_k / leg.climb_k_per_s if short_k > 0.0 and 0.0 < leg.climb_k_per_s < inf else 0.0
    return max(share * leg.ramp_s if isfinite(leg.ramp_s) else 0.0, least_s)


def planned_from_c(run: Run) -> float | None:
    """Where does the present step's rise begin by the plan, °C? None where the plan does not say."""
    if run.course is None:
        return None
    if run.leg == 0:
        return run.course.liquor_c
    before = run.course.legs[run.leg - 1]
    return run.course.landing_c if before.kind == "dough_in" else before.target_c
