"""What comes into the mash in this step: how much, how hot, and where does the mash land with it?

Infusions, water as warm as the mash, decoctions and a cooker that joins, each by one heat balance over what is in the
tun by then. A written amount says where the mash lands; without one the target says how much.
"""

from __future__ import annotations

from typing import NamedTuple

from controller.brewing import extract, heat, pull, volumes, water
from controller.brewing.advice.plan_facts import UNMALTED
from controller.brewing.kinetics.decoction import THICK_PULL
from controller.core.nouns import COMES_IN
from controller.plan.recipe import BOILING_C, Grist, Program, Step
from controller.settings.tun import Tun

CARRIED_K = {"infusion": 2.0, "decoction": 5.0, "cereal": 5.0}  # so far under the boil when it arrives (from memory)
MARGIN_S = 600.0  # a cooker is begun so much earlier than it must be (own proposal)
REMIND_S = 600.0  # and each thing to do at it is told so much earlier still (own proposal)
ROUNDS = 30  # of the balance of a pull whose size, time away and cooling hang together; the tenth moves no figure
USUAL_GRAIN_MOISTURE = 0.12  # of raw grain; 12 to 14 % (common practice)


class InTun(NamedTuple):
    """What is in the tun before the addition."""

    grist_kg: float
    liquor_kg: float
    capacity_j_per_k: float  # vessel counted
    now_c: float
    gravity_p: float  # of its liquid, if all of it is converted


class Addition(NamedTuple):
    """What comes in, and what it does."""

    kg: float = 0.0  # liquor, cooker, or what is pulled
    hot_c: float | None = None
    j_per_kg_k: float = heat.WATER  # of what comes in
    pull_kg_per_kg: float | None = None  # thickness of what is pulled or joins
    thin_p: float | None = None  # the liquid alone is pulled, of this gravity
    boil_off_kg: float = 0.0
    away_s: float = 0.0
    cooled_c: float | None = None  # the main mash is left to cool, to this; None: it is kept
    lands_c: float | None = None
    liquor_kg: float = 0.0  # more in the tun afterwards; less, where some boils off
    grist_kg: float = 0.0
    capacity_j_per_k: float = 0.0


NOTHING = Addition()


def boil_c(altitude_m: float) -> float:
    """Where does water boil at this altitude, °C, to the tenth that a thermometer shows?"""
    return round(water.boiling_c(altitude_m), 1)


def added_at_c(step: Step, boil_c: float = BOILING_C) -> float:
    """How hot is what is added? Boiling liquor has cooled by 2 K when it arrives, a decoction or a cooker by 5.

    `boil_c`: where water boils at the tun, °C.
    """
    written_c = step.temperature_c if step.kind == "water_in" else step.added_at_c or step.returned_at_c
    return boil_c - CARRIED_K.get(step.kind, 0.0) if written_c is None else written_c


def comes(program: Program, tun: Tun, step: Step, mash: InTun) -> Addition:
    """What comes into the mash in this step? Nothing in a rest."""
    if step.kind not in COMES_IN:
        return NOTHING
    hot_c = added_at_c(step, boil_c(tun.altitude_m))
    if step.kind == "decoction":
        return _decoction(tun, step, mash, hot_c)
    if step.kind == "cereal":
        return _cooker(program, mash, hot_c)
    return _liquor(step, mash, hot_c)


def _liquor(step: Step, mash: InTun, hot_c: float) -> Addition:
    """Liquor that lifts the mash, or that is as warm as the mash and lifts nothing."""
    to_c = mash.now_c if step.kind == "water_in" or step.temperature_c is None else step.temperature_c
    kg = step.amount_kg or 0.0
    if step.volume_l is not None:
        kg = volumes.liquor_kg(step.volume_l, hot_c)
    elif step.amount_kg is None and mash.now_c <= to_c < hot_c:
        kg = heat.addition_kg(mash.capacity_j_per_k, mash.now_c, to_c, hot_c)
    lands_c = heat.mixed_with_liquor_c(mash.capacity_j_per_k, mash.now_c, kg, hot_c)
    return Addition(kg, hot_c, lands_c=lands_c, liquor_kg=kg)


