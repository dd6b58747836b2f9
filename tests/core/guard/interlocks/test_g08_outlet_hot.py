"""G08: what leaves the heater is too hot, by its own reading, over the mash, or by the node's word."""

from __future__ import annotations

from math import inf, nan
from typing import Any

import pytest

from controller.core.guard import plate
from controller.core.guard.heater_line import node_says
from controller.core.guard.interlock import Finding, Known
from controller.core.guard.interlocks.g08_outlet_hot import OVER, WILD, OutletHot
from controller.core.guard.readings import Over
from controller.core.guard.state import GuardState
from controller.core.nouns import Reading, RunState
from controller.settings.tun import Output, Probe, Probes
from tests.core.bench import Bench, course, leg, settings, tun
from tests.core.guard.looks import (
    HOT,
    NOW,
    OPEN,
    PROBES,
    SEEN,
    TUN,
    check,
    found,
    having,
    known,
    read,
    report,
    told,
    trips_in,
    watch,
)

FRESH, ROW = OutletHot(), OutletHot.ROW
REFUSED = SEEN._replace(fresh=False)
LOW = TUN.model_copy(update={"probes": PROBES.model_copy(update={"outlet": Probe(topic="c", raw_boil_c=98.0)})})
HIGH = TUN.model_copy(update={"probes": PROBES.model_copy(update={"outlet": Probe(topic="c", raw_boil_c=102.0)})})
BARE = TUN.model_copy(update={"probes": PROBES.model_copy(update={"outlet": None})})


def hot(value_c: float, latched: bool = False, says: str = "") -> Finding:
    """Over its limit."""
    return Finding(ROW, value_c, 85.0, latched, says=says)


RAW: dict[str, tuple[dict[str, Any], Finding | None]] = {
    "under": ({"raw_outlet": read(84.9)}, None),
    "at the limit, where the filter refuses it": ({"raw_outlet": read(85.0), "outlet": REFUSED}, hot(85.0)),
    "under the upper limit": ({"raw_outlet": read(91.9)}, hot(91.9)),
    "at the upper limit": ({"raw_outlet": read(92.0)}, hot(92.0)),
    "the hottest of several": ({"raw_outlet": read(63.0, 86.0, 91.0, 87.0, 63.0)}, hot(91.0)),
    "the hottest that can be": ({"raw_outlet": read(105.0), "outlet": REFUSED}, hot(105.0)),
    "beyond": ({"raw_outlet": read(105.1), "outlet": REFUSED}, hot(105.1, False, WILD)),
    "as corrected": ({"raw_outlet": read(83.3), "tun": LOW}, hot(83.3 / 0.98)),
    "under as corrected": ({"raw_outlet": read(83.2), "tun": LOW}, None),
    "raw alone": ({"raw_outlet": read(85.5), "tun": HIGH}, hot(85.5)),
    "silent": ({"raw_outlet": (), "outlet": SEEN._replace(raw_c=99.0, fresh=False)}, None),
    "not fitted": ({"outlet": None, "report": None, "tun": BARE}, None),
    "by the node": ({"outlet": None, "report": report(outlet_c=86.0), "tun": BARE}, hot(86.0)),
    "by the node, under": ({"raw_outlet": (), "report": report(outlet_c=84.9)}, None),
    "the hotter of two, the probe's": ({"raw_outlet": read(86.0), "report": report(outlet_c=70.0)}, hot(86.0)),
    "the hotter of two, the node's": ({"raw_outlet": read(70.0), "report": report(outlet_c=86.0)}, hot(86.0)),
    "no row of the file": ({"raw_outlet": read(85.0), "tun": BARE}, hot(85.0)),
}


@pytest.mark.parametrize(("changes", "expected"), RAW.values(), ids=RAW)
def test_any_raw_reading_cuts(changes: dict[str, Any], expected: Finding | None) -> None:
    """At 85 °C and above, the probe's or the node's own, corrected or not, no filter asked."""
    assert found(FRESH, **changes) == expected


def test_no_number_is_hot() -> None:
    """What is no number cannot be said to be under the limit: it trips, in the words of a broken thermometer."""
    finding = found(FRESH, raw_outlet=read(nan), outlet=REFUSED)
    assert finding is not None and (finding.latched, finding.says) == (False, WILD)


