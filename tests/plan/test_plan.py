"""Plans: the shipped programs against figures worked out by hand, physics as properties, and what is refused."""

from __future__ import annotations

import json
import math
from typing import Any, NamedTuple

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.brewing import heat, water
from controller.core.control.climb import climb
from controller.core.control.heat_path import heat_path
from controller.core.nouns import Phase, RunState
from controller.core.procedure.run import Run
from controller.core.procedure.time_left import finish_in_s
from controller.edge.files import config_files as files
from controller.plan import plan as plans
from controller.plan.feasible import MOST_FILL
from controller.plan.plan import Plan, document, make
from controller.plan.recipe import Program
from controller.plan.recipe_checks import agree
from controller.settings.faults_in_words import read
from controller.settings.tun import Heater, Output, SwitchInput, Tun
from tests.core.bench import tun as vessel
from tests.places import CONFIG


class Sheet(NamedTuple):
    """One program worked out by hand: heat balance with 4.19 kJ/(kg K) for liquor, grist at 18 °C, liquor heated in the
    tun; strike with specific and slaking heat by the malt's moisture (4.8 %: 0.410 of liquor, 18.2 kJ/kg), rises with
    0.40 for the grist; ramp time exact at constant power; liquor's own enthalpy from IAPWS.

    What is lost while the liquor warms from 12 °C: loss x (mean of liquor - room) x time. Sandpiper: 4 W/K x ((12 +
    52.78)/2 - 18) K = 57.6 W over 2,158 s are 0.035 kWh. Linnet: 2 x ((12 + 70.77)/2 - 18) = 46.8 W, 1,634 s, 0.021.
    """

    program: str
    strike_c: float
    heat_up_min: int
    fill_l: float
    ramps_min: tuple[float, ...]
    limited_by: str
    total_min: float
    mash_kwh: float
    strike_kwh: float  # in liquor and vessel
    lost_kwh: float  # to the room meanwhile


SHEETS = (
    Sheet("linnet", 70.77, 27, 18.4, (11.0,), "limit", 81.0, 0.36, 1.07, 0.021),
    Sheet("sandpiper", 52.78, 36, 73.4, (13.3, 9.3, 6.2), "heater", 103.8, 2.64, 2.96, 0.035),
    Sheet("redstart", 46.76, 32, 75.1, (18.9, 9.6, 6.4), "heater", 104.9, 3.12, 2.64, 0.024),
    Sheet("bittern", 43.44, 18, 22.9, (23.0, 7.0, 5.0), "limit", 130.0, 1.09, 0.72, 0.006),
    Sheet("dotterel", 55.01, 38, 73.4, (12.3, 8.3, 5.2), "heater", 105.7, 2.39, 3.13, 0.039),
    Sheet("crake", 46.55, 17, 26.7, (25.0,), "limit", 116.0, 0.70, 0.67, 0.006),
)


def shipped(name: str, tun: str | None = None) -> Plan:
    program = files.load_program(CONFIG, name)
    return make(program, files.load_tun(CONFIG, tun or program.tun))


def late_s(plan: Plan) -> float:
    """What comes on the sums of a worked example, from dough-in on, until the probe shows it, s."""
    return sum(stage.late_s for stage in plan.stages if stage.at is not None)


def heated(name: str) -> Plan:
    """The shipped program with its decoctions left out: every step reached by heat alone."""
    program = files.load_program(CONFIG, name)
    steps = tuple(step for step in program.step if step.kind != "decoction")
    return make(program.model_copy(update={"step": steps}), files.load_tun(CONFIG, program.tun))


@pytest.mark.parametrize("sheet", SHEETS, ids=lambda sheet: sheet.program)
def test_shipped_programs_by_hand(sheet: Sheet) -> None:
    """Strike, heat-up, fill, ramps with what limits them, total time and energy agree to the sheet's last digit."""
    plan = heated(sheet.program)
    rises = [stage for stage in plan.stages if stage.at is not None and stage.ramp_s > 0]
    assert plan.problems == ()
    assert plan.strike_c == pytest.approx(sheet.strike_c, abs=0.006)
    assert plan.stages[0].ramp_s / 60 == pytest.approx(sheet.heat_up_min, abs=0.51)
    assert plan.volume_l == pytest.approx(sheet.fill_l, abs=0.051)
    assert [stage.ramp_s / 60 for stage in rises] == pytest.approx(sheet.ramps_min, abs=0.06)
    assert {stage.limited_by for stage in rises} == {sheet.limited_by}
    assert (plan.mash_s - late_s(plan)) / 60 == pytest.approx(sheet.total_min, abs=0.06)
    assert plan.mash_kwh == pytest.approx(sheet.mash_kwh, abs=0.006)
    assert plan.strike_kwh == pytest.approx(sheet.strike_kwh + sheet.lost_kwh, abs=0.006)


