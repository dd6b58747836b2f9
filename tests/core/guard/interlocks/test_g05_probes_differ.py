"""G05: two probes in one mash that disagree for a minute."""

from __future__ import annotations

from typing import Any

import pytest

from controller.core.guard.interlock import Finding
from controller.core.guard.interlocks.g05_probes_differ import ProbesDiffer
from controller.core.nouns import Measurement, Reading, RunState, Trip
from controller.settings.tun import Probe, Probes
from tests.core.bench import Bench, course, leg, settings
from tests.core.guard.looks import (
    BLOCKED,
    HEATING,
    NOW,
    OFF,
    OPEN,
    PROBES,
    SEEN,
    TUN,
    check,
    found,
    having,
    ids,
    known,
    memory,
    senses,
    told,
    trips_in,
    watch,
)

FRESH, ROW = ProbesDiffer(), ProbesDiffer.ROW
APART = SEEN._replace(value_c=67.125)
BEGAN = ProbesDiffer(since=NOW, half_since=NOW)


def second(value_c: float | None) -> Measurement:
    """The second probe's reading."""
    return SEEN._replace(value_c=value_c)


def test_a_minute_over_the_limit() -> None:
    """Over 4 K up to the last tick within 60 s trips, with both figures; before that it does not."""
    began, finding = watch(FRESH, second=APART)
    assert (began, finding) == (BEGAN, None)
    assert watch(began, second=APART, now=NOW + 58.9) == (began, None)
    assert watch(began, second=APART, now=NOW + 59.0) == (began, Finding(ROW, 4.125, 4.0))
    assert found(began, seen=APART, second=SEEN, now=NOW + 59.0) == Finding(ROW, 4.125, 4.0)


@pytest.mark.parametrize(
    ("changes", "left"),
    [
        ({"second": second(67.0)}, ProbesDiffer(half_since=NOW)),
        ({"second": second(65.125)}, ProbesDiffer(half_since=NOW)),
        ({"second": second(65.0)}, FRESH),
        ({"second": None}, FRESH),
        ({"second": second(None)}, FRESH),
        ({"seen": SEEN._replace(value_c=None)}, FRESH),
        ({"second": APART, "target": BLOCKED}, FRESH),
    ],
)
def test_the_time_begins_anew(changes: dict[str, Any], left: ProbesDiffer) -> None:
    """At 4 K the minute does, at 2 K that of the note; with one probe silent, or an addition, both do."""
    assert watch(BEGAN, **changes) == (left, None)


def test_half_the_limit_alone_is_forgotten_as_well() -> None:
    """In a state without heat and with a silent probe; where nothing was remembered nothing changes."""
    for began in (ProbesDiffer(half_since=NOW), ProbesDiffer(since=NOW), FRESH):
        assert began.asleep(senses()) == FRESH
        assert watch(began, second=None) == (FRESH, None)
    assert memory(check(having(BEGAN), state=RunState.HELD, second=APART), ProbesDiffer) == FRESH


@pytest.mark.parametrize(
    ("apart_k", "after_s", "counts"),
    [(8.0, 600.0, False), (8.125, 600.0, True), (4.0, 600.125, False), (4.125, 600.125, True)],
)
def test_twice_the_limit_while_an_addition_mixes(apart_k: float, after_s: float, counts: bool) -> None:
    """For 600 s after something was added 8 K are the limit, later it is 4 K again."""
    what = known(past=OPEN.past._replace(added_at=NOW))
    changes: dict[str, Any] = {"second": second(63.0 + apart_k), "now": NOW + after_s}
    after, _ = watch(FRESH, what, **changes)
    assert after.since == (NOW + after_s if counts else None)
    trip = found(ProbesDiffer(since=NOW), what, **changes)
    assert trip == (Finding(ROW, apart_k, 8.0 if after_s <= 600.0 else 4.0) if counts else None)


@pytest.mark.parametrize("name", ["seen", "second"])
def test_a_level_not_yet_believed_counts(name: str) -> None:
    """The minute counts from the first reading on another level, of either probe."""
    after, _ = watch(FRESH, **{name: SEEN._replace(jump_since=NOW, jump_c=70.0)})
    assert after.since == NOW


def test_where_heat_may_flow_alone() -> None:
    """A difference of a minute is nothing where no heat may flow."""
    assert trips_in("G05", having(ProbesDiffer(since=NOW - 100.0)), second=APART) == HEATING


@pytest.mark.parametrize(
    ("apart_k", "limit", "there"),
    [
        (4.0, 4.0, True),
        (3.875, 4.0, False),
        (7.875, 8.0, False),
        (8.0, 8.0, True),
        (None, 4.0, False),
        (9, None, False),
    ],
)
def test_it_keeps_its_trip(apart_k: float | None, limit: float | None, there: bool) -> None:
    """They still differ at the limit that they passed, in a hold; with a silent probe nobody knows."""
    trip = Trip("G05", NOW, "differ", 9.0, limit, "K", 1, True, True)
    held = senses(state=RunState.HELD, second=second(None if apart_k is None else 63.0 + apart_k))
    assert FRESH.still_there(trip, held, known()) == (
        Finding(ROW, apart_k, limit) if there and apart_k is not None and limit is not None else None
    )


