"""What an open lid takes while the grain goes in: told beside the strike, or made up for by it."""

from __future__ import annotations

import pytest

from controller.edge.files import config_files as files
from controller.plan.forecast import rests
from controller.plan.plan import Plan, make
from controller.report.plan_page import facts
from tests.places import CONFIG


def shipped(name: str, lid: str) -> Plan:
    program = files.load_program(CONFIG, name)
    dough = program.dough_in.model_copy(update={"lid": lid})
    return make(program.model_copy(update={"dough_in": dough}), files.load_tun(CONFIG, program.tun))


@pytest.mark.parametrize("name", ["linnet", "sandpiper"])
def test_the_strike_for_an_open_lid(name: str) -> None:
    """The formula's figure stays as it is and says the other one; with the key the strike is that, by the loss times
    the mash's heat capacity over the liquor's and vessel's, and the mash is planned to land at its rest."""
    shut, lid_open = shipped(name, "shut"), shipped(name, "open")
    assert shut.strike_c is not None and lid_open.strike_c is not None
    own = shut.liquor_kg * 4190.0 + shut.tun.metal_j_per_k + shut.tun.heater.bath_j_per_k
    more_k = shut.lid_k * shut.stages[1].capacity_j_per_k / own
    assert 0.3 < shut.lid_k < 1.5
    assert lid_open.strike_c == pytest.approx(shut.strike_c + more_k)
    assert (lid_open.lid_k, lid_open.landing_c) == (0.0, shut.landing_c)
    assert f"strike at {lid_open.strike_c:.1f} °C" in "\n".join(facts(shut))
    assert f"+ {more_k:.1f} K for the open lid" in "\n".join(facts(lid_open))
    low, level = ((rests(plan) or [])[0].temperature_c for plan in (shut, lid_open))
    assert low < level - 0.3
