"""What would an old hand say about this plan?

The plan told to the advice of `controller.brewing` in the plain figures it asks for. Advice is never a refusal: the
brewer may overrule each rule with a reason in the program file, and the reason goes on record.
"""

import math
from typing import NamedTuple

from controller.brewing import water
from controller.brewing.advice import advice
from controller.brewing.advice.advice import Advice, Changes
from controller.brewing.advice.plan_facts import Malt, MashPlan, PlanStep, aim_of
from controller.core.supply import drawn_w
from controller.plan.plan import Plan
from controller.plan.recipe import Grist, Program
from controller.plan.stages import Stage
from controller.settings.tun import Tun


def mash_plan(plan: Plan, *, calibration_age_days: float | None, others_w: float = 0.0) -> MashPlan:
    """The plan in the advisor's terms. `others_w`: what other tuns on the same supply may draw at the same time."""
    program, tun, answered = plan.program, plan.tun, _answered(plan.program)
    hot = program.hot_liquor  # its heating begins with the strike at the earliest; ready in s from dough-in
    named = "people" in program.model_fields_set
    return MashPlan(
        steps=tuple(_step(program, tun, stage, stage.at in answered) for stage in plan.stages if stage.at is not None),
        grist=tuple(_malt(line) for line in program.all_grist),
        liquor_kg=plan.liquor_kg + sum(stage.comes.liquor_kg for stage in plan.stages if stage.kind == "cereal"),
        tun_l=tun.volume_l,
        cut_off_c=tun.guard.hard_limit_c,
        min_liquor_l=tun.min_liquor_l,
        mixing=tun.mixing,
        strike_c=plan.strike_c,
        boil_c=water.boiling_c(tun.altitude_m),
        aim=aim_of(program.aim) if isinstance(program.aim, float) else program.aim,
        enzyme=program.adds("beta-glucan"),
        starch_enzyme=program.adds("starch"),
        settle_s=tun.guard.dead_time_s + 3.0 * tun.probes.mash.lag_s,
        cereal_mash=program.cereal_mash or program.cereal is not None,
        splashing=program.splashing,
        pale_to_keep=program.pale_to_keep,
        staffed_until_s=program.staffed_s,
        hot_liquor_ready_s=None if hot is None else hot.takes_s - plan.heat_up_s,
        people=len(program.people) if named else 1,
        calibration_age_days=calibration_age_days,
        altitude_known="altitude_m" in tun.model_fields_set,
        power_w=drawn_w(tun, tun.heater.duty_cap, None),
        others_w=others_w,
        supply_limit_w=tun.supply_limit_w,
        expected_ph=program.liquor.expected_ph,
    )


def _malt(line: Grist) -> Malt:
    return Malt(
        kind=line.kind,
        mass_kg=line.mass_kg,
        flaked=line.flaked,
        kolbach=line.kolbach,
        friability=line.friability,
        fine_coarse=line.fine_coarse,
        beta_glucan_mg_per_l=line.beta_glucan_mg_per_l,
        diastatic_lintner=line.diastatic_power,
    )


def _answered(program: Program) -> set[int]:
    """In which steps does an enzyme work that was added, by its data sheet?"""
    found: set[int] = set()
    for one in program.enzyme:
        begun = [at for at, step in enumerate(program.step) if step.name == one.added_in]
        hottest_c = 0.0
        for at in range(begun[0] if begun else len(program.step), len(program.step)):
            step_c = program.step[at].temperature_c or 0.0
            hottest_c = max(hottest_c, step_c)
            if one.alive(hottest_c) and step_c <= one.works_to_c:
                found.add(at)
    return found


def _step(program: Program, tun: Tun, stage: Stage, answered: bool) -> PlanStep:
    step = program.step[stage.at or 0]
    return PlanStep(
        kind=step.kind,
        temperature_c=round(stage.target_c, 1),  # as it is shown: 152 °F are 66.7 °C
        hold_s=stage.hold_s,
        ramp_s=stage.ramp_s if math.isfinite(stage.ramp_s) else 0.0,
        climb_k_per_s=stage.climb_k_per_s,
        wanted_k_per_s=min(tun.climb_k_per_s, step.ramp_k_per_s or math.inf),
        by=step.by,
        addition_kg=stage.comes.kg,
        pull_l_per_kg=stage.comes.pull_kg_per_kg,
        away_s=stage.comes.away_s,
        thin_liquor_kg=None if stage.comes.thin_p is None else stage.comes.kg * (1.0 - stage.comes.thin_p / 100.0),
        boil_off_kg=stage.comes.boil_off_kg,
        ph_every_s=step.ph_every_s,
        enzyme=answered,
    )


class Said(NamedTuple):
    """A piece of advice, and the brewer's reason where it was overruled."""

    advice: Advice
    overruled: str | None

    def document(self) -> dict[str, str | None]:
        """As it stands in `check --json` and in the batch record."""
        return {**self.advice._asdict(), "overruled": self.overruled}


def advise(
    plan: Plan, changes: Changes | None = None, *, calibration_age_days: float | None = None, others_w: float = 0.0
) -> tuple[Said, ...]:
    """What is there to say about this plan, and what of it does the brewer know already?

    `changes`: a brewery's own figures by rule (`config/advice.toml`). `calibration_age_days` None: never calibrated.
    """
    facts = mash_plan(plan, calibration_age_days=calibration_age_days, others_w=others_w)
    return tuple(Said(said, plan.program.overrule.get(said.rule)) for said in advice.advise(facts, changes))
