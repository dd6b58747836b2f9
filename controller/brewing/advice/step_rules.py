"""Do the steps make sense in their order and length? The checks behind the steps' rules of the advice table.

Each takes the plan and the rule's figures, and gives what its sentence needs, or None.
"""

from __future__ import annotations

from itertools import pairwise, zip_longest
from math import isfinite

from controller.brewing.advice.plan_facts import (
    ADDS,
    BY_HAND,
    Figures,
    Found,
    MashPlan,
    PlanStep,
    begin,
    mean,
    minutes_between,
    place,
    rests,
    starch_rests,
    thickness_l_per_kg,
)
from controller.brewing.advice.rule import ALPHA_GONE, TANNIN_WHY, WAIT_MEND


def falling(plan: MashPlan, f: Figures) -> Found | None:
    """A7: a low starch rest after one that destroys beta-amylase?"""
    hot: PlanStep | None = None
    for step in plan.steps:
        if _serves(step) and hot is not None and f["starch_c"] <= step.temperature_c <= f["low_c"]:
            return {"where": begin(place(plan, step)), "before": place(plan, hot)}
        if step.kind != "souring" and step.temperature_c > f["high_c"] and step.hold_s > 60.0 * f["high_min"]:
            hot = hot or step
    return None


def _serves(step: PlanStep) -> bool:
    """Is it a rest that lives of the malt's own enzymes?"""
    return step.kind == "rest" and not step.enzyme


def spent(plan: MashPlan, f: Figures) -> Found | None:
    """A8: a rest after all enzymes are lost?"""
    gone: PlanStep | None = None
    for step in plan.steps:
        if gone is not None and _serves(step):
            return {"where": begin(place(plan, step)), "before": place(plan, gone)}
        if step.temperature_c > f["gone_c"]:
            gone = gone or step
    return None


def unconverted(plan: MashPlan, f: Figures) -> Found | None:
    """A14: too short where starch is converted?"""
    minutes = sum(step.hold_s for step in rests(plan, f["low_c"], f["high_c"])) / 60.0
    if not plan.grist or minutes >= f["least_min"]:
        return None
    return {"minutes": minutes, "least": f["least_min"]}


def unpasted(plan: MashPlan, f: Figures) -> Found | None:
    """A15: no starch rest warm enough for malt starch?"""
    found = starch_rests(plan)
    warmest = max((step.temperature_c for step in found), default=None)
    if warmest is None or warmest >= f["least_c"] or any(step.enzyme for step in plan.steps):
        return None
    return {"warmest_c": warmest}


def low_and_thick(plan: MashPlan, f: Figures) -> Found | None:
    """A16: one low starch rest in a thick mash?"""
    found = starch_rests(plan)
    warmest = max(found, key=lambda step: step.temperature_c, default=None)
    if warmest is None or warmest.temperature_c > f["highest_c"]:
        return None
    at = next(i for i, step in enumerate(plan.steps) if step is warmest)
    ratio = thickness_l_per_kg(plan, at)
    if ratio is None or round(ratio, 2) >= f["least_l_per_kg"]:
        return None
    return {"warmest_c": warmest.temperature_c, "thickness": ratio}


def thick(plan: MashPlan, f: Figures) -> Found | None:
    """A16b: so thick that sugar is lost?"""
    first = next(iter(starch_rests(plan)), None)
    ratio = None if first is None else thickness_l_per_kg(plan, next(i for i, s in enumerate(plan.steps) if s is first))
    if ratio is None or round(ratio, 2) > f["thickest_l_per_kg"]:
        return None
    return {"thickness": ratio, "thickest": f["thickest_l_per_kg"]}


def cools(plan: MashPlan, f: Figures) -> Found | None:
    """A38: does the plan wait until the tun has cooled by itself? A keep may; of a souring what is above its culture's
    temperature counts."""
    for before, step in pairwise(plan.steps):
        fall_k = before.temperature_c - step.temperature_c
        if step.kind in BY_HAND | {"keep"} or fall_k <= 0.0:
            continue
        least_c = f["sours_below_c"] if step.kind == "souring" else step.temperature_c
        counted_s = step.ramp_s * min(1.0, max(0.0, before.temperature_c - least_c) / fall_k)
        if counted_s > 60.0 * f["longest_min"]:
            level = "note" if step.kind == "souring" else "warn"
            where, hours = begin(place(plan, step)), step.ramp_s / 3600.0
            return {"where": where, "from_c": before.temperature_c, "hours": hours, "level": level}
    return None