@pytest.mark.parametrize(
    ("value_c", "ago_s", "latched"),
    [(92.0, 1.0, True), (105.0, 1.0, True), (92.0, 0.9, False), (91.9, 1.0, False), (105.1, 1.0, False),
     (nan, 1.0, False)],
)  # fmt: skip
def test_two_at_the_upper_limit_latch(value_c: float, ago_s: float, latched: bool) -> None:
    """A second apart, by values that a thermometer may give; one alone, or an impossible one, ends by itself."""
    for said in (
        {"raw_outlet": read(value_c), "outlet": REFUSED},
        {"outlet": None, "report": report(outlet_c=value_c)},
    ):
        finding = found(OutletHot(row=Over(NOW - ago_s, NOW - ago_s)), **said)
        assert finding is not None and finding.latched is latched


@pytest.mark.parametrize(("ago_s", "latched"), [(60.0, False), (60.1, True), (599.9, True), (600.0, False)])
def test_the_second_in_ten_minutes_waits_for_a_person(ago_s: float, latched: bool) -> None:
    """Hot again, or far over the mash again, over a minute and under ten after the last; only so many are kept."""
    before = OutletHot(hot_at=(NOW - ago_s,))
    assert found(before, raw_outlet=read(85.0)) == hot(85.0, latched)
    over = OutletHot(hot_at=(NOW - ago_s,), over_since=NOW - 4.0)
    finding = found(over, known(line=HOT), outlet=SEEN._replace(value_c=90.0))
    assert finding is not None and finding.latched is latched


def test_so_many_times_are_kept() -> None:
    """Sixteen, the newest last."""
    often = OutletHot(hot_at=(*([NOW - 2.0] * 19), NOW - 1.0), over_since=NOW - 4.0)
    kept = (*([NOW - 2.0] * 14), NOW - 1.0, NOW)
    assert watch(often, raw_outlet=read(85.0))[0].hot_at == kept
    assert watch(often, known(line=HOT), outlet=SEEN._replace(value_c=90.0))[0].hot_at == kept


def test_in_every_state() -> None:
    """Nothing of it needs a run; a trip in its row's words, which ends by itself."""
    assert trips_in("G08", raw_outlet=read(86.0)) == set(RunState)
    trip = check(raw_outlet=read(86.0)).state.trips[0]
    assert (trip.latched, trip.value, trip.limit, trip.unit) == (False, 86.0, 85.0, "°C")
    assert trip.text == f"Wort leaves the heater at 86.0 °C; the limit is 85 °C. Heat is off. {ROW.do}"


# ---------------------------------------------------------------- until it is cool again


def tick(
    was: OutletHot, now: float, probe_c: float | None = None, node_c: float | None = None, mash_c: float | None = 63.0
) -> tuple[OutletHot, Finding | None]:
    """One moment; None: nothing is heard from there."""
    heard = SEEN._replace(value_c=probe_c, fresh=probe_c is not None)
    raw = () if probe_c is None else (Reading(probe_c, now, 9),)
    said = None if node_c is None else report(outlet_c=node_c)
    mash = SEEN._replace(value_c=mash_c)
    return watch(was, now=now, raw_outlet=raw, outlet=heard, report=said, seen=mash)


def test_it_is_cool_again_five_degrees_below() -> None:
    """Never hot, 84.9 °C is nothing; after 85.0 °C it stands down to 80.0 °C and is over at 79.9 °C."""
    now = NOW
    after, finding = tick(FRESH, now, 84.9)
    assert (after, finding) == (OutletHot(heard_at=NOW), None)
    for value_c, stands in ((85.0, True), (84.9, True), (80.0, True), (nan, True), (80.1, True), (79.9, False),
                            (84.9, False)):  # fmt: skip
        now += 1.0
        after, finding = tick(after, now, value_c)
        assert (finding is not None, after.hot_c is not None, after.heard_at) == (stands, stands, now)
    after, finding = tick(after, now + 1.0, node_c=85.0)
    assert finding == hot(85.0)
    assert tick(after, now + 2.0, node_c=80.0) == (OutletHot(80.0, after.hot_at, now + 2.0), Finding(ROW, 80.0, 85.0))
    assert tick(after, now + 2.0, node_c=79.9) == (OutletHot(None, (*after.hot_at, now + 2.0), now + 2.0), None)
    of_two = [tick(after, now + 2.0, *pair)[1] is None for pair in ((80.0, 79.9), (79.9, 80.0), (79.9, 79.9))]
    assert of_two == [False, False, True]


