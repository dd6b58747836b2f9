"""A program whose last steps are cooler than those before; a pump that runs and moves nothing."""

from __future__ import annotations

from pathlib import Path

from controller.edge.files import config_files, plan_by_name
from sim import dryrun
from sim.people.manner import Manner
from sim.world.faults import parse
from tests.places import CONFIG
from tests.sim import brief


def test_a_mash_that_cools_to_a_lower_step_trips_nothing(tmp_path: Path) -> None:
    """The brief mash with its mash-out at 60 °C after 66: for two hours it is above all that is still asked for,
    crosses the limit of 63 °C in the noise of its probe, and once that was a trip."""
    program = tmp_path / "falls.toml"
    program.write_text(brief.text("6 min").replace('"69 °C"', '"60 °C"'), encoding="utf-8")
    plan, settings = plan_by_name.load_plan(CONFIG, str(program), "plover"), config_files.settings(CONFIG, "plover")
    assert [leg.target_c for leg in plan.course.legs][1:3] == [66.0, 60.0]
    ran = dryrun.run(settings, plan)
    assert (ran.result, ran.trace.trips) == ("complete", [])


def test_lost_flow_is_tried_again_once_and_then_waits() -> None:
    """Flow is away for 20 min; the second trip comes within half a minute of the second try and waits: with nobody at
    the tun the run stays held; with somebody who clears it once flow is back, it completes."""
    fault = [parse("flow_lost@20min+20min")]
    alone = dryrun.DryRun(*brief.mash(), 1, fault).go()
    first, second = alone.trace.trips
    assert (first["id"], second["id"], alone.result) == ("G13", "G13", "held")
    assert first["text"].startswith("The flow switch says: no flow past the heater.")
    assert second["at_s"] - first["at_s"] < 60.0 + 30.0
    seen_to = dryrun.DryRun(*brief.mash(), 1, fault, manner=Manner(clears=True)).go()
    assert seen_to.result == "complete"
