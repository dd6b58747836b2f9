"""Do program and grist suit each other? The checks behind the grist's rules of the advice table.

Each takes the plan and the rule's figures, and gives what its sentence needs, or None.
"""

from __future__ import annotations

from math import floor

from controller.brewing.advice.plan_facts import (
    BARLEY_MALTS,
    BASE_MALTS,
    COOKED_APART,
    KILNED,
    RYE_OATS,
    STARCH_HIGH_C,
    STICKY,
    UNMALTED,
    Figures,
    Found,
    MashPlan,
    begin,
    converting_share,
    mean,
    minutes_between,
    place,
    rests,
    share,
    starch_rests,
    thickness_l_per_kg,
)
from controller.brewing.advice.rule import FEW_WHY, THIN_WHY

RAW_MOST, STICKY_MOST = 0.20, 0.175  # beyond, a low rest is there for raw grain or gums (common practice; as A12)
NEAR_55_C, SHORT_S = 54.0, 600.0  # a short rest near 55 °C draws no word (common practice)
RYE = frozenset({"rye", "rye malt"})


def under_modified(plan: MashPlan, f: Figures) -> Found | None:
    """A9: one rest only, and two indices agree that the malt is under-modified? Never one index alone."""
    kolbach, friability, fine_coarse = (mean(plan, i) for i in ("kolbach", "friability", "fine_coarse"))
    lower = [step for step in plan.steps if step.kind in ("rest", "decoction", "infusion")]
    if kolbach is None or kolbach >= f["kolbach"] or len([s for s in lower if s.temperature_c < STARCH_HIGH_C]) != 1:
        return None
    second = []
    if friability is not None and friability < f["friability"]:
        second.append(f"friability {100.0 * friability:.0f} %")
    if fine_coarse is not None and fine_coarse > f["fine_coarse"]:
        second.append(f"fine-coarse difference {100.0 * fine_coarse:.1f} %")
    return {"kolbach": 100.0 * kolbach, "second": ", ".join(second)} if second else None


def _meant_otherwise(plan: MashPlan) -> bool:
    """Is a low rest there for raw grain or for gums, so that the malt's protein is not what it is about?"""
    return share(plan, UNMALTED) > RAW_MOST or share(plan, STICKY) > STICKY_MOST


def long_protein_rest(plan: MashPlan, f: Figures) -> Found | None:
    """A10: well-modified malt long where proteases work? Not of what is short and near 55 °C, as its mend advises."""
    kolbach, minutes = mean(plan, "kolbach"), minutes_between(plan, f["low_c"], f["high_c"])
    if kolbach is None or kolbach <= f["kolbach"] or minutes <= f["longest_min"] or _meant_otherwise(plan):
        return None
    low = rests(plan, f["low_c"], f["high_c"])
    if low and all(step.temperature_c >= NEAR_55_C and step.hold_s <= SHORT_S for step in low):
        return None
    return {"kolbach": 100.0 * kolbach, "minutes": minutes}


def needless_protein_rest(plan: MashPlan, f: Figures) -> Found | None:
    """A11: a protein rest on malt that needs none? The stay that A10 warns of is left to A10 (see `advice.advise`)."""
    kolbach, least_s = mean(plan, "kolbach"), 60.0 * f["least_min"]
    low = [step for step in rests(plan, f["low_c"], f["high_c"]) if step.hold_s >= least_s]
    low = [step for step in low if step.temperature_c < NEAR_55_C or step.hold_s > SHORT_S]
    if kolbach is None or kolbach < f["kolbach"] or not low or _meant_otherwise(plan):
        return None
    return {"kolbach": 100.0 * kolbach}


def sticky(plan: MashPlan, f: Figures) -> Found | None:
    """A12: gummy grain, and nothing done about it?"""
    part, gum = share(plan, STICKY), mean(plan, "beta_glucan_mg_per_l", BARLEY_MALTS | BASE_MALTS)
    cause = ""
    if part > f["sticky_share"]:
        cause = f"{100.0 * part:.0f} % rye, oats, raw wheat or raw barley"
    elif gum is not None and gum > f["beta_glucan_mg_per_l"]:
        cause = f"malt of {gum:.0f} mg/L beta-glucan"
    rested_min = sum(step.hold_s for step in rests(plan, f["low_c"], f["high_c"])) / 60.0
    thin = (thickness_l_per_kg(plan) or 0.0) >= f["thin_l_per_kg"] and share(plan, RYE) < f["rye_share"]
    if not cause or thin or plan.enzyme or share(plan, {"husk"}) > 0.0 or rested_min >= f["least_min"]:
        return None
    return {"cause": begin(cause), "least": f["least_min"], "low": f["low_c"], "high": f["high_c"]}


