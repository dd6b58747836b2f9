"""A program for another volume in the kettle."""

from __future__ import annotations

import pytest

from controller.commands.compose.scaled import scaled
from controller.commands.shared.exit_codes import Wrong
from controller.edge.files import config_files
from controller.plan import kettle
from controller.plan.recipe import Program
from tests.places import CONFIG

GANNET = config_files.settings(CONFIG, "gannet").tun
GRIST = (
    {"name": "pale", "mass_kg": 15.0, "extract": 0.82, "moisture": 0.04},
    {"name": "dark", "kind": "kilned malt", "mass_kg": 5.0, "extract": 0.8, "moisture": 0.04},
)


def program(**more: object) -> Program:
    return Program(
        title="x",
        grist=GRIST,
        liquor={"mass_kg": 60.0},
        step=({"name": "rest", "temperature_c": 65.0, "time_s": 3600.0},),
        **more,
    )


@pytest.mark.parametrize("sparge", ["none", "batch", "twice", "continuous"])
def test_it_gives_what_is_wanted(sparge: str) -> None:
    """50 L at 12 °P: with the grist and liquor that come out, the kettle is as wanted; malts keep their proportion."""
    made = scaled(program(wanted={"volume_l": 90.0, "gravity": 12.0, "sparge": sparge}), GANNET, 50.0)
    found = kettle.expected(made, GANNET)
    assert found is not None
    assert (found.got.volume_l, found.got.wort_p) == pytest.approx((50.0, 12.0), abs=0.05)
    pale, dark = made.grist
    assert pale.mass_kg / dark.mass_kg == pytest.approx(3.0, abs=0.01)


def test_without_a_gravity_nothing_is_scaled() -> None:
    """What is wanted is said in the sentence that refuses."""
    with pytest.raises(Wrong, match=r"\[wanted\]"):
        scaled(program(), GANNET, 50.0)