def test_they_cannot_be_cleared_while_they_differ() -> None:
    """The whole core, a second probe that drifts 9 K away: 4.1 K apart they still differ, 3.9 K they do not."""
    probes = Probes(mash=Probe(topic="p/mash"), second=Probe(topic="p/second"))
    bench, off_k = Bench(settings(probes=probes), mash_c=62.0), 0.0

    def go(seconds: int, k_per_s: float = 0.0) -> None:
        nonlocal off_k
        for _ in range(seconds):
            off_k += k_per_s
            bench.extra = {"second": (Reading(bench.mash_c + off_k, bench.now + 0.8, bench.seq + 1),)}
            bench.step()

    go(20)
    bench.start(course(leg("beta", 63.0, 7200.0), grist_kg=0))
    go(100)
    go(90, 0.1)
    go(140)
    assert [trip.id for trip in bench.state.guard.trips] == ["G05"]
    go(49, -0.1)
    go(5)
    assert not bench.clear("G05").accepted
    go(2, -0.1)
    go(5)
    assert bench.clear("G05").accepted


# ---------------------------------------------------------------- notes


ADDS_K = 0.25 * TUN.plate_rise_k / 0.7  # a quarter of the heat, at seven tenths of the plate's flow


@pytest.mark.parametrize(
    ("role", "over_k", "differ"),
    [("mash", 3.9 + ADDS_K, False), ("mash", 4.1 + ADDS_K, True), ("mash", -4.1, True), ("mash", -4.0, False),
     ("second", -3.9 - ADDS_K, False), ("second", -4.1 - ADDS_K, True), ("second", 4.1, True), ("both", 4.1, True)],
)  # fmt: skip
def test_a_probe_behind_the_heater_may_read_more(role: str, over_k: float, differ: bool) -> None:
    """By what the heater adds there, and no less than the other; two of them read the same."""
    warm = {"mash": ("mash",), "second": ("second",), "both": ("mash", "second")}[role]
    probes = PROBES.model_copy(update={name: Probe(topic=name, behind_heater=True) for name in warm})
    changes = {"tun": TUN.model_copy(update={"probes": probes}), "seen": second(63.0 + over_k)}
    after, _ = watch(FRESH, known(line=OFF._replace(duty=0.25)), **changes)
    assert (after.since is not None) is differ


@pytest.mark.parametrize(("for_s", "said"), [(120.0, [("G05", 3)]), (119.0, [])])
def test_half_the_limit_for_two_minutes_is_noted(for_s: float, said: list[tuple[str, int]]) -> None:
    """With its figure, and no trip."""
    gate = check(having(ProbesDiffer(half_since=NOW - for_s)), second=second(66.0))
    assert (told(gate), ids(gate)) == (said, [])
    assert [n.text for n in gate.state.noted.now] == ["The two mash probes differ by more than 2 K."] * len(said)


def test_a_silent_second_probe() -> None:
    """At 60 s nothing is said, then it is said that G05 is not watched; a fresh reading ends it."""
    silent = {"second": SEEN._replace(age_s=60.1, value_c=None)}
    assert told(check(second=SEEN._replace(age_s=60.0))) == told(check(**silent, state=RunState.HELD)) == []
    assert told(check(OPEN._replace(started_at=NOW - 50.0), **silent)) == []
    assert ProbesDiffer.ASKS_HAND  # it doubts the probe
    gate = check(second=SEEN._replace(age_s=60.1, value_c=None))
    assert told(gate) == [("second", 2)]
    assert gate.state.noted.now[0].text == (
        "No good reading of the second mash probe for 60 s (limit 60 s). Whether the probes differ (G05) is not "
        "watched meanwhile. Check the probe, its plug and its network."
    )
    assert check(gate.state, now=NOW + 1.0).state.noted.now == ()


def test_a_second_probe_that_falls_silent_in_a_run() -> None:
    """The whole core: one that stops speaking in a rest is told after a minute, and its return ends the note."""
    probes = Probes(mash=Probe(topic="p/mash"), second=Probe(topic="p/second"))
    bench = Bench(settings(probes=probes), mash_c=50.0)

    def step(speaks: bool) -> list[str]:
        bench.extra = {"second": (Reading(bench.mash_c, bench.now + 0.8, bench.seq),)} if speaks else {}
        bench.step()
        return [note.key for note in bench.state.guard.noted.now]

    for _ in range(20):
        step(True)
    bench.start(course(leg("rest", 63.0, 600.0)))
    assert [step(True) for _ in range(30)] == [[]] * 30
    assert bench.state.run.state is RunState.RUNNING
    assert [step(False) for _ in range(70)].index(["second"]) == 59  # a reading arrives 0.2 s before its tick
    assert step(True) == []
