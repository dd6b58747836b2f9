"""Plans that draw a rule of advice, each with a near twin that does not."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any, NamedTuple

from controller.brewing.advice.plan_facts import Malt, MashPlan, PlanStep, StepKind

MIN = 60.0
PER_MIN = 1.0 / 60.0


def rest(temperature_c: float, minutes: float, **more: Any) -> PlanStep:
    """A rest after a rise of 1 K/min over 9 K, unless told otherwise."""
    step = PlanStep("rest", temperature_c, minutes * MIN, 9.0 * MIN, PER_MIN, PER_MIN)
    return replace(step, **more)


def step(kind: StepKind, temperature_c: float, minutes: float = 0.0, **more: Any) -> PlanStep:
    """A step of another kind."""
    return replace(rest(temperature_c, minutes, **more), kind=kind)


OUT = step("mash_out", 78.0, 10.0, ramp_s=6 * MIN)
MASH_IN: dict[str, Any] = {"ramp_s": 0.0, "climb_k_per_s": 0.0, "wanted_k_per_s": 0.0}
FIRST = rest(63.0, 40.0, **MASH_IN)
SECOND = rest(72.0, 20.0)
STILL: dict[str, Any] = {"ramp_s": 0.0, "climb_k_per_s": 0.0}
PALE = Malt("malt", 20.0, kolbach=0.355, friability=0.86, fine_coarse=0.012)
SOUND = MashPlan(
    steps=(FIRST, SECOND, OUT),
    grist=(PALE,),
    liquor_kg=64.0,
    tun_l=100.0,
    cut_off_c=80.0,
    min_liquor_l=15.0,
    strike_c=68.0,
    boil_c=98.9,
    calibration_age_days=30.0,
)


def but(**changes: Any) -> MashPlan:
    """The sound plan with something changed."""
    return replace(SOUND, **changes)


def steps(*found: PlanStep, **changes: Any) -> MashPlan:
    """The sound plan with other steps."""
    return but(steps=found, **changes)


def mixed(kind: str, share: float, **more: Any) -> tuple[Malt, ...]:
    """20 kg of grist, this share of it of that kind."""
    other = replace(Malt(kind, 20.0 * share), **more)
    return (replace(PALE, mass_kg=20.0 * (1.0 - share)), other)


def malt(**sheet: Any) -> tuple[Malt, ...]:
    """One malt with this sheet."""
    return (replace(PALE, **sheet),)


class Case(NamedTuple):
    """A plan that draws a rule, and its near twin."""

    rule: str
    what: str
    draws: MashPlan
    twin: MashPlan


def single(temperature_c: float, minutes: float, **changes: Any) -> MashPlan:
    """One rest and mash-out."""
    return steps(rest(temperature_c, minutes, **MASH_IN), OUT, **changes)


def two(temperature_c: float, minutes: float, **changes: Any) -> MashPlan:
    """One rest, then 72 °C, then mash-out."""
    return steps(rest(temperature_c, minutes, **MASH_IN), SECOND, OUT, **changes)


def edge(rule: str, what: str, make: Callable[..., MashPlan], this: Any, twin: Any, **same: Any) -> Case:
    """Two plans made alike but for these arguments, by place or by name."""

    def made(own: Any) -> MashPlan:
        return make(**own, **same) if isinstance(own, dict) else make(*own, **same)

    return Case(rule, what, made(this), made(twin))


def falls(minutes: float) -> dict[str, Any]:
    """What a step has that begins once the tun has cooled by itself."""
    return {"ramp_s": minutes * MIN, "climb_k_per_s": 0.0}


LOW = rest(50.0, 15.0, **MASH_IN)
SINGLE = (rest(66.0, 60.0, **MASH_IN), OUT)
POOR = malt(kolbach=0.34, friability=0.76, fine_coarse=0.020)
FED = step("infusion", 63.0, addition_kg=20.0, **STILL)
SOUR = step("souring", 44.0, 24 * 60.0, ph_every_s=8 * 3600.0, **STILL)
KILL = step("keep", 80.0 - 2.0, 15.0)
PULL = step("decoction", 63.0, addition_kg=29.0, away_s=30.0 * MIN, **STILL)
IODINE = rest(72.0, 20.0, by="iodine")

CASES = (
    Case("A1", "95.1 % full against 94.9", but(liquor_kg=81.7), but(liquor_kg=81.5)),
    Case(
        "A1",
        "infusions count",
        steps(LOW, FED, rest(63.0, 40.0, **STILL), SECOND, OUT, liquor_kg=62.0),
        steps(LOW, replace(FED, addition_kg=19.0), rest(63.0, 40.0, **STILL), SECOND, OUT, liquor_kg=62.0),
    ),
    Case("A2", "heater not covered", but(min_liquor_l=64.1), but(min_liquor_l=64.0)),
    Case(
        "A2",
        "decoction away",
        steps(LOW, PULL, rest(63.0, 40.0, **STILL), SECOND, OUT, min_liquor_l=55.5),
        steps(LOW, PULL, rest(63.0, 40.0, **STILL), SECOND, OUT, min_liquor_l=55.0),
    ),
    Case("A3", "under 2 K from the cut-off", but(cut_off_c=79.9), but(cut_off_c=80.0)),
    Case("A3", "above the tun's own limit", but(limit_c=77.0), but(limit_c=78.0)),
    Case("A3", "strike liquor counts", but(strike_c=78.5), but(strike_c=78.0)),
    Case("A4", "heated, nothing moves", but(mixing="none"), steps(replace(FIRST, hold_s=3600.0), mixing="none")),
    Case(
        "A5",
        "6 min late against 4",
        steps(FIRST, rest(72.0, 20.0, climb_k_per_s=0.6 * PER_MIN, ramp_s=15.0 * MIN), OUT),
        steps(FIRST, rest(72.0, 20.0, climb_k_per_s=9.0 / 13.0 * PER_MIN, ramp_s=13.0 * MIN), OUT),
    ),
    Case(
        "A6",
        "1.2 K/min",
        steps(FIRST, rest(72.0, 20.0, climb_k_per_s=0.02, wanted_k_per_s=0.02), OUT),
        steps(FIRST, rest(72.0, 20.0, climb_k_per_s=PER_MIN, wanted_k_per_s=PER_MIN), OUT),
    ),
    Case(
        "A7",
        "72 before 63",
        steps(replace(SECOND, **MASH_IN), replace(FIRST, temperature_c=63.0), OUT),
        steps(replace(SECOND, **MASH_IN), rest(67.0, 40.0, **STILL), OUT),
    ),
    Case(
        "A7",
        "70 for 6 min against 5",
        steps(rest(70.0, 6.0, **MASH_IN), FIRST, SECOND, OUT),
        steps(rest(70.0, 5.0, **MASH_IN), FIRST, SECOND, OUT),
    ),
    Case(
        "A8",
        "rest after mash-out above 78",
        steps(FIRST, SECOND, step("mash_out", 79.0, 10.0), rest(76.0, 10.0, **STILL), cut_off_c=85.0),
        steps(FIRST, SECOND, step("mash_out", 79.0, 10.0), step("keep", 76.0, 10.0, **STILL), cut_off_c=85.0),
    ),
    Case("A9", "two indices agree", steps(*SINGLE, grist=POOR), steps(LOW, *SINGLE, grist=POOR)),
    Case(
        "A9",
        "never one index alone",
        steps(*SINGLE, grist=malt(kolbach=0.34, fine_coarse=0.019)),
        steps(*SINGLE, grist=malt(kolbach=0.34)),
    ),
    Case(
        "A9",
        "Kolbach 34 against 35",
        steps(*SINGLE, grist=malt(kolbach=0.34, friability=0.79)),
        steps(*SINGLE, grist=malt(kolbach=0.35, friability=0.79)),
    ),
    Case(
        "A10",
        "16 min against 14, the rise counted",
        steps(replace(LOW, hold_s=11 * MIN), rest(63.0, 40.0, ramp_s=13 * MIN), SECOND, OUT, grist=malt(kolbach=0.42)),
        steps(rest(45.0, 15.0, **MASH_IN), rest(63.0, 40.0, ramp_s=18 * MIN), SECOND, OUT, grist=malt(kolbach=0.42)),
    ),
    Case(
        "A11",
        "protein rest on malt that needs none",
        steps(LOW, FIRST, SECOND, OUT, grist=malt(kolbach=0.36)),
        steps(LOW, FIRST, SECOND, OUT, grist=malt(kolbach=0.35)),
    ),
    Case("A12", "18 % rye malt against 17", but(grist=mixed("rye malt", 0.18)), but(grist=mixed("rye malt", 0.17))),
    Case(
        "A12",
        "a glucan rest mends it",
        steps(rest(42.0, 9.0, **MASH_IN), FIRST, SECOND, OUT, grist=mixed("rye", 0.19)),
        steps(rest(42.0, 10.0, **MASH_IN), FIRST, SECOND, OUT, grist=mixed("rye", 0.19)),
    ),
    Case("A12", "enzyme mends it", but(grist=mixed("oats", 0.19)), but(grist=mixed("oats", 0.19), enzyme=True)),
    Case(
        "A12",
        "husk mends it",
        but(grist=mixed("wheat", 0.19)),
        but(grist=(*mixed("wheat", 0.19), Malt("husk", 0.3))),
    ),
    Case(
        "A12",
        "malt of 200 mg/L beta-glucan",
        but(grist=malt(beta_glucan_mg_per_l=200.0)),
        but(grist=malt(beta_glucan_mg_per_l=180.0)),
    ),
    Case(
        "A13",
        "maize grits against flakes",
        but(grist=mixed("maize", 0.15)),
        but(grist=mixed("maize", 0.15, flaked=True)),
    ),
    edge("A13", "a cereal mash mends it", but, {}, {"cereal_mash": True}, grist=mixed("rice", 0.15)),
    Case("A14", "19 min against 20", steps(rest(68.0, 19.0, **MASH_IN), OUT), steps(rest(68.0, 20.0, **MASH_IN), OUT)),
    Case("A15", "61 °C alone", steps(rest(61.0, 60.0, **MASH_IN), OUT), steps(rest(61.5, 60.0, **MASH_IN), OUT)),
    Case(
        "A16",
        "63 °C alone at 2.9 L/kg against 3.0",
        steps(rest(63.0, 60.0, **MASH_IN), OUT, liquor_kg=58.0),
        steps(rest(63.0, 60.0, **MASH_IN), OUT, liquor_kg=60.0),
    ),
    Case(
        "A17",
        "dry from 66.5 °C",
        steps(rest(66.5, 20.0, **MASH_IN), rest(64.0, 40.0, **STILL), OUT, aim="dry"),
        steps(rest(66.0, 20.0, **MASH_IN), rest(64.0, 40.0, **STILL), OUT, aim="dry"),
    ),
    edge("A17", "full with 21 min at 63 to 65 °C against 19", two, (63.0, 19.0), (63.0, 17.0), aim="full"),
    edge("A18", "dry in 26 min", two, (63.0, 23.0), (63.0, 27.0), aim="dry"),
    Case(
        "A19",
        "mash-out at 78.5",
        steps(FIRST, SECOND, replace(OUT, temperature_c=78.5), cut_off_c=85.0),
        steps(FIRST, SECOND, OUT, cut_off_c=85.0),
    ),
    Case("A20", "mash-out before the rest", steps(OUT, SECOND), steps(SECOND, OUT)),
    Case(
        "A20",
        "raw grain and no iodine",
        steps(FIRST, SECOND, OUT, grist=mixed("wheat", 0.25), enzyme=True),
        steps(FIRST, IODINE, OUT, grist=mixed("wheat", 0.25), enzyme=True),
    ),
    Case(
        "A20",
        "21 % raw grain against 19",
        steps(FIRST, SECOND, OUT, grist=mixed("wheat", 0.21), enzyme=True),
        steps(FIRST, SECOND, OUT, grist=mixed("wheat", 0.19), enzyme=True),
    ),
    Case(
        "A21",
        "mash-out at 73.9",
        steps(FIRST, step("mash_out", 73.9, 10.0)),
        steps(FIRST, step("mash_out", 74.0, 10.0)),
    ),
    Case(
        "A21",
        "lautered elsewhere",
        steps(FIRST, step("mash_out", 72.0, 10.0)),
        steps(FIRST, step("mash_out", 72.0, 10.0), runs_off_here=False),
    ),
    Case("A22", "2.4 L/kg against 2.5", but(liquor_kg=48.0), but(liquor_kg=50.0)),
    Case("A22", "what shows as 2.50 L/kg is 2.5", but(liquor_kg=49.89), but(liquor_kg=49.95)),
    Case("A22", "5.6 L/kg against 5.5", but(liquor_kg=112.0, tun_l=150.0), but(liquor_kg=110.0, tun_l=150.0)),
    edge("A22", "2.9 L/kg with oats", but, {"liquor_kg": 58.0}, {"liquor_kg": 60.0}, grist=mixed("oat malt", 0.15)),
    Case("A22", "nothing stirs or pumps", but(liquor_kg=48.0), steps(*SINGLE[:1], liquor_kg=48.0, mixing="none")),
    Case("A23", "strike above 80", but(strike_c=80.5, cut_off_c=90.0), but(strike_c=80.0, cut_off_c=90.0)),
    Case("A23", "within 3 K of the boil", but(strike_c=75.0, boil_c=77.0), but(strike_c=75.0, boil_c=78.0)),
    Case("A24", "splashing at 50 °C", steps(LOW, FIRST, SECOND, OUT, splashing=True), steps(LOW, FIRST, SECOND, OUT)),
    edge("A24", "pale beer to keep", two, (58.0, 10.0), (60.0, 10.0), pale_to_keep=True),
    Case("A25", "4 min against 5", steps(FIRST, replace(SECOND, hold_s=240.0), OUT), but()),
    Case("A25", "the tun's own settling time", but(settle_s=1201.0), but(settle_s=1200.0)),
    Case(
        "A26",
        "1.5 K apart",
        steps(FIRST, rest(64.5, 20.0), SECOND, OUT),
        steps(FIRST, rest(65.0, 20.0), SECOND, OUT),
    ),
    Case(
        "A27",
        "3 h and more",
        steps(replace(FIRST, hold_s=140 * MIN), SECOND, OUT),
        steps(replace(FIRST, hold_s=130 * MIN), SECOND, OUT),
    ),
    Case(
        "A28",
        "more than an hour at 40 °C",
        steps(rest(40.0, 55.0, **MASH_IN), rest(63.0, 40.0, ramp_s=23 * MIN), SECOND, OUT),
        steps(rest(40.0, 48.0, **MASH_IN), rest(63.0, 40.0, ramp_s=23 * MIN), SECOND, OUT),
    ),
    Case("A29", "no heat afterwards", steps(FIRST, SECOND, SOUR), steps(FIRST, SECOND, SOUR, KILL)),
    Case("A29", "no pH", steps(FIRST, SECOND, replace(SOUR, ph_every_s=None), KILL), steps(FIRST, SECOND, SOUR, KILL)),
    Case("A29", "no end", steps(FIRST, SECOND, replace(SOUR, hold_s=0.0), KILL), steps(FIRST, SECOND, SOUR, KILL)),
    Case(
        "A30",
        "36 % of the liquor pulled",
        steps(LOW, replace(PULL, addition_kg=30.5), rest(63.0, 40.0, **STILL), SECOND, OUT, grist=POOR),
        steps(LOW, replace(PULL, addition_kg=29.0), rest(63.0, 40.0, **STILL), SECOND, OUT, grist=POOR),
    ),
    Case(
        "A30",
        "31 min at 50 °C meanwhile",
        steps(rest(45.2, 5.0, **MASH_IN), replace(PULL, away_s=31 * MIN), FIRST, SECOND, OUT, grist=malt(kolbach=0.39)),
        steps(rest(45.2, 5.0, **MASH_IN), replace(PULL, away_s=30 * MIN), FIRST, SECOND, OUT, grist=malt(kolbach=0.39)),
    ),
    Case(
        "A31",
        "4.6 L/kg against 4.5",
        steps(LOW, replace(FED, addition_kg=28.0), FIRST, SECOND, OUT, grist=POOR, tun_l=150.0),
        steps(LOW, replace(FED, addition_kg=26.0), FIRST, SECOND, OUT, grist=POOR, tun_l=150.0),
    ),
    Case("A32", "iodine and nobody named", steps(FIRST, IODINE, OUT, people=0), steps(FIRST, SECOND, OUT, people=0)),
    Case(
        "A32",
        "gone home by then",
        steps(FIRST, IODINE, OUT, staffed_until_s=60 * MIN),
        steps(FIRST, IODINE, OUT, staffed_until_s=70 * MIN),
    ),
    Case("A33", "never checked", but(calibration_age_days=None), but(calibration_age_days=0.0)),
    Case("A33", "checked long ago", but(calibration_age_days=181.0), but(calibration_age_days=180.0)),
    Case("A33", "altitude not set", but(altitude_known=False), but(altitude_known=True)),
    Case(
        "A34",
        "both tuns at once",
        but(power_w=5000.0, others_w=2400.0, supply_limit_w=6500.0),
        but(power_w=5000.0, others_w=0.0, supply_limit_w=6500.0),
    ),
    Case(
        "A34",
        "one heater over its supply, strike and one rest",
        steps(rest(66.0, 60.0, **MASH_IN), power_w=3000.0, supply_limit_w=2300.0),
        steps(rest(66.0, 60.0, **MASH_IN), power_w=3000.0, supply_limit_w=3000.0),
    ),
    Case("A35", "liquor late", but(hot_liquor_ready_s=86 * MIN), but(hot_liquor_ready_s=85 * MIN)),
    Case("A36", "49 % converting malt", but(grist=mixed("caramel malt", 0.51)), but(grist=mixed("caramel malt", 0.50))),
    Case(
        "A36",
        "kilned malt converts itself",
        but(grist=mixed("roasted malt", 0.95)),
        but(grist=mixed("kilned malt", 1.0)),
    ),
    Case("A36", "nothing converts", but(grist=(Malt("roasted malt", 20.0),)), but(grist=(Malt("malt", 20.0),))),
    Case(
        "A36",
        "a mean of 39 °Lintner",
        but(grist=malt(diastatic_lintner=39.0)),
        but(grist=malt(diastatic_lintner=61.0)),
    ),
    Case(
        "A36",
        "caramel malt has none",
        but(grist=(malt(diastatic_lintner=110.0)[0], Malt("caramel malt", 20.0)), liquor_kg=120.0, tun_l=180.0),
        but(grist=(malt(diastatic_lintner=130.0)[0], Malt("caramel malt", 20.0)), liquor_kg=120.0, tun_l=180.0),
    ),
    edge("A36", "starch enzyme mends it", but, {}, {"starch_enzyme": True}, grist=mixed("caramel malt", 0.51)),
    edge("A13", "so does a starch enzyme", but, {}, {"starch_enzyme": True}, grist=mixed("rice", 0.15)),
    edge("A16b", "2.5 L/kg against 2.51", but, {"liquor_kg": 50.0}, {"liquor_kg": 50.2}),
    Case(
        "A38",
        "61 min of cooling by itself against 59",
        steps(FIRST, rest(61.0, 20.0, **falls(61.0)), SECOND, OUT),
        steps(FIRST, rest(61.0, 20.0, **falls(59.0)), SECOND, OUT),
    ),
    Case(
        "A38",
        "a souring counts down to its culture",
        steps(FIRST, SECOND, replace(SOUR, **falls(80.0)), KILL),
        steps(FIRST, SECOND, replace(SOUR, temperature_c=38.0, **falls(80.0)), KILL),
    ),
    Case(
        "A38",
        "a keep may cool",
        steps(FIRST, SECOND, rest(67.0, 10.0, **falls(70.0)), OUT),
        steps(FIRST, SECOND, OUT, step("keep", 67.0, 10.0, **falls(70.0))),
    ),
    edge(
        "A39",
        "41 kg against 40",
        but,
        {"grist": malt(mass_kg=41.0)},
        {"grist": malt(mass_kg=40.0)},
        liquor_kg=130.0,
        tun_l=300.0,
    ),
    edge(
        "A39",
        "what is not carried by hand",
        but,
        {"grist": malt(mass_kg=50.0)},
        {"grist": malt(mass_kg=51.0)},
        liquor_kg=170.0,
        tun_l=300.0,
    ),
    Case("A37", "pH 5.9", but(expected_ph=5.9), but(expected_ph=5.8)),
    Case("A37", "pH 5.0", but(expected_ph=5.0), but(expected_ph=5.1)),
)
# What a case draws besides, where one fault has two consequences: (with the plan, with its twin).
BESIDES: dict[tuple[str, str], tuple[set[str], set[str]]] = {
    ("A22", "2.4 L/kg against 2.5"): (set(), {"A16b"}),
    ("A22", "what shows as 2.50 L/kg is 2.5"): (set(), {"A16b"}),
    ("A22", "nothing stirs or pumps"): (set(), {"A16b"}),
    ("A8", "rest after mash-out above 78"): ({"A19"}, {"A19"}),
}
