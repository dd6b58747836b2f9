"""The demonstration brewhouse's programs, and the advice that each should draw.

Wrenmoor Teaching Brewhouse, 310 m, room and grist 18 °C: Gannet (100 L, 5 kW, stirred) and Plover (30 L, 2.4 kW,
pumped).
"""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

from controller.brewing import heat, water
from controller.brewing.advice.plan_facts import Malt, MashPlan, PlanStep, StepKind

LIMIT = 1.0 / 60.0  # K/s


class Tun(NamedTuple):
    """What advice and arithmetic need of a tun."""

    volume_l: float
    power_w: float
    metal_j_per_k: float
    loss_w_per_k: float
    mixing: str


GANNET = Tun(100.0, 5000.0, 12_500.0, 4.0, "stirrer")
PLOVER = Tun(30.0, 2400.0, 3000.0, 2.0, "pump")
LOT_0417 = {"kolbach": 0.42, "friability": 0.89, "fine_coarse": 0.011}
LOT_0422 = {"kolbach": 0.34, "friability": 0.76, "fine_coarse": 0.020}
Stage = tuple[StepKind, float, float]


def pale(kg: float, sheet: dict[str, float]) -> Malt:
    """Base malt of a lot."""
    return Malt("malt", kg, kolbach=sheet["kolbach"], friability=sheet["friability"], fine_coarse=sheet["fine_coarse"])


def plan(tun: Tun, grist: tuple[Malt, ...], liquor_kg: float, stages: tuple[Stage, ...]) -> MashPlan:
    """The mash on this tun, its rises worked out with the tun's heater."""
    grist_kg = sum(malt.mass_kg for malt in grist)
    size = heat.mash_j_per_k(grist_kg, liquor_kg, tun.metal_j_per_k)
    steps, now_c = [], stages[0][1]
    for kind, to_c, minutes in stages:
        steps.append(_step(tun, size, kind, now_c, to_c, 60.0 * minutes, grist_kg + liquor_kg))
        now_c = to_c
    return MashPlan(
        steps=tuple(steps),
        grist=grist,
        liquor_kg=liquor_kg,
        tun_l=tun.volume_l,
        cut_off_c=80.0,
        min_liquor_l=0.2 * tun.volume_l,
        mixing="stirrer" if tun.mixing == "stirrer" else "pump",
        strike_c=stages[0][1]
        + sum(heat.strike_parts(grist_kg, 18.0, liquor_kg, stages[0][1], metal_j_per_k=tun.metal_j_per_k)),
        boil_c=water.boiling_c(altitude_m=310.0),
        calibration_age_days=20.0,
        power_w=tun.power_w,
        supply_limit_w=6500.0,
    )


def _step(tun: Tun, size: float, kind: StepKind, from_c: float, to_c: float, hold_s: float, mash_kg: float) -> PlanStep:
    if kind == "decoction":
        mash = size - tun.metal_j_per_k
        pull = mash_kg * heat.decoction_share(from_c, to_c, 95.0, mash_j_per_k=mash, metal_j_per_k=tun.metal_j_per_k)
        return PlanStep(kind, to_c, addition_kg=pull, away_s=1500.0)
    if to_c < from_c:
        return PlanStep(kind, to_c, hold_s, heat.cooling_time_s(size, tun.loss_w_per_k, 18.0, from_c, to_c))
    ramp_s = heat.limited_ramp_s(size, tun.power_w, tun.loss_w_per_k, 18.0, from_c, to_c, LIMIT)
    climb = (to_c - from_c) / ramp_s if ramp_s > 0.0 else 0.0
    return PlanStep(kind, to_c, hold_s, ramp_s, climb, LIMIT)


SANDPIPER: tuple[Stage, ...] = (("rest", 50, 10), ("rest", 63, 40), ("rest", 72, 20), ("mash_out", 78, 5))
REDSTART: tuple[Stage, ...] = (("rest", 45, 15), ("rest", 63, 30), ("rest", 72, 20), ("mash_out", 78, 5))
BITTERN: tuple[Stage, ...] = (("rest", 42, 20), ("rest", 65, 50), ("rest", 72, 15), ("mash_out", 77, 10))
LINNET: tuple[Stage, ...] = (("rest", 66, 60), ("mash_out", 77, 10))
DOTTEREL: tuple[Stage, ...] = (
    ("rest", 52, 15),
    ("decoction", 64, 0),
    ("rest", 64, 40),
    ("rest", 72, 20),
    ("mash_out", 77, 5),
)
CRAKE: tuple[Stage, ...] = (("rest", 45, 30), ("rest", 70, 60))
WHEAT_HALF = (pale(9.0, LOT_0417), Malt("wheat malt", 9.0))
RYE = (pale(3.85, LOT_0417), Malt("rye malt", 1.65))

CASES: dict[str, tuple[MashPlan, set[str]]] = {
    "Linnet": (plan(PLOVER, (pale(5.0, LOT_0417),), 15.0, LINNET), set()),
    "Linnet with the old-floor lot": (plan(PLOVER, (pale(5.0, LOT_0422),), 15.0, LINNET), {"A9"}),
    "Sandpiper": (plan(GANNET, (pale(20.0, LOT_0422),), 60.0, SANDPIPER), set()),
    "Sandpiper with the pale lot": (plan(GANNET, (pale(20.0, LOT_0417),), 60.0, SANDPIPER), {"A10"}),
    # nothing cools a tun but its losses: from 72 to 63 °C takes almost four hours; A7 says it alone
    "Sandpiper backwards": (
        plan(GANNET, (pale(20.0, LOT_0422),), 60.0, (SANDPIPER[0], SANDPIPER[2], SANDPIPER[1], SANDPIPER[3])),
        {"A7"},
    ),
    "Redstart": (plan(GANNET, WHEAT_HALF, 63.0, REDSTART), set()),
    "Redstart hot": (plan(GANNET, WHEAT_HALF, 63.0, (*REDSTART[:3], ("mash_out", 82, 5))), {"A3", "A19"}),
    "Bittern": (plan(PLOVER, RYE, 19.25, BITTERN), set()),
    "Bittern without its 42 °C rest": (plan(PLOVER, RYE, 19.25, BITTERN[1:]), {"A12"}),
    "Dotterel": (plan(GANNET, (pale(20.0, LOT_0422),), 60.0, DOTTEREL), set()),
    "Crake": (plan(PLOVER, (pale(4.0, LOT_0417),), 16.0, CRAKE), set()),
    "Gannet overfull": (plan(GANNET, (pale(26.0, LOT_0422),), 91.0, SANDPIPER), {"A1", "A5"}),
    "both tuns at once": (
        replace(plan(GANNET, (pale(20.0, LOT_0422),), 60.0, SANDPIPER), others_w=2400.0),
        {"A34"},
    ),
}