class _Drawn(NamedTuple):
    """What is drawn off: how thick, or of which gravity, and how much heat a kilogram of it carries."""

    kg_per_kg: float | None
    thin_p: float | None
    j_per_kg_k: float

    def kg(self, step: Step) -> float | None:
        """The amount that is written, kg."""
        if step.volume_l is None:
            return step.amount_kg
        if self.kg_per_kg is None:
            return step.volume_l / pull.thin_volume_l(1.0, self.thin_p or 0.0)
        return pull.kg_of_volume(step.volume_l, self.kg_per_kg)


def _drawn(step: Step, mash: InTun) -> _Drawn:
    """What does this step draw off? Never thinner than the mash, but for the liquid alone."""
    if mash.grist_kg <= 0.0:
        return _Drawn(None, None, heat.WATER)
    if step.pull == "thin":
        return _Drawn(None, mash.gravity_p, pull.thin_j_per_kg_k(mash.gravity_p))
    thick = mash.liquor_kg / mash.grist_kg
    wanted = THICK_PULL if step.pull == "thick" else step.pull if isinstance(step.pull, float) else thick
    return _Drawn(min(wanted, thick), None, pull.thick_j_per_kg_k(min(wanted, thick)))


def _decoction(tun: Tun, step: Step, mash: InTun, back_c: float) -> Addition:
    """A pull: its size hangs on the main mash meanwhile, that on the time away, and that on its size."""
    drawn, rests, to_c = _drawn(step, mash), [rest.heated for rest in step.kettle], step.temperature_c or mash.now_c
    power_w, written_kg = step.kettle_power_w, drawn.kg(step)
    boils_off = step.boil_off_kg if step.boil_off_kg is not None else pull.boiled_off_kg(rests, power_w or 0.0)
    kg, away_s, from_c = written_kg or 0.0, step.away_s or 0.0, mash.now_c
    for _ in range(ROUNDS):
        if written_kg is None and from_c <= to_c < back_c:
            kg = pull.mass_kg(mash.capacity_j_per_k, from_c, to_c, back_c, drawn.j_per_kg_k, boils_off)
        pulled_j = kg * drawn.j_per_kg_k
        if step.away_s is None and power_w is not None and rests:
            away_s = pull.kettle_s(pulled_j, mash.now_c, rests, power_w, tun.altitude_m) + 2.0 * pull.CARRY_S
        rest_j = max(1.0, mash.capacity_j_per_k - pulled_j)
        if step.main_mash == "left to cool":
            from_c = heat.cooled_c(rest_j, tun.loss_w_per_k, tun.room_c, mash.now_c, away_s)
    boiled_j = boils_off * heat.WATER
    back_kg = max(kg - boils_off, 1e-9)
    return Addition(
        kg=kg,
        hot_c=back_c,
        j_per_kg_k=max(0.0, pulled_j - boiled_j) / back_kg,
        pull_kg_per_kg=drawn.kg_per_kg,
        thin_p=drawn.thin_p,
        boil_off_kg=boils_off,
        away_s=away_s,
        cooled_c=from_c if step.main_mash == "left to cool" else None,
        lands_c=heat.mix_c([(rest_j, from_c), (max(0.0, pulled_j - boiled_j), back_c)]),
        liquor_kg=-boils_off,
        capacity_j_per_k=0.0,
    )


def all_grist_kg(program: Program) -> float:
    """How much grain is it in all, that of the cooker with it, kg?"""
    return sum(line.mass_kg for line in program.all_grist)


def grain_j_per_k(grist: tuple[Grist, ...]) -> float:
    """How much heat warms this grain by one kelvin, J/K? Each line by its own moisture."""
    return sum(line.mass_kg * heat.grist_specific_heat_j_per_kg_k(_moisture(line)) for line in grist)