def against_the_aim(plan: MashPlan, f: Figures) -> Found | None:
    """A17: do the rests work against dry or full?"""
    found = starch_rests(plan)
    if plan.aim == "dry" and found and found[0].temperature_c > f["dry_c"]:
        return {"what": f"The aim is dry, but the first starch rest is {found[0].temperature_c:g} °C"}
    minutes = minutes_between(plan, f["low_c"], f["high_c"])
    if plan.aim == "full" and minutes > f["longest_min"]:
        span = f"{f['low_c']:g} and {f['high_c']:g} °C"
        return {"what": f"The aim is full, but the mash is {minutes:.0f} min between {span}"}
    return None


def not_dry_enough(plan: MashPlan, f: Figures) -> Found | None:
    """A18: too short for a dry beer?"""
    minutes = minutes_between(plan, f["low_c"], f["high_c"])
    if plan.aim != "dry" or not plan.grist or minutes >= f["least_min"]:
        return None
    return {"minutes": minutes, "least": f["least_min"]}


def too_hot_an_end(plan: MashPlan, f: Figures) -> Found | None:
    """A19: mash-out or keeping too hot?"""
    hot = [step for step in plan.steps if step.kind in ("mash_out", "keep", "rest") and not step.enzyme]
    hottest = max(hot, key=lambda step: step.temperature_c, default=None)
    if hottest is None or hottest.temperature_c <= f["highest_c"]:
        return None
    strong = hottest.temperature_c > f["strong_c"]
    more = f"; {ALPHA_GONE}" if strong else ""
    found: Found = {"where": begin(place(plan, hottest)), "highest": f["highest_c"], "more": more}
    tested = any(step.by == "iodine" for step in plan.steps)
    if hottest.kind == "keep" and tested:
        found["why"] = TANNIN_WHY
    return found if strong else found | {"level": "note"}


def cool_mash_out(plan: MashPlan, f: Figures) -> Found | None:
    """A21: mash-out that does not stop enzymes, where the wort runs off in the same tun?"""
    outs = [s for s in plan.steps if s.kind == "mash_out" and s.temperature_c < f["least_c"]]
    if not outs or not plan.runs_off_here:
        return None
    return {"where": begin(place(plan, outs[0])), "least": f["least_c"]}


def staling(plan: MashPlan, f: Figures) -> Found | None:
    """A24: lipoxygenase at work where it matters?"""
    first_c = plan.steps[0].temperature_c if plan.steps and plan.grist else None
    if first_c is None:
        return None
    if plan.splashing and first_c < f["splash_c"]:
        return {"first_c": first_c, "what": "with splashing or long open stirring"}
    if plan.pale_to_keep and first_c < f["pale_c"]:
        return {"first_c": first_c, "what": "for a pale beer that is to keep"}
    return None


def too_short(plan: MashPlan, f: Figures) -> Found | None:
    """A25: shorter than the mash needs to settle? One that only waits for its temperature before water is no rest."""
    least_s = max(60.0 * f["least_min"], plan.settle_s)
    short = [
        step
        for step, then in zip_longest(plan.steps, plan.steps[1:])
        if step.kind == "rest" and step.hold_s < least_s and (then is None or then.kind != "water_in")
    ]
    if not short:
        return None
    shortest = min(short, key=lambda step: step.hold_s)
    return {"where": begin(place(plan, shortest)), "minutes": shortest.hold_s / 60.0, "least": least_s / 60.0}


def too_close(plan: MashPlan, f: Figures) -> Found | None:
    """A26: two steps that a probe can hardly tell apart? The same temperature again is meant as such."""
    for before, step in pairwise(plan.steps):
        apart_k = abs(step.temperature_c - before.temperature_c)
        if 0.0 < apart_k < f["least_k"]:
            return {"where": begin(place(plan, step)), "apart_k": apart_k}
    return None


def too_long(plan: MashPlan, f: Figures) -> Found | None:
    """A27: hours on end, not for souring?"""
    hours = (plan.mash_s - plan.cooling_s) / 3600.0  # waiting for the tun to cool has a word of its own
    if _sours(plan) or not isfinite(hours) or hours <= f["long_h"]:
        return None
    return {"hours": hours, "level": "warn" if hours > f["very_long_h"] else "note"}