@pytest.mark.parametrize(("name", "kwh"), [("sandpiper", 2.998), ("linnet", 1.090)])
def test_power_times_time_is_the_strike_s_energy(name: str, kwh: float) -> None:
    """Sandpiper heats up in 2,158 s at 5 kW: 2.998 kWh; linnet in 1,634 s at 2.4 kW: 1.090 kWh; at 80 % of the plate's
    power the same heat costs a quarter more of it."""
    plan = shipped(name)
    assert plan.strike_kwh == pytest.approx(kwh, abs=0.001)
    assert plan.strike_kwh == pytest.approx(plan.tun.heater.power_w * plan.stages[0].ramp_s / 3.6e6)
    heater = plan.tun.heater
    lossy = heater.model_copy(update={"power_w": heater.power_w / 0.8, "efficiency": 0.8})
    dearer = make(plan.program, plan.tun.model_copy(update={"heater": lossy}))
    assert dearer.heat_up_s == pytest.approx(plan.heat_up_s)
    assert dearer.strike_kwh == pytest.approx(plan.strike_kwh / 0.8)


def test_the_shipped_decoction_by_hand() -> None:
    """Dotterel, 52 to 64 °C, back at 95, takes 25.2 kg of thick mash, 1.08 times what mash of the tun's own thickness
    would be (W9b: 29.1 %), vessel counted; then as heated."""
    plan = shipped("dotterel")
    pulled = next(stage for stage in plan.stages if stage.kind == "decoction")
    share = pulled.comes.kg / (plan.liquor_kg + plan.program.grist_kg)
    assert pulled.comes.pull_kg_per_kg == 1.8
    assert pulled.comes.kg == pytest.approx(25.2, abs=0.05)
    grain_kg = pulled.comes.kg / 2.8
    balance = grain_kg * (heat.grist_specific_heat_j_per_kg_k() + 1.8 * heat.WATER) * (95.0 - 52.0)
    assert balance == pytest.approx(pulled.capacity_j_per_k * 12.0, rel=1e-9)
    assert share == pytest.approx(0.315, abs=0.001)
    rises = [stage.ramp_s / 60 for stage in plan.stages if stage.at is not None and stage.ramp_s > 0]
    assert rises == pytest.approx((8.3, 5.2), abs=0.06)
    assert (plan.mash_s - late_s(plan)) / 60 == pytest.approx(105.7 - 12.3 + 45.0, abs=0.1)


def test_each_shipped_program_fits_a_shipped_tun_and_ends_with_keep() -> None:
    """Nothing is shipped that does not run, and every program keeps the mash until somebody takes over."""
    names = files.names(CONFIG / "programs")
    assert len(names) == 8
    for name in names:
        plan = shipped(name)
        assert plan.problems == ()
        assert plan.course.legs[-1].kind == "keep"


def test_programs_do_not_fit_a_tun_of_another_size() -> None:
    """More litres than 95 % of the small tun, or liquor that leaves the big one's heater bare, is refused."""
    for name in ("sandpiper", "redstart", "dotterel"):
        problems = shipped(name, "plover").problems
        assert any(p.where == "liquor" and "at most 28.5 L" in p.wanted for p in problems)
    for name in ("linnet", "bittern", "crake"):
        (problem,) = shipped(name, "gannet").problems
        assert problem.where == "liquor" and "at least 25 L" in problem.wanted


