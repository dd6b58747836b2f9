"""Enzymes that are added, by their data sheets: what is checked, said and no longer warned of; washes."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from tests.commands.called import called

WASH = """title = "Maize wash"
for = "wash"
tun = "gannet"
[[enzyme]]
name = "Hot alpha"
kind = "starch"
works = "60 °C to 85 °C"
ph = "4.5 to 6.5"
dose = "20 mL"
added_in = "hot"
[[grist]]
name = "Maize"
kind = "maize"
mass = "18 kg"
[[grist]]
name = "Pale malt"
mass = "2 kg"
[liquor]
mass = "70 kg"
[dough_in]
[[step]]
name = "hot"
temperature = "70 °C"
time = "60 min"
[[step]]
name = "sugar"
temperature = "62 °C"
time = "60 min"
"""


def checked(config: Path, text: str) -> tuple[int, dict[str, Any]]:
    (config / "programs" / "wash.toml").write_text(text, encoding="utf-8")
    code, out, _ = called("check", "wash", "--json", config=config)
    return code, json.loads(out)


def test_a_wash_in_falling_order_with_an_enzyme(config: Path) -> None:
    """It is taken: the dose is said in its step, no rule speaks of lost malt enzymes, no attenuation is told, and the
    page speaks of the licence once."""
    plain = WASH.replace(WASH[WASH.index("[[enzyme]]") : WASH.index("[[grist]]")], "", 1)
    code, bare = checked(config, plain)
    code, told = checked(config, WASH)
    assert code == 0
    rules = {"A7", "A13", "A36"}
    said = [{str(one["rule"]) for one in found["advice"]} for found in (bare, told)]
    assert rules & said[0] and not rules & said[1]
    assert told["prediction"]["apparent_limit_pct"] is None
    page = called("check", "wash", config=config)[1]
    assert page.count("licence") == 1


@pytest.mark.parametrize(
    ("found", "instead", "says"),
    [
        ('added_in = "hot"', 'added_in = "cold"', "the name of a step"),
        ('"60 °C to 85 °C"', '"40 °C to 60 °C"', "where Hot alpha works"),
        ('temperature = "62 °C"', 'temperature = "95 °C"', "[cereal]"),
        ('works = "60 °C to 85 °C"', "", "works"),
        ('mass = "70 kg"', 'mass = "70 kg"\nexpected_ph = 7.0', "4.5 to 6.5, where Hot alpha works"),
        ('ph = "4.5 to 6.5"', 'ph = "sour"', "ph_from"),
    ],
)
def test_what_does_not_fit_is_refused(config: Path, found: str, instead: str, says: str) -> None:
    """A step that there is not, one too hot for the enzyme, cooking in the tun, a sheet without its range."""
    code, told = checked(config, WASH.replace(found, instead, 1))
    assert code == 2
    assert says in json.dumps(told, ensure_ascii=False)
