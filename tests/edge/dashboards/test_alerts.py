"""Alerts: who is told, again, and whom else when nobody answers."""

from __future__ import annotations

import asyncio
import json
from collections import Counter
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import pytest

from controller.core.guard.state import Noted
from controller.core.nouns import Event, Trip
from controller.core.procedure.run import Prompt
from controller.core.state import Outcome
from controller.edge.dashboards.alerts import Alarm, Bell
from controller.settings.service import Alerts

SETTINGS = Alerts(repeat_s=300.0, escalate_s=900.0)
TRIP = Trip("G02", 0.0, "Mash temperature missing.", 12.0, 10.0, "s", 1, False, True)


def outcome(now: float, trips: tuple[Trip, ...] = (), prompt: Prompt | None = None) -> Outcome:
    guard, run = SimpleNamespace(trips=trips, noted=Noted()), SimpleNamespace(prompt=prompt, leg=2)
    state = SimpleNamespace(now=now, guard=guard, run=run)
    return cast(Outcome, SimpleNamespace(state=state, meanwhile="The mash falls." if trips else ""))


def told(alarm: Alarm, now: float, *events: Event, **more: Any) -> list[tuple[str, str, int, bool]]:
    found = alarm.look(outcome(now, **more), events, now)
    return [(a.kind, a.id, a.repeated, a.escalated) for a in found]


def test_a_trip_is_told_at_once_repeated_and_taken_to_the_second_contact() -> None:
    """At 0, 300, 600 s to the first, from 900 s on to the second too; never in between."""
    alarm = Alarm(SETTINGS)
    found = {now: got for now in range(0, 1300, 10) if (got := told(alarm, float(now), trips=(TRIP,)))}
    assert found == {
        0: [("trip", "G02", 0, False)],
        300: [("trip", "G02", 1, False)],
        600: [("trip", "G02", 2, False)],
        900: [("trip", "G02", 3, True)],
        1200: [("trip", "G02", 4, True)],
    }


def test_a_question_that_nobody_answers_is_repeated_too() -> None:
    """An open prompt is an alert to act soon; the next question is another one."""
    alarm = Alarm(SETTINGS)
    ask = Prompt("go_on", "Go on?", ("yes",), 0.0)
    assert told(alarm, 0.0, prompt=ask) == [("prompt", "2.go_on", 0, False)]
    assert told(alarm, 299.0, prompt=ask) == []
    assert told(alarm, 300.0, prompt=ask) == [("prompt", "2.go_on", 1, False)]
    assert told(alarm, 301.0) == []
    assert told(alarm, 400.0, prompt=ask._replace(id="iodine")) == [("prompt", "2.iodine", 0, False)]


@pytest.mark.parametrize(("named", "heard"), [("G02", True), ("all", True), ("G14", False)])
def test_an_alert_that_was_heard_is_silent(named: str, heard: bool) -> None:
    """`acknowledge` by name or for all stops repeats and the horn, and leaves the trip to the guard; another name does
    not."""
    alarm = Alarm(SETTINGS)
    told(alarm, 0.0, trips=(TRIP,))
    assert alarm.horn
    told(alarm, 10.0, Event("acknowledge", named, ""), trips=(TRIP,))
    assert alarm.horn is not heard
    assert not heard or [told(alarm, float(now), trips=(TRIP,)) for now in (300, 900, 2000)] == [[], [], []]


def test_the_same_cause_is_told_at_most_once_a_minute_and_notes_to_nobody() -> None:
    """A trip that comes and goes every ten seconds is told at 0 and 60 s, not six times; priority 3 is told to nobody,
    priority 2 without the horn; a run begins with a test alert, so that a broken way to the brewer is found while the
    brewer is still there; it is no alarm in the counts."""
    alarm = Alarm(SETTINGS)
    times = [now for now in range(0, 100, 5) if told(alarm, float(now), trips=(TRIP,) if now % 10 == 0 else ())]
    assert times == [0, 60]
    assert alarm.counts["alerts trip"] == 2
    alarm = Alarm(SETTINGS)
    assert told(alarm, 0.0, Event("run", "r1", "started")) == [("test", "r1", 0, False)]
    assert alarm.counts == {}
    assert told(alarm, 0.0, trips=(TRIP._replace(priority=3),)) == []
    assert told(alarm, 1.0, trips=(TRIP._replace(priority=2),)) == [("trip", "G02", 0, False)]
    assert not alarm.horn


def bell(settings: Alerts) -> tuple[Bell, list[bytes], Counter[str], list[str]]:
    horn: list[bytes] = []
    counters: Counter[str] = Counter()
    failures: list[str] = []
    return Bell(settings, "gannet", horn.append, counters, failures.append), horn, counters, failures


async def rung(ring: Bell, found: Outcome, *events: Event) -> None:
    ring.seen(found, events, None)
    await asyncio.gather(*ring._tasks)


async def test_the_command_gets_the_alert_as_json_on_its_input(tmp_path: Path) -> None:
    """A real process: what it reads is the alert, with the tun's name."""
    out = tmp_path / "told"
    settings = Alerts(command=("/bin/sh", "-c", f"cat > {out}"), horn_topic="horn")
    ring, horn, counters, failures = bell(settings)
    await rung(ring, outcome(1.0, (TRIP,)))
    await rung(ring, outcome(2.0))
    said = json.loads(out.read_text())
    assert (said["tun"], said["kind"], said["id"], said["priority"]) == ("gannet", "trip", "G02", 1)
    assert horn == [b"true", b"false"]
    assert failures == []
    assert counters["alerts trip"] == 1


def test_a_command_that_fails_is_counted_and_harms_nothing() -> None:
    """Missing program, non-zero end: each is told to the log and counted."""
    for command, why in [(("/nonexistent/tell",), "No such file"), (("/bin/sh", "-c", "exit 3"), "ended with 3")]:
        ring, _, counters, failures = bell(Alerts(command=command))
        asyncio.run(rung(ring, outcome(1.0, (TRIP,))))
        assert len(failures) == 1
        assert why in failures[0]
        assert counters["alert command failed"] == 1


async def test_the_second_contact_is_called_when_the_first_did_not_answer(tmp_path: Path) -> None:
    """At 900 s both commands run."""
    first, second = tmp_path / "first", tmp_path / "second"
    settings = Alerts(
        command=("/bin/sh", "-c", f"cat >/dev/null; echo x >> {first}"),
        second_command=("/bin/sh", "-c", f"cat >/dev/null; echo x >> {second}"),
    )
    ring, _, _, failures = bell(settings)
    for now in range(0, 1000, 50):
        await rung(ring, outcome(float(now), (TRIP,)))
    assert failures == []
    assert first.read_text().count("x") == 4
    assert second.read_text().count("x") == 1