def test_course_of_a_mash() -> None:
    """The core steps through dough-in and the steps in order, with liquor's heat capacity first and the mash's then."""
    course = shipped("sandpiper").course
    assert [leg.kind for leg in course.legs] == ["dough_in", "rest", "rest", "rest", "mash_out", "keep"]
    assert course.legs[0].target_c == pytest.approx(52.78, abs=0.006)
    assert (course.legs[0].hold_s, course.legs[0].ends) == (0.0, "person")
    assert course.liquor_capacity_j_per_k == pytest.approx(60 * 4190 + 12500)
    assert course.legs[1].capacity_j_per_k == pytest.approx(297_420)  # reference mash R of the worked examples
    assert course.legs[3].ends == "iodine"
    assert course.legs[3].iodine.after_s == 900.0
    assert course.planned_s == pytest.approx(shipped("sandpiper").duration_s)


@pytest.mark.parametrize("name", ["sandpiper", "linnet", "dotterel"])
def test_every_end_hangs_on_the_same_plan(name: str) -> None:
    """A run that begins says the plan's duration as its time to the end; a delayed start goes by the plan's heat-up."""
    plan = shipped(name)
    begun = Run(state=RunState.RUNNING, course=plan.course, phase=Phase.HEATING)
    assert finish_in_s(begun, plan.start_c, 0.0) == pytest.approx(plan.duration_s)
    assert plan.course.legs[0].ramp_s == plan.heat_up_s


def test_water_trial_has_no_dough_in() -> None:
    """Without grain there is no strike and nobody is asked to dough in."""
    plan = shipped("water-trial")
    assert plan.strike_c is None
    assert plan.course.grist_kg == 0.0
    assert [leg.kind for leg in plan.course.legs] == ["rest", "rest", "keep"]
    assert plan.course.liquor_kg == pytest.approx(25.99, abs=0.01)  # 26 L at 12 °C, 0.9995 kg/L (IAPWS)


# ---------------------------------------------------------------- made-up mashes


def heater_of(power_w: float) -> Heater:
    return Heater(kind="proportional", power_w=power_w, place="jacket")


def mash(
    *steps: dict[str, Any], grist_kg: float = 20.0, liquor: str | dict[str, str] = "60 kg", **changes: Any
) -> Program:
    data = {
        "name": "trial",
        "title": "Trial",
        "grist": [{"name": "pale", "mass": f"{grist_kg:g} kg"}] if grist_kg else [],
        "liquor": {"mass": liquor} if isinstance(liquor, str) else liquor,
        "step": list(steps),
        **changes,
    }
    value, problems = read(Program, data, agree)
    assert value is not None, problems
    return value


def rest(name: str, temperature: str, time: str = "20 min", **more: Any) -> dict[str, Any]:
    return {"name": name, "temperature": temperature, "time": time, **more}


def places(plan: Plan) -> list[str]:
    return [problem.where for problem in plan.problems]


@pytest.mark.parametrize(("power_w", "minutes"), [(2000, 24.8), (3000, 15.9), (5000, 9.29), (7000, 9.0)])
def test_ramp_time_by_power(power_w: float, minutes: float) -> None:
    """63 to 72 °C takes 24.8, 15.9 and 9.29 min with 2, 3 and 5 kW (worked example W14), and 9 min within 1 K/min."""
    heater = heater_of(float(power_w))
    plan = make(mash(rest("a", "63 °C"), rest("b", "72 °C")), vessel(heater=heater))
    assert plan.stages[2].ramp_s / 60 == pytest.approx(minutes, rel=0.01)