def sours_unmeant(plan: MashPlan, f: Figures) -> Found | None:
    """A28: long where lactic bacteria grow?"""
    minutes = minutes_between(plan, f["low_c"], f["high_c"])
    if _sours(plan) or not plan.grist or minutes <= f["longest_min"]:
        return None
    return {"minutes": minutes}


def souring_left_open(plan: MashPlan, f: Figures) -> Found | None:
    """A29: souring without its end, its pH or the heat afterwards?"""
    for at, step in enumerate(plan.steps):
        if step.kind != "souring":
            continue
        missing = [] if step.ph_every_s else ["pH check"]
        missing += [] if 0.0 < step.hold_s < float("inf") else ["end time"]
        heated = any(later.temperature_c >= f["kill_c"] for later in plan.steps[at + 1 :])
        missing += [] if heated else [f"heating to {f['kill_c']:g} °C afterwards"]
        if missing:
            return {"where": begin(place(plan, step)), "missing": " and no ".join(missing)}
    return None


def boiled_away(plan: MashPlan, f: Figures) -> Found | None:
    """A30: too much pulled, or the rest of the mash too long where proteases work?"""
    mash_kg, now_c = plan.grist_kg + plan.liquor_kg, plan.steps[0].temperature_c if plan.steps else 0.0
    kolbach = mean(plan, "kolbach")
    for at, step in enumerate(plan.steps):
        boiled = 0.0 if _thin_for_mash_out(plan, at) else _liquor_share(plan, step, mash_kg)
        if step.kind == "decoction" and boiled > f["liquor_share"]:
            what = f"{100.0 * boiled:.0f} % of the liquor, and of its enzymes, is pulled and boiled"
            return {"where": begin(place(plan, step)), "what": what}
        waits = step.away_s > 60.0 * f["longest_min"] and f["low_c"] <= now_c <= f["high_c"]
        if step.kind == "decoction" and waits and kolbach is not None and kolbach > f["kolbach"]:
            what = f"the main mash waits {step.away_s / 60.0:.0f} min at {now_c:g} °C meanwhile"
            return {"where": begin(place(plan, step)), "what": what, "mend": WAIT_MEND}
        mash_kg += step.addition_kg if step.kind in ADDS else -step.boil_off_kg
        now_c = step.temperature_c
    return None


def _thin_for_mash_out(plan: MashPlan, at: int) -> bool:
    """Is it the liquid alone, boiled when its enzymes have done their work?"""
    later = plan.steps[at + 1 : at + 2]
    return plan.steps[at].thin_liquor_kg is not None and all(step.kind in ("mash_out", "keep") for step in later)


def _liquor_share(plan: MashPlan, step: PlanStep, mash_kg: float) -> float:
    """Which share of the liquor does a pull take? Enzymes lie in the liquid (Oxford Companion; common practice)."""
    liquor_kg = mash_kg - plan.grist_kg
    if liquor_kg <= 0.0 or plan.grist_kg <= 0.0:
        return 0.0
    if step.thin_liquor_kg is not None:
        return step.thin_liquor_kg / liquor_kg
    thick = liquor_kg / plan.grist_kg
    pull = thick if step.pull_l_per_kg is None else min(thick, step.pull_l_per_kg)
    return step.addition_kg * pull / (1.0 + pull) / liquor_kg


def nobody_there(plan: MashPlan, f: Figures) -> Found | None:
    """A32: a step that needs a person, and nobody named, or nobody there any more?"""
    done_s = 0.0
    for step in plan.steps:
        done_s += step.ramp_s + step.away_s + (0.0 if step.kind == "keep" else step.hold_s)
        waits = step.by in ("person", "iodine") or step.kind in BY_HAND
        late = plan.staffed_until_s is not None and done_s > plan.staffed_until_s
        if waits and (plan.people <= 0 or late):
            when = f" {done_s / 60.0:.0f} min after dough-in, when nobody is there" if late else ", and nobody is named"
            return {"where": begin(place(plan, step)), "when": when}
    return None


def _sours(plan: MashPlan) -> bool:
    return any(step.kind == "souring" for step in plan.steps)
