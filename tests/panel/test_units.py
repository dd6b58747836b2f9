"""The panel tells and takes quantities in the units of the brewery, as the terminal does; the wire stays metric."""

from __future__ import annotations

import json

import pytest

from controller.core.procedure.entries import FIGURES
from controller.settings.own_units import SETS, in_own_units, own
from tests.browser import browser
from tests.panel.stage import PANEL

SENTENCES = [
    "strike 52.8 °C, comes to 50.0 °C",
    "4.00 kg at 70 °C, 60 L, 3.0 L/kg, 12.5 °P",
    "48.6 °C: about 2.2 kg more to add; stop at 49.5 °C",
    "0.5 K short, 1.00 K/min, at 35 to 45 °C",
    "0.30 kg, 2 L, -0.0 K, 5 kW, 12 min",
]
TYPED = {"c": 66.3, "l": 104.2, "kg": 12.5, "p": 12.4}


def test_the_panel_tells_and_takes_what_the_terminal_does() -> None:
    """Each sentence as `in_own_units` has it, in every set; each figure that is typed goes back to its metric value;
    what has no unit is left."""
    source = (PANEL / "units.js").read_text("utf-8").replace('"use strict";\nconst Units', "globalThis.Units")
    with browser() as page:
        page.eval(f"{source}; 1")
        for choice in sorted(SETS):
            page.eval(f"Units.choose({json.dumps(choice)})")
            told = page.eval(f"{json.dumps(SENTENCES)}.map(Units.told)")
            assert told == [in_own_units(text, own(choice)) for text in SENTENCES]
            for key in sorted(FIGURES):
                metric = TYPED.get(key.rpartition("_")[2], 5.4)
                unit = own(choice).get({"c": "°C", "l": "L", "kg": "kg", "p": "°P"}.get(key.rpartition("_")[2], ""))
                typed = metric if unit is None else round(unit.of(metric), 5)
                back = page.eval(f"Units.back({json.dumps(key)}, {typed})")
                assert back == pytest.approx(metric, abs=0.005), (choice, key)
