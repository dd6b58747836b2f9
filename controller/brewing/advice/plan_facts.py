"""Which facts of a planned mash does advice rest on?

Plain figures and kinds; no names of programs, tuns or lots, so that renaming them can change no advice. What is not
known is None, and rules that need it keep silent.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal, NamedTuple

from controller.brewing import volumes

Figures = Mapping[str, float]  # a rule's figures
Found = dict[str, object]  # what a rule's sentence needs

StepKind = Literal["rest", "infusion", "water_in", "decoction", "cereal", "mash_out", "keep", "souring"]
ADDS = frozenset({"infusion", "water_in"})
BY_HAND = ADDS | {"decoction", "cereal"}

UNMALTED = frozenset({"barley", "wheat", "rye", "oats", "maize", "rice", "sorghum"})
COOKED_APART = frozenset({"maize", "rice", "sorghum"})  # paste above any mash temperature (IoB textbook, second hand)
STICKY = frozenset({"rye", "rye malt", "oats", "oat malt", "wheat", "barley"})  # rich in beta-glucan or pentosans
RYE_OATS = frozenset({"rye", "rye malt", "oats", "oat malt"})
BASE_MALTS = frozenset({"malt", "wheat malt", "rye malt"})  # convert themselves and more
KILNED = frozenset({"kilned malt"})  # converts itself, hardly more (common practice)
BARLEY_MALTS = frozenset({"malt", "kilned malt"})  # whose malt sheet the modification rules read

Aim = Literal["dry", "balanced", "full"]
DRY_FROM, FULL_BELOW = 0.80, 0.72  # a written limit attenuation as an aim in words (own proposal)

STARCH_LOW_C = 57.5  # barley malt's starch begins to paste (Rittenauer et al., Foods 2021, 10, 1733: 57.5..59.8)
STARCH_HIGH_C = 74.0  # a rest from here on serves mash-out (common practice)


@dataclass(frozen=True, slots=True)
class Malt:
    """One line of the grain bill. Indices as shares: Kolbach 0.42, friability 0.89, fine-coarse difference 0.011."""

    kind: str
    mass_kg: float
    flaked: bool = False
    kolbach: float | None = None
    friability: float | None = None
    fine_coarse: float | None = None
    beta_glucan_mg_per_l: float | None = None
    diastatic_lintner: float | None = None


@dataclass(frozen=True, slots=True)
class PlanStep:
    """One step after dough-in, with its real rise: `ramp_s` and `climb_k_per_s` at the tun's power."""

    kind: StepKind
    temperature_c: float
    hold_s: float = 0.0
    ramp_s: float = 0.0
    climb_k_per_s: float = 0.0  # mean over the rise; 0 where nothing is heated
    wanted_k_per_s: float = 0.0  # what the program and the tun's ceiling ask for; 0: no wish
    by: Literal["time", "person", "iodine"] = "time"
    addition_kg: float = 0.0  # infusion: liquor added; decoction: mash pulled
    pull_l_per_kg: float | None = None  # decoction: thickness of what is pulled; None: as the mash
    thin_liquor_kg: float | None = None  # decoction of the liquid alone: so much of the liquor
    boil_off_kg: float = 0.0  # decoction: of the pull
    enzyme: bool = False  # one that was added works here, by its data sheet
    away_s: float = 0.0  # decoction: the rest of the mash waits so long at the temperature before
    ph_every_s: float | None = None  # souring: how often a pH is asked for


@dataclass(frozen=True, slots=True)
class MashPlan:
    """A planned mash. Masses kg, temperatures °C, volumes L, powers W, times s from dough-in."""

    steps: tuple[PlanStep, ...]
    grist: tuple[Malt, ...]
    liquor_kg: float
    tun_l: float
    cut_off_c: float
    min_liquor_l: float = 0.0
    limit_c: float | None = None  # highest target the tun allows, where that is less than its cut-off
    mixing: Literal["stirrer", "pump", "none"] = "stirrer"
    strike_c: float | None = None
    boil_c: float = 100.0
    aim: Aim = "balanced"
    enzyme: bool = False  # added against beta-glucan
    starch_enzyme: bool = False  # added to cut starch
    cereal_mash: bool = False  # raw maize, rice or sorghum is cooked apart and joined
    splashing: bool = False  # splashing, or long stirring with the lid open
    pale_to_keep: bool = False  # a pale beer meant to keep
    runs_off_here: bool = True  # lautered in the same tun
    settle_s: float = 0.0  # the tun's own settling time
    people: int = 1  # named to answer
    staffed_until_s: float | None = None
    calibration_age_days: float | None = None  # None: the probe was never checked
    altitude_known: bool = True
    power_w: float | None = None  # what this tun's heater draws from its supply
    others_w: float = 0.0  # what other tuns on the same supply may draw at the same time
    supply_limit_w: float | None = None
    hot_liquor_ready_s: float | None = None
    expected_ph: float | None = None  # of a cooled sample

    @property
    def grist_kg(self) -> float:
        return sum(malt.mass_kg for malt in self.grist)

    @property
    def mash_s(self) -> float:
        """From dough-in to the end of the last step; keeping is left out, waiting for a decoction is not."""
        return sum(s.ramp_s + s.away_s + (0.0 if s.kind == "keep" else s.hold_s) for s in self.steps)

    @property
    def cooling_s(self) -> float:
        """How much of it is waiting until the tun has cooled by itself?"""
        return sum(b.ramp_s for a, b in pairwise(self.steps) if b.temperature_c < a.temperature_c)

    @property
    def added_kg(self) -> float:
        """All the liquor that infusions add. A decoction goes out and comes back."""
        return sum(step.addition_kg for step in self.steps if step.kind in ADDS)

    @property
    def volume_l(self) -> float:
        """How much room does it need at the fullest?"""
        return volumes.mash_volume_l(self.liquor_kg + self.added_kg, self.grist_kg)