@pytest.mark.parametrize(
    ("mash_c", "stands_c", "over_c"),
    [(78.0, 80.0, 79.9), (79.0, 81.0, 80.9), (82.9, 84.9, 84.8), (95.0, 85.0, 84.9), (None, 80.0, 79.9)],
)
def test_it_gets_no_cooler_than_the_mash(mash_c: float | None, stands_c: float, over_c: float) -> None:
    """Within 2 K of a warm mash it is over as well, but never at the limit; with no mash reading the gap holds."""
    after, _ = tick(FRESH, NOW, 86.0)
    assert tick(after, NOW + 1.0, stands_c, mash_c=mash_c)[1] is not None
    assert tick(after, NOW + 1.0, over_c, mash_c=mash_c)[1] is None


STOOD = OutletHot(hot_c=91.0, heard_at=NOW - 1.0)
COOLS = [
    (-127.0, False), (-5.1, False), (-5.0, True), (0.0, False), (32.0, False), (-0.0625, False), (63.0, True),
    (79.9, True), (80.0, False), (105.0, False), (inf, False),
]  # fmt: skip


@pytest.mark.parametrize(("node_c", "cool"), COOLS)
def test_what_the_node_says_of_a_cool_outlet(node_c: float, cool: bool) -> None:
    """Its word counts where it is in range and no failed sensor's value; nonsense leaves the trip standing."""
    said = report(outlet_c=node_c)
    assert (found(STOOD, raw_outlet=(), outlet=REFUSED, report=said) is None) is cool


@pytest.mark.parametrize("bad_c", [-127.0, 0.0])
def test_a_refused_reading_cools_nothing(bad_c: float) -> None:
    """Of the probe only what was believed counts, and only what is new."""
    assert found(STOOD, raw_outlet=read(bad_c), outlet=REFUSED, report=None) == Finding(ROW, 91.0, 85.0)
    assert found(STOOD, raw_outlet=(), outlet=SEEN._replace(value_c=None), report=None) == Finding(ROW, 91.0, 85.0)
    assert found(STOOD, raw_outlet=read(63.0), report=None) is None


def test_silence_does_not_cool() -> None:
    """Hot and then unheard of it stands for 15 min; by then the trip waits for a person; cool and silent is nothing."""
    warm, _ = tick(tick(FRESH, NOW, 86.0)[0], NOW + 1.0, 83.0)
    assert tick(warm, NOW + 901.0) == (warm, Finding(ROW, 83.0, 85.0))
    after, finding = tick(warm, NOW + 901.1)
    assert (after.hot_c, finding) == (None, None)
    cool, _ = tick(FRESH, NOW, 63.0)
    assert tick(cool, NOW + 1.0) == (cool, None)


def held(*outlet_c: float | None) -> list[GuardState]:
    """The whole guard, second by second, from a run that trips into its hold; None: nothing is heard from there."""
    states = [OPEN]
    for n, out_c in enumerate(outlet_c):
        at = NOW + n - 0.5
        heard = SEEN._replace(value_c=out_c, fresh=out_c is not None)
        outlet = {"raw_outlet": () if out_c is None else read(out_c), "outlet": heard}
        mash = {"seen": SEEN._replace(at=at, good_since=0.0), "raw": (), "raw_second": ()}
        run = RunState.RUNNING if n < 2 else RunState.HELD
        said = report(states[-1].line.seq, at=at)
        states.append(check(states[-1], now=NOW + n, state=run, report=said, **outlet, **mash).state)
    return states[1:]


def test_a_trip_ends_with_a_cool_outlet_alone() -> None:
    """Above 80 °C it stays, below it ends where it is a minute old; one that falls silent waits for a person: it never
    ends by itself, not at 15 min of silence, nor a minute after."""
    cools = held(86.0, *[83.0] * 99, *[79.0] * 100)
    assert [bool(state.trips) for state in cools].index(False) == 100
    silent = held(86.0, *[None] * 999)
    assert all([trip.id for trip in state.trips] == ["G08"] for state in silent)
    assert (silent[-1].trips[0].latched, silent[-1].evidence.qualified) == (True, True)
    assert dict(silent[-1].gone)["G08"] == NOW + 901.0