def test_liquor_round_a_coil_is_in_the_plan() -> None:
    """By hand: 20 kg in 60 kg, 12.5 kJ/K of vessel and 30 L round the coil; strike: the grain's 33.5 kJ/K x (63 - 18)
    over 251.4 + 12.5 + 125.6 kJ/K. Rise 63 to 72: ten kelvins of all three and the grain, less what is lost."""
    coil = Heater(kind="ssr", power_w=5000, place="coil", window_s=2, bath_l=30.0)
    program = mash(rest("one", "63 °C"), rest("two", "72 °C"))
    without = make(program, vessel(heater=coil.model_copy(update={"place": "jacket", "bath_l": 0.0})))
    plan = make(program, vessel(heater=coil))
    bath = 30.0 * water.J_PER_L_K
    hot = 60.0 * heat.WATER + plan.tun.metal_j_per_k
    mash_j = heat.mash_j_per_k(20.0, 60.0, plan.tun.metal_j_per_k)
    assert (without.strike_c or 0.0) - 63.0 == pytest.approx(((plan.strike_c or 0.0) - 63.0) * (hot + bath) / hot)
    first, second = plan.stages[1], plan.stages[2]
    assert first.kwh == pytest.approx(without.stages[1].kwh)  # nothing is warmed in a rest
    wanted_s = heat.ramp_time_s(mash_j + bath, 5000.0, plan.tun.loss_w_per_k, plan.tun.room_c, 63.0, 72.0)
    assert second.ramp_s == pytest.approx(wanted_s)
    assert second.kwh - without.stages[2].kwh == pytest.approx(bath * 9.0 / 3.6e6, rel=0.05)
    warmed = bath * ((plan.strike_c or 0.0) - program.liquor.temperature_c)
    less = hot * ((without.strike_c or 0.0) - (plan.strike_c or 0.0))
    assert plan.strike_kwh - without.strike_kwh == pytest.approx((warmed - less) / 3.6e6, rel=0.02)
    lag_s = plan.course.legs[0].mixing_s - 180.0
    assert lag_s == pytest.approx(2.0 * heat_path(plan.tun).heater_s)
    assert (without.course.legs[0].mixing_s, plan.course.legs[1].mixing_s) == (180.0, 180.0)
    assert second.capacity_j_per_k == pytest.approx(mash_j)  # what additions and the guard's mash go by


def test_what_limits_a_rise() -> None:
    """The program's own limit, the tun's ceiling and the heater are told apart."""
    strong = vessel(heater=heater_of(8000.0))
    slow = {"ramp": "0.5 K/min"}
    for more, tun, limited_by in (({}, strong, "limit"), (slow, strong, "program"), ({}, vessel(), "heater")):
        plan = make(mash(rest("a", "63 °C"), rest("b", "72 °C", **more)), tun)
        assert plan.stages[2].limited_by == limited_by


@given(
    *(st.floats(500, 20_000), st.floats(0.05, 30), st.floats(20_000, 2_000_000)),
    *(st.floats(25, 70), st.floats(0.1, 25), st.floats(0.1 / 60, 3 / 60)),
)
def test_rise_is_never_faster_than_allowed_or_possible(
    power: float, loss: float, capacity: float, from_c: float, rise_k: float, wanted: float
) -> None:
    """No planned rise beats the limit or the heater, and splitting a rise in two changes nothing."""
    tun = vessel(heater=heater_of(power), loss_w_per_k=loss, climb_k_per_s=1 / 60)
    to_c, middle_c = from_c + rise_k, from_c + rise_k / 2
    whole = climb(tun, capacity, from_c, to_c, wanted).seconds
    assert whole >= rise_k / min(wanted, 1 / 60) * (1 - 1e-9)
    assert whole >= heat.ramp_time_s(capacity, power, loss, tun.room_c, from_c, to_c) * (1 - 1e-9)
    parts = (climb(tun, capacity, *span, wanted).seconds for span in ((from_c, middle_c), (middle_c, to_c)))
    assert whole == pytest.approx(sum(parts), rel=1e-6)


def test_infusion_grows_the_mash() -> None:
    """52 to 64 °C with liquor at 98 °C takes 21.52 kg with a vessel of 12.5 kJ/K (worked example W8b)."""
    steps = (rest("a", "52 °C"), {"name": "add", "kind": "infusion", "temperature": "64 °C"}, rest("b", "64 °C"))
    plan = make(mash(*steps, liquor="50 kg"), vessel())
    assert plan.stages[2].comes.kg == pytest.approx(21.52, abs=0.02)
    legs = plan.course.legs
    assert legs[3].capacity_j_per_k - legs[2].capacity_j_per_k == pytest.approx(plan.stages[2].comes.kg * 4190)
    assert plan.volume_l == pytest.approx(50 + 21.52 + 13.4, abs=0.02)
    assert (legs[2].comes.hot_c, legs[2].hold_s, plan.stages[3].ramp_s) == (98.0, 0.0, 0.0)