def raw_grits(plan: MashPlan, f: Figures) -> Found | None:
    """A13: maize, rice or sorghum that a mash cannot paste?"""
    raw_kg = sum(malt.mass_kg for malt in plan.grist if malt.kind in COOKED_APART and not malt.flaked)
    cooked = plan.cereal_mash or plan.starch_enzyme or any(step.kind == "decoction" for step in plan.steps)
    if cooked or plan.grist_kg <= 0.0 or raw_kg <= f["share"] * plan.grist_kg:
        return None
    return {"percent": 100.0 * raw_kg / plan.grist_kg}


def locked_in(plan: MashPlan, f: Figures) -> Found | None:
    """A20: mash-out before conversion, or much raw grain and no iodine test before it?"""
    outs = [i for i, step in enumerate(plan.steps) if step.kind == "mash_out"]
    if not outs:
        return None
    late = starch_rests(plan)
    after = [step for step in plan.steps[outs[0] + 1 :] if any(step is rest for rest in late)]
    if after:
        return {"what": f"Mash-out stands before {place(plan, after[0])}"}
    raw_kg = sum(malt.mass_kg for malt in plan.grist if malt.kind in UNMALTED and not malt.flaked)
    adjunct = raw_kg / plan.grist_kg if plan.grist_kg > 0.0 else 0.0
    if adjunct <= f["adjunct_share"] or any(step.by == "iodine" for step in plan.steps[: outs[0]]):
        return None
    return {"what": f"{100.0 * adjunct:.0f} % raw grain, and no rest before mash-out ends by iodine"}


def thickness(plan: MashPlan, f: Figures) -> Found | None:
    """A22: too thick to move, or too thin?"""
    exact = thickness_l_per_kg(plan)
    if exact is None:
        return None
    ratio = round(exact, 2)  # as it is shown: 2.4998 L/kg are 2.50
    thickest = f["thickest_l_per_kg"]
    if share(plan, RYE_OATS) > f["rye_oats_share"]:
        thickest = max(thickest, f["sticky_l_per_kg"])
    if ratio > f["thinnest_l_per_kg"]:
        return {
            "thickness": ratio,
            "what": f"thin; {f['thinnest_l_per_kg']:g} at most is usual",
            "level": "note",
            "why": THIN_WHY,
        }
    if ratio >= thickest or plan.mixing == "none":
        return None
    return {"thickness": ratio, "what": f"too thick to stir or pump; {thickest:g} at least"}


def thinned(plan: MashPlan, f: Figures) -> Found | None:
    """A31: do infusions thin too much? Only where the mash was well before them."""
    for at, step in enumerate(plan.steps, 1):
        before, after = thickness_l_per_kg(plan, at - 1), thickness_l_per_kg(plan, at)
        if step.kind != "infusion" or before is None or after is None:
            continue
        if round(before, 2) <= f["thinnest_l_per_kg"] < round(after, 2):
            where = begin(place(plan, step))
            return {"where": where, "thickness": after, "thinnest": f["thinnest_l_per_kg"]}
    return None


def few_enzymes(plan: MashPlan, f: Figures) -> Found | None:
    """A36: too few enzymes by the malt sheets, or, where one is silent, too little malt that converts itself?"""
    if plan.grist_kg <= 0.0 or plan.starch_enzyme:
        return None
    mean_lintner, part = _lintner(plan), converting_share(plan)
    if mean_lintner is not None and mean_lintner < f["ample_lintner"]:
        few = mean_lintner < f["least_lintner"]
        wanted = f"{f['least_lintner']:g} at least is usual" if few else f"{f['ample_lintner']:g} and more is ample"
        told = any(malt.diastatic_lintner is not None for malt in plan.grist)
        by = "malt sheets" if told else "kinds of malt: none of them converts itself"
        what = f"The grist has {floor(mean_lintner)} °Lintner by its {by}; {wanted}"
        return {"what": what, "level": "warn" if few else "note", "why": FEW_WHY}
    if mean_lintner is not None or part >= f["base_share"]:
        return None
    return {
        "what": f"Malts that convert themselves, pale, wheat, rye and kilned, are {100.0 * part:.0f} % of the grist"
    }


def _lintner(plan: MashPlan) -> float | None:
    """What is the grist's mean diastatic power? Only malts that convert themselves have any, unless a sheet says so;
    None where one of them has no figure."""
    figures = [
        (malt.mass_kg, malt.diastatic_lintner if malt.kind in BASE_MALTS | KILNED else malt.diastatic_lintner or 0.0)
        for malt in plan.grist
    ]
    known = [(kg, value) for kg, value in figures if value is not None]
    return sum(kg * value for kg, value in known) / plan.grist_kg if len(known) == len(figures) else None


def acidity(plan: MashPlan, f: Figures) -> Found | None:
    """A37: pH out of bounds?"""
    ph = plan.expected_ph
    if ph is None or f["lowest_ph"] <= ph <= f["highest_ph"]:
        return None
    return {"ph": ph, "lowest": f["lowest_ph"], "highest": f["highest_ph"]}
