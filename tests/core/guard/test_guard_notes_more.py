"""Notes with a limit of their own, from both sides of it, and an outlet that was too hot once."""

from __future__ import annotations

from math import inf, nan
from types import SimpleNamespace
from typing import Any, cast

import pytest

from controller.core.guard import gate as guard
from controller.core.guard import notes as guard_notes
from controller.core.guard import trips, watch_mash
from controller.core.guard.registry import Finding, Memory
from controller.core.nouns import Event, HeaterReport, Phase, Reading, RunState
from controller.core.state import Outcome
from controller.edge.dashboards.alerts import Alarm
from controller.settings.service import Alerts
from controller.settings.tun import Probe, Probes
from tests.core.bench import Bench, course, leg, settings
from tests.core.guard.test_guard_corners import BASE, NOW, OPEN, PROBES, SEEN, TUN, S, check, hot, ids, senses

BLOCKED: dict[str, Any] = {"target": BASE.target._replace(heat="blocked"), "phase": Phase.ADDING}


def said(gate: guard.Gate) -> list[tuple[str, int | None]]:
    return [(event.id, event.priority) for event in gate.events if event.kind == "note"]


def text(gate: guard.Gate, key: str) -> str:
    return dict(gate.state.notes)[key]


# ---------------------------------------------------------------- an addition


@pytest.mark.parametrize("which", ["raw", "raw_second"])
def test_hot_during_an_addition(which: str) -> None:
    """At 80.0 °C, by either probe, it is said what to look for; at 79.9 °C nothing is; G07 does not trip."""
    gate = check(**BLOCKED, **{which: hot(80.0)})
    assert said(gate) == [("G07", 1)]
    assert ids(gate) == []
    assert text(gate, "G07") == (
        "80.0 °C is read during an addition; the limit is 80 °C. If hot liquor or mash just went in, stir. "
        "If not, the heater may be stuck on: cut the mains, then look."
    )
    assert said(check(**BLOCKED, **{which: hot(79.9)})) == []


def test_hot_outside_an_addition_is_a_trip() -> None:
    """Two readings at the limit latch G07 where heat is not blocked, and no note is added."""
    gate = check(raw=hot(80.0, 80.1))
    assert (ids(gate), said(gate)) == (["G07"], [])
    assert said(check(raw=hot(80.0))) == []


def test_the_hot_note_stays_between_readings_and_ends_by_itself() -> None:
    """A tick without a reading does not end it, one under the limit does; it is said again a minute later at most."""
    first = check(**BLOCKED, raw=hot(81.0))
    quiet = check(first.state, **BLOCKED, raw=(), now=NOW + 1.0)
    assert [key for key, _ in quiet.state.notes] == ["G07"]
    assert said(quiet) == []
    cool = check(quiet.state, **BLOCKED, raw=hot(79.9), now=NOW + 2.0)
    assert cool.state.notes == ()
    assert said(check(cool.state, **BLOCKED, raw=hot(81.0), now=NOW + 59.9)) == []
    assert said(check(cool.state, **BLOCKED, raw=hot(81.0), now=NOW + 60.0)) == [("G07", 1)]


def test_a_failed_sensor_is_not_hot() -> None:
    """A value that sensors give when they fail, or one beyond all that can be, sends nobody to the mains."""
    for value in (85.0, 105.1, nan):
        assert said(check(**BLOCKED, raw=hot(value))) == []


def test_an_addition_that_stands_open() -> None:
    """At 30 min it is said, a tenth of a second before it is not; settling, or heat on again, ends it."""
    began = check(**BLOCKED)
    assert began.state.memory.adding_since == NOW
    assert said(check(began.state, **BLOCKED, now=NOW + 1799.9, heater=answer(NOW + 1799.5))) == []
    gate = check(began.state, **BLOCKED, now=NOW + 1800.0, heater=answer(NOW + 1799.5))
    assert said(gate) == [("adding", 2)]
    assert text(gate, "adding") == (
        "The addition has stood open for 30 min (limit 30 min). Until it is over heat stays off, and a broken or stuck "
        "heater is not looked for (G09, G10, G12). Answer the question, or `stop`."
    )
    gate = check(gate.state, **BLOCKED, now=NOW + 2400.0, heater=answer(NOW + 2399.5))
    assert text(gate, "adding").startswith("The addition has stood open for 40 min (limit 30 min).")
    settled = BLOCKED | {"phase": Phase.SETTLING, "now": NOW + 2401.0, "heater": answer(NOW + 2400.5)}
    gate = check(gate.state, **settled)
    assert (gate.state.notes, gate.state.memory.adding_since) == ((), None)