def test_decoction_is_a_share_of_the_mash() -> None:
    """52 to 64 °C by a decoction back at 95 °C pulls 29.1 % of the mash, vessel counted (worked example W9b), drawn as
    the mash stands; of its thick part more is needed."""
    boil = {"name": "boil", "kind": "decoction", "temperature": "64 °C"}
    steps = (rest("a", "52 °C"), {**boil, "pull": "as the mash"}, rest("b", "64 °C"))
    thick = make(mash(rest("a", "52 °C"), boil, rest("b", "64 °C")), vessel())
    plan = make(mash(*steps), vessel())
    assert plan.stages[2].comes.kg / 80.0 == pytest.approx(0.291, abs=0.001)
    assert thick.stages[2].comes.kg / plan.stages[2].comes.kg == pytest.approx(1.083, abs=0.002)
    assert plan.stages[3].capacity_j_per_k == plan.stages[1].capacity_j_per_k


def test_time_away_counts_in_the_plan_and_not_in_the_run_s_own_time() -> None:
    """45 min that a decoction is away lengthen the plan; the core's own planned time, which leaves out waiting, not."""
    boil = {"name": "boil", "kind": "decoction", "temperature": "64 °C"}
    plain, away = (
        make(mash(rest("a", "52 °C"), step, rest("b", "64 °C")), vessel())
        for step in (boil, {**boil, "away": "45 min"})
    )
    assert away.duration_s - plain.duration_s == pytest.approx(2700.0)
    assert away.mash_s - plain.mash_s == pytest.approx(2700.0)
    assert away.course.planned_s == plain.course.planned_s


def test_strike_written_by_hand() -> None:
    """A strike temperature as written is used, and the first rest begins with the rise from where the mash lands."""
    plan = make(mash(rest("a", "64 °C"), dough_in={"strike": "66 °C"}), vessel())
    assert plan.strike_c == 66.0
    assert plan.landing_c == pytest.approx((33_922.24 * 18 + 263_900 * 66 + 380_000) / 297_822.24)
    assert plan.stages[1].ramp_s > 0


@pytest.mark.parametrize(("moisture", "plain_c", "auto_c"), [(2, 69.73, 67.46), (4, 69.91, 68.47), (8, 70.28, 69.29)])
def test_slaking_heat_follows_the_malt_sheet(moisture: int, plain_c: float, auto_c: float) -> None:
    """Worked example W34: 30, 19 and 13 kJ/kg at 2, 4 and 8 % moisture, and none where 0 is written; a sheet that is
    silent counts as 4 %, and a mixed grist as its mean by mass."""
    sheet = {"name": "pale", "mass": "20 kg", "moisture": f"{moisture} %"}
    for slaking, wanted_c in (("auto", auto_c), ("0 kJ/kg", plain_c)):
        plan = make(mash(rest("a", "64 °C"), grist=[sheet], dough_in={"slaking": slaking}), vessel())
        assert plan.strike_c == pytest.approx(wanted_c, abs=0.02)
    halves = [{"name": str(share), "mass": "10 kg", "moisture": f"{share} %"} for share in (2 + moisture, 6 - moisture)]
    if moisture == 4:
        silent, mixed = make(mash(rest("a", "64 °C")), vessel()), make(mash(rest("a", "64 °C"), grist=halves), vessel())
        assert silent.strike_c == pytest.approx(auto_c, abs=0.02)
        assert mixed.strike_c == pytest.approx(69.91 - 20 * (17 + 30) / 2 / 263.9, abs=0.02)


ELSEWHERE = {"mass": "60 kg", "heated_in": "other vessel"}
WET = {"name": "pale", "mass": "20 kg", "moisture": "3.2258 %"}  # specific heat 0.40 of liquor


@pytest.mark.parametrize(
    ("liquor", "dough_in", "draw_c", "tun_c", "lands_c"),
    [
        ({}, {}, 72.42, 69.84, 64.0),  # W30: both balances land the mash where it was wanted
        ({"lost_on_the_way": "1.5 K"}, {}, 73.92, 69.84, 64.0),
        ({}, {"preheat": "10 kg at 78 °C"}, 70.12, 69.84, 64.0),  # W32
        ({}, {"tun_temperature": "60 °C"}, 70.33, 69.84, 64.0),  # W5d
        ({}, {"strike": "78 °C"}, 78.0, 75.16, 68.72),  # W30b: as written it is drawn so hot
    ],
)
def test_strike_liquor_from_another_vessel(
    liquor: dict[str, str], dough_in: dict[str, str], draw_c: float, tun_c: float, lands_c: float
) -> None:
    """Drawn hotter by what the empty tun and the way take; the run starts with it in the tun, and heats nothing."""
    dough = {"slaking": "0 kJ/kg", **dough_in}
    plan = make(mash(rest("a", "64 °C"), grist=[WET], liquor={**ELSEWHERE, **liquor}, dough_in=dough), vessel())
    assert plan.drawn_c == pytest.approx(draw_c, abs=0.02)
    assert plan.strike_c == pytest.approx(tun_c, abs=0.02)
    assert plan.landing_c == pytest.approx(lands_c, abs=0.02)
    assert (plan.heat_up_s, plan.strike_kwh) == (0.0, 0.0)
    assert plan.start_c == plan.course.liquor_c == plan.strike_c


