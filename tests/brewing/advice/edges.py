"""Plans just this side and just that side of every figure in the advice table."""

from __future__ import annotations

from dataclasses import replace

from controller.brewing.advice.plan_facts import Malt, MashPlan
from tests.brewing.advice.cases import (
    FIRST,
    IODINE,
    MASH_IN,
    MIN,
    OUT,
    PER_MIN,
    SECOND,
    SOUR,
    STILL,
    Case,
    but,
    edge,
    malt,
    mixed,
    rest,
    single,
    step,
    steps,
    two,
)

SINGLE_POOR = {"kolbach": 0.34, "friability": None}


def after_hot(hot_c: float, hot_min: float, low_c: float) -> MashPlan:
    """A low rest after a hot one."""
    return steps(rest(hot_c, hot_min, **MASH_IN), rest(low_c, 40.0, **STILL), SECOND, OUT)


def low_first(temperature_c: float, minutes: float, rise_min: float, **changes: object) -> MashPlan:
    """A low rest before the usual two, with a rise of so long."""
    low = rest(temperature_c, minutes, **MASH_IN)
    return steps(low, rest(63.0, 40.0, ramp_s=rise_min * MIN), SECOND, OUT, **changes)


def waiting(temperature_c: float, kolbach: float) -> MashPlan:
    """A decoction away for 35 min while the rest of the mash waits at that temperature."""
    away = step("decoction", 63.0, addition_kg=20.0, away_s=35 * MIN, **STILL)
    return steps(rest(temperature_c, 5.0, **MASH_IN), away, FIRST, SECOND, OUT, grist=malt(kolbach=kolbach))


def soured_then(temperature_c: float) -> MashPlan:
    """A souring hold, then heat to that temperature."""
    return steps(FIRST, SECOND, SOUR, step("keep", temperature_c, 15.0))


GREEN = malt(kolbach=0.42)
CLEAR = malt(kolbach=0.38)


def late(by_min: float, first_min: float) -> MashPlan:
    """A first rest of so long, then a rise of 9 K that takes so many minutes more than the 9 wanted."""
    ramp_min = 9.0 + by_min
    slow = rest(72.0, 20.0, climb_k_per_s=9.0 / ramp_min * PER_MIN, ramp_s=ramp_min * MIN)
    return steps(rest(63.0, first_min, **MASH_IN), slow, OUT)


def cooled(minutes: float) -> MashPlan:
    """A rest that begins once the tun has cooled by itself for so long."""
    return steps(FIRST, rest(61.0, 20.0, ramp_s=minutes * MIN, climb_k_per_s=0.0), SECOND, OUT)


def soured_at(temperature_c: float) -> MashPlan:
    """A souring that waits 61.5 min until the mash has cooled from 72 °C."""
    cool = replace(SOUR, temperature_c=temperature_c, ramp_s=61.5 * MIN)
    return steps(FIRST, SECOND, cool, step("keep", 78.0, 15.0))


def heap(mass_kg: float) -> MashPlan:
    """So much grain, in a tun that holds it."""
    return but(grist=malt(mass_kg=mass_kg), liquor_kg=3.2 * mass_kg, tun_l=400.0)


