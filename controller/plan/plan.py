"""Does this program fit this tun, and what will come of it?

`make` compiles a program for a tun: strike temperature, volumes, the rise before each step with what limits it, times,
energy, and the course the core steps through. Every reason why it does not fit is found at once. What is only advice is
not here: this room refuses for safety and physics alone.
"""

import hashlib
import math
from typing import NamedTuple

from controller.brewing import extract, heat, volumes
from controller.brewing.kinetics import malts
from controller.brewing.kinetics.calibration import Calibration
from controller.core.control.climb import power_w
from controller.core.nouns import ComesIn, Course, ForPeople, Iodine, Leg
from controller.plan import additions, feasible, stages
from controller.plan.recipe import Program, Step
from controller.plan.stages import Stage
from controller.settings.problems import Problem
from controller.settings.table import show
from controller.settings.tun import Tun


class Plan(NamedTuple):
    """What `check` shows and `serve` runs. With `problems`, the figures are there to explain them, not to run."""

    program: Program
    tun: Tun
    course: Course
    problems: tuple[Problem, ...]
    stages: tuple[Stage, ...]
    strike_c: float | None  # None: water alone
    strike_parts: heat.StrikeParts | None
    landing_c: float
    liquor_kg: float
    volume_l: float  # with all additions
    fill_share: float
    thickness_l_per_kg: float | None
    heat_up_s: float  # until somebody is asked for grain
    mash_s: float  # from dough-in to the end of the last step, decoctions away counted; keep left out
    duration_s: float  # from the first heat on, people answering at once; keep left out
    strike_kwh: float
    mash_kwh: float
    cost: float | None
    remarks: tuple[str, ...] = ()  # on the malt that the estimate of the wort rests on
    extract_kg: float | None = None  # at most, by the malt sheets; None where one does not say
    drawn_c: float | None = None  # strike liquor from another vessel: how hot it is drawn there
    first_wort_p: float | None = None  # if that is all converted, before any sparge

    @property
    def start_c(self) -> float:
        """How warm is what is in the tun when the run starts, °C? Liquor from elsewhere is in it by then."""
        return self.program.liquor.temperature_c if self.drawn_c is None else self.strike_c or 0.0

    @property
    def lid_k(self) -> float:
        """What the open lid takes of the mash below its landing, K; 0 without grain, or where the strike covers it."""
        return stages.lost_k(self.program, self.tun, self.liquor_kg, self.landing_c)[0]

    @property
    def energy_kwh(self) -> float:
        """What the heater draws, strike and mash, losses included."""
        return self.strike_kwh + self.mash_kwh


def _leg(stage: Stage, program: Program, tun: Tun) -> Leg:
    if stage.at is None:
        fastest = max(tun.climb_k_per_s, power_w(tun) / stage.capacity_j_per_k)  # plain liquor: no bed to lag
        return Leg(
            stage.name, "dough_in", stage.target_c, 0.0, fastest, 1.0, "person", stage.capacity_j_per_k, stage.rising_s,
            why=stage.why, mixing_s=stages.mixing_s("dough_in", tun),
        )  # fmt: skip
    step = program.step[stage.at]
    return Leg(
        name=step.name,
        kind=step.kind,
        target_c=stage.target_c,
        hold_s=stage.hold_s,
        climb_k_per_s=min(tun.climb_k_per_s, step.ramp_k_per_s or math.inf),
        tolerance_k=step.tolerance_k,
        ends=step.by,
        capacity_j_per_k=stage.capacity_j_per_k,
        ramp_s=stage.rising_s,
        why=stage.why,
        comes=_comes(stage.comes, step),
        remind_s=step.ph_every_s or 0.0,
        told="; ".join(one.told for one in program.enzyme if one.added_in == step.name),
        iodine=Iodine(step.ask_after_s or 0.0, step.go_on_after_s, step.iodine_every_s or 0.0, step.iodine_from_s),
    )