def test_liquor_that_no_tank_gives_is_refused() -> None:
    """Hotter than water boils up there, tanks that cannot be blended to it, and keys of another vessel without one."""
    high = vessel(altitude_m=2500.0)
    steep = mash(rest("a", "72 °C"), grist=[WET], liquor={**ELSEWHERE, "mass": "35 kg", "lost_on_the_way": "10 K"})
    assert "91.6 °C, where water boils at 2500 m" in make(steep, high).problems[-1].wanted
    tanks = mash(rest("a", "64 °C"), liquor={**ELSEWHERE, "hot": "70 °C"})
    assert places(make(tanks, vessel())) == ["liquor: hot"]
    data = {"title": "t", "grist": [WET], "liquor": {"mass": "60 kg", "hot": "70 °C"}, "step": [rest("a", "64 °C")]}
    _, problems = read(Program, {**data, "dough_in": {"preheat": "1 kg at 70 °C"}}, agree)
    assert [problem.where for problem in problems] == ["liquor: hot", "dough_in: preheat"]


# ---------------------------------------------------------------- what is refused, on both sides of each limit


@pytest.mark.parametrize(
    ("target", "fits"), [("78 °C", True), ("78.1 °C", False), ("80 °C", False), ("172.4 °F", True)]
)
def test_two_kelvin_under_the_hard_limit(target: str, fits: bool) -> None:
    """78 °C passes under a hard limit of 80 °C; less than 2 K under it does not."""
    plan = make(mash(rest("a", "66 °C"), rest("b", target)), vessel())
    assert (places(plan) == []) is fits
    assert fits or places(plan) == ['[[step]] 2 "b": temperature']


def test_strike_counts_as_a_target() -> None:
    """A strike over the highest target is refused although every rest is low."""
    thick = make(mash(rest("a", "70 °C"), liquor="30 kg"), vessel())
    assert thick.strike_c is not None
    assert thick.strike_c > 78.0
    assert places(thick) == ["dough_in: strike"]


def test_digits_the_wrong_way_round() -> None:
    """87 is answered with 78, which lies within the limits; 95 is not answered with 59 when that is a guess too far."""
    wanted = make(mash(rest("a", "66 °C"), rest("b", "87 °C")), vessel()).problems[0].wanted
    assert "is 78 °C meant?" in wanted
    assert "meant" not in make(mash(rest("a", "66 °C"), rest("b", "81.5 °C")), vessel()).problems[0].wanted


@pytest.mark.parametrize(("liquor", "fits"), [("81.5 kg", True), ("81.7 kg", False)])
def test_fill(liquor: str, fits: bool) -> None:
    """81.6 L with 20 kg of grain are 95.0 % of 100 L; more is refused."""
    plan = make(mash(rest("a", "64 °C"), liquor=liquor), vessel())
    assert (plan.fill_share <= MOST_FILL) is fits
    assert (places(plan) == []) is fits


@pytest.mark.parametrize(("liquor", "fits"), [("20 kg", True), ("19.9 kg", False)])
def test_minimum_liquor(liquor: str, fits: bool) -> None:
    """The heater must be covered before the grain comes."""
    plan = make(mash(rest("a", "45 °C"), grist_kg=5.0, liquor=liquor), vessel())
    assert (places(plan) == []) is fits


def test_what_is_just_too_little_is_told_apart() -> None:
    """19.99 kg where 20 L are wanted is not told as 20.0."""
    plan = make(mash(rest("a", "45 °C"), grist_kg=5.0, liquor="19.99 kg"), vessel())
    assert [(problem.found, problem.wanted[:13]) for problem in plan.problems] == [("19.99 L", "at least 20 L")]


