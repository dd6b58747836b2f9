"""Old readings, old switch words and presence words: what is believed in an open run, and what brings no heat back."""

from __future__ import annotations

from typing import Any

import pytest

from controller.core.nouns import Link, Presence, Reading, RunState, Switch
from controller.messages.inbox import Inbox
from controller.settings.tun import Probe, Probes
from tests.core.bench import Bench, course, leg, settings
from tests.core.guard.test_guard_corners import check
from tests.messages.inboxes import inbox, put

LATE_S = 300.0


def running(**changes: Any) -> Bench:
    """A run that heats, its readings a second apart with stamps that are 0.2 s old."""
    bench = Bench(settings(**changes), mash_c=58.0)
    bench.extra = {"mash": (Reading(58.0, 0.0, 1, 0.2),)}
    for _ in range(20):
        say(bench, 0.2)
    bench.start(course(leg("beta", 66.0, 3600.0), grist_kg=0))
    for _ in range(120):
        say(bench, 0.2)
    assert bench.duty > 0.0
    return bench


def say(bench: Bench, lag_s: float | None, seq: int | None = None, **changes: Any) -> None:
    """A second with one reading: its stamp so old, its number the next one or this."""
    number = bench.seq + 1 if seq is None else seq
    bench.extra = {"mash": (Reading(bench.mash_c, bench.now + 0.8, number, lag_s),), **changes}
    bench.step()


def trips(bench: Bench) -> list[str]:
    return [trip.id for trip in bench.state.guard.trips]


def clear_and_restart(bench: Bench, **said: Any) -> None:
    """A person looks, clears G02 and restarts; the readings go on as before."""
    bench.order("clear", trip="G02")
    say(bench, **said)
    assert bench.replies[-1].accepted, bench.replies[-1].reason
    bench.order("restart")


def test_readings_out_of_a_queue_bring_no_heat_back() -> None:
    """300 s late: G02 within 10 s, and no heat for as long as the queue lasts; a person's clear and restart take the
    sender's clock as it is."""
    bench = running()
    for second in range(1200):
        say(bench, LATE_S)
        assert second < 10 or bench.duty == 0.0
    assert trips(bench) == ["G02"]
    trip = bench.state.guard.trips[0]
    assert trip.latched
    assert "reading is 300 s late by its sender's clock" in trip.text
    assert "`clear`, `restart`" in trip.text
    clear_and_restart(bench, lag_s=LATE_S)
    for _ in range(30):
        say(bench, LATE_S)
    assert (bench.state.run.state, trips(bench)) == (RunState.RUNNING, [])
    assert bench.duty > 0.0


def test_a_queue_that_drains_gives_the_heat_back() -> None:
    """Late for two minutes, then as before: the trip ends by itself."""
    bench = running()
    for _ in range(120):
        say(bench, LATE_S)
    assert trips(bench) == ["G02"]
    for _ in range(30):
        say(bench, 0.2)
    assert (bench.state.run.state, trips(bench)) == (RunState.RUNNING, [])


@pytest.mark.parametrize(("lag_s", "trip"), [(10.2, []), (10.3, ["G02"])])
def test_how_late_a_reading_may_be(lag_s: float, trip: list[str]) -> None:
    """10 s behind its usual 0.2 s goes on; more is an old reading."""
    bench = running()
    for _ in range(30):
        say(bench, lag_s)
    assert trips(bench) == trip


def test_a_recording_is_no_restarted_node() -> None:
    """The probe is dead, a recording of earlier in the run is sent: G02 in 10 s, and it stays a person's."""
    bench = running()
    for number in range(950):
        say(bench, None, seq=20 + number)
        if bench.seq > 155:
            assert bench.duty == 0.0
        if number == 100:  # below the last number believed
            assert "is older than" in bench.state.guard.trips[0].text
        if 20 + number > 130:
            break
    assert trips(bench) == ["G02"]


def test_old_stamps_are_no_restarted_node_either() -> None:
    """Lower numbers with stamps of five minutes ago: not believed, word of the node or not."""
    bench = running()
    born = Presence(True, bench.now + 0.5)
    for number in range(100):
        say(bench, LATE_S, seq=1 + number, probe_online=born)
    assert trips(bench) == ["G02"]


@pytest.mark.parametrize(
    ("lag_s", "word"), [(0.4, None), (None, Presence(True, 0.0)), (10.2, None)], ids=["stamps", "presence", "late"]
)
def test_a_node_that_starts_anew_stays_usable(lag_s: float | None, word: Presence | None) -> None:
    """Its stamps go on, or it says that it is there: three readings later it is believed, without a trip."""
    bench = running()
    born = word if word is None else word._replace(at=bench.now + 0.5)
    for number in range(60):
        say(bench, lag_s, seq=1 + number, probe_online=born)
        assert trips(bench) == []
    assert bench.outcome.seen.seq == 60
    assert bench.duty > 0.0