def answer(at: float) -> HeaterReport:
    """The heater node obeys the newest command."""
    return HeaterReport(at, "b", 1, 60, 0.0, 9.0)


def test_a_hold_within_an_addition_does_not_start_its_time_anew() -> None:
    """Held, nothing is said of it; going on, the time counts from its beginning."""
    began = check(**BLOCKED)
    held = {"state": S.HELD, "target": BASE.target._replace(heat="off"), "phase": Phase.ADDING}
    gate = check(began.state, **held, now=NOW + 1900.0)
    assert said(gate) == []
    gate = check(gate.state, **BLOCKED, now=NOW + 1901.0, heater=answer(NOW + 1900.5))
    assert said(gate) == [("adding", 2)]


def test_a_heater_stuck_on_in_a_dough_in_that_nobody_answers() -> None:
    """The whole core, from the strike to boiling: the note comes with the reading at the limit, the other at 30 min."""
    bench = Bench(settings(), mash_c=50.0)
    bench.run(20)
    bench.start(course(leg("rest", 63.0, 600.0)))
    bench.until("dough_in")
    bench.answer(answer="begin")
    assert bench.state.run.phase is Phase.ADDING
    began, bench.stuck_w, bench.events = bench.now, 6500.0, []
    hot_at = None
    while bench.now < began + 1801.0:
        bench.step()
        hot_at = bench.now if hot_at is None and bench.mash_c + bench.offset_k >= 80.0 else hot_at
        before = [e.id for e in bench.events if e.kind == "note" and e.id in ("G07", "adding")]
        assert ("G07" in before) == (hot_at is not None)
        assert ("adding" in before) == (bench.now - began >= 1800.0)
    assert bench.mash_c > 85.0
    assert [t.id for t in bench.state.guard.trips] == []
    assert bench.duty == 0.0


# ---------------------------------------------------------------- other probes, and the heater node


def test_a_silent_second_probe() -> None:
    """At 60 s nothing is said, then it is said that G05 is not watched; a fresh reading ends it."""
    assert said(check(second=SEEN._replace(age_s=60.0))) == []
    gate = check(second=SEEN._replace(age_s=60.1, value_c=None))
    assert said(gate) == [("second", 2)]
    assert text(gate, "second") == (
        "No good reading of the second mash probe for 60 s (limit 60 s). Whether the probes differ (G05) is not "
        "watched meanwhile. Check the probe, its plug and its network."
    )
    assert check(gate.state, now=NOW + 1.0).state.notes == ()


def test_a_silent_outlet_probe() -> None:
    """The same for the outlet and G08; the heater node's own outlet reading is named where there is one."""
    assert said(check(outlet=SEEN._replace(age_s=60.0, fresh=False))) == []
    silent = SEEN._replace(age_s=60.1, value_c=None, fresh=False)
    gate = check(outlet=silent)
    assert said(gate) == [("outlet", 2)]
    assert text(gate, "outlet") == (
        "No good reading of the outlet probe for 60 s (limit 60 s). Whether the outlet is hot (G08) is not watched "
        "meanwhile. Check the probe, its plug and its network."
    )
    for heard_s, part in ((60.0, "is watched by the heater node's own thermometer alone."), (60.1, "is not watched")):
        memory = OPEN.memory._replace(outlet_at=NOW - heard_s)
        assert f"(G08) {part}" in text(check(OPEN._replace(memory=memory), outlet=silent), "outlet")


@pytest.mark.parametrize("key", ["second", "outlet"])
def test_a_probe_that_is_not_missed(key: str) -> None:
    """A process counts from its own beginning; without heat, or without that probe in the file, nothing is said."""
    never = {key: SEEN._replace(value_c=None, at=None, age_s=inf, fresh=False)}
    assert said(check(OPEN._replace(started_at=NOW - 60.0), **never)) == []
    assert said(check(OPEN._replace(started_at=NOW - 60.1), **never)) == [(key, 2)]
    assert said(check(OPEN._replace(started_at=NOW - 60.0), **{key: None})) == []
    assert said(check(OPEN._replace(started_at=NOW - 60.1), **{key: None})) == [(key, 2)]
    for state in (S.IDLE, S.HELD, S.RESTARTING, S.STOPPED):
        assert said(check(state=state, **never)) == []
    for state in (S.PAUSED, S.PAUSING):
        assert said(check(state=state, **never)) == [(key, 2)]
    without = TUN.model_copy(update={"probes": PROBES.model_copy(update={key: None})})
    assert said(check(tun=without, **{key: None})) == []