def test_overfull_is_told_with_the_volume() -> None:
    """26 kg at 3.5 L/kg are 108.4 L and do not go into 100 L."""
    plan = make(mash(rest("a", "64 °C"), grist_kg=26.0, liquor="91 kg"), vessel())
    assert plan.problems[0].found.startswith("108.4 L")


def test_twelve_hours_in_all() -> None:
    """Over twelve hours a program is refused, unless it sours."""
    long = [rest(str(n), f"{60 + n} °C", "4 h") for n in range(3)]
    assert places(make(mash(*long), vessel())) == ["step"]
    sour = {"name": "sour", "kind": "souring", "temperature": "44 °C", "time": "24 h"}
    assert places(make(mash(rest("a", "64 °C"), sour), vessel())) == []


def test_unreachable_targets() -> None:
    """A heater that only makes up for the loss, and a room warmer than the target, are refused: neither ends."""
    weak = vessel(heater=heater_of(200.0))
    assert '[[step]] 2 "b": temperature' in places(make(mash(rest("a", "40 °C"), rest("b", "72 °C")), weak))
    hot_room = vessel(room_c=40.0)
    assert '[[step]] 2 "b": temperature' in places(make(mash(rest("a", "64 °C"), rest("b", "39 °C")), hot_room))


def test_falling_target_is_planned_as_cooling() -> None:
    """72 down to 63 °C takes the time that the tun needs to cool by itself, with no heat: 20.65 h x ln(54/45)."""
    plan = make(mash(rest("a", "50 °C"), rest("b", "72 °C"), rest("c", "63 °C")), vessel())
    assert plan.problems == ()
    assert plan.stages[3].limited_by == "cooling"
    assert plan.stages[3].ramp_s / 3600 == pytest.approx(20.65 * math.log(54 / 45), rel=1e-3)


def line_tun(flow: float) -> Tun:
    return vessel(
        mixing="pump",
        flow_l_per_min=flow,
        heater=Heater(kind="ssr", power_w=5000.0, place="line", window_s=2.0),
        pump=Output(topic="p"),
        flow=SwitchInput(topic="f"),
    )


@pytest.mark.parametrize(("flow", "fits"), [(12.0, True), (8.0, False)])
def test_outlet_of_a_line_heater(flow: float, fits: bool) -> None:
    """77 °C at 5 kW leaves the heater at 83.0 °C with 12 L/min and at 86.0 °C with 8; the limit is 85 less 1."""
    plan = make(mash(rest("a", "66 °C"), rest("b", "77 °C")), line_tun(flow))
    assert (places(plan) == []) is fits


def test_added_liquor_that_overshoots() -> None:
    """A written amount that lands the mash more than 1 K over its target is refused: nothing here can cool."""
    add = {"name": "add", "kind": "infusion", "temperature": "64 °C", "amount": "26 kg"}
    plan = make(mash(rest("a", "52 °C"), add, rest("b", "64 °C"), liquor="50 kg"), vessel())
    assert places(plan) == ['[[step]] 2 "add": amount']


def test_every_misfit_at_once() -> None:
    """Fill, strike and two targets are told together."""
    plan = make(
        mash(rest("a", "70 °C"), rest("b", "79 °C"), rest("c", "81 °C"), grist_kg=60.0, liquor="70 kg"), vessel()
    )
    assert places(plan) == ["grist", "dough_in: strike", '[[step]] 2 "b": temperature', '[[step]] 3 "c": temperature']


# ---------------------------------------------------------------- as a document


def test_document_has_the_contract_s_keys() -> None:
    """`check --json` shows what the contract names, as plain JSON without NaN."""
    shown = json.loads(json.dumps(document(shipped("sandpiper")), allow_nan=False))
    top = {"strike_c", "volume_l", "fill_share", "thickness_l_per_kg", "steps", "duration_s", "energy_kwh", "cost"}
    assert top <= set(shown)
    assert {"ramp_s", "climb_c_per_min", "limited_by", "hold_s"} <= set(shown["steps"][0])
    assert shown["energy_kwh"] == pytest.approx(5.63, abs=0.01)  # losses of the heat-up counted
    assert shown["cost"] == pytest.approx(1.69, abs=0.005)


