"""What is worth knowing and takes no heat away, and when is it said?"""

from __future__ import annotations

from math import inf, nan
from types import SimpleNamespace
from typing import Any, cast

import pytest

from controller.core.guard.interlock import Interlock, Note
from controller.core.guard.interlocks.g05_probes_differ import ProbesDiffer
from controller.core.guard.state import GuardState, Noted
from controller.core.nouns import Event, Foreign, Link, Phase
from controller.core.state import Outcome
from controller.edge.dashboards.alerts import Alarm
from controller.settings.service import Alerts
from tests.core.guard.looks import (
    BASE,
    BLOCKED,
    HEATING,
    NOW,
    OPEN,
    SEEN,
    S,
    check,
    for_long,
    having,
    ids,
    later,
    read,
    told,
)  # fmt: skip

WAITS = OPEN._replace(evidence=OPEN.evidence._replace(qualified=False, from_at=NOW - 30.1, off_until=NOW - 30.1))
WAITING: dict[str, Any] = {"state": S.RESTARTING, "online": False}
ADDING: dict[str, Any] = {"target": BLOCKED, "phase": Phase.ADDING}


def waits(**changes: Any) -> GuardState:
    return WAITS._replace(evidence=WAITS.evidence._replace(**changes))


def aimed(target_c: float | None, **changes: Any) -> dict[str, Any]:
    return {"target": BASE.run.target._replace(target_c=target_c), **changes}


LATE = "No new mash temperature for over 5 s."
GONE = "Mash temperature missing for 10 s (limit 10 s). Heat is off. Check the probe, its plug, its wiring and "
GONE += "its network."
SET = "The wall clock was set by {} s (limit 5 s). Rest times are not affected. Nothing to do, if you set the clock."
SLEPT = "The machine slept; every reading so far counts as stale."
DISK = "The run record cannot be written or read; this run will not resume by itself. Free disk space or mend the disk."
STIR = "rest clock stands still. Stir with the lid open, or add cold liquor."
ABSENT = "the heater node: its presence topic says that it is not there. Start it, or look at its connection."
NOTES: dict[str, tuple[GuardState, dict[str, Any], tuple[str, str] | None]] = {
    "reading late": (OPEN, {"seen": SEEN._replace(age_s=5.1)}, ("late", LATE)),
    "reading not late": (OPEN, {"seen": SEEN._replace(age_s=5.0)}, None),
    "reading at its last second": (OPEN, {"seen": SEEN._replace(age_s=10.0)}, ("late", LATE)),
    "reading gone": (OPEN, {"seen": SEEN._replace(age_s=10.1)}, ("G02", GONE)),
    "reading gone, held": (OPEN, {"seen": SEEN._replace(age_s=10.1), "state": S.HELD}, None),
    "tripped already": (for_long("G02"), {"seen": SEEN._replace(age_s=10.1)}, None),
    "reading late when idle": (OPEN, {"seen": SEEN._replace(age_s=6.0), "state": S.IDLE}, None),
    "probes apart": (having(ProbesDiffer(half_since=NOW - 120.0)), {"second": SEEN._replace(value_c=66.0)},
                     ("G05", "The two mash probes differ by more than 2 K.")),
    "slept": (OPEN, {"gap_s": 5.1}, ("clock", SLEPT)),
    "hardly slept": (OPEN, {"gap_s": 5.0}, None),
    "clock set on": (OPEN, {"wall_set_s": 5.1}, ("clock", SET.format("+5"))),
    "clock set back": (OPEN, {"wall_set_s": -5.1}, ("clock", SET.format("-5"))),
    "clock set to nothing": (OPEN, {"wall_set_s": nan}, ("clock", SET.format("+nan"))),
    "clock hardly set": (OPEN, {"wall_set_s": 5.0}, None),
    "clock hardly set back": (OPEN, {"wall_set_s": -5.0}, None),
    "disk": (OPEN, {"disk_ok": False}, ("G20", DISK)),
    "flood": (OPEN, {"link": Link(True, 0.0, flooding="a/b")},
              ("flood", "More than 50 messages a second arrive on a/b.")),
    "over": (OPEN, aimed(60.9), ("over", f"The mash is 2 K over its target and the {STIR}")),
    "far over": (OPEN, aimed(56.0), ("over", f"The mash is 7 K over its target and the {STIR}")),
    "not over": (OPEN, aimed(61.0), None),
    "over when held": (OPEN, aimed(50.0, state=S.HELD), None),
    "over while adding": (OPEN, {"target": BLOCKED._replace(target_c=50.0)}, None),
    "no target": (OPEN, aimed(None), None),
    "no value": (OPEN, aimed(50.0, seen=SEEN._replace(value_c=None)), None),
    "heat waits": (WAITS, WAITING, ("waits", f"Heat still waits for {ABSENT}")),
    "waits half a minute": (waits(from_at=NOW - 30.0), WAITING, None),
    "off for half a minute": (waits(off_until=NOW - 30.0), WAITING, None),
    "heat waits held": (WAITS, {**WAITING, "state": S.HELD}, ("held", f"Heat still waits for {ABSENT}")),
    "heat waits for nothing": (waits(qualified=True), WAITING, None),
    "it is just time": (WAITS, {"state": S.RESTARTING}, None),
    "foreign off": (OPEN, {"link": Link(True, 0.0, foreign=Foreign(0.0, None, NOW))},
                    ("G19", "Somebody else sent OFF on the heater topic; it was obeyed.")),
    "a stranger's heat is a trip": (OPEN, {"link": Link(True, 0.0, foreign=Foreign(0.5, None, NOW))}, None),
}  # fmt: skip


