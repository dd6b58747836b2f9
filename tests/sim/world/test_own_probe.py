"""The simulated heater node looks at a thermometer of its own, as the shipped node does, and says so by its codes."""

from __future__ import annotations

import json
from typing import Any

import pytest

from sim.world.faults import parse
from sim.world.world import World
from tests.sim.conftest import shipped

HEAT = {"epoch": 1, "valid_s": 10.0, "duty": 1.0}


def codes(tun: str, program: str, fault: str, until: float = 120.0) -> tuple[World, list[tuple[float, str | None]]]:
    """Each change of the report's fault code under heat that is commanded each second."""
    settings, plan = shipped(tun, program)
    made, found = World(settings, plan.course, 1, [parse(fault)]), list[tuple[float, str | None]]()
    for second in range(int(until)):
        for message in made.until(second + 0.25):
            if message.topic == made.topics.heater_report:
                code = json.loads(message.payload)["fault_code"]
                found += [] if found and found[-1][1] == code else [(message.at, code)]
        said: dict[str, Any] = {**HEAT, "seq": second + 1}
        made.receive(made.topics.heater_command, json.dumps(said).encode(), second + 0.25)
        for topic in (made.topics.stirrer_command, made.topics.pump_command):
            if topic is not None:
                made.receive(topic, b'{"seq": 1, "on": true, "valid_s": 10.0, "reason": ""}', second + 0.25)
    return made, found


@pytest.mark.parametrize("fault", ["probe_unplugged@60+30", "probe_nan@60+30", "probe_offline@60+30"])
def test_a_silent_thermometer_takes_heat_at_the_node(fault: str) -> None:
    """Without an outlet probe the mash probe counts: silent for ten seconds it is `own_probe_silent`, and
    heat is back with its next reading."""
    made, found = codes("gannet", "sandpiper", fault)
    assert [code for _, code in found] == [None, "own_probe_silent", None]
    (_, (silent, _), (back, _)) = found
    assert 69.0 <= silent <= 71.0 and 90.0 <= back <= 92.0
    assert made.heater.share > 0.0


def test_a_hot_reading_latches_only_when_it_lasts() -> None:
    """The outlet probe of a pumped tun for one second over the trip limits the node; for ten it latches, until somebody
    at the tun resets it."""
    once, _ = codes("plover", "linnet", "outlet_hot@60+1=85")
    assert not once.heater.state.latched
    latched, found = codes("plover", "linnet", "outlet_hot@60+10=85")
    assert found[-1][1] == "own_limit" and latched.heater.state.latched and latched.heater.share == 0.0
    assert latched.heater.reset().startswith("cleared: outlet hot")
    assert (latched.heater.state.code, latched.heater.state.ordered) == ("", 0.0)