def test_a_heater_node_that_answers_late() -> None:
    """From over 5 s to 10 s a note, after that the trip; half of whatever the file allows."""

    def silent(for_s: float, **changes: Any) -> guard.Gate:
        state = OPEN._replace(memory=OPEN.memory._replace(acked_at=NOW - for_s))
        return check(state, heater=None, **changes)

    assert said(silent(5.0)) == []
    gate = silent(5.1)
    assert (said(gate), ids(gate)) == ([("G14", 3)], [])
    assert text(gate, "G14") == (
        "The heater node has not answered for 5 s; over 10 s heat goes off. Check its supply and network."
    )
    assert (said(silent(10.0)), ids(silent(10.0))) == ([("G14", 3)], [])
    assert (said(silent(10.1)), ids(silent(10.1))) == ([], ["G14"])
    assert said(silent(6.0, state=S.IDLE)) == []
    slow = TUN.model_copy(update={"guard": TUN.guard.model_copy(update={"heater_silent_s": 20.0})})
    assert (said(silent(10.0, tun=slow)), said(silent(10.1, tun=slow))) == ([], [("G14", 3)])
    never = OPEN._replace(memory=OPEN.memory._replace(acked_at=None))
    assert said(check(never, heater=None)) == []


def test_the_arrivals_of_the_last_nine_believed_readings_are_kept() -> None:
    """A tick with a new reading adds its arrival, one without adds none, nor does any in a run: they serve a start."""
    state = OPEN
    for n in range(12):
        gate = check(state, now=NOW + n, seen=SEEN._replace(at=NOW + n - 0.5, fresh=n % 3 < 2), state=S.IDLE)
        state = gate.state
    assert state.memory.believed_at == tuple(NOW - 0.5 + n for n in range(12) if n % 3 < 2)
    for n in range(12, 20):
        state = check(state, now=NOW + n, seen=SEEN._replace(at=NOW + n - 0.5), state=S.IDLE).state
    assert state.memory.believed_at == tuple(NOW - 0.5 + n for n in (10, *range(12, 20)))
    assert (
        check(state, now=NOW + 30.0, seen=SEEN._replace(at=NOW + 29.5)).state.memory.believed_at
        == state.memory.believed_at
    )


# ---------------------------------------------------------------- alerts


def test_urgent_notes_are_alerts() -> None:
    """Notes to act on go out as trips do, again after five minutes, silent once heard; plain notes do not."""
    alarm = Alarm(Alerts(repeat_s=300.0))
    notes = (("G01", "late"), ("G07", "hot"), ("second", "silent"))

    def told(now: float, notes: tuple[tuple[str, str], ...], *events: Event) -> list[tuple[str, str, str, int]]:
        run = SimpleNamespace(prompt=None, leg=0)
        state = SimpleNamespace(now=now, guard=SimpleNamespace(trips=(), notes=notes), run=run)
        found = alarm.look(cast(Outcome, SimpleNamespace(state=state)), events, now)
        return [(a.kind, a.id, a.text, a.priority) for a in found]

    both = [("note", "G07", "hot", 1), ("note", "second", "silent", 2)]
    assert told(0.0, notes) == both
    assert alarm.horn
    assert told(299.0, notes) == []
    assert told(300.0, notes) == both
    assert told(301.0, notes, Event("acknowledge", "G07", "heard")) == []
    assert not alarm.horn
    assert told(601.0, notes) == both[1:]
    assert told(602.0, ()) == []
    assert told(700.0, notes) == both


def test_every_urgent_note_can_be_given() -> None:
    """No priority is kept for a note that there is not."""
    gates = [check(**BLOCKED, raw=hot(81.0)), check(second=None, outlet=None)]
    began = OPEN._replace(memory=OPEN.memory._replace(adding_since=0.0))
    gates.append(check(began, **BLOCKED, now=NOW + 900.0, heater=answer(NOW + 899.5)))
    given = {note: priority for gate in gates for note, priority in said(gate)}
    assert given == guard_notes.PRIORITY