def aim_of(limit: float) -> Aim:
    """Which aim in words is a wanted apparent limit attenuation, 0..1?"""
    return "dry" if limit >= DRY_FROM else "full" if limit < FULL_BELOW else "balanced"


class Stretch(NamedTuple):
    """A stretch of the mash on a straight line."""

    from_c: float
    to_c: float
    seconds: float


def stretches(plan: MashPlan) -> Iterator[Stretch]:
    """How does the temperature go? Waits, rises and rests in order."""
    now_c = plan.steps[0].temperature_c if plan.steps else 0.0
    for step in plan.steps:
        yield Stretch(now_c, now_c, step.away_s)
        yield Stretch(now_c, step.temperature_c, step.ramp_s)
        yield Stretch(step.temperature_c, step.temperature_c, 0.0 if step.kind == "keep" else step.hold_s)
        now_c = step.temperature_c


def minutes_between(plan: MashPlan, low_c: float, high_c: float) -> float:
    """For how many minutes is the mash within these bounds, rises and falls counted? Keeping is left out."""
    return sum(_within(stretch, low_c, high_c) for stretch in stretches(plan)) / 60.0


def _within(stretch: Stretch, low_c: float, high_c: float) -> float:
    bottom, top = sorted((stretch.from_c, stretch.to_c))
    if stretch.seconds <= 0.0 or top < low_c or bottom > high_c:
        return 0.0
    if top == bottom:
        return stretch.seconds
    inside = min(top, high_c) - max(bottom, low_c)
    return stretch.seconds * inside / (top - bottom) if inside > 0.0 else 0.0


def rests(plan: MashPlan, low_c: float, high_c: float) -> list[PlanStep]:
    """Which rests lie within these bounds?"""
    return [step for step in plan.steps if step.kind == "rest" and low_c <= step.temperature_c <= high_c]


def starch_rests(plan: MashPlan) -> list[PlanStep]:
    """Which rests turn starch into sugar?"""
    return [s for s in plan.steps if s.kind == "rest" and STARCH_LOW_C <= s.temperature_c < STARCH_HIGH_C]


def share(plan: MashPlan, kinds: Collection[str]) -> float:
    """Which share of the grist is of these kinds, 0..1?"""
    total = plan.grist_kg
    return sum(malt.mass_kg for malt in plan.grist if malt.kind in kinds) / total if total > 0.0 else 0.0


def converting_share(plan: MashPlan) -> float:
    """Which share of the grist are malts that convert themselves?"""
    return share(plan, BASE_MALTS | KILNED)


Index = Literal["kolbach", "friability", "fine_coarse", "beta_glucan_mg_per_l"]


def mean(plan: MashPlan, index: Index, kinds: Collection[str] = BARLEY_MALTS) -> float | None:
    """What is the mean of this malt index by mass, over the malts whose sheet gives it? None where none does."""
    known = [(m.mass_kg, getattr(m, index)) for m in plan.grist if m.kind in kinds and getattr(m, index) is not None]
    total = sum(kg for kg, _ in known)
    return sum(kg * value for kg, value in known) / total if total > 0.0 else None


def thickness_l_per_kg(plan: MashPlan, until: int = 0) -> float | None:
    """How thick is the mash once the first `until` steps are over, L/kg? None without grist."""
    if plan.grist_kg <= 0.0:
        return None
    added = sum(step.addition_kg for step in plan.steps[:until] if step.kind in ADDS)
    boiled = sum(step.boil_off_kg for step in plan.steps[:until])
    return (plan.liquor_kg + added - boiled) / plan.grist_kg


def place(plan: MashPlan, step: PlanStep) -> str:
    """Which step is it, in words without its name? Where grain goes in, dough-in is step 1."""
    first = 2 if plan.grist_kg > 0.0 else 1
    at = next(i for i, other in enumerate(plan.steps, first) if other is step)
    return f"step {at} ({step.kind.replace('_', '-')}, {step.temperature_c:g} °C)"


def begin(text: str) -> str:
    """The text with a capital, to begin a sentence."""
    return text[:1].upper() + text[1:]