def _comes(comes: additions.Addition, step: Step) -> ComesIn:
    return ComesIn(
        kg=comes.kg,
        hot_c=comes.hot_c,
        j_per_kg_k=comes.j_per_kg_k,
        pull_kg_per_kg=comes.pull_kg_per_kg,
        thin_p=comes.thin_p,
        boil_off_kg=comes.boil_off_kg,
        kettle=kettle_words(step),
        cooled_c=comes.cooled_c,
        away_s=comes.away_s,
    )


def kettle_words(step: Step) -> str:
    """What happens to a pull in the kettle, in words?"""
    boils = [None if rest.boil_s is None else f"{show('duration', rest.boil_s)} of boil" for rest in step.kettle]
    rests = [
        f"{show('duration', rest.time_s or 0.0)} at {rest.temperature_c:g} °C" if rest.temperature_c else ""
        for rest in step.kettle
    ]
    parts = [boil or rest for boil, rest in zip(boils, rests, strict=True)]
    return ", ".join(parts)


def digest(program: Program, tun: Tun) -> str:
    """The same program and the same tun, by meaning: sixteen hexadecimal digits."""
    meaning = program.model_dump_json() + tun.model_dump_json()
    return hashlib.sha256(meaning.encode()).hexdigest()[:16]


def make(program: Program, tun: Tun, brewery: Calibration | None = None) -> Plan:
    """What comes of this program on this tun? Problems, where there are any, are all in the plan; nothing is raised.

    `brewery`: what measured worts of the brewery say of its malt; the estimate of the wort alone rests on it.
    """
    liquor = stages.liquor_kg(program)
    strike = stages.strike(program, tun, liquor)
    steps = stages.stages(program, tun, liquor, strike)
    mash = [stage for stage in steps if stage.at is not None]
    added = sum(stage.comes.liquor_kg for stage in steps if stage.comes.liquor_kg > 0.0)
    volume_l = volumes.mash_volume_l(liquor + added, additions.all_grist_kg(program))
    mash_s = sum(stage.rising_s + (0.0 if stage.kind == "keep" else stage.hold_s) for stage in mash)
    pauses_s = sum(stages.mixing_s(stage.kind, tun) for stage in steps)
    away_s = sum(stage.comes.away_s for stage in steps)
    mash_kwh = sum(stage.kwh for stage in mash)
    price = tun.energy_price_per_kwh
    basis = malt_basis(program, brewery)
    sheets = additions.sheets(program)
    promised = extract.promise(sheets)
    fit = feasible.Fit(liquor, volume_l, strike.temperature_c, strike.landing_c, strike.drawn_c, mash_s, steps)
    return Plan(
        program=program,
        tun=tun,
        course=_course(program, tun, strike, steps, strike.ready_s + pauses_s + mash_s)._replace(malt=basis.plain()),
        problems=feasible.problems(program, tun, fit),
        stages=steps,
        strike_c=strike.temperature_c,
        strike_parts=strike.parts,
        landing_c=strike.landing_c,
        drawn_c=strike.drawn_c,
        liquor_kg=liquor,
        volume_l=volume_l,
        fill_share=volumes.fill_share(volume_l, tun.volume_l),
        thickness_l_per_kg=volumes.thickness_l_per_kg(liquor, program.grist_kg) if program.grist else None,
        heat_up_s=strike.ready_s,
        mash_s=mash_s + away_s,
        duration_s=strike.ready_s + pauses_s + mash_s + away_s,
        strike_kwh=strike.kwh,
        mash_kwh=mash_kwh,
        cost=None if price is None else heat.cost(strike.kwh + mash_kwh, price),
        remarks=basis.remarks,
        extract_kg=None if promised is None else promised.extract_share * additions.all_grist_kg(program),
        first_wort_p=extract.first_wort_p(sheets, liquor + added),
    )


def malt_basis(program: Program, brewery: Calibration | None = None) -> malts.Basis:
    """Which malt does the estimate of the wort take for this grist?"""
    lines = [
        malts.GristPart(
            kind=line.kind,
            mass_kg=line.mass_kg,
            extract=line.extract,
            limit_attenuation=line.limit_attenuation,
            kolbach=line.kolbach,
            friability=line.friability,
            fine_coarse=line.fine_coarse,
            cooked=line.flaked or program.cereal_mash or line not in program.grist,
        )
        for line in program.all_grist
    ]
    return malts.of_grist(
        lines,
        brewery,
        stages.liquor_kg(program) / program.grist_kg if program.grist else None,
        mash_ph=program.liquor.expected_ph,
        low_rest_enzyme=program.adds("beta-glucan"),
        starch_enzyme=program.adds("starch"),
        unboiled=program.purpose == "wash",
        cooked_apart=program.cereal is not None,
        fine_grind=program.grind == "fine",
    )


