"""The demonstration brewhouse's programs draw exactly the advice that they should."""

from __future__ import annotations

import pytest

from controller.brewing.advice.advice import Advice, advise
from tests.brewing.advice.demo import CASES


@pytest.mark.parametrize("name", CASES)
def test_demonstration_advice(name: str) -> None:
    """Exactly this advice is drawn, and no other."""
    found, wanted = CASES[name]
    assert {advice.rule for advice in advise(found)} == wanted


def _advice(name: str, rule: str) -> Advice:
    return next(advice for advice in advise(CASES[name][0]) if advice.rule == rule)


def test_the_overfull_tun_is_told_what_the_heater_gives() -> None:
    """26 kg in 91 kg: 26 x 1.676 + 91 x 4.19 + 12.5 = 437.4 kJ/K, so that 28 K take about 42 min at 5 kW, not 28."""
    text = _advice("Gannet overfull", "A5").text
    assert "0.65 K/min at this heater's power, not 1.00" in text
    assert "min, not 103.0" in text


def test_the_hot_mash_out_is_refused() -> None:
    """82 °C trips the tun's own safety, which stops; its harm to the beer is a warning besides."""
    assert _advice("Redstart hot", "A3").level == "stop"
    assert _advice("Redstart hot", "A19").level == "warn"


def test_the_overfull_tun_is_told_its_litres() -> None:
    """26 kg at 3.5 L/kg need 108.4 L, 108.4 % of the tun."""
    assert "108.4 L, 108.4 % of the tun's 100 L" in _advice("Gannet overfull", "A1").text