@pytest.mark.parametrize(("state", "sense", "note"), NOTES.values(), ids=list(NOTES))
def test_notes(state: GuardState, sense: dict[str, Any], note: tuple[str, str] | None) -> None:
    """Said when it begins, and only that; a note takes no heat but where an interlock of its own does."""
    out = check(state, **sense)
    assert out.state.noted.now == (() if note is None else (Note(*note, priority=3),))
    said = [event for event in out.events if event.kind == "note"]
    assert said == ([] if note is None else [Event("note", *note, priority=3)])


def test_a_note_is_said_once_a_minute_at_most() -> None:
    """On, off and on again within a minute is one saying; after a minute it is said again."""
    first = check(disk_ok=False)
    off = later(first.state, 1.0)
    assert off.state.noted.now == ()
    again = later(off.state, 59.0, disk_ok=False)
    assert [note.key for note in again.state.noted.now] == ["G20"]
    assert told(again) == []
    off = later(again.state, 59.5)
    assert told(later(off.state, 59.9, disk_ok=False)) == []
    assert told(later(off.state, 60.0, disk_ok=False)) == [("G20", 3)]
    assert told(later(first.state, 99.0, disk_ok=False)) == []


def test_two_at_once() -> None:
    """Each is said; the same ones in the next tick make nothing anew."""
    both = check(disk_ok=False, gap_s=5.1)
    assert told(both) == [("clock", 3), ("G20", 3)]
    assert dict(both.state.noted.said) == {"clock": NOW, "G20": NOW}
    same = check(both.state, now=NOW + 1.0, disk_ok=False, gap_s=5.1)
    assert (told(same), same.state.noted) == ([], both.state.noted)


def test_heat_that_is_wanted_and_does_not_leave_is_said_with_its_reason() -> None:
    """After 30 s, without a trip; not where none is asked for, nor once it has left."""
    late = OPEN._replace(durable_need=9)
    first = check(late, durable_seq=8)
    assert (first.state.noted.cold_since, told(first)) == (NOW, [])
    since = late._replace(noted=Noted(cold_since=NOW - 30.0, cold_why=first.state.noted.cold_why))
    then = check(since, durable_seq=8)
    assert told(then) == [("cold", 2)]
    assert then.state.noted.now[-1].text.endswith("none leaves: the record of the last decision is not on disk yet.")
    assert told(check(since._replace(noted=Noted(cold_since=NOW - 29.9)), durable_seq=8)) == []
    for gone in (check(since, 0.0, durable_seq=8), check(since, durable_seq=9)):
        assert (gone.state.noted.cold_since, gone.state.noted.cold_why) == (None, "")


# ---------------------------------------------------------------- an addition


def adding(known: GuardState, after_s: float, /, **changes: Any) -> Any:
    return later(known, after_s, **{**ADDING, **changes})


def test_an_addition_that_stands_open() -> None:
    """At 30 min it is said, a tenth of a second before it is not; settling, or heat on again, ends it."""
    began = check(**ADDING)
    assert began.state.noted.adding_since == NOW
    assert told(adding(began.state, 1799.9)) == []
    out = adding(began.state, 1800.0)
    assert told(out) == [("adding", 2)]
    assert out.state.noted.now[0].text == (
        "The addition has stood open for 30 min (limit 30 min). Until it is over heat stays off, and a broken or stuck "
        "heater is not looked for (G09, G10, G12). Answer the question, or `stop`."
    )
    out = adding(out.state, 2400.0)
    assert out.state.noted.now[0].text.startswith("The addition has stood open for 40 min (limit 30 min).")
    out = adding(out.state, 2401.0, phase=Phase.SETTLING)
    assert (out.state.noted.now, out.state.noted.adding_since) == ((), None)


