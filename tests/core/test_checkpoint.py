"""What is kept for the next process, and what is taken of it."""

from __future__ import annotations

import json
from math import inf, nan
from typing import Any

import pytest

from controller.core import checkpoint, plain_values
from controller.core.guard.interlocks.g23_run_too_long import RunTooLong
from controller.core.guard.registry import ALL
from controller.core.procedure import resume
from controller.core.procedure.run import Beginning
from controller.core.state import start
from tests.core.bench import settings
from tests.core.guard.looks import LATCHED
from tests.core.guard.rounds import remembered
from tests.core.runs import in_a_rest, restarted


def test_the_record_survives_json() -> None:
    """What was kept comes back equal in everything that matters."""
    bench = in_a_rest()
    back = checkpoint.recall(json.loads(json.dumps(checkpoint.keep(bench.state))), 5.0)
    assert back is not None
    run = bench.state.run
    assert back.run.course == run.course
    assert (back.run.leg, back.run.phase, back.run.progress.credited_s) == (run.leg, run.phase, run.progress.credited_s)
    assert back.guard.epoch == bench.state.guard.epoch
    assert back.last_c == pytest.approx(bench.mash_c, abs=0.1)


def test_a_damaged_record_gives_none() -> None:
    """Whatever key is missing or wrong, the answer is None and never an exception."""
    whole: dict[str, Any] = checkpoint.keep(in_a_rest().state)
    assert checkpoint.recall(whole, 0.0) is not None
    assert whole["format"] == 10
    assert checkpoint.recall({**whole, "format": 9}, 0.0) is None
    trip = plain_values.plain(LATCHED._replace(id="G01"), 0.0)
    assert checkpoint.recall({**whole, "guard": {**whole["guard"], "trips": [trip]}}, 0.0) is None
    for key in whole:
        assert checkpoint.recall({k: v for k, v in whole.items() if k != key}, 0.0) is None
    for part in ("run", "guard"):
        for key in whole[part]:
            broken = {**whole, part: {k: v for k, v in whole[part].items() if k != key}}
            assert checkpoint.recall(broken, 0.0) is None
    progress = {**whole["run"]["progress"], "credited_s": nan}
    for wrong in ({"leg": -1}, {"leg": 99}, {"state": "dreaming"}, {"progress": progress}):
        assert checkpoint.recall({**whole, "run": {**whole["run"], **wrong}}, 0.0) is None
    deep: Any = []
    for _ in range(5000):
        deep = [deep]
    for key, value in (("last_c", inf), ("last_c", 10**400), ("more", deep)):
        assert checkpoint.recall({**whole, key: value}, 0.0) is None


def test_a_record_of_a_process_without_a_run() -> None:
    """Idle when it was kept: no course, no temperature."""
    whole: dict[str, Any] = checkpoint.keep(in_a_rest().state)
    idle = {**whole["run"], "course": None, "leg": 0, "state": "idle"}
    found = checkpoint.recall({**whole, "run": idle, "last_c": None}, 0.0)
    assert found is not None and (found.run.course, found.last_c) == (None, None)


@pytest.mark.parametrize("leg", [0, 1, 2])
def test_a_run_in_its_last_step_or_past_it_holds_together(leg: int) -> None:
    """Of a program of two steps: where it is over, there is a step less than none to go."""
    whole: dict[str, Any] = checkpoint.keep(in_a_rest().state)
    found = checkpoint.recall({**whole, "run": {**whole["run"], "leg": leg}}, 0.0)
    assert found is not None and found.run.leg == leg


def test_the_guards_times_are_older_by_the_outage_and_the_runs_are_not() -> None:
    """A trip of five seconds ago was ten minutes and five seconds ago; the rest has gone on for as long as before."""
    bench = in_a_rest()
    latched = LATCHED._replace(at=bench.now - 5.0)
    state = bench.state._replace(guard=bench.state.guard._replace(trips=(latched,)))
    said = json.loads(json.dumps(checkpoint.keep(state)))
    back = checkpoint.recall(said, 5000.0, 600.0)
    assert back is not None and back.guard.trips == (latched._replace(at=5000.0 - 605.0),)
    assert 5000.0 - back.run.phase_since == bench.now - state.run.phase_since


def test_a_run_not_yet_decided_on_is_kept_as_it_was_found() -> None:
    """The process that checks it leaves the next one the run, the last temperature and that nobody has decided."""
    found = resume.Pending(in_a_rest().state.run, 61.5, 60.0, True, 1, 1800.0)
    state = start(settings(), 10.0, "boot", pending=found)
    kept = [checkpoint.recall(checkpoint.keep(one), 10.0) for one in (state, in_a_rest().state)]
    assert kept[0] is not None and kept[1] is not None
    assert (kept[0].run.leg, kept[0].run.phase, kept[0].last_c) == (found.run.leg, found.run.phase, 61.5)
    assert (kept[0].pending, kept[1].pending) == (True, False)


LONG = RunTooLong(heat_on_s=50_000.0, longer_s=9.0 * 3600.0)


def test_what_g23_counts_and_what_a_person_gave_survive_the_restart() -> None:
    """A run over its limit for which a person gave an hour: neither is lost with the power, nor the heater's count."""
    bench = in_a_rest()
    guard = bench.state.guard
    bench.state = bench.state._replace(
        run=bench.state.run._replace(begun=Beginning("r", excluded_s=-9.0 * 3600.0)),  # as if it had run for nine hours
        guard=guard._replace(interlocks=tuple(LONG if i == RunTooLong() else i for i in ALL)),
    )
    after = restarted(bench, 60.0, 62.3)
    after.until("running", 100)
    after.run(60)
    assert after.state.guard.trips == ()
    assert remembered(after, RunTooLong).longer_s == LONG.longer_s
    assert LONG.heat_on_s < remembered(after, RunTooLong).heat_on_s < LONG.heat_on_s + 200.0
    after.order("stop")
    after.until("stopped", 30)
    after.run(2)
    assert remembered(after, RunTooLong) == RunTooLong()
