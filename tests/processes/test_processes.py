"""Mosquitto, stand-in and daemon as processes; kills and outages; judged from what went over the broker."""

from __future__ import annotations

import signal
import time
from pathlib import Path

from tests.regimes.chaos import judge
from tests.regimes.chaos.field import Field, field, needs_mosquitto
from tests.waiting import PATIENCE_S

pytestmark = needs_mosquitto
SPEED = 20.0  # ten seconds of the tun are half a second here: a busy machine's hiccups are no faults yet
FASTEST = 60.0


def resting(there: Field, index: int = 0) -> bool:
    step = there.step()
    return step.get("phase") == "resting" and step.get("index", -1) >= index and step.get("credited_s", 0) > 60


def heater_duty(there: Field) -> float:
    return float(there.newest("heater/report").get("duty", -1.0))


def test_three_processes_complete_a_program_over_a_real_broker(tmp_path: Path) -> None:
    """Two rests at sixty times real time, trips of a busy machine cleared by the brewer: complete, record clean."""
    with field(tmp_path, "gannet", "brief", FASTEST) as there:
        there.site("--clears")
        there.serve()
        there.wait(lambda: there.state() == "complete", 150, "the program completes")
        assert judge.all_of(there.heard, there.base, FASTEST) == []
        assert any(h.values()["duty"] > 0 for h in there.of("heater/command"))


def test_a_killed_daemon_leaves_a_heater_that_is_off_within_its_lease(tmp_path: Path) -> None:
    """kill -9 in a rise: the heater is off within 10 s of its clock; a restart resumes the run by itself."""
    with field(tmp_path, "gannet", "brief", SPEED) as there:
        there.site()
        there.serve()
        there.wait(lambda: there.state() == "running" and heater_duty(there) > 0, 60, "the heater is on")
        there.kill("serve")
        mark = len(there.heard)
        there.wait(lambda: heater_duty(there) == 0.0, PATIENCE_S, "the heater is off")
        still = [h for h in there.of("heater/report", mark) if h.values()["duty"] > 0.0]
        assert len(still) <= 12  # the node reports once a second of its own clock, however slow the machine is
        mark = len(there.heard)
        there.serve()
        there.wait(lambda: bool(there.of("heater/command", mark)), 20, "the daemon is back")
        there.wait(lambda: "resume" in [h.values()["kind"] for h in there.of("event", mark)], 30, "a decision")
        there.wait(
            lambda: "running" in [h.values()["state"] for h in there.of("status", mark)], 30, "the run has resumed"
        )
        hot = next((h for h in there.of("heater/command", mark) if h.values()["duty"] > 0), None)
        first = there.of("heater/command", mark)[0]
        assert hot is None or (hot.at - first.at) * SPEED >= 9.0
        assert judge.all_of(there.heard, there.base, SPEED) == []


def test_a_broker_killed_and_restarted_in_a_rest_costs_no_run(tmp_path: Path) -> None:
    """The broker is gone for 2 s (40 s of the tun's): no heat without a fresh reading, and the run completes."""
    with field(tmp_path, "gannet", "brief", SPEED) as there:
        there.site("--clears")
        there.serve()
        there.wait(lambda: resting(there), 90, "the first rest")
        there.kill("broker")
        time.sleep(2.0)
        there.broker()
        there.wait(lambda: there.state() == "complete", 150, "the program completes")
        assert judge.all_of(there.heard, there.base, SPEED) == []


def test_an_orderly_end_says_off_last(tmp_path: Path) -> None:
    """SIGTERM in the first rise: exit 0, the last command is OFF, presence says false."""
    with field(tmp_path, "gannet", "brief", SPEED) as there:
        there.site()
        there.serve()
        there.wait(lambda: heater_duty(there) > 0, 60, "the heater is on")
        process = there.processes["serve"]
        there.kill("serve", signal.SIGTERM)
        assert process.returncode == 0
        there.wait(lambda: there.newest("online") is False, 3, "presence says false")  # type: ignore[comparison-overlap]
        assert there.of("heater/command")[-1].values()["duty"] == 0.0