def test_a_hold_within_an_addition_does_not_start_its_time_anew() -> None:
    """Held, or with heat wanted, nothing is said of it; going on, the time counts from its beginning."""
    began = check(**ADDING)
    for other in ({"state": S.HELD}, {"target": BASE.run.target._replace(heat="off")}):
        out = adding(began.state, 1900.0, **other)
        assert told(out) == []
        assert told(adding(out.state, 1901.0)) == [("adding", 2)]


@pytest.mark.parametrize("state", [S.IDLE, S.RESTARTING])
def test_the_arrivals_of_the_last_nine_believed_readings_are_kept(state: S) -> None:
    """A tick with a new reading adds its arrival, one without adds none, nor does any in a run: they serve a start."""

    def arrived(known: GuardState, n: int, **changes: Any) -> GuardState:
        seen = SEEN._replace(at=NOW + n - 0.5, fresh=n % 3 < 2)
        return check(known, **{"now": NOW + n, "seen": seen, "state": state, **changes}).state

    known = OPEN
    for n in range(12):
        known = arrived(known, n)
    assert known.noted.believed_at == tuple(NOW - 0.5 + n for n in range(12) if n % 3 < 2)
    for n in range(12, 21):
        known = arrived(known, n)
    assert known.noted.believed_at == tuple(NOW - 0.5 + n for n in (7, 9, 10, 12, 13, 15, 16, 18, 19))
    assert arrived(known, 21, state=S.RUNNING).noted.believed_at == known.noted.believed_at
    assert arrived(known, 21, seen=SEEN._replace(at=None)).noted.believed_at == known.noted.believed_at


# ---------------------------------------------------------------- alerts


def test_urgent_notes_are_alerts() -> None:
    """Notes to act on go out as trips do, again after five minutes, silent once heard; plain notes do not."""
    alarm = Alarm(Alerts(repeat_s=300.0))
    notes = (Note("late", "late"), Note("G07", "hot", 1), Note("second", "silent", 2))

    def heard(now: float, notes: tuple[Note, ...], *events: Event) -> list[tuple[str, str, str, int]]:
        run = SimpleNamespace(prompt=None, leg=0)
        state = SimpleNamespace(now=now, guard=SimpleNamespace(trips=(), noted=Noted(now=notes)), run=run)
        found = alarm.look(cast(Outcome, SimpleNamespace(state=state, meanwhile="")), events, now)
        return [(a.kind, a.id, a.text, a.priority) for a in found]

    both = [("note", "G07", "hot", 1), ("note", "second", "silent", 2)]
    assert heard(0.0, notes) == both
    assert alarm.horn
    assert heard(299.0, notes) == []
    assert heard(300.0, notes) == both
    assert heard(301.0, notes, Event("acknowledge", "G07", "heard")) == []
    assert not alarm.horn
    assert heard(601.0, notes) == both[1:]
    assert heard(602.0, ()) == []
    assert heard(700.0, notes) == both


def test_urgent_notes_are_urgent_in_the_record() -> None:
    """Each says how urgent it is: hot in an addition 1, a silent probe 2, an addition that stands open 2."""
    silent = SEEN._replace(age_s=60.1, value_c=None, fresh=False)
    assert told(check(**ADDING, raw=read(81.0))) == [("G07", 1)]
    assert told(check(second=silent, outlet=silent)) == [("second", 2), ("outlet", 2)]


def test_an_interlock_without_notes_has_none() -> None:
    """The base of all says nothing, finds nothing, and asks nothing of a person."""
    base, sees = Interlock(), check().state.known
    assert base.notes(BASE, sees) == ()
    assert base.watch(BASE, sees) == (base, None)


@pytest.mark.parametrize(("probe", "unwatched"), [("second", "the probes"), ("outlet", "the outlet")])
def test_when_a_probe_beside_the_mash_probe_is_missed(probe: str, unwatched: str) -> None:
    """A process counts from its own beginning; one that is gone is noted at once, without a trip; without heat, or
    without that probe in the file, nothing is said."""
    never = {probe: SEEN._replace(value_c=None, at=None, age_s=inf, fresh=False)}
    assert told(check(OPEN._replace(started_at=NOW - 60.0), **never)) == []
    assert told(check(OPEN._replace(started_at=NOW - 60.1), **never)) == [(probe, 2)]
    assert {run for run in S if told(check(state=run, **never))} == HEATING
    assert told(check(**{probe: None})) == []
    gone = check(gone=[probe])
    assert (told(gone), ids(gone)) == ([(probe, 2)], [])
    assert f"presence topic says that it is gone. Whether {unwatched}" in gone.state.noted.now[0].text