# ---------------------------------------------------------------- G08


def outlet(memory: Memory, now: float, *, probe_c: float | None = None, node_c: float | None = None,
           mash_c: float | None = 63.0) -> tuple[Memory, Finding | None]:  # fmt: skip
    """The rule at one moment; None: nothing is heard from there."""
    heard = SEEN._replace(value_c=probe_c, fresh=probe_c is not None)
    raw = () if probe_c is None else (Reading(probe_c, now, 9),)
    report = None if node_c is None else HeaterReport(now, "b", 1, 1, 0.0, 9.0, outlet_c=node_c)
    seen = SEEN._replace(value_c=mash_c)
    return watch_mash.outlet(senses(now=now, raw_outlet=raw, outlet=heard, heater=report, seen=seen), memory)


def test_an_outlet_is_cool_again_five_degrees_below() -> None:
    """Never hot, 84.9 °C is nothing; after 85.0 °C it stands down to 80.0 °C and is over at 79.9 °C."""
    memory, found = outlet(Memory(), NOW, probe_c=84.9)
    assert (found, memory.outlet_hot_c) == (None, None)
    memory, found = outlet(memory, NOW + 1.0, probe_c=85.0)
    assert found == Finding("G08", 85.0, 85.0, False)
    for after_s, value_c in ((2.0, 84.9), (3.0, 82.0), (4.0, 80.0), (5.0, nan), (6.0, 80.1)):
        memory, found = outlet(memory, NOW + after_s, probe_c=value_c)
        assert found is not None
        assert found.id == "G08"
    memory, found = outlet(memory, NOW + 7.0, probe_c=79.9)
    assert (found, memory.outlet_hot_c) == (None, None)
    memory, found = outlet(memory, NOW + 8.0, probe_c=84.9)
    assert found is None
    memory, found = outlet(memory, NOW + 9.0, node_c=85.0)
    assert found is not None
    assert outlet(memory, NOW + 10.0, node_c=80.0)[1] is not None
    assert outlet(memory, NOW + 10.0, node_c=79.9)[1] is None


def test_the_hotter_of_two_outlet_thermometers_counts() -> None:
    """The probe's or the node's own, to begin with and for the end."""
    for probe_c, node_c in ((86.0, 70.0), (70.0, 86.0)):
        memory, found = outlet(Memory(), NOW, probe_c=probe_c, node_c=node_c)
        assert found == Finding("G08", 86.0, 85.0, False)
        assert outlet(memory, NOW + 1.0, probe_c=probe_c - 6.0, node_c=node_c - 6.0)[1] is not None
        assert outlet(memory, NOW + 1.0, probe_c=probe_c - 6.1, node_c=node_c - 6.1)[1] is None


@pytest.mark.parametrize(
    ("mash_c", "stands_c", "over_c"),
    [(78.0, 80.0, 79.9), (79.0, 81.0, 80.9), (82.9, 84.9, 84.8), (95.0, 85.0, 84.9), (None, 80.0, 79.9)],
)
def test_an_outlet_gets_no_cooler_than_the_mash(mash_c: float | None, stands_c: float, over_c: float) -> None:
    """Within 2 K of a warm mash it is over as well, but never at the limit; with no mash reading the gap holds."""
    memory, _ = outlet(Memory(), NOW, probe_c=86.0)
    assert outlet(memory, NOW + 1.0, probe_c=stands_c, mash_c=mash_c)[1] is not None
    assert outlet(memory, NOW + 1.0, probe_c=over_c, mash_c=mash_c)[1] is None


def test_silence_does_not_cool_an_outlet() -> None:
    """Hot and then unheard of it stands for 15 min; by then the trip waits for a person. Cool and silent is nothing."""
    memory, _ = outlet(Memory(), NOW, probe_c=86.0)
    memory, _ = outlet(memory, NOW + 1.0, probe_c=83.0)
    memory, found = outlet(memory, NOW + 901.0)
    assert found == Finding("G08", 83.0, 85.0)
    memory, found = outlet(memory, NOW + 901.1)
    assert (found, memory.outlet_hot_c) == (None, None)
    cool, _ = outlet(Memory(), NOW, probe_c=63.0)
    assert outlet(cool, NOW + 1.0)[1] is None


