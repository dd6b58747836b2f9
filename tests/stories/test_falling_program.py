"""A program whose last steps are cooler than the ones before: a tun has no cooling, the mash comes down by itself."""

from __future__ import annotations

from pathlib import Path

from controller.edge.files import config_files, plan_by_name
from sim import dryrun
from tests.places import CONFIG


def test_a_mash_that_cools_to_a_lower_step_trips_nothing(tmp_path: Path) -> None:
    """Linnet with its mash-out at 60 °C after 66: for two hours the mash is above all that is still asked for, crosses
    the limit of 63 °C in the noise of its probe, and once that was a trip."""
    program = tmp_path / "falls.toml"
    text = (CONFIG / "programs" / "linnet.toml").read_text(encoding="utf-8")
    program.write_text(text.replace('"77 °C"', '"60 °C"'), encoding="utf-8")
    plan, settings = plan_by_name.load_plan(CONFIG, str(program), "plover"), config_files.settings(CONFIG, "plover")
    assert [leg.target_c for leg in plan.course.legs][1:3] == [66.0, 60.0]
    ran = dryrun.run(settings, plan)
    assert (ran.result, ran.trace.trips) == ("complete", [])