def test_document_of_the_impossible_is_json_too() -> None:
    """A plan that never ends has nothing where a number would be infinite."""
    weak = vessel(heater=heater_of(100.0))
    shown = document(make(mash(rest("a", "40 °C"), rest("b", "72 °C")), weak))
    assert shown["duration_s"] is None
    json.dumps(shown, allow_nan=False)


def test_digest_is_of_the_meaning() -> None:
    """The same mash in other units on the same tun has the same digest; another time or another tun has another."""
    here = mash(rest("a", "63 °C"))
    assert plans.digest(here, vessel()) == plans.digest(mash(rest("a", "145.4 °F", "1200 s")), vessel())
    assert plans.digest(here, vessel()) != plans.digest(mash(rest("a", "63 °C", "21 min")), vessel())
    assert plans.digest(here, vessel()) != plans.digest(here, vessel(loss_w_per_k=5.0))


@given(st.floats(2, 30), st.floats(2.0, 5.0), st.floats(40, 66), st.floats(0, 12), st.floats(0, 12))
def test_heat_balance_closes(grist: float, thickness: float, first: float, up: float, more: float) -> None:
    """The mash lands on its first rest, and what the heater puts in is what warmed the mash plus what was lost."""
    steps = (rest("a", f"{first:.4f} °C"), rest("b", f"{first + up:.4f} °C"), rest("c", f"{first + up + more:.4f} °C"))
    program = mash(*steps, grist_kg=grist, liquor=f"{grist * thickness:.6f} kg")
    tun = vessel(volume_l=500.0, min_liquor_l=1.0)
    plan = make(program, tun)
    assert plan.strike_c is not None
    wet = {"moisture_share": 0.04, "slaking_j_per_kg": 19_000.0}  # a sheet that is silent
    grist_kg, metal = program.grist_kg, tun.metal_j_per_k
    lands = heat.landing_c(grist_kg, 18.0, plan.liquor_kg, plan.strike_c, metal_j_per_k=metal, **wet)
    assert lands == pytest.approx(plan.landing_c, abs=1e-6)
    rises = [(a.target_c, b) for a, b in zip(plan.stages[1:], plan.stages[2:], strict=False)]
    warmed = sum(stage.capacity_j_per_k * (stage.target_c - before) for before, stage in rises) / 3.6e6
    lost = sum(s.hold_s * 4.0 * (s.target_c - 18.0) for s in plan.stages[1:]) / 3.6e6
    lost += sum(s.ramp_s * 4.0 * ((before + s.target_c) / 2 - 18.0) for before, s in rises) / 3.6e6
    assert plan.mash_kwh == pytest.approx(warmed + lost, rel=1e-9)


@pytest.mark.parametrize(("altitude_m", "liquor_c"), [(0.0, 98.0), (1600.0, 92.6)])
def test_infusions_know_where_water_boils(altitude_m: float, liquor_c: float) -> None:
    """At 1,600 m water boils at 94.6 °C: an infusion is reckoned at 92.6 °C, and the course says so."""
    steps = (rest("a", "52 °C"), {"name": "add", "kind": "infusion", "temperature": "64 °C"}, rest("b", "64 °C"))
    tun = vessel().model_copy(update={"altitude_m": altitude_m})
    plan = make(mash(*steps, liquor="50 kg"), tun)
    assert plan.course.legs[2].comes.hot_c == pytest.approx(liquor_c, abs=0.051)
    size = heat.mash_j_per_k(20.0, 50.0, tun.metal_j_per_k)
    wanted = heat.addition_kg(size, 52.0, 64.0, plan.course.legs[2].comes.hot_c or 0.0)
    assert plan.stages[2].comes.kg == pytest.approx(wanted)


def test_liquor_hotter_than_the_boil_is_refused() -> None:
    """98 °C written for an infusion at 1,600 m is a problem that names where water boils there."""
    add = {"name": "add", "kind": "infusion", "temperature": "64 °C", "added_at": "98 °C"}
    high = vessel().model_copy(update={"altitude_m": 1600.0})
    written = mash(rest("a", "52 °C"), add, rest("b", "64 °C"), liquor="50 kg")
    (problem,) = make(written, high).problems
    assert "hotter than water boils at 1600 m" in problem.found
    assert problem.wanted.startswith("at most 94.")
    assert make(written, vessel()).problems == ()