def test_a_hot_outlet_that_falls_silent_waits_for_a_person() -> None:
    """The trip never ends by itself: not at 15 min of silence, nor a minute after."""
    state, unheard = OPEN, SEEN._replace(raw_c=None, value_c=None, fresh=False)
    for n in range(1000):
        now = NOW + n
        seen = SEEN._replace(at=now - 0.5, good_since=0.0)
        heard, raw = (SEEN, hot(86.0)) if n == 0 else (unheard, ())
        report = HeaterReport(now - 0.5, "b", 1, state.seq, 0.0, 9.0)
        run_state = S.RUNNING if n < 2 else S.HELD
        gate = check(state, now=now, seen=seen, outlet=heard, heater=report, state=run_state,
                     raw=(Reading(63.0, now - 0.5, n),), raw_second=(), raw_outlet=raw)  # fmt: skip
        state = gate.state
        assert ids(gate) == ["G08"], n
    assert state.trips[0].latched
    assert state.qualified
    assert dict(state.gone)["G08"] == NOW + trips.LATCH_AFTER_S + 1.0


def test_a_hot_outlet_that_cools_gives_the_heat_back() -> None:
    """The same with a cool outlet after a while: above 80 °C the trip stays, below it ends a minute after it began."""
    state = OPEN
    ended = None
    for n in range(200):
        now = NOW + n
        out_c = 86.0 if n == 0 else 83.0 if n < 100 else 79.0
        heard = SEEN._replace(value_c=out_c)
        report = HeaterReport(now - 0.5, "b", 1, state.seq, 0.0, 9.0)
        gate = check(state, now=now, seen=SEEN._replace(at=now - 0.5, good_since=0.0), outlet=heard, heater=report,
                     state=S.RUNNING if n < 2 else S.HELD, raw=(), raw_second=(), raw_outlet=hot(out_c))  # fmt: skip
        state = gate.state
        if ended is None and not state.trips:
            ended = n
    assert ended == 100


def latches(memory: Memory, now: float) -> bool | None:
    _, found = outlet(memory, now, probe_c=86.0)
    assert found is not None
    return found.latched


def test_one_long_incident_is_no_second_one() -> None:
    """Hot, warm for minutes and hot again is one; the next within ten minutes of its end waits for a person."""
    memory, _ = outlet(Memory(), NOW, probe_c=86.0)
    for n in range(1, 700):
        memory, found = outlet(memory, NOW + n, probe_c=83.0)
        assert found is not None
        assert not found.latched
    assert latches(memory, NOW + 700.0) is False
    ended, found = outlet(memory, NOW + 700.0, probe_c=79.0)
    assert found is None
    assert latches(ended, NOW + 760.0) is False
    assert latches(ended, NOW + 760.1) is True
    assert latches(ended, NOW + 1299.9) is True
    assert latches(ended, NOW + 1300.0) is False


def test_a_short_incident_counts_from_its_hot_reading() -> None:
    """Hot at once and cool at once: 60 s after it is the same, later it is the second."""
    memory, _ = outlet(Memory(), NOW, probe_c=86.0)
    memory, _ = outlet(memory, NOW + 59.0, probe_c=79.0)
    assert latches(memory, NOW + 60.0) is False
    assert latches(memory, NOW + 60.1) is True


def test_second_probe_gone_in_a_run() -> None:
    """The whole core: a second probe that stops speaking in a rest is told after a minute, and its return as well."""
    probes = Probes(mash=Probe(topic="p/mash"), second=Probe(topic="p/second"))
    bench = Bench(settings(probes=probes), mash_c=50.0)

    def step(speaks: bool) -> list[str]:
        bench.extra = {"second": (Reading(bench.mash_c, bench.now + 0.8, bench.seq),)} if speaks else {}
        bench.step()
        return [key for key, _ in bench.state.guard.notes]

    for _ in range(20):
        step(True)
    bench.start(course(leg("rest", 63.0, 600.0)))
    for _ in range(30):
        assert step(True) == []
    assert bench.state.run.state is RunState.RUNNING
    silent = [step(False) for _ in range(70)]
    assert silent.index(["second"]) == 59  # a reading arrives 0.2 s before its tick
    assert step(True) == []