def _moisture(line: Grist) -> float:
    """How moist is this grain, 0..1, as usual where its sheet is silent?"""
    usual = USUAL_GRAIN_MOISTURE if line.kind in UNMALTED else heat.USUAL_MOISTURE_SHARE
    return usual if line.moisture is None else line.moisture


def cooker_boil_off_kg(program: Program) -> float:
    """How much boils off in the cooker, kg? As written, else by its power through its boil."""
    cereal = program.cereal
    if cereal is None:
        return 0.0
    if cereal.boil_off_kg is not None:
        return cereal.boil_off_kg
    return pull.boiled_off_kg([rest.heated for rest in cereal.step], cereal.power_w)


class Deed(NamedTuple):
    """Something to do at the cooker, so long before it joins."""

    before_s: float
    text: str


def cooker_deeds(program: Program, tun: Tun) -> tuple[Deed, ...]:
    """What is to be done at the cooker, and how long before it joins? Every rise and rest, the carry, and a margin."""
    cereal = program.cereal
    if cereal is None:
        return ()
    cold_j = grain_j_per_k(cereal.grist) + cereal.liquor_kg * heat.WATER
    now_c, lasts = cereal.liquor_temperature_c, list[tuple[float, str]]()
    for rest in (rest.heated for rest in cereal.step):
        seconds = pull.kettle_s(cold_j, now_c, [rest], cereal.power_w, tun.altitude_m)
        now_c = boil_c(tun.altitude_m) if rest.temperature_c is None else rest.temperature_c
        where = "the boil" if rest.temperature_c is None else f"{rest.temperature_c:g} °C"
        lasts.append((seconds, f"cooker: heat it to {where} and keep it there for {rest.time_s / 60.0:.0f} min"))
    left_s, found = sum(seconds for seconds, _ in lasts) + pull.CARRY_S + MARGIN_S, list[Deed]()
    for seconds, text in lasts:
        found.append(Deed(left_s, text))
        left_s -= seconds
    return tuple(found)


def _cooker(program: Program, mash: InTun, joined_c: float) -> Addition:
    """The whole cooker joins: T = (C_cook T_c + C T)/(C_cook + C), the first law."""
    cereal = program.cereal
    if cereal is None:
        return NOTHING
    boils_off = cooker_boil_off_kg(program)
    liquor_kg = cereal.liquor_kg - boils_off
    cooked_j = grain_j_per_k(cereal.grist) + liquor_kg * heat.WATER
    kg = cereal.grist_kg + liquor_kg
    return Addition(
        kg=kg,
        hot_c=joined_c,
        j_per_kg_k=cooked_j / kg,
        pull_kg_per_kg=liquor_kg / cereal.grist_kg,
        boil_off_kg=0.0,
        lands_c=heat.mix_c([(cooked_j, joined_c), (mash.capacity_j_per_k, mash.now_c)]),
        liquor_kg=liquor_kg,
        grist_kg=cereal.grist_kg,
        capacity_j_per_k=cooked_j - liquor_kg * heat.WATER,
    )


def sheets(program: Program, *, cooker: bool = True) -> list[extract.Sheet]:
    """What do the malt sheets say, with the cooker's grain where it counts?"""
    lines = program.all_grist if cooker else program.grist
    return [extract.Sheet(line.kind, line.mass_kg, line.extract, line.moisture) for line in lines]


def gravity_p(program: Program, liquor_kg: float) -> float:
    """How strong is the mash's liquid if all of it is converted, °P? As usual where a sheet is silent."""
    known = extract.first_wort_p(sheets(program, cooker=False), liquor_kg)
    if known is not None:
        return known
    per_kg = liquor_kg / program.grist_kg
    return 100.0 * extract.USUAL_EXTRACT / (per_kg + extract.USUAL_MOISTURE + extract.USUAL_EXTRACT)
