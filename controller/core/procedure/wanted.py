"""What does the program want of the heater now?"""

from controller.core.nouns import COMES_IN, Leg, Phase, Target
from controller.core.procedure.questions import POURED
from controller.core.procedure.run import ADDED, KEPT, Run, capacity_j_per_k, leg_of
from controller.quick_records import maker
from controller.settings.tun import Tun

_target = maker(Target)
HEATED_PHASES = frozenset({Phase.HEATING, Phase.WAITING, Phase.RAMPING, Phase.RESTING})


def target(run: Run, tun: Tun) -> Target:
    """What does the program want of the heater now?"""
    leg, capacity = leg_of(run), capacity_j_per_k(run)
    if leg is None or capacity is None or run.state not in KEPT:
        return Target("off", None, tun.climb_k_per_s, run.key, capacity or tun.metal_j_per_k)
    strike, phase = leg.kind == "dough_in", run.phase
    plain = strike or (run.course is not None and run.course.grist_kg <= 0.0)
    if phase is Phase.WAITING and leg.comes.cooled_c is not None:
        return Target("blocked", _plateau(run, leg), leg.climb_k_per_s, run.key, capacity, strike, plain)
    if phase is Phase.HEATING and leg.ramp_s <= 0.0 and run.progress.reminded <= POURED:  # came in hot: it stands first
        return Target("blocked", leg.target_c, leg.climb_k_per_s, run.key, capacity, strike, plain)
    if phase in HEATED_PHASES:
        return _target("hold", _plateau(run, leg), leg.climb_k_per_s, run.key, capacity, strike, plain)
    if phase in ADDED:
        return Target("blocked", _plateau(run, leg), leg.climb_k_per_s, run.key, capacity, strike, plain)
    return Target("off", None, leg.climb_k_per_s, run.key, capacity, strike, plain)


def _plateau(run: Run, leg: Leg) -> float:
    """Waiting for a decoction or an infusion, the mash is kept where it was; paused in a ramp, where it got to."""
    if run.progress.pause_c is not None:
        return run.progress.pause_c
    if leg.kind in COMES_IN and run.course is not None and run.leg > 0:
        return run.course.legs[run.leg - 1].target_c
    return leg.target_c