def test_one_long_incident_is_no_second_one() -> None:
    """Hot, warm for minutes and hot again is one; the next within ten minutes of its end waits for a person; a short
    one counts from its hot reading."""
    after, _ = tick(FRESH, NOW, 86.0)
    short, _ = tick(after, NOW + 59.0, 79.0)
    mild, latched = hot(86.0), hot(86.0, True)
    assert [tick(short, NOW + s, 86.0)[1] for s in (60.0, 60.1)] == [mild, latched]
    for n in range(1, 700):
        after, finding = tick(after, NOW + n, 83.0)
        assert finding is not None and not finding.latches
    assert tick(after, NOW + 700.0, 86.0)[1] == mild
    ended, finding = tick(after, NOW + 700.0, 79.0)
    assert finding is None
    again = [tick(ended, NOW + s, 86.0)[1] for s in (760.0, 760.1, 1299.9, 1300.0)]
    assert again == [mild, latched, latched, mild]


# ---------------------------------------------------------------- over the mash

PUMPED = TUN.model_copy(update={"flow_l_per_min": 12.0})  # 6 K at full power
HEATS = known(line=HOT, plate=plate.of(PUMPED))
BEGAN = OutletHot(over_since=NOW)


def over(
    before: OutletHot, now: float, outlet_c: float, what: Known = HEATS, /, **changes: Any
) -> tuple[OutletHot, Finding | None]:
    """One moment of a pumped tun that heats; nothing but what is believed is heard."""
    quiet = {"raw_outlet": (), "outlet": SEEN._replace(value_c=outlet_c, fresh=False), "report": None, "tun": PUMPED}
    return watch(before, what, **(quiet | {"now": now} | changes))


def test_far_over_the_mash() -> None:
    """12 K are borne, more for 5 s is G08: the tick at 4 s is the last before; it begins anew with each fall."""
    assert over(FRESH, NOW, 75.0) == (FRESH, None)
    assert over(FRESH, NOW, 75.1) == (BEGAN, None)
    assert over(BEGAN, NOW + 3.9, 75.1) == (BEGAN, None)
    trip = Finding(ROW, 12.5, 12.0, latched=False, says=OVER, unit="K")
    assert over(BEGAN, NOW + 4.0, 75.5) == (OutletHot(hot_at=(NOW + 4.0,)), trip)
    assert over(BEGAN, NOW + 3.0, 74.0) == (FRESH, None)


NO_PUMP, UNREAD = {"tun": PUMPED.model_copy(update={"pump": None})}, SEEN._replace(value_c=None)


@pytest.mark.parametrize("changes", [NO_PUMP, {"outlet": None}, {"outlet": UNREAD}, {"seen": UNREAD}])
def test_over_the_mash_is_not_watched(changes: dict[str, Any]) -> None:
    """Without a pump, or one of the two readings, it is forgotten."""
    for before in (BEGAN, FRESH):
        assert over(before, NOW + 4.0, 75.5, **changes) == (FRESH, None)


def test_over_the_mash_is_watched_with_heat_on_and_the_probe_in_the_mash_alone() -> None:
    """Behind the heater the mash probe reads the same; without heat the outlet only cools."""
    behind = HEATS.plate._replace(behind_heater=True)
    for what in (HEATS._replace(line=HOT._replace(off_seq=40)), HEATS._replace(plate=behind)):
        assert over(BEGAN, NOW + 4.0, 75.5, what) == (FRESH, None)


def test_how_far_over_the_mash_is_borne() -> None:
    """As far as the plate says, what its flow warms by included."""
    small = HEATS._replace(plate=HEATS.plate._replace(outlet_over_mash_k=24.0))
    assert over(BEGAN, NOW + 4.0, 87.0, small) == (FRESH, None)
    assert over(BEGAN, NOW + 4.0, 87.5, small)[1] == Finding(ROW, 24.5, 24.0, latched=False, says=OVER, unit="K")


