"""What wort will this plan give, if the tun follows it exactly, and what would a small change do?

An estimate for comparing programs. It is told beside the plan; no decision rests on it.
"""

from __future__ import annotations

import math
from typing import Any, NamedTuple

from controller.brewing.kinetics import hands, malts
from controller.brewing.kinetics.model import (
    PUBLISHED_SET,
    Deed,
    Mark,
    Prediction,
    Pulled,
    Span,
    Thinned,
    predict,
    spans,
)
from controller.brewing.kinetics.what_if import Rest, Variation, profile_of, what_if
from controller.core.control.climb import power_w
from controller.core.procedure import estimate
from controller.plan.feasible import highest_c
from controller.plan.plan import Plan
from controller.plan.stages import Stage, lost_k, mixing_s

VARIED_S = 6 * 3600.0  # what changes would do is worked out for a mash up to so long: souring takes days
LANDS_K = 0.1  # mash that lands nearer its first target is there


class Forecast(NamedTuple):
    """What is expected of a plan."""

    prediction: Prediction
    planned: list[Rest]
    warmest_c: float  # of the tun
    remarks: tuple[str, ...]
    profile: list[Span | Deed]
    marks: list[Mark]
    basis: malts.Basis

    @property
    def second(self) -> Prediction:
        """What does the other parameter set say? Their difference is what the literature leaves open."""
        return predict(self.profile, self.basis.malt, self.marks, PUBLISHED_SET)

    @property
    def variations(self) -> tuple[Variation, ...]:
        """What would a change of each rest do? As much reckoning again for each: only where somebody asks."""
        if sum(dt_s for dt_s, _ in spans(self.profile)) > VARIED_S:
            return ()
        varied = what_if(self.planned, self.basis.malt, self.basis.params, self.warmest_c)
        return tuple(one for one in varied if one.name != "dough-in")

    def document(self) -> dict[str, Any]:
        """As `check --json` and `dryrun --json` show what changes would do."""
        return {"what_if": [_rounded(one) for one in self.variations], "malt": list(self.remarks)}


def rests(plan: Plan) -> list[Rest] | None:
    """The plan as temperatures and times from dough-in on, keep left out; None without grain, or where it has no end.

    The first rest is longer by the time that mixing takes; grain that lands off its target, by the strike or by what is
    lost until heat may come (and is heated again), has it as a rest. While
    a decoction is away the mash waits at the temperature before, and what is poured in takes its time to mix.
    """
    stages = [stage for stage in plan.stages if stage.at is not None]
    if not plan.program.grist or not stages or not all(math.isfinite(stage.ramp_s) for stage in stages):
        return None
    mixing_s = plan.course.legs[0].mixing_s
    found = [_rest(plan, stage) for stage in stages if stage.kind != "keep"]
    cooled_k = sum(lost_k(plan.program, plan.tun, plan.liquor_kg, plan.landing_c))
    landed_c = plan.landing_c - cooled_k
    if abs(landed_c - stages[0].target_c) > LANDS_K:
        heated_s = cooled_k * stages[0].capacity_j_per_k / power_w(plan.tun)
        landed = Rest("dough-in", landed_c, mixing_s, lands=plan.program.dough_in.strike_c is None)
        return [landed, found[0]._replace(ramp_s=found[0].ramp_s + heated_s), *found[1:]]
    return [found[0]._replace(hold_s=found[0].hold_s + mixing_s), *found[1:]]


def _rest(plan: Plan, stage: Stage) -> Rest:
    """A stage as a rest: with what is away before it, or what is poured in."""
    rest = Rest(stage.name, stage.target_c, stage.hold_s + mixing_s(stage.kind, plan.tun), stage.ramp_s)
    grist_kg = plan.program.grist_kg
    more_kg = 0.0 if stage.kind == "cereal" else stage.comes.liquor_kg  # of a cooker nothing is followed
    thinned = Thinned((stage.liquor_kg + more_kg) / grist_kg) if stage.comes.liquor_kg else None
    if stage.kind in ("infusion", "water_in", "cereal"):
        return rest._replace(thinned=thinned)
    if stage.kind == "decoction" and stage.at is not None:
        before_c = plan.stages[plan.stages.index(stage) - 1].target_c
        work, thin = estimate.work(plan.course), stage.comes.thin_p is not None
        share = hands.pull_share(work, plan.stages.index(stage))
        pulled = Pulled(share, before_c, stage.comes.pull_kg_per_kg, thin)
        cooled_c = stage.comes.cooled_c
        return rest._replace(pulled=pulled, away_s=stage.comes.away_s, away_to_c=cooled_c, thinned=thinned)
    return rest


def forecast(plan: Plan) -> Forecast | None:
    """What is expected of a plan; None without grain."""
    planned = rests(plan)
    if not planned:
        return None
    basis = malts.recalled(plan.course.malt)
    profile, marks = profile_of(planned)
    return Forecast(
        prediction=predict(profile, basis.malt, marks, basis.params),
        planned=planned,
        warmest_c=highest_c(plan.tun),
        remarks=plan.remarks,
        profile=profile,
        marks=marks,
        basis=basis,
    )


def _rounded(one: Variation) -> dict[str, Any]:
    return {key: round(value, 3) if isinstance(value, float) else value for key, value in one._asdict().items()}
