"""Whole brewing days at the keyboard, from malt sheet to kettle, without a figure worked out elsewhere."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from controller.report import planned_got, run_page
from tests.commands.called import called
from tests.stories.brewed import brewed


def done(config: Path, *words: str) -> str:
    """What a command answers that must go well."""
    code, out, err = called(*words, config=config)
    assert code == 0, err
    return out


def filed(config: Path, program: str, **entered: Any) -> tuple[dict[str, planned_got.Row], Mapping[str, Any]]:
    """The day with its record: what it says planned and got, and the outcome of the run."""
    record, day = brewed(config, program, **entered)
    page = run_page.html(record)
    assert day["result"] == "complete" and all(step["name"] in page for step in day["steps"])
    return {row.title: row for row in planned_got.rows(record)}, day


def test_a_home_brewer_in_us_units(config: Path, tmp_path: Path) -> None:
    """11 lb in 4 gal for 6 gal at 1.048: written from five answers, checked and printed in °F, lb, gal and SG, and run;
    no quantity of it stands in °C, kg or L on the way."""
    said = ("--tun", "plover", "--malts", "11 lb pale malt, 8 oz crystal malt", "--aim", "dry", "--rests", "2")
    done(config, "program", "new", "backyard", *said, "--liquor", "4 gal")
    path = config / "programs" / "backyard.toml"
    wanted = '[wanted]\nvolume = "6 gal"\ngravity = "1.048 SG"\n\n[dough_in]'
    text = path.read_text("utf-8").replace('"12 °C"', '"54 °F"').replace('"18 °C"', '"65 °F"')
    path.write_text(text.replace("[dough_in]", wanted), encoding="utf-8")
    sheet = tmp_path / "sheet.html"
    page = done(config, "check", "backyard", "--units", "US", "--sheet", str(sheet), "--at", "09:00")
    for told in (page, sheet.read_text("utf-8")):
        assert not re.search(r"\d (?:°C|kg|L|°P)\b", told)
        assert "for the grain at 65 °F" in told and "sparge liquor" in told and "SG" in told
    plan = json.loads(done(config, "check", "backyard", "--json"))["plan"]
    assert plan["grist_kg"] == pytest.approx(11.5 * 0.45359237, abs=1e-3)
    strike_f = f"{1.8 * round(plan['strike_c'], 1) + 32:.1f} °F"  # as the metric page rounds it
    assert strike_f in page and strike_f in sheet.read_text("utf-8")
    record, day = filed(config, "backyard", first_wort_p=17.5, final_volume_l=22.0, final_p=11.6)
    assert abs(day["steps"][1]["mean_c"] - 63.0) < 0.3
    assert record["wort in the kettle"].planned == pytest.approx(6 * 3.785411784, abs=1e-3)
    assert record["gravity in the kettle"].got == 11.6 and record["lauter yield"].got is not None


TANK_TUN = (
    ('volume = "100 L"', 'volume = "700 L"'),
    ('min_liquor = "25 L"', 'min_liquor = "120 L"'),
    ('metal = "12.5 kJ/K"', 'metal = "60 kJ/K"'),
    ('loss = "4 W/K"', 'loss = "12 W/K"'),
    ('supply_limit = "6.5 kW"', 'supply_limit = "40 kW"'),
    ('power = "5 kW"', 'power = "30 kW"'),
    ('room = "18 °C"', 'room = "18 °C"\nmash_in_rate = 12.0'),
    ("gannet", "heron"),
)
POURED = """title = "Hot tank pale"
tun = "heron"
[[grist]]
lot = "FH-0417"
mass = "120 kg"
[liquor]
mass = "360 kg"
heated_in = "other vessel"
hot = "80 °C"
cold = "12 °C"
[dough_in]
grist_temperature = "18 °C"
preheat = "60 kg at 80 °C"
[[step]]
name = "conversion"
temperature = "66 °C"
time = "60 min"
[[step]]
kind = "mash_out"
temperature = "77 °C"
time = "10 min"
[[step]]
kind = "keep"
time = "1 h"
"""


def test_a_brewpub_from_a_hot_tank_two_batches(config: Path, tmp_path: Path) -> None:
    """500 L of mash, its liquor blended from two tanks into a tun rinsed warm, the blend worked out again by hand; two
    batches by one clock, the second when the tun is clean; the run heats no strike."""
    text = (config / "tuns" / "gannet.toml").read_text("utf-8")
    for old, new in TANK_TUN:
        text = text.replace(old, new)
    (config / "tuns" / "heron.toml").write_text(text, encoding="utf-8")
    (config / "programs" / "pub.toml").write_text(POURED, encoding="utf-8")
    plan = json.loads(done(config, "check", "pub", "--json"))["plan"]
    page = done(config, "check", "pub")
    hot_kg = 360.0 * (plan["drawn_c"] - 12.0) / (80.0 - 12.0)
    assert plan["heat_up_s"] == 0 and f"blended: {hot_kg:.2f} kg" in page
    by_hand = ("blend", "total=360 kg", f"wanted={plan['drawn_c']} °C", "hot=80 °C")
    answers = json.loads(done(config, "reckon", *by_hand, "--json"))["answers"]
    assert answers["hot liquor"] == pytest.approx(hot_kg, abs=0.01)
    day = tmp_path / "day.toml"
    batch = '[[batch]]\nprogram = "pub"\nliquor = "tank"\n'
    tank = '[liquor_tank]\nvolume = "1000 L"\npower = "30 kW"\ntemperature = "80 °C"\n'
    day.write_text(f'{batch}grain = "07:00"\n{batch}{tank}', encoding="utf-8")
    first, second = json.loads(done(config, "day", str(day), "--json"))["batches"]
    assert first["mash"] - first["grain"] == 600  # 120 kg at 12 kg a minute, by an auger
    assert second["begin"] == first["clean"]
    record, run = filed(config, "pub", first_wort_p=20.6)
    assert abs(run["steps"][1]["mean_c"] - 66.0) < 0.3
    assert record["liquor in the tun"].planned == pytest.approx(360.0) and record["conversion"].got is not None


LAB = """title = "Lot trial"
tun = "plover"
[[grist]]
lot = "FH-0422"
mass = "4 kg"
[liquor]
mass = "16 kg"
[dough_in]
[[step]]
name = "isothermal"
temperature = "65 °C"
time = "60 min"
tolerance = "0.5 K"
[[step]]
kind = "keep"
time = "30 min"
"""


def test_a_pilot_laboratory_with_a_lot(config: Path, tmp_path: Path) -> None:
    """65 °C for an hour with a lot from its certificate: moisture sets the strike, the mash is held within 0.5 K, and
    the wort measured in °P gives extract as is and dry."""
    (config / "programs" / "lab.toml").write_text(LAB, encoding="utf-8")
    page = done(config, "check", "lab")
    assert "slaking heat (4.8 % moisture)" in page and "under-modified malt" in page
    record, run = filed(config, "lab", first_wort_p=14.2)
    assert record["conversion"].got is not None
    assert abs(run["steps"][1]["mean_c"] - 65.0) < 0.1 and run["steps"][1]["credited_s"] >= 3600
    typed = ("extract", "fine=8.80 °P", "coarse=8.63 °P", "moisture=4.8 %")
    answers = json.loads(done(config, "reckon", *typed, "--json"))["answers"]
    as_is = 8.80 * (4.8 + 800.0) / (100.0 - 8.80) / 100.0
    assert answers["extract as is, fine"] == pytest.approx(as_is)
    assert answers["extract dry, fine"] == pytest.approx(as_is / 0.952)