@pytest.mark.parametrize(
    "word", [None, Presence(False, 1e9), Presence(True, 1e9, retained=True), Presence(True, 0.0)],
    ids=["none", "gone", "retained", "before"],
)  # fmt: skip
def test_a_node_that_starts_anew_without_a_sign_needs_a_person(word: Presence | None) -> None:
    """No stamp and no fresh word of its own: a person clears and restarts, then it is believed."""
    bench = running()
    for number in range(80):
        say(bench, None, seq=1 + number, probe_online=word)
    assert trips(bench) == ["G02"]
    clear_and_restart(bench, lag_s=None, seq=81)
    for number in range(40):
        say(bench, None, seq=82 + number)
    assert (bench.state.run.state, trips(bench)) == (RunState.RUNNING, [])
    assert bench.outcome.seen.seq == 121


def test_a_stamp_from_the_future_is_no_sign() -> None:
    """A clock that has gone wild at the restart says nothing of how old the readings are."""
    bench = running()
    for number in range(30):
        say(bench, -3600.0, seq=1 + number)
    assert trips(bench) == ["G02"]


def test_with_no_run_on_a_new_count_is_taken() -> None:
    """Idle: three lower numbers that rise, and a clock that is late for over a minute, are believed as ever."""
    bench = Bench(settings(), mash_c=20.0)
    for _ in range(30):
        say(bench, 0.2)
    assert bench.state.run.state is RunState.IDLE
    for number in range(70):
        say(bench, LATE_S, seq=1 + number)
    assert bench.outcome.seen.seq == 70


def test_a_clear_of_one_of_two_trips_believes_nothing() -> None:
    """While another trip stands, nobody has said that the readings are good; with the last one cleared he has."""
    bench = running()
    for _ in range(80):
        say(bench, LATE_S)
    guard = bench.state.guard
    other = guard.trips[0]._replace(id="G05", latched=True)
    guard = guard._replace(trips=(*guard.trips, other), gone=(*guard.gone, ("G05", 0.0)))
    bench.state = bench.state._replace(guard=guard)
    for name, usual_s in (("G05", 0.2), ("G02", None)):
        bench.order("clear", trip=name)
        say(bench, LATE_S)
        assert bench.replies[-1].accepted
        assert bench.state.mash.lag_s == usual_s


# ---------------------------------------------------------------- presence


def test_a_probe_that_is_gone_by_its_own_word_trips_at_once() -> None:
    """False is a fault at once, in words of its own; a reading later than the word shows that the node is back."""
    bench = running()
    gone = Presence(False, bench.now + 0.9)
    say(bench, 0.2, probe_online=gone)
    trip = bench.state.guard.trips[0]
    assert trip.id == "G02"
    assert trip.text.startswith("The mash probe's presence topic says that it is gone; it last read 0 s ago.")
    for _ in range(100):
        say(bench, 0.2, probe_online=gone)
    assert (bench.state.run.state, trips(bench)) == (RunState.RUNNING, [])


def test_true_proves_nothing() -> None:
    """A silent probe is gone after 10 s, whatever its presence topic says."""
    bench = running()
    bench.extra = {"mash": (), "probe_online": Presence(True, bench.now)}
    bench.run(12)
    assert trips(bench) == ["G02"]


@pytest.mark.parametrize(("silent_s", "trip"), [(5, []), (6, ["G02"])])
def test_a_retained_word_may_be_of_long_ago(silent_s: int, trip: list[str]) -> None:
    """A copy that says gone waits 5 s for a reading; one that comes settles it."""
    bench = running()
    kept = Presence(False, bench.now + 1.0, retained=True)
    bench.extra = {"mash": (), "probe_online": kept}
    bench.run(1 + silent_s)
    assert trips(bench) == trip
    bench = running()
    for _ in range(60):
        say(bench, 0.2, probe_online=kept._replace(at=bench.now - 0.5))
    assert trips(bench) == []


