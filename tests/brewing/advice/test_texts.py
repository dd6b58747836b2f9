"""Each rule's sentence, word for word, as a brewer reads it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from controller.brewing.advice.advice import advise
from tests.brewing.advice.cases import CASES, FIRST, KILL, MIN, OUT, PULL, SECOND, SOUR, steps

SENTENCES = {
    ("A1", "95.1 % full against 94.9"): "The mash needs 95.1 L, 95.1 % of the tun's 100 L; at most 95 %.",
    ("A2", "heater not covered"): "64.0 kg would be over the heater before dough-in; at least 64.1 L must be.",
    ("A2", "decoction away"): (
        "55.0 kg would be over the heater while the decoction is away; at least 55.5 L must be."
    ),
    ("A3", "under 2 K from the cut-off"): "Step 4 (mash-out, 78 °C) asks for 78.0 °C; this tun allows 77.9 °C.",
    ("A3", "strike liquor counts"): "The strike liquor asks for 78.5 °C; this tun allows 78.0 °C.",
    ("A4", "heated, nothing moves"): "Step 3 (rest, 72 °C) heats a mash that nothing stirs or pumps.",
    ("A5", "6 min late against 4"): (
        "Step 3 (rest, 72 °C) climbs 0.60 K/min at this heater's power, not 1.00; the mash takes 91.0 min, not 85.0."
    ),
    ("A6", "1.2 K/min"): "Step 3 (rest, 72 °C) climbs 1.20 K/min; 1.00 is the usual ceiling.",
    ("A7", "72 before 63"): "Step 3 (rest, 63 °C) is a low starch rest after step 2 (rest, 72 °C).",
    ("A8", "rest after mash-out above 78"): "Step 5 (rest, 76 °C) comes after step 4 (mash-out, 79 °C).",
    ("A9", "two indices agree"): (
        "A single infusion with under-modified malt: Kolbach index 34, friability 76 %, fine-coarse difference 2.0 %."
    ),
    ("A9", "never one index alone"): (
        "A single infusion with under-modified malt: Kolbach index 34, fine-coarse difference 1.9 %."
    ),
    ("A9", "Kolbach 34 against 35"): "A single infusion with under-modified malt: Kolbach index 34, friability 79 %.",
    ("A10", "16 min against 14, the rise counted"): (
        "The mash is 16 min between 45 and 55 °C, rises counted, with a Kolbach index of 42."
    ),
    ("A11", "protein rest on malt that needs none"): "A rest between 45 and 54 °C with a Kolbach index of 36.",
    ("A12", "18 % rye malt against 17"): (
        "18 % rye, oats, raw wheat or raw barley without a rest of 10 min between 38 and 50 °C, added enzyme or husk."
    ),
    ("A12", "malt of 200 mg/L beta-glucan"): (
        "Malt of 200 mg/L beta-glucan without a rest of 10 min between 38 and 50 °C, added enzyme or husk."
    ),
    ("A13", "maize grits against flakes"): (
        "15 % of the grist is maize, rice or sorghum, neither flaked nor cooked apart."
    ),
    ("A14", "19 min against 20"): "Rests between 60 and 72 °C last 19 min in all; at least 20 are wanted.",
    ("A15", "61 °C alone"): "The warmest starch rest is 61 °C.",
    ("A16", "63 °C alone at 2.9 L/kg against 3.0"): "The warmest starch rest is 63 °C, at 2.90 L/kg.",
    ("A17", "dry from 66.5 °C"): "The aim is dry, but the first starch rest is 66.5 °C.",
    ("A17", "full with 21 min at 63 to 65 °C against 19"): (
        "The aim is full, but the mash is 21 min between 60 and 65 °C."
    ),
    ("A18", "dry in 26 min"): "The aim is dry, but the mash is only 26 min between 60 and 66 °C; 30 are wanted.",
    ("A19", "mash-out at 78.5"): "Step 4 (mash-out, 78.5 °C) is above 78 °C.",
    ("A20", "mash-out before the rest"): "Mash-out stands before step 3 (rest, 72 °C).",
    ("A20", "raw grain and no iodine"): "25 % raw grain, and no rest before mash-out ends by iodine.",
    ("A21", "mash-out at 73.9"): "Step 3 (mash-out, 73.9 °C) is below 74 °C.",
    ("A22", "2.4 L/kg against 2.5"): "2.40 L/kg is too thick to stir or pump; 2.5 at least.",
    ("A22", "5.6 L/kg against 5.5"): "5.60 L/kg is thin; 5.5 at most is usual.",
    ("A23", "strike above 80"): "Strike liquor would have to be 80.5 °C; water boils here at 98.9 °C.",
    ("A24", "splashing at 50 °C"): "Mashing in at 50 °C with splashing or long open stirring.",
    ("A24", "pale beer to keep"): "Mashing in at 58 °C for a pale beer that is to keep.",
    ("A25", "4 min against 5"): "Step 3 (rest, 72 °C) lasts 4.0 min; at least 5.0 are needed to settle.",
    ("A26", "1.5 K apart"): "Step 3 (rest, 64.5 °C) differs by 1.5 K from the step before.",
    ("A27", "3 h and more"): "The mash takes 3.1 h from dough-in.",
    ("A28", "more than an hour at 40 °C"): "The mash is 65 min between 30 and 50 °C and is not meant to sour.",
    ("A29", "no heat afterwards"): "Step 4 (souring, 44 °C) has no heating to 76 °C afterwards.",
    ("A29", "no pH"): "Step 4 (souring, 44 °C) has no pH check.",
    ("A29", "no end"): "Step 4 (souring, 44 °C) has no end time.",
    ("A30", "36 % of the liquor pulled"): (
        "Step 3 (decoction, 63 °C): 36 % of the liquor, and of its enzymes, is pulled and boiled."
    ),
    ("A30", "31 min at 50 °C meanwhile"): (
        "Step 3 (decoction, 63 °C): the main mash waits 31 min at 45.2 °C meanwhile."
    ),
    ("A31", "4.6 L/kg against 4.5"): "Step 3 (infusion, 63 °C) thins the mash to 4.60 L/kg; 4.5 at most.",
    ("A32", "iodine and nobody named"): "Step 3 (rest, 72 °C) waits for a person, and nobody is named.",
    ("A32", "gone home by then"): (
        "Step 3 (rest, 72 °C) waits for a person 69 min after dough-in, when nobody is there."
    ),
    ("A33", "never checked"): "The probe has never been checked.",
    ("A33", "checked long ago"): "The probe was last checked 181 days ago.",
    ("A33", "altitude not set"): "The altitude is not set.",
    ("A34", "both tuns at once"): (
        "This tun and others on its supply may draw 7400 W together; the supply gives 6500 W."
    ),
    ("A34", "one heater over its supply, strike and one rest"): (
        "This tun's heater draws 3000 W, its supply gives 2300 W."
    ),
    ("A35", "liquor late"): "Hot liquor is ready 1 min after the mash ends.",
    ("A36", "49 % converting malt"): (
        "Malts that convert themselves, pale, wheat, rye and kilned, are 49 % of the grist."
    ),
    ("A16b", "2.5 L/kg against 2.51"): "The mash is 2.50 L/kg at its first starch rest; 2.5 and less is thick.",
    ("A36", "nothing converts"): (
        "The grist has 0 °Lintner by its kinds of malt: none of them converts itself; 40 at least is usual."
    ),
    ("A36", "a mean of 39 °Lintner"): "The grist has 39 °Lintner by its malt sheets; 40 at least is usual.",
    ("A38", "61 min of cooling by itself against 59"): (
        "Step 3 (rest, 61 °C) begins once the tun has cooled by itself from 63 °C, which takes 1.0 h."
    ),
    ("A39", "41 kg against 40"): "Mashing in 41 kg takes some 20 min by hand.",
    ("A37", "pH 5.9"): "The expected mash pH is 5.90 in a cooled sample; 5.1 to 5.8 is wanted.",
}


@pytest.mark.parametrize("key", SENTENCES, ids=[f"{rule}: {what}" for rule, what in SENTENCES])
def test_sentence(key: tuple[str, str]) -> None:
    """The sentence says where, how much was found, and what is wanted."""
    case = next(case for case in CASES if (case.rule, case.what) == key)
    said = [advice.text for advice in advise(case.draws) if advice.rule == case.rule]
    assert said == [SENTENCES[key]]


def test_every_rule_has_a_sentence_here() -> None:
    """No rule's sentence is left unread."""
    assert {rule for rule, _ in SENTENCES} == {case.rule for case in CASES}


