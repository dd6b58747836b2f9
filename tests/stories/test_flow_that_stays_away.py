"""A pump that runs and moves nothing: tried again once, and then it waits for a person."""

from __future__ import annotations

from controller.edge.files import config_files, plan_by_name
from sim import dryrun
from sim.people.manner import Manner
from sim.world.faults import parse
from tests.places import CONFIG


def test_lost_flow_is_tried_again_once_and_then_waits() -> None:
    """Flow is away for 20 min; the second trip comes within half a minute of the second try and waits: with nobody at
    the tun the run stays held; with somebody who clears it once flow is back, it completes."""
    plan, settings = plan_by_name.load_plan(CONFIG, "linnet", "plover"), config_files.settings(CONFIG, "plover")
    fault = [parse("flow_lost@50min+20min")]
    alone = dryrun.DryRun(settings, plan, 1, fault).go()
    first, second = alone.trace.trips
    assert (first["id"], second["id"], alone.result) == ("G13", "G13", "held")
    assert first["text"].startswith("The flow switch says: no flow past the heater.")
    assert second["at_s"] - first["at_s"] < 60.0 + 30.0
    seen_to = dryrun.DryRun(settings, plan, 1, fault, manner=Manner(clears=True)).go()
    assert seen_to.result == "complete"