def test_another_probe_that_is_gone_is_noted_at_once() -> None:
    """What is not watched without it is said at once, instead of after a minute of silence."""
    probes = Probes(mash=Probe(topic="a"), second=Probe(topic="b"), outlet=Probe(topic="c"))
    box = Inbox(settings(probes=probes), "me")
    for topic in ("b/online", "c/online"):
        box.put(topic, b"false", 1.0)
    got = box.take(1.25)
    assert (got.probe_online, got.second_online, got.outlet_online) == (
        None,
        Presence(False, 1.0),
        Presence(False, 1.0),
    )
    gate = check(gone=("second", "outlet"))
    notes = dict(gate.state.notes)
    assert notes["second"].startswith("The second mash probe's presence topic says that it is gone. Whether the probes")
    assert notes["outlet"].startswith("The outlet probe's presence topic says that it is gone. Whether the outlet")
    assert gate.state.trips == ()


# ---------------------------------------------------------------- switches


def numbered(ok: bool, seq: int | None) -> dict[str, Any]:
    return {"ok": ok} if seq is None else {"ok": ok, "seq": seq}


def words(*said: tuple[float, bool, int | None]) -> list[Switch | None]:
    """What the tick sees of the level switch after each word."""
    box, seen = inbox(), []
    for at, ok, seq in said:
        put(box, "p/level", at, **numbered(ok, seq))
        seen.append(box.take(at + 0.1).level)
    return seen


def test_an_older_word_overrules_no_newer_one() -> None:
    """`ok` counts with a rising number only; a bad word counts whatever its number."""
    bad = Switch(False, 2.0)
    assert words((1.0, True, 9), (2.0, False, 10), (3.0, True, 9), (4.0, True, 10)) == [
        Switch(True, 1.0),
        bad,
        bad,
        bad,
    ]
    assert words((1.0, True, 9), (2.0, False, 3), (3.0, True, 9), (4.0, True, 10))[1:] == [
        bad, bad, Switch(True, 4.0),
    ]  # fmt: skip
    assert words((1.0, True, 9), (2.0, False, None), (3.0, True, None), (4.0, True, 10))[2:] == [
        bad, Switch(True, 4.0),
    ]  # fmt: skip
    assert words((1.0, False, None), (2.0, True, None)) == [Switch(False, 1.0), Switch(True, 2.0)]


def test_a_bad_word_between_two_ticks_wins() -> None:
    """No liquid and liquid again within a second: the tick sees the bad word, the next one the good."""
    box = inbox()
    put(box, "p/level", 1.0, ok=False, seq=10)
    put(box, "p/level", 1.2, ok=True, seq=11)
    assert [box.take(at).level for at in (1.25, 2.25)] == [Switch(False, 1.0), Switch(True, 1.2)]


@pytest.mark.parametrize(("after_s", "taken"), [(10.0, False), (10.1, True)])
def test_a_switch_that_has_started_anew(after_s: float, taken: bool) -> None:
    """Three lower numbers that rise, once it has been silent for the limit of G13: by then heat is off."""
    first = 1.0 + after_s
    got = words((1.0, True, 900), (first - 2.0, True, 1), (first - 1.0, True, 2), (first, True, 3))
    assert got[:3] == [Switch(True, 1.0)] * 3
    assert got[3] == (Switch(True, first) if taken else Switch(True, 1.0))
    turns = words((1.0, True, 900), *((20.0 + n, True, 3 + n % 2) for n in range(20)))
    assert set(turns) == {Switch(True, 1.0)}


def test_switches_are_counted_by_reason() -> None:
    """What is not taken is counted."""
    box = inbox()
    for seq in (5, 5, 4, None):
        put(box, "p/flow", 1.0, **numbered(True, seq))
    assert dict(box.counters) == {"sequence repeated": 1, "sequence older": 1, "sequence missing": 1}


# ---------------------------------------------------------------- link and flood


def test_a_reconnect_between_two_ticks_is_seen() -> None:
    """Up before and up now, but another connection: heat waits for 10 s and for good readings."""
    bench = running()
    again = Link(True, bench.now + 0.5)
    say(bench, 0.2, link=again)
    assert bench.duty == 0.0
    off = []
    for _ in range(30):
        say(bench, 0.2, link=again)
        off.append(bench.duty)
    assert off.index(next(d for d in off if d > 0.0)) == 9
    assert trips(bench) == []


@pytest.mark.parametrize(("a_second", "flood"), [(20, None), (21, "p/mash")])
def test_the_tun_file_says_what_a_flood_is(a_second: int, flood: str | None) -> None:
    """With its limit at 20 a second, 20 are none and 21 are."""
    box = Inbox(settings(guard={"flood_per_s": 20}), "me")
    named = None
    for second in range(12):
        for _ in range(a_second):
            box.put("p/mash", b"63.0", float(second))
        named = box.take(second + 1.0).link.flooding
    assert named == flood
