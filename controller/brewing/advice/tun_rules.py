"""Does the mash suit the tun, its supply and its probe? The checks behind the tun's rules of the advice table.

Each takes the plan and the rule's figures, and gives what its sentence needs, or None.
"""

from __future__ import annotations

from math import isfinite

from controller.brewing import volumes
from controller.brewing.advice.plan_facts import ADDS, Figures, Found, MashPlan, PlanStep, begin, place
from controller.brewing.advice.rule import HEATER_MEND, LATER_WHY

BETA_GONE_C = 72.0  # beta-amylase is gone within minutes there (own model; Muller 1990, second hand)
LATER: Found = {"level": "note", "why": LATER_WHY}


def fill(plan: MashPlan, f: Figures) -> Found | None:
    """A1: too full, additions included?"""
    share = plan.volume_l / plan.tun_l
    if share <= f["fill_share"]:
        return None
    most = 100.0 * f["fill_share"]
    volume = volumes.beside(plan.volume_l, f["fill_share"] * plan.tun_l)
    return {"volume_l": volume, "percent": 100.0 * share, "tun_l": plan.tun_l, "most_percent": most}


def uncovered(plan: MashPlan, f: Figures) -> Found | None:
    """A2: heater dry, before dough-in or while a decoction is away?"""
    if plan.liquor_kg < plan.min_liquor_l:
        return _bare(plan, plan.liquor_kg, "before dough-in")
    mash_kg = plan.grist_kg + plan.liquor_kg
    for step in plan.steps:
        left_kg = mash_kg - step.addition_kg
        if step.kind == "decoction" and left_kg < plan.min_liquor_l:
            return _bare(plan, left_kg, "while the decoction is away")
        mash_kg += step.addition_kg if step.kind in ADDS else -step.boil_off_kg
    return None


def _bare(plan: MashPlan, left_kg: float, when: str) -> Found:
    return {"left_kg": volumes.beside(left_kg, plan.min_liquor_l), "when": when, "least_l": plan.min_liquor_l}


def mashing_in(plan: MashPlan, f: Figures) -> Found | None:
    """A39: does mashing in take long? Of more grain than is carried by hand nothing is known."""
    minutes = plan.grist_kg / f["kg_per_min"]
    if minutes <= f["longest_min"] or plan.grist_kg > f["by_hand_kg"]:
        return None
    return {"grist_kg": plan.grist_kg, "minutes": minutes}


def too_hot(plan: MashPlan, f: Figures) -> Found | None:
    """A3: a target above what the tun allows?"""
    most_c = plan.cut_off_c - f["under_cut_off_k"]
    if plan.limit_c is not None:
        most_c = min(most_c, plan.limit_c)
    targets = [(place(plan, step), step.temperature_c) for step in plan.steps]
    if plan.strike_c is not None:
        targets.insert(0, ("the strike liquor", plan.strike_c))
    where, hottest_c = max(targets, key=lambda target: target[1], default=("", -1.0))
    if hottest_c <= most_c + 1e-9:
        return None
    return {"where": begin(where), "target_c": hottest_c, "most_c": most_c}


def unmixed(plan: MashPlan, f: Figures) -> Found | None:
    """A4: a rise by heat with nothing to mix it?"""
    rising = [step for step in plan.steps if step.climb_k_per_s > 0.0]
    if plan.mixing != "none" or not rising or not plan.grist:
        return None
    return {"where": begin(place(plan, rising[0]))}


def slow_ramp(plan: MashPlan, f: Figures) -> Found | None:
    """A5: do rises slower than wanted make the mash late by more than a little? The worst is named; late are all."""
    slow = [s for s in plan.steps if 0.0 < s.climb_k_per_s < s.wanted_k_per_s]
    late_s = sum(step.ramp_s * (1.0 - step.climb_k_per_s / step.wanted_k_per_s) for step in slow)
    planned_s = plan.mash_s - late_s
    if not slow or late_s <= max(60.0 * f["late_min"], f["late_share"] * planned_s):
        return None
    worst = min(slow, key=lambda step: step.climb_k_per_s / step.wanted_k_per_s)
    found: Found = {
        "where": begin(place(plan, worst)),
        "real": 60.0 * worst.climb_k_per_s,
        "wanted": 60.0 * worst.wanted_k_per_s,
        "total_min": plan.mash_s / 60.0,
        "planned_min": planned_s / 60.0,
    }
    return found if any(_dries(plan, step) for step in slow) else found | LATER


def _dries(plan: MashPlan, step: PlanStep) -> bool:
    """Is a slower rise to this step more time for beta-amylase? Not to mash-out, nor from 72 °C on."""
    at = next(i for i, other in enumerate(plan.steps) if other is step)
    from_c = plan.steps[at - 1].temperature_c if at else 0.0
    return step.kind != "mash_out" and from_c < BETA_GONE_C


def fast_ramp(plan: MashPlan, f: Figures) -> Found | None:
    """A6: faster than the bed can follow?"""
    fastest = max(plan.steps, key=lambda step: step.climb_k_per_s, default=None)
    if fastest is None or 60.0 * fastest.climb_k_per_s <= f["slack_share"] * f["climb_k_per_min"]:
        return None
    return {
        "where": begin(place(plan, fastest)),
        "real": 60.0 * fastest.climb_k_per_s,
        "limit": f["climb_k_per_min"],
    }


def strike(plan: MashPlan, f: Figures) -> Found | None:
    """A23: strike liquor that scalds the first grain?"""
    if plan.strike_c is None or plan.strike_c <= min(f["highest_c"], plan.boil_c - f["under_boil_k"]):
        return None
    return {"strike_c": plan.strike_c, "boil_c": plan.boil_c}


def probe(plan: MashPlan, f: Figures) -> Found | None:
    """A33: can the reading be believed?"""
    parts = []
    if plan.calibration_age_days is None:
        parts.append("the probe has never been checked")
    elif plan.calibration_age_days > f["longest_days"]:
        parts.append(f"the probe was last checked {plan.calibration_age_days:.0f} days ago")
    if not plan.altitude_known:
        parts.append("the altitude is not set")
    return {"what": begin(", and ".join(parts))} if parts else None


def supply(plan: MashPlan, f: Figures) -> Found | None:
    """A34: more than the supply gives? Every mash heats, be it its strike liquor alone."""
    limit_w, own_w = plan.supply_limit_w, plan.power_w
    if limit_w is None or own_w is None or own_w + plan.others_w <= limit_w:
        return None
    if own_w > limit_w:
        return {
            "level": "warn",
            "what": f"This tun's heater draws {own_w:.0f} W, its supply gives {limit_w:.0f} W",
            "mend": HEATER_MEND,
        }
    both_w = own_w + plan.others_w
    return {
        "what": f"This tun and others on its supply may draw {both_w:.0f} W together; the supply gives {limit_w:.0f} W"
    }


def hot_liquor(plan: MashPlan, f: Figures) -> Found | None:
    """A35: hot liquor too late?"""
    ready_s = plan.hot_liquor_ready_s
    if ready_s is None or not isfinite(plan.mash_s) or ready_s <= plan.mash_s:
        return None
    return {"late_min": (ready_s - plan.mash_s) / 60.0}
