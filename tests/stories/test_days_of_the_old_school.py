"""Days in which a part of the mash is boiled apart, and the day of a laboratory, each with its record."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from controller.report import batch_entries, laboratory, planned_got
from sim.people.manner import Manner
from tests.commands.called import called
from tests.stories.brewed import brewed

KETTLE = """[[step.kettle]]
temperature = "72 °C"
time = "5 min"
[[step.kettle]]
boil = "5 min"
"""
TRIPLE = f"""title = "Three decoctions"
tun = "gannet"
[[grist]]
name = "Floor malt"
mass = "20 kg"
extract = "80 %"
moisture = "4.8 %"
[liquor]
mass = "60 kg"
temperature = "40 °C"
[wanted]
volume = "90 L"
gravity = "13 °P"
[dough_in]
[[step]]
name = "acid rest"
temperature = "42 °C"
time = "5 min"
[[step]]
name = "first"
kind = "decoction"
temperature = "52 °C"
returned_at = "95 °C"
kettle_power = "6 kW"
{KETTLE}[[step]]
name = "protein rest"
temperature = "52 °C"
time = "5 min"
[[step]]
name = "second"
kind = "decoction"
temperature = "64 °C"
returned_at = "95 °C"
kettle_power = "6 kW"
main_mash = "left to cool"
{KETTLE}[[step]]
name = "maltose rest"
temperature = "64 °C"
time = "20 min"
[[step]]
name = "saccharification"
temperature = "72 °C"
time = "15 min"
[[step]]
name = "third"
kind = "decoction"
pull = "thin"
temperature = "77 °C"
returned_at = "95 °C"
away = "20 min"
boil_off = "0.8 kg"
[[step]]
name = "mash-out"
kind = "mash_out"
temperature = "77 °C"
time = "5 min"
"""


def test_a_triple_decoction_with_its_record(config: Path) -> None:
    """Two thick pulls and a thin one, the second with the mash left to cool: each lands its rest, plan and day agree in
    the limit, and the record holds pulls, planned and got."""
    (config / "programs" / "triple.toml").write_text(TRIPLE, encoding="utf-8")
    code, out, err = called("check", "triple", "--json", config=config)
    assert code == 0, err
    checked = json.loads(out)
    record, day = brewed(config, "triple", first_wort_p=19.0, final_volume_l=88.0, final_p=12.6)
    assert day["result"] == "complete"
    rests = {step["name"]: step for step in day["steps"]}
    for name, target_c in (("protein rest", 52.0), ("maltose rest", 64.0), ("mash-out", 77.0)):
        assert rests[name]["mean_c"] == pytest.approx(target_c, abs=0.3)
    planned, got = checked["prediction"]["apparent_limit_pct"]["mid"], day["prediction"]["apparent_limit_pct"]["mid"]
    assert got == pytest.approx(planned, abs=1.0)
    moved = batch_entries.moved(record)
    assert [event.id for event in moved] == ["pull", "returned"] * 3
    assert "the liquid alone" in moved[4].text and "left to cool" in moved[2].text
    rows = {row.title: row for row in planned_got.rows(record)}
    assert rows["conversion"].planned == 0.95 and 0.8 < (rows["conversion"].got or 0.0) < 1.0
    assert rows["wort in the kettle"].planned == pytest.approx(90.0)
    assert rows["lauter yield"].got is not None


def test_a_congress_mash_with_its_record(config: Path) -> None:
    """Crake whole: 8 kg of water in at 70 °C, iodine at 10, 15 and 20 min, of which the third shows no colour; from
    8.80 °P the record works out 77.7 % as is and 81.1 % dry at 4.2 % moisture."""
    manner = Manner(iodine=("blue", "reddish", "no starch"))
    record, day = brewed(config, "crake", manner, congress_p=8.80)
    assert day["result"] == "complete"
    asked = [event.data["answer"] for event in record.events if event.kind == "answer" and event.id == "iodine_series"]
    assert asked == ["colour", "colour", "no colour"]
    assert laboratory.saccharification(record) == "15 to 20 min"
    found = laboratory.document(record) or {}
    assert found["extract_as_is_share"] == pytest.approx(8.80 * (4.2 + 800.0) / 91.2 / 100.0, abs=1e-4)
    assert found["extract_dry_share"] == pytest.approx(found["extract_as_is_share"] / 0.958, abs=1e-3)
    held = {one["step"]: one for one in found["curve"]}
    assert held["70 °C reached"]["even"] and abs(held["45 °C"]["worst_k"]) < 0.5
    rests = {step["name"]: step for step in day["steps"]}
    assert rests["70 °C"]["mean_c"] == pytest.approx(70.0, abs=0.2)
    ramp = [row for row in record.rows if row.step == 2]
    at = [next(row.t_s for row in ramp if (row.mash_c or 0.0) >= celsius) for celsius in (46.25, 68.75)]
    assert 60.0 * 22.5 / (at[1] - at[0]) == pytest.approx(1.0, abs=0.05)  # its slope, as the standard has it
    ended = next(step for step in rests.values() if step["name"] == "70 °C")
    assert ended["credited_s"] == pytest.approx(3600.0, abs=2.0)  # whatever the tests show


RICE = """title = "Rice lager"
tun = "gannet"
[[grist]]
name = "Pale malt"
mass = "16 kg"
[liquor]
mass = "48 kg"
[cereal]
liquor = "24 kg"
power = "3 kW"
boil_off = "1.5 kg"
[[cereal.grist]]
name = "Rice"
kind = "rice"
mass = "4 kg"
[[cereal.grist]]
name = "Pale malt"
mass = "0.8 kg"
[[cereal.step]]
temperature = "70 °C"
time = "10 min"
[[cereal.step]]
boil = "20 min"
[dough_in]
[[step]]
name = "protein rest"
temperature = "50 °C"
time = "15 min"
[[step]]
name = "the cooker joins"
kind = "cereal"
temperature = "63 °C"
returned_at = "95 °C"
[[step]]
name = "saccharification"
temperature = "63 °C"
time = "15 min"
"""


def test_a_cooker_of_rice_joins_the_mash(config: Path) -> None:
    """The brewer is told twice in time what to do at the cooker, asked when it joins, and the mash rests at 63 °C with
    its grain in; of a wort that is not followed, no limit is told in check or day."""
    (config / "programs" / "rice.toml").write_text(RICE, encoding="utf-8")
    code, out, err = called("check", "rice", "--json", config=config)
    assert code == 0, err
    record, day = brewed(config, "rice")
    assert day["result"] == "complete"
    told = [event.text for event in record.events if event.id == "cooker"]
    assert [text.split(" and keep")[0] for text in told] == ["cooker: heat it to 70 °C", "cooker: heat it to the boil"]
    answered = [event.id for event in record.events if event.kind == "answer"]
    assert answered == ["liquor", "dough_in", "grain_in", "join", "joined"]
    rests = {step["name"]: step for step in day["steps"]}
    assert rests["saccharification"]["mean_c"] == pytest.approx(63.0, abs=0.3)
    assert json.loads(out)["prediction"]["apparent_limit_pct"] is day["prediction"]["apparent_limit_pct"] is None