def test_heat_before_souring_does_not_end_it() -> None:
    """A mash-out before the souring hold is no heat afterwards; one after it is."""
    assert [advice.rule for advice in advise(steps(FIRST, SECOND, OUT, SOUR))] == ["A29"]
    assert advise(steps(FIRST, SECOND, OUT, SOUR, KILL)) == ()


def test_the_wait_for_a_decoction_counts_towards_going_home() -> None:
    """The decoction is back 70 min after dough-in; who leaves at 65 is not there for it."""
    plan = replace(steps(FIRST, PULL, SECOND, OUT), staffed_until_s=65 * MIN)
    (text,) = [advice.text for advice in advise(plan) if advice.rule == "A32"]
    assert "70 min after dough-in" in text


def test_everything_that_souring_lacks_is_named() -> None:
    """No pH, no end and no heat are said in one sentence."""
    (advice,) = advise(steps(FIRST, SECOND, replace(SOUR, ph_every_s=None, hold_s=0.0)))
    wanted = "Step 4 (souring, 44 °C) has no pH check and no end time and no heating to 76 °C afterwards."
    assert advice.text == wanted


def test_the_mash_time_counts_waits_and_leaves_keeping_out() -> None:
    """Rests, rises and the wait for a decoction count; keeping does not."""
    plan = steps(FIRST, PULL, SECOND, OUT, KILL)
    assert plan.mash_s == (40 + 30 + 9 + 20 + 6 + 10 + 9) * MIN
