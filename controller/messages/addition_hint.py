"""How much more of an addition is there to give, by what the mash reads now?

While a decoction comes back or hot liquor goes in, the reading lags behind the shovel; the figure says how far it is to
the mark and when to stop. It informs and never moves anything.
"""

from __future__ import annotations

from controller.brewing.heat import WATER
from controller.core.nouns import Leg, Measurement, Phase, RunState
from controller.core.procedure.questions import BAND_K
from controller.core.procedure.run import Run, leg_of


def more(run: Run, seen: Measurement) -> str | None:
    """What to say to the person who is adding; None when nobody is."""
    leg = leg_of(run)
    if leg is None or run.state is not RunState.RUNNING or run.phase is not Phase.ADDING:
        return None
    if leg.kind not in ("infusion", "decoction") or seen.value_c is None:
        return None
    now_c, stop_c = seen.value_c, leg.target_c - BAND_K
    if now_c >= stop_c:
        return f"{now_c:.1f} °C: stop now; mixing brings the rest"
    kg = left_kg(run, leg, now_c)
    verb = "return" if leg.kind == "decoction" else "add"
    return f"{now_c:.1f} °C: about {kg:.1f} kg more to {verb}; stop at {stop_c:.1f} °C"


def left_kg(run: Run, leg: Leg, now_c: float) -> float:
    """So much more, kg, of what comes at the step's own temperature: heat balance over what is in the tun by now."""
    course = run.course
    if course is None or leg.addition_c is None or run.leg == 0 or not (now_c < leg.target_c < leg.addition_c):
        return 0.0
    began_c = min(course.legs[run.leg - 1].target_c, now_c)
    metal = course.liquor_capacity_j_per_k - course.liquor_kg * WATER
    mash_kg = course.grist_kg + _liquor_kg(run)
    per_kg = WATER if leg.kind == "infusion" else (leg.capacity_j_per_k - metal) / mash_kg
    empty = leg.capacity_j_per_k - (leg.addition_kg * per_kg if leg.kind == "decoction" else 0.0)
    done_kg = empty * (now_c - began_c) / (per_kg * (leg.addition_c - now_c))
    all_kg = empty * (leg.target_c - began_c) / (per_kg * (leg.addition_c - leg.target_c))
    return max(0.0, all_kg - done_kg)


def _liquor_kg(run: Run) -> float:
    """Liquor in the mash before this addition, earlier infusions counted."""
    assert run.course is not None
    earlier = run.course.legs[: run.leg]
    return run.course.liquor_kg + sum(leg.addition_kg for leg in earlier if leg.kind == "infusion")
