"""How is what comes into the mash told on the page of a plan?

Liquor with its temperature, a pull with its litres, shares and kettle, a cooker with where it lands the mash and what
would land it better.
"""

from __future__ import annotations

from collections.abc import Iterator

from controller.brewing import pull
from controller.core.control.climb import climb
from controller.plan.additions import cooker_deeds
from controller.plan.plan import Plan, kettle_words
from controller.plan.stages import Stage
from controller.settings.table import show

OFF_K = 0.5  # a cooker that lands the mash further off its target is said with the ways out (own proposal)


def poured(plan: Plan, stage: Stage) -> str:
    """What comes in, or goes out and comes back, in this step?"""
    if stage.kind == "decoction":
        return "; ".join(_decoction(plan, stage))
    if stage.kind == "cereal":
        return "; ".join(_cooker(plan, stage))
    liquor = "water" if stage.kind == "water_in" else "liquor"
    kg = f"{stage.comes.kg:.1f}" if stage.comes.kg >= 10.0 else f"{stage.comes.kg:.2f}"
    lands = _written(plan, stage) if stage.kind == "infusion" else ""
    return f"{kg} kg of {liquor} at {stage.comes.hot_c:g} °C in{lands}"


def _written(plan: Plan, stage: Stage) -> str:
    """Where does an amount that the program writes land the mash? Nothing is said where it is worked out."""
    step = plan.program.step[stage.at or 0]
    written = step.amount_kg is not None or step.volume_l is not None
    return f"; lands at {stage.comes.lands_c:.1f} °C" if written else ""


def _decoction(plan: Plan, stage: Stage) -> Iterator[str]:
    """Kilograms and litres, for a bucket measures litres; what share it takes; its kettle; the mash meanwhile."""
    comes, grist_kg = stage.comes, plan.program.grist_kg
    if comes.pull_kg_per_kg is None:
        what = "the liquid alone" if comes.thin_p is not None else "water"
        litres = pull.thin_volume_l(comes.kg, comes.thin_p or 0.0)
        share = comes.kg * (1.0 - (comes.thin_p or 0.0) / 100.0) / stage.liquor_kg
        parts = f"{100 * share:.0f} % of the liquid"
    else:
        thick = comes.pull_kg_per_kg
        what = "thick mash" if thick < stage.liquor_kg / grist_kg - 0.05 else "mash"
        litres, drawn_kg = pull.volume_l(comes.kg, thick), comes.kg / (1.0 + thick)
        share = comes.kg / (grist_kg + stage.liquor_kg)
        liquor = comes.kg * thick / (1.0 + thick) / stage.liquor_kg
        grist = drawn_kg / grist_kg
        parts = f"{100 * share:.0f} %; {100 * grist:.0f} % of the grist, {100 * liquor:.0f} % of the liquor"
    away = f", away {show('duration', 60.0 * round(comes.away_s / 60.0))}" if comes.away_s else ""
    kettle = kettle_words(plan.program.step[stage.at or 0]) or "boiled"
    yield f"{litres:.1f} L of {what} ({comes.kg:.1f} kg, {parts}) out{away}, {kettle}, and back{_written(plan, stage)}"
    if comes.boil_off_kg:
        yield f"{comes.boil_off_kg:.2f} kg boils off"
    if comes.cooled_c is not None:
        yield f"the main mash cools to {comes.cooled_c:.1f} °C meanwhile"


def _cooker(plan: Plan, stage: Stage) -> Iterator[str]:
    """The cooker as it joins, when it must be begun, and three ways out where it lands the mash off its target."""
    comes, cereal = stage.comes, plan.program.cereal
    if cereal is None or comes.lands_c is None or comes.hot_c is None:
        return
    yield f"cooker of {comes.grist_kg:.1f} kg with {comes.liquor_kg:.1f} kg of liquor at {comes.hot_c:g} °C in"
    begun = cooker_deeds(plan.program, plan.tun)[0]
    yield f"begun {show('duration', 60.0 * round(begun.before_s / 60.0))} before"
    yield f"lands at {comes.lands_c:.1f} °C"
    if abs(comes.lands_c - stage.target_c) > OFF_K:
        yield "; ".join(_ways(plan, stage, comes.lands_c, comes.hot_c))


def _ways(plan: Plan, stage: Stage, lands_c: float, hot_c: float) -> Iterator[str]:
    """What would land the mash on its target: the main mash, the cooker, or the heater?"""
    comes, before_c = stage.comes, plan.stages[plan.stages.index(stage) - 1].target_c
    cooker_j, wanted_c = comes.kg * comes.j_per_kg_k, stage.target_c
    waits_c = wanted_c - cooker_j * (hot_c - wanted_c) / stage.capacity_j_per_k
    yield f"for {wanted_c:g} °C the main mash waits at {waits_c:.1f} °C"
    if before_c < wanted_c < hot_c:
        larger = stage.capacity_j_per_k * (wanted_c - before_c) / (hot_c - wanted_c) / cooker_j
        yield f"or the cooker is {larger:.2f} times as large"
    if lands_c < wanted_c:
        capacity = stage.capacity_j_per_k + cooker_j
        rise = climb(plan.tun, capacity, lands_c, wanted_c, None)
        yield f"or the tun heats for {rise.seconds / 60.0:.1f} min"