def _course(program: Program, tun: Tun, strike: stages.Strike, steps: tuple[Stage, ...], planned_s: float) -> Course:
    return Course(
        program=program.name,
        title=program.title,
        tun=tun.name,
        legs=tuple(_leg(stage, program, tun) for stage in steps),
        liquor_kg=steps[0].liquor_kg,
        grist_kg=program.grist_kg,
        liquor_capacity_j_per_k=strike.capacity_j_per_k,
        loss_w_per_k=tun.loss_w_per_k,
        planned_s=planned_s,
        digest=digest(program, tun),
        landing_c=None if strike.temperature_c is None else strike.landing_c,
        liquor_c=program.liquor.temperature_c if strike.drawn_c is None else strike.temperature_c,
        people=ForPeople(
            grist=tuple((line.name, round(line.mass_kg, 3)) for line in program.grist),
            overruled=dict(program.overrule) or None,
            hot_liquor_s=program.hot_liquor.takes_s if program.hot_liquor is not None else None,
            hot_liquor_c=program.hot_liquor.temperature_c if program.hot_liquor is not None else None,
            cooker=tuple(
                (deed.before_s + additions.REMIND_S, deed.text) for deed in additions.cooker_deeds(program, tun)
            ),
        ),
    )


def _finite(value: float | None, digits: int) -> float | None:
    """A number for a document: rounded; what is not finite is nothing."""
    return round(value, digits) + 0.0 if value is not None and math.isfinite(value) else None


def document(plan: Plan) -> dict[str, object]:
    """The plan as `check --json` shows it: the shape of the contract, and more."""
    parts = plan.strike_parts
    return {
        "strike_c": _finite(plan.strike_c, 2),
        "drawn_c": _finite(plan.drawn_c, 2),
        "strike_parts_k": None if parts is None else {key: _finite(k, 2) for key, k in parts._asdict().items()},
        "liquor_kg": _finite(plan.liquor_kg, 2),
        "grist_kg": _finite(plan.program.grist_kg, 3),
        "volume_l": _finite(plan.volume_l, 1),
        "fill_share": _finite(plan.fill_share, 3),
        "thickness_l_per_kg": _finite(plan.thickness_l_per_kg, 2),
        "steps": [_step_document(stage) for stage in plan.stages],
        "heat_up_s": _finite(plan.heat_up_s, 0),
        "mash_s": _finite(plan.mash_s, 0),
        "duration_s": _finite(plan.duration_s, 0),
        "strike_kwh": _finite(plan.strike_kwh, 3),
        "mash_kwh": _finite(plan.mash_kwh, 3),
        "energy_kwh": _finite(plan.energy_kwh, 3),
        "extract_kg": _finite(plan.extract_kg, 2),
        "first_wort_p": _finite(plan.first_wort_p, 1),
        "cost": _finite(plan.cost, 2),
        "currency": plan.tun.currency or None,
        "digest": plan.course.digest,
    }


def _step_document(stage: Stage) -> dict[str, object]:
    rises = stage.climb_k_per_s > 0.0
    return {
        "name": stage.name,
        "kind": stage.kind,
        "target_c": _finite(stage.target_c, 2),
        "ramp_s": _finite(stage.ramp_s, 1),
        "climb_c_per_min": _finite(stage.climb_k_per_s * 60.0, 3) if rises else None,
        "limited_by": stage.limited_by or None,
        "hold_s": _finite(stage.hold_s, 1),
        "addition_kg": _finite(stage.comes.kg, 2) if stage.limited_by == "addition" else None,
        "energy_kwh": _finite(stage.kwh, 3),
        "why": stage.why,
    }
