"""What happens in the tun, step by step: how long, how hot, how much heat?

Dough-in and every step of a program as a stage on one tun: its rise and what limits it, its hold, what is in the tun,
the energy drawn. Arithmetic alone; whether it is allowed is for `feasible.py`.
"""

import math
from typing import NamedTuple, TypedDict

from controller.brewing import extract, heat, volumes
from controller.brewing.step_purpose import reason_for_step
from controller.core.control.climb import BAND_K, LimitedBy, climb, late_s, power_w
from controller.core.control.heat_path import heat_path
from controller.core.nouns import COMES_IN, GOES_IN, SETTLE_S, StepKind
from controller.core.procedure.program import BAND_S
from controller.plan.additions import NOTHING, Addition, InTun, comes, gravity_p
from controller.plan.recipe import Grist, Program, Step
from controller.settings.tun import Tun

LANDS_K = 1.0  # mash that lands so near its first rest is there (the usual tolerance of a rest)
NO_GRAIN = "water alone: there is nothing to convert"


class Stage(NamedTuple):
    """One step of the plan, dough-in included: what is in the tun, how it gets to its target, how long it stays."""

    name: str
    kind: StepKind
    target_c: float
    ramp_s: float
    climb_k_per_s: float  # mean over the rise; 0 where there is none
    limited_by: LimitedBy
    hold_s: float
    capacity_j_per_k: float
    liquor_kg: float
    comes: Addition
    kwh: float  # drawn by the heater in this step
    at: int | None  # index of the program's step; None for dough-in
    why: str
    late_s: float = 0.0  # from the rise's arithmetic end until the step's own time begins

    @property
    def rising_s(self) -> float:
        """How long from the step's beginning until its own time begins, s?"""
        return self.ramp_s + self.late_s


class Strike(NamedTuple):
    """The liquor before dough-in, and where the mash lands."""

    temperature_c: float | None  # what the tun must read just before grain
    parts: heat.StrikeParts | None
    landing_c: float
    seconds: float
    kwh: float
    capacity_j_per_k: float
    drawn_c: float | None = None  # of liquor that comes from another vessel: how hot it is drawn there
    late_s: float = 0.0  # from the arithmetic end of the heat-up until somebody is asked for grain

    @property
    def ready_s(self) -> float:
        """How long from the first heat until somebody is asked for grain, s?"""
        return self.seconds + self.late_s


def liquor_kg(program: Program) -> float:
    """How much liquor is in the tun before dough-in, kg?"""
    liquor = program.liquor
    if liquor.mass_kg is not None:
        return liquor.mass_kg
    return volumes.liquor_kg(liquor.volume_l or 0.5, liquor.temperature_c)


def strike(program: Program, tun: Tun, liquor: float) -> Strike:
    """How hot must the liquor be, how long and how much energy does it take, and where does the mash land?"""
    capacity = liquor * heat.WATER + tun.metal_j_per_k
    first_c = program.step[0].temperature_c or program.liquor.temperature_c
    if not program.grist:
        return Strike(None, None, program.liquor.temperature_c, 0.0, 0.0, capacity)
    dough = program.dough_in
    hot_j_per_k = tun.metal_j_per_k + heat_path(tun).bath_j_per_k
    parts = heat.strike_parts(**_wetted(program, liquor), mash_c=first_c, metal_j_per_k=hot_j_per_k)
    if dough.lid == "open":
        parts = parts._replace(lid_k=open_lid_k(program, tun, liquor, first_c)[1])
    strike_c, drawn_c = first_c + sum(parts) if dough.strike_c is None else dough.strike_c, None
    if program.liquor.heated_in != "tun":
        strike_c, drawn_c = _drawn(program, tun, liquor, strike_c)
    landing_c = heat.landing_c(**_wetted(program, liquor), liquor_c=strike_c, metal_j_per_k=hot_j_per_k)
    seconds, kwh = (0.0, 0.0) if drawn_c else _heat_up(program.liquor.temperature_c, tun, liquor, strike_c)
    lands_c = first_c if dough.strike_c is None else landing_c
    late = 0.0 if drawn_c else BAND_S + _shows_s(tun, capacity, strike_c, seconds)
    return Strike(strike_c, parts, lands_c, seconds, kwh, capacity, drawn_c, late)


def _shows_s(tun: Tun, capacity_j_per_k: float, strike_c: float, seconds: float) -> float:
    """How long after the end of its heat-up is strike liquor in band, s?"""
    hot_j_per_k = capacity_j_per_k + heat_path(tun).bath_j_per_k
    slope = (power_w(tun) - tun.loss_w_per_k * (strike_c - tun.room_c)) / hot_j_per_k
    return late_s(tun, slope, seconds)


