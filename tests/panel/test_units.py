"""The panel tells and takes quantities in the units of the brewery, as the terminal does; the wire stays metric."""

from __future__ import annotations

import json
from random import Random

from controller.brewing.units import quantity
from controller.core.procedure.entries import FIGURES
from controller.settings.own_units import in_own_units, own
from tests.browser import browser
from tests.panel.stage import PANEL
from tests.settings.own_choices import CHOICES, METRIC, read_back

SENTENCES = [
    "strike 52.8 °C, comes to 50.0 °C",
    "4.00 kg at 70 °C, 60 L, 3.0 L/kg, 12.5 °P",
    "48.6 °C: about 2.2 kg more to add; stop at 49.5 °C",
    "0.5 K short, 1.00 K/min, at 35 to 45 °C, at 65, 70, 75 and 80 °C, 63.33 °C",
    "0.30 kg, 2 L, -0.0 K, 5 kW, 12 min, 0 to 40 °P, 3.5 L/min",
]
EACH = 12  # quantities of each kind for each choice of units
TYPED = {"c": "°C", "kg": "kg", "l": "L", "p": "°P"}  # by the end of a field's key


def drawn(rng: Random, unit: str) -> str:
    """A quantity as it may be printed."""
    _, low, high = METRIC[unit]
    return f"{rng.uniform(low, high):.{rng.randint(0, 3)}f}"


def test_the_panel_tells_and_takes_what_the_terminal_does() -> None:
    """In every unit that can be chosen each sentence is as the terminal has it; each quantity that is told is read back
    to the same value, and so is each that is typed into a field; what has no unit is left."""
    source = (PANEL / "units.js").read_text("utf-8").replace('"use strict";\nconst Units', "globalThis.Units")
    rng, fields = Random(19), [key for key in sorted(FIGURES) if key.rpartition("_")[2] in TYPED]
    with browser() as page:
        page.eval(f"{source}; 1")
        for choice in CHOICES:
            page.eval(f"Units.choose({json.dumps(choice)})")
            printed = [(unit, drawn(rng, unit)) for unit in sorted(METRIC) for _ in range(EACH)]
            texts = [*SENTENCES, *(f"{figure} {unit}" for unit, figure in printed)]
            told = page.eval(f"{json.dumps(texts)}.map(Units.told)")
            assert told == [in_own_units(text, own(choice)) for text in texts], choice
            for (unit, figure), words in zip(printed, told[len(SENTENCES) :], strict=True):
                value = quantity(METRIC[unit][0], words)
                assert float(read_back(unit, figure, value)) == float(figure), (choice, figure, unit, words)
            typed, meant = [], []
            for key in fields:
                metric = TYPED[key.rpartition("_")[2]]
                there, figure = own(choice).get(metric), drawn(rng, metric)
                typed.append([key, float(figure) if there is None else round(there.of(float(figure)), 6)])
                meant.append(figure)
            back = page.eval(f"{json.dumps(typed)}.map(([key, value]) => Units.back(key, value))")
            assert [round(value, 3) for value in back] == [float(figure) for figure in meant], choice