EDGES = (
    Case("A1", "fill", but(liquor_kg=81.7), but(liquor_kg=81.5)),
    Case("A5", "minutes", late(5.1, 40.0), late(4.9, 40.0)),
    Case("A5", "share: 5 % of 165 min are 8.25", late(8.4, 120.0), late(8.1, 120.0)),
    Case(
        "A6",
        "climb",
        steps(FIRST, rest(72.0, 20.0, climb_k_per_s=1.02 * PER_MIN, wanted_k_per_s=1.02 * PER_MIN), OUT),
        steps(FIRST, rest(72.0, 20.0, climb_k_per_s=1.003 * PER_MIN, wanted_k_per_s=1.003 * PER_MIN), OUT),
    ),
    Case("A7", "hot rest", after_hot(68.5, 20.0, 65.0), after_hot(67.5, 20.0, 65.0)),
    Case("A7", "its minutes", after_hot(70.0, 5.1, 65.0), after_hot(70.0, 4.9, 65.0)),
    Case("A7", "low rest", after_hot(72.0, 20.0, 65.5), after_hot(72.0, 20.0, 66.5)),
    Case("A7", "no starch rest", after_hot(72.0, 20.0, 60.5), after_hot(72.0, 20.0, 59.5)),
    Case(
        "A8",
        "gone",
        steps(FIRST, rest(78.5, 20.0), rest(72.0, 20.0, **STILL), cut_off_c=85.0),
        steps(FIRST, rest(77.5, 20.0), rest(72.0, 20.0, **STILL), cut_off_c=85.0),
    ),
    Case(
        "A9",
        "fine-coarse",
        single(66.0, 60.0, grist=malt(**SINGLE_POOR, fine_coarse=0.0182)),
        single(66.0, 60.0, grist=malt(**SINGLE_POOR, fine_coarse=0.0178)),
    ),
    Case(
        "A9",
        "friability",
        single(66.0, 60.0, grist=malt(kolbach=0.34, friability=0.79)),
        single(66.0, 60.0, grist=malt(kolbach=0.34, friability=0.81)),
    ),
    Case(
        "A10",
        "Kolbach",
        low_first(46.0, 20.0, 17.0, grist=malt(kolbach=0.405)),
        low_first(46.0, 20.0, 17.0, grist=malt(kolbach=0.395)),
    ),
    Case("A10", "minutes", low_first(50.0, 10.4, 13.0, grist=GREEN), low_first(50.0, 9.6, 13.0, grist=GREEN)),
    Case("A10", "low", low_first(46.0, 15.0, 17.0, grist=GREEN), low_first(45.0, 15.0, 18.0, grist=GREEN)),
    Case("A10", "high", low_first(54.5, 20.0, 9.0, grist=GREEN), low_first(55.5, 20.0, 8.0, grist=GREEN)),
    Case("A11", "low", low_first(46.0, 5.0, 17.0, grist=CLEAR), low_first(45.0, 5.0, 18.0, grist=CLEAR)),
    Case("A11", "high", low_first(53.8, 5.0, 9.0, grist=CLEAR), low_first(54.2, 11.0, 8.0, grist=CLEAR)),
    Case("A11", "minutes", low_first(50.0, 3.1, 13.0, grist=CLEAR), low_first(50.0, 2.9, 13.0, grist=CLEAR)),
    Case("A11", "near 55 and short", low_first(54.0, 10.5, 9.0, grist=CLEAR), low_first(54.0, 9.5, 9.0, grist=CLEAR)),
    Case("A10", "near 55 and short", low_first(54.0, 10.1, 50.0, grist=GREEN), low_first(54.0, 9.9, 50.0, grist=GREEN)),
    Case(
        "A11",
        "not of gums",
        low_first(50.0, 12.0, 13.0, grist=(*CLEAR, Malt("rye malt", 4.0)), liquor_kg=74.0),
        low_first(50.0, 12.0, 13.0, grist=(*CLEAR, Malt("rye malt", 4.4)), liquor_kg=74.0),
    ),
    edge("A12", "low", low_first, (37.5, 12.0, 25.0), (38.5, 12.0, 24.0), grist=mixed("rye", 0.19)),
    edge("A12", "high", low_first, (50.4, 12.0, 12.0), (49.6, 12.0, 13.0), grist=mixed("rye", 0.19)),
    edge("A12", "thin", but, {"liquor_kg": 88.0}, {"liquor_kg": 92.0}, grist=mixed("rye", 0.19), tun_l=150.0),
    edge(
        "A12",
        "much rye",
        but,
        {"grist": mixed("rye", 0.305)},
        {"grist": mixed("rye", 0.295)},
        liquor_kg=92.0,
        tun_l=150.0,
        steps=(FIRST, IODINE, OUT),
    ),
    edge("A12", "gum", but, {"grist": malt(beta_glucan_mg_per_l=193.0)}, {"grist": malt(beta_glucan_mg_per_l=187.0)}),
    edge("A12", "minutes", low_first, (42.0, 9.7, 21.0), (42.0, 10.3, 21.0), grist=mixed("rye", 0.19)),
    edge("A17", "minutes", two, (63.0, 18.4), (63.0, 17.6), aim="full"),
    edge("A18", "minutes", two, (63.0, 26.0), (63.0, 27.5), aim="dry"),
    edge("A20", "raw grain", but, {"grist": mixed("barley", 0.205)}, {"grist": mixed("barley", 0.195)}, enzyme=True),
    Case("A13", "share", but(grist=mixed("maize", 0.02)), but(grist=mixed("maize", 0.02, flaked=True))),
    Case(
        "A14",
        "low",
        steps(rest(59.5, 30.0, **MASH_IN), rest(65.0, 10.0), OUT),
        steps(rest(60.5, 30.0, **MASH_IN), rest(65.0, 10.0), OUT),
    ),
    Case("A14", "high", single(73.5, 30.0), single(72.5, 30.0)),
    Case("A14", "minutes", single(68.0, 19.5), single(68.0, 20.5)),
    Case("A15", "least", single(61.2, 60.0), single(61.8, 60.0)),
    Case("A16", "highest", single(62.8, 60.0, liquor_kg=58.0), single(63.2, 60.0, liquor_kg=58.0)),
    Case("A17", "dry from", single(66.4, 60.0, aim="dry"), single(65.6, 60.0, aim="dry")),
    Case("A17", "low", two(60.4, 30.0, aim="full"), two(59.6, 30.0, aim="full")),
    Case("A17", "high", single(64.6, 30.0, aim="full"), single(65.4, 30.0, aim="full")),
    Case("A18", "low", two(59.6, 30.0, aim="dry"), two(60.4, 30.0, aim="dry")),
    Case(
        "A18",
        "high",
        steps(rest(63.0, 15.0, **MASH_IN), rest(66.4, 20.0, **STILL), OUT, aim="dry"),
        steps(rest(63.0, 15.0, **MASH_IN), rest(65.6, 20.0, **STILL), OUT, aim="dry"),
    ),
    Case(
        "A19",
        "highest",
        steps(FIRST, SECOND, step("mash_out", 78.4, 10.0), cut_off_c=85.0),
        steps(FIRST, SECOND, step("mash_out", 77.6, 10.0), cut_off_c=85.0),
    ),
    Case("A21", "least", steps(FIRST, step("mash_out", 73.6, 10.0)), steps(FIRST, step("mash_out", 74.4, 10.0))),
    Case("A22", "thin", but(liquor_kg=111.0, tun_l=150.0), but(liquor_kg=109.0, tun_l=150.0)),
    Case("A22", "thick", but(liquor_kg=49.5), but(liquor_kg=50.5)),
    edge("A22", "with oats", but, {"liquor_kg": 59.5}, {"liquor_kg": 60.5}, grist=mixed("oat malt", 0.15)),
    Case(
        "A22",
        "share of oats",
        but(liquor_kg=58.0, grist=mixed("oat malt", 0.102)),
        but(liquor_kg=58.0, grist=mixed("oat malt", 0.098)),
    ),
    Case("A23", "highest", but(strike_c=80.4, cut_off_c=90.0), but(strike_c=79.6, cut_off_c=90.0)),
    Case("A23", "under the boil", but(strike_c=75.0, boil_c=77.95), but(strike_c=75.0, boil_c=78.05)),
    Case("A24", "splashing", low_first(54.6, 5.0, 9.0, splashing=True), low_first(55.4, 5.0, 8.0, splashing=True)),
    Case("A24", "pale", low_first(59.6, 9.0, 4.0, pale_to_keep=True), low_first(60.4, 9.0, 3.0, pale_to_keep=True)),
    Case("A25", "minutes", steps(FIRST, replace(SECOND, hold_s=4.9 * MIN), OUT), but()),
    Case("A26", "kelvins", steps(FIRST, rest(64.95, 20.0), SECOND, OUT), steps(FIRST, rest(65.05, 20.0), SECOND, OUT)),
    edge("A27", "long", two, (63.0, 137.0), (63.0, 133.0)),
    Case("A28", "low", low_first(30.4, 70.0, 0.0), low_first(29.6, 70.0, 0.0)),
    Case("A28", "high", low_first(49.6, 70.0, 0.0), low_first(50.4, 70.0, 0.0)),
    Case("A28", "minutes", low_first(40.0, 61.0, 0.0), low_first(40.0, 59.0, 0.0)),
    Case("A29", "hot enough", soured_then(75.6), soured_then(76.4)),
    Case("A30", "low", waiting(45.2, 0.39), waiting(44.8, 0.39)),
    Case("A30", "high", waiting(54.7, 0.39), waiting(55.3, 0.39)),
    Case("A30", "Kolbach", waiting(45.2, 0.383), waiting(45.2, 0.377)),
    Case(
        "A30",
        "share",
        steps(FIRST, step("decoction", 72.0, addition_kg=29.8, **STILL), SECOND, OUT),
        steps(FIRST, step("decoction", 72.0, addition_kg=29.0, **STILL), SECOND, OUT),
    ),
    Case(
        "A31",
        "thin",
        steps(FIRST, step("infusion", 72.0, addition_kg=27.0, **STILL), SECOND, OUT, tun_l=150.0),
        steps(FIRST, step("infusion", 72.0, addition_kg=25.0, **STILL), SECOND, OUT, tun_l=150.0),
    ),
    edge("A16b", "thickest", but, {"liquor_kg": 50.0}, {"liquor_kg": 50.3}),
    edge("A36", "ample", but, {"grist": malt(diastatic_lintner=59.0)}, {"grist": malt(diastatic_lintner=61.0)}),
    edge("A38", "minutes", cooled, (61.5,), (58.5,)),
    edge("A38", "of a souring what is above 50 °C counts", soured_at, (49.9,), (48.9,)),
    edge("A39", "minutes", heap, (40.5,), (39.5,)),
    edge("A39", "by hand", heap, (49.5,), (50.5,)),
    Case("A36", "share", but(grist=mixed("caramel malt", 0.51)), but(grist=mixed("caramel malt", 0.49))),
)

# (rule, what): what the plan and its twin draw besides, where one fault has two consequences.
EDGES_BESIDE: dict[tuple[str, str], tuple[set[str], set[str]]] = {
    ("A8", "gone"): ({"A19"}, set()),
    ("A7", "its minutes"): (set(), {"A25"}),
    ("A10", "Kolbach"): (set(), {"A11"}),
    ("A10", "minutes"): (set(), {"A11"}),
    ("A11", "minutes"): ({"A25"}, {"A25"}),
}

# Same rule, another level or another wording: just this side and just that side.
LONG = tuple(steps(rest(63.0, minutes, **MASH_IN), SECOND, OUT) for minutes in (251.0, 259.0))
POWERS = tuple(but(grist=malt(diastatic_lintner=power)) for power in (39.0, 41.0))
HOT = tuple(steps(FIRST, SECOND, step("mash_out", c, 10.0), cut_off_c=90.0) for c in (78.7, 79.3))