def open_lid_k(program: Program, tun: Tun, liquor: float, mash_c: float) -> tuple[float, float]:
    """What does the open lid take of the mash while the grain goes in, K, and by how much must the strike be hotter to
    make up for it? dT = open loss x (mash - room) x time / heat capacity; the strike's share is that of liquor and
    vessel."""
    mash_j_per_k = heat.mash_j_per_k(program.grist_kg, liquor, tun.metal_j_per_k)
    lost_k = tun.open_w_per_k * (mash_c - tun.room_c) * tun.mashing_in_s(program.grist_kg) / mash_j_per_k
    return lost_k, lost_k * mash_j_per_k / (liquor * heat.WATER + tun.metal_j_per_k + heat_path(tun).bath_j_per_k)


def lost_k(program: Program, tun: Tun, liquor: float, landing_c: float) -> tuple[float, float]:
    """What has the mash lost before heat may come after dough-in, K: by the open lid, where the strike does not cover
    it, and while it mixes?"""
    covered = not program.grist or (program.dough_in.lid == "open" and program.dough_in.strike_c is None)
    lid_k = 0.0 if covered else open_lid_k(program, tun, liquor, landing_c)[0]
    mash_j_per_k = heat.mash_j_per_k(program.grist_kg, liquor, tun.metal_j_per_k)
    return lid_k, tun.loss_w_per_k * (landing_c - tun.room_c) * mixing_s("dough_in", tun) / mash_j_per_k


def _drawn(program: Program, tun: Tun, liquor: float, strike_c: float) -> tuple[float, float]:
    """What must the tun read before grain, and how hot is the liquor drawn from the other vessel? The empty tun takes
    its share; a strike written by hand is the temperature it is drawn at. Heat balance, first law (W30)."""
    lost_k, cold_c = program.liquor.lost_on_the_way_k, vessel_c(program, tun)
    vessel, poured = tun.metal_j_per_k + heat_path(tun).bath_j_per_k, liquor * heat.WATER
    if program.dough_in.strike_c is None:
        return strike_c, strike_c + vessel * (strike_c - cold_c) / poured + lost_k
    return heat.mix_c([(poured, strike_c - lost_k), (vessel, cold_c)]), strike_c


def vessel_c(program: Program, tun: Tun) -> float:
    """How warm is the empty tun that liquor is poured into, °C?"""
    dough = program.dough_in
    cold_c = tun.room_c if dough.tun_temperature_c is None else dough.tun_temperature_c
    if dough.preheat is None:
        return cold_c
    return heat.mix_c([(dough.preheat.mass_kg * heat.WATER, dough.preheat.temperature_c), (tun.metal_j_per_k, cold_c)])


class Wetted(TypedDict):
    """Grist that meets liquor, as the heat balance asks for it."""

    grist_kg: float
    grist_c: float
    liquor_kg: float
    moisture_share: float
    slaking_j_per_kg: float


def _wetted(program: Program, liquor: float) -> Wetted:
    """What does the heat balance need to know of this grist? Moisture and slaking heat are means by mass."""
    dough, total_kg = program.dough_in, program.grist_kg
    set_free = sum(line.mass_kg * heat.slaking_j_per_kg(_moisture(line)) for line in program.grist)
    return Wetted(
        grist_kg=total_kg,
        grist_c=dough.grist_temperature_c,
        liquor_kg=liquor,
        moisture_share=moisture_share(program),
        slaking_j_per_kg=set_free / total_kg if dough.slaking_kj_per_kg is None else 1e3 * dough.slaking_kj_per_kg,
    )


def _moisture(line: Grist) -> float:
    return extract.USUAL_MOISTURE if line.moisture is None else line.moisture


def moisture_share(program: Program) -> float:
    """How moist is the grist, 0..1, as usual where a sheet is silent?"""
    return sum(line.mass_kg * _moisture(line) for line in program.grist) / program.grist_kg


def _heat_up(from_c: float, tun: Tun, liquor: float, strike_c: float) -> tuple[float, float]:
    """How long, and how much does the heater draw, losses included, until the strike temperature? The vessel starts as
    warm as the room, liquor of a coil or jacket as warm as that in the tun."""
    if strike_c <= from_c:
        return 0.0, 0.0
    hot_c = min(strike_c, 100.0)
    kwh = heat.liquor_kwh(liquor, from_c, hot_c) + heat.warming_kwh(tun.metal_j_per_k, tun.room_c, hot_c)
    kwh += heat.warming_kwh(heat_path(tun).bath_j_per_k, from_c, hot_c)
    loss_w = tun.loss_w_per_k * ((from_c + hot_c) / 2.0 - tun.room_c)
    seconds = heat.time_for_energy_s(kwh, power_w(tun) - loss_w)
    return seconds, power_w(tun) * seconds / 3.6e6 / tun.heater.efficiency


def mixing_s(kind: StepKind, tun: Tun) -> float:
    """How long after grain or an addition is in until the reading is believed, s? 0 for a step without any. Grain also
    cools the liquor of a coil or jacket, which gives on the heat it has until both are as warm."""
    if kind == "dough_in":
        return SETTLE_S + heat_path(tun).bath_settles_s
    return SETTLE_S if kind in GOES_IN else 0.0