def test_over_the_mash_in_a_run() -> None:
    """A pumped tun's outlet 13 K over the mash in a ramp: heat off, the sentence with both figures."""
    heater = tun().heater.model_copy(update={"place": "line"})
    probes = Probes(mash=Probe(topic="a"), outlet=Probe(topic="c"))
    pumped = {"pump": Output(topic="u"), "stirrer": None, "mixing": "pump", "flow_l_per_min": 12.0, "heater": heater}
    bench = Bench(settings(probes=probes, **pumped), mash_c=58.0)
    for over_k, seconds in ((1.0, 20), (6.0, 60), (13.0, 6)):
        assert bench.state.guard.trips == ()
        for _ in range(seconds):
            bench.extra = {"outlet": (Reading(bench.mash_c + over_k, bench.now + 0.8, bench.seq),)}
            bench.step()
        if over_k == 1.0:
            bench.start(course(leg("beta", 66.0, 3600.0), grist_kg=0))
    trip = bench.state.guard.trips[0]
    assert (trip.id, trip.unit) == ("G08", "K")
    assert "hotter than the mash (limit 12 K)" in trip.text


# ---------------------------------------------------------------- by the node's word

TEXT = node_says("F (1)")
FAULTS = [
    ("own_limit", 91.9, hot(91.9)), ("own_limit", 92.0, hot(92.0)), ("own_limit", 84.0, hot(84.0, False, TEXT)),
    ("own_limit", None, hot(0.0, False, TEXT)), ("own_probe_silent", 63.0, None),
    ("internal", 63.0, None), ("no_liquid", 63.0, None), (None, 63.0, None),
]  # fmt: skip


@pytest.mark.parametrize(("code", "outlet_c", "expected"), FAULTS)
def test_a_fault_of_the_nodes_outlet(code: str | None, outlet_c: float | None, expected: Finding | None) -> None:
    """Under heat it trips, latching as the same seen here does; told to be off, it does not."""
    fault = {"fault": None if code is None else "F {1}", "fault_code": code}
    said = {"raw_outlet": (), "outlet": None, "report": report(50, 0.7, **fault, outlet_c=outlet_c)}
    assert found(FRESH, known(line=HOT), **said) == expected
    at_mash = TUN.model_copy(update={"pump": None, "probes": Probes(mash=Probe(topic="a"))})
    of_g07 = {**said, "report": report(50, 0.7, **fault)}  # its thermometer is in the mash, and says no figure
    assert found(FRESH, known(line=HOT), tun=at_mash, **of_g07) is None
    told_off = found(FRESH, known(line=HOT._replace(off_seq=40)), **said)
    assert told_off == (expected if outlet_c is not None and outlet_c >= 85.0 else None)


@pytest.mark.parametrize(("outlet_c", "latched"), [(69.9, False), (70.0, True)])
def test_a_fault_of_the_nodes_outlet_at_the_upper_limit(outlet_c: float, latched: bool) -> None:
    """Under this file's own limit as well: whether it latches is a matter of the upper one."""
    early = TUN.model_copy(update={"guard": TUN.guard.model_copy(update={"outlet_trip_c": 70.0})})
    said = report(50, 0.7, fault="F {1}", fault_code="own_limit", outlet_c=outlet_c)
    finding = found(
        OutletHot(row=Over(NOW - 1.0, NOW - 1.0)), known(line=HOT), tun=early, raw_outlet=(), outlet=None, report=said
    )
    assert finding == hot(outlet_c, latched, TEXT)


SILENT = SEEN._replace(age_s=60.1, value_c=None, fresh=False)


@pytest.mark.parametrize(
    ("heard_s", "watched"),
    [(None, "is not watched meanwhile"), (60.0, "is watched by the heater node's own thermometer alone"),
     (60.1, "is not watched meanwhile")],
)  # fmt: skip
def test_a_silent_outlet_probe(heard_s: float | None, watched: str) -> None:
    """What is not watched meanwhile; the heater node's own reading is named where there is one."""
    gate = check(having(OutletHot(heard_at=None if heard_s is None else NOW - heard_s)), outlet=SILENT, raw_outlet=())
    assert told(gate) == [("outlet", 2)]
    unheard = {"outlet": SILENT, "raw_outlet": ()}  # in a hold, and by a process that has not listened for so long
    assert (
        told(check(state=RunState.HELD, **unheard))
        == told(check(OPEN._replace(started_at=NOW - 60.0), **unheard))
        == []
    )
    assert gate.state.noted.now[0].text == (
        f"No good reading of the outlet probe for 60 s (limit 60 s). Whether the outlet is hot (G08) {watched}. "
        "Check the probe, its plug and its network."
    )