def stages(program: Program, tun: Tun, liquor: float, strike: Strike) -> tuple[Stage, ...]:
    """Step by step: what is in the tun, how the target is reached, how long it holds, what it costs."""
    found: list[Stage] = []
    if strike.temperature_c is not None:
        found.append(_dough_in(program, liquor, strike))
    now_c, hottest_c = strike.landing_c, strike.landing_c
    short_k = 0.0 if strike.temperature_c is None else sum(lost_k(program, tun, liquor, now_c))
    grist_kg, liquor_now, cooked_j = program.grist_kg, liquor, 0.0
    for at, step in enumerate(program.step):
        capacity = heat.mash_j_per_k(program.grist_kg, liquor_now, tun.metal_j_per_k) + cooked_j
        to_c = now_c if step.temperature_c is None or step.kind == "water_in" else step.temperature_c
        why = step.why or ("" if program.beaker else NO_GRAIN)  # the program's own words, else the trade's
        if program.grist and not step.why:
            why = reason_for_step(step.kind, to_c, step.held_s, hottest_c)
        strong_p = gravity_p(program, liquor_now) if program.grist else 0.0
        comes_in = comes(program, tun, step, InTun(grist_kg, liquor_now, capacity, now_c, strong_p))
        if step.kind in COMES_IN:
            stage = Stage(
                step.name, step.kind, to_c, 0.0, 0.0, "addition", 0.0, capacity, liquor_now, comes_in, 0.0, at, why
            )
        else:
            stage = _rest(at, step, tun, capacity, liquor_now, now_c, to_c, why)
            really_s = climb(tun, capacity, now_c - short_k, to_c, step.ramp_k_per_s).in_band_s
            stage = stage._replace(late_s=really_s - stage.ramp_s if math.isfinite(stage.ramp_s) else 0.0)
        found.append(stage)
        short_k = _short_k(stage, tun)
        grist_kg, liquor_now = grist_kg + comes_in.grist_kg, liquor_now + comes_in.liquor_kg
        cooked_j += comes_in.capacity_j_per_k
        now_c = _after_c(step, comes_in, to_c)
        hottest_c = max(hottest_c, now_c)
    return tuple(found)


def _short_k(stage: Stage, tun: Tun) -> float:
    """By how much is the mash under its temperature when the next step begins, K? Who adds is told to stop short of the
    target, and it cools while that mixes."""
    if stage.kind not in GOES_IN:
        return 0.0
    told_k = 0.0 if stage.kind == "water_in" else BAND_K
    return told_k + tun.loss_w_per_k * (stage.target_c - tun.room_c) * SETTLE_S / stage.capacity_j_per_k


def _after_c(step: Step, comes_in: Addition, to_c: float) -> float:
    """How warm is the mash after this step? Where what was written, or the cooker, lands it; else at its target."""
    written = step.amount_kg is not None or step.volume_l is not None or step.kind == "cereal"
    return comes_in.lands_c if written and comes_in.lands_c is not None else to_c


def _dough_in(program: Program, liquor: float, strike: Strike) -> Stage:
    target_c = strike.temperature_c or 0.0
    rise_k = target_c - program.liquor.temperature_c if strike.drawn_c is None else 0.0
    mean = rise_k / strike.seconds if 0.0 < strike.seconds < math.inf else 0.0
    first_c = program.step[0].temperature_c
    why = f"Grist meets liquor at {target_c:.1f} °C, as written."
    if first_c is None or abs(strike.landing_c - first_c) <= LANDS_K:
        why = reason_for_step("dough_in", target_c, 0.0)
    return Stage(
        "dough-in", "dough_in", target_c, strike.seconds, mean, "heater", 0.0, strike.capacity_j_per_k, liquor,
        NOTHING, strike.kwh, None, why, strike.late_s,
    )  # fmt: skip


def _rest(at: int, step: Step, tun: Tun, capacity: float, liquor: float, from_c: float, to_c: float, why: str) -> Stage:
    rise = climb(tun, capacity, from_c, to_c, step.ramp_k_per_s)
    mean = (to_c - from_c) / rise.seconds if 0.0 < rise.seconds < math.inf and to_c > from_c else 0.0
    held_s = 0.0 if step.kind == "keep" else step.held_s
    kwh = 0.0
    if math.isfinite(rise.seconds) and to_c >= from_c:
        kwh = heat.warming_kwh(capacity + heat_path(tun).bath_j_per_k, from_c, to_c)
        kwh += heat.loss_kwh(tun.loss_w_per_k, tun.room_c, (from_c + to_c) / 2.0, rise.seconds)
    kwh += heat.loss_kwh(tun.loss_w_per_k, tun.room_c, to_c, held_s)
    return Stage(
        step.name, step.kind, to_c, rise.seconds, mean, rise.limited_by, step.held_s, capacity, liquor,
        NOTHING, max(0.0, kwh) / tun.heater.efficiency, at, why,
    )  # fmt: skip
