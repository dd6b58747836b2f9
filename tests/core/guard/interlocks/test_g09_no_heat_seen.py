"""G09: heat that is asked for must show as a rise."""

from __future__ import annotations

from typing import Any

import pytest

from controller.core.guard.heat_account import HeatAccount, Pulse
from controller.core.guard.interlock import Finding, Note
from controller.core.guard.interlocks.g09_no_heat_seen import DRAWS, FELL_UNDER, TRIAL, UNSHOWN, VAIN, NoHeatSeen
from controller.core.guard.senses import HEATED
from controller.core.nouns import HeaterReport
from controller.settings.tun import Tun
from tests.core.bench import Bench, course, leg, settings
from tests.core.guard.looks import HOT, NOW, OFF, OPEN, SEEN, S, check, duty, ids, known, senses, watch
from tests.core.guard.story import (
    BEHIND,
    BLOCKED,
    COIL,
    JACKET,
    STEP_K,
    Course,
    Story,
    bathed,
    flat,
    judged,
    rising,
    told,
)

G09 = NoHeatSeen()


def story(which: Tun = JACKET, **changes: Any) -> Story[NoHeatSeen]:
    return Story(G09, which, **changes)


# ---------------------------------------------------------------- what is owed


@pytest.mark.parametrize(("which", "bound_k"), [(JACKET, 4.4), (COIL, 10.4), (BEHIND, 4.4), (bathed(10.0), 12.78)])
def test_heat_that_does_not_show(which: Tun, bound_k: float) -> None:
    """Full heat and a flat reading: 2 K, and what 2 kW give in dead time, three lags and 30 s; a coil has 300 s at
    least, liquor that the file names as long as 20 K over the wort store at full power."""
    flat_one = story(which)
    after_s = flat_one.go(flat(60.0), 1.0)
    assert after_s is not None and 0.0 <= round(after_s - 10.0 * bound_k / STEP_K, 6) <= 10.0
    assert flat_one.found == (pytest.approx(after_s / 10.0 * STEP_K), pytest.approx(bound_k, abs=0.005))
    assert flat_one.finding is not None and flat_one.finding.latches
    assert flat_one.finding.words == (
        f"{flat_one.found[0]:.1f} K of heat went in and did not show (limit {flat_one.found[1]:.1f} K). Heat is off. "
        "Check element, cut-out and mains, and whether the probe is in the mash."
    )


@pytest.mark.parametrize(("share", "found"), [(1.0, False), (0.6, False), (0.3, True), (0.0, True)])
@pytest.mark.parametrize("duty", [1.0, 0.3])
def test_a_rise_counts_twice(share: float, found: bool, duty: float) -> None:
    """A mash that rises by more than half of what went in owes nothing, however long; one that does not is seen."""
    assert (story().go(rising(40.0, share * 1.2 * duty), duty, 1500.0 / duty) is not None) is found


@pytest.mark.parametrize("changes", [{"state": S.HELD}, {"target": BLOCKED}, {"seen": SEEN._replace(value_c=None)}])
def test_nothing_between_begins_it_anew(changes: dict[str, Any]) -> None:
    """A hold, an addition or a minute without a reading in the middle: what was owed before counts on."""
    owing = story()
    assert owing.go(flat(60.0), 1.0, 200.0) is None
    for _ in range(6):
        owing.line(60.0, 0.0, **changes)
    assert owing.go(flat(60.0), 1.0) == 20.0


def test_it_is_for_runs_only() -> None:
    """Where no heat may flow it is not asked; what is owed counts all the same."""
    assert HEATED == NoHeatSeen.STATES
    assert G09.asleep(story().base) is G09
    assert story(state=S.HELD).go(flat(60.0), 1.0, 800.0) is None


@pytest.mark.parametrize(("owed_k", "own_k", "before_k", "waits"), [
    (1.7, 0.0, 0.0, True), (1.6, 0.0, 0.0, False), (1.7, 0.2, 0.0, False), (1.9, 0.2, 0.0, True), (0.7, 0.0, 1.0, True),
    (0.6, 0.0, 1.0, False),
])  # fmt: skip
def test_heat_is_on_trust_near_the_hard_limit(owed_k: float, own_k: float, before_k: float, waits: bool) -> None:
    """Where the reading and what it owes come to 79.7 °C heat waits, without a trip, and it is said; what the heater
    itself adds at the probe is no mash; what was owed before a clear counts."""
    pulse = Pulse(before_k=before_k) if before_k else None
    state = OPEN._replace(heat=HeatAccount(owed_k=owed_k, last_c=78.0, own_k=own_k, pulse=pulse, level_c=78.0))
    quiet = SEEN._replace(fresh=False)
    gate = check(state, 0.5, seen=quiet, dt=0.0)
    assert (duty(gate), ids(gate)) == (0.0 if waits else 0.5, [])
    assert [note.key for note in gate.state.noted.now] == (["trust"] if waits else [])


# ---------------------------------------------------------------- one pulse after a clear


def on_trial() -> Story[NoHeatSeen]:
    """Cleared by a person."""
    trial = story()
    trial.heat = trial.heat.on_trial()
    return trial


def test_a_pulse_that_does_not_show() -> None:
    """1.5 K of heat, then none for dead time, three lags and 30 s; nothing has shown, so it trips again, once."""
    trial = on_trial()
    told = [trial.line(60.0, 1.0 if at < 8 else 0.0) for at in range(20)]
    assert [finding is not None for finding in told] == [False] * 7 + [True] * 13
    assert all(finding is not None and finding.cut_only and finding.says == TRIAL for finding in told[7:19])
    assert told[19] == Finding(G09.ROW, 0.0, 0.75, says=UNSHOWN)


@pytest.mark.parametrize(("fell_k", "trips"), [(2.0, True), (0.7, False)])
def test_a_reading_that_falls_under_a_pulse(fell_k: float, trips: bool) -> None:
    """By as much more than the worst loss as it should rise: a trip while the pulse is on; less is none."""
    trial = on_trial()
    told = [trial.line(60.0 - fell_k * max(at - 2, 0) / 4.0, 1.0) for at in range(7)]
    fallen = [finding for finding in told if finding is not None and finding.says == FELL_UNDER]
    assert [(finding.limit, finding.cut_only) for finding in fallen[:1]] == ([(0.75, False)] if trips else [])


def test_after_a_pulse_in_vain_the_next_waits() -> None:
    """Cleared again, no heat leaves and a note says by how much the mash must cool; once it has, heat is let out."""
    trial = on_trial()
    for at in range(20):
        trial.line(60.0, 1.0 if at < 8 else 0.0)
    trial.heat = trial.heat.on_trial().measured()
    held = trial.line(60.0, 0.0)
    assert held is not None
    assert (held.cut_only, held.says) == (True, VAIN)
    assert held.value == pytest.approx(1.4, abs=0.2)
    trial.heat = trial.heat._replace(vain_k=0.0)
    assert trial.line(60.0, 1.0) is None


def test_a_pulse_that_shows() -> None:
    """The reading has risen by half of it: the account begins anew, and heat goes on."""
    trial = on_trial()
    for at in range(12):
        finding = trial.line(60.0 + 0.3 * max(0, at - 4), 1.0 if at < 8 else 0.0)
    assert (finding, trial.heat.pulse, trial.heat.owed_k) == (None, None, 0.0)


# ---------------------------------------------------------------- at once


def fall(k: float, over_s: float = 60.0) -> Course:
    """At 60 °C for 200 s, then so many kelvins down at an even rate."""
    return lambda at: 60.0 - k * min(max(at - 200.0, 0.0) / over_s, 1.0)


def fallen(which: Tun, course: Course, duty: Course | float) -> tuple[float | None, float | None]:
    """When does a fall hold heat back, and when is it a trip?"""
    told, slipping = {True: None, False: None}, story(which)  # type: dict[bool, float | None], Any
    for at in range(10, 410, 10):
        found = slipping.line(course(at), duty(at) if callable(duty) else duty)
        if found is not None and "three minutes" in found.words and told[found.cut_only] is None:
            told[found.cut_only] = float(at)
    return told[True], told[False]


@pytest.mark.parametrize(
    ("which", "course", "duty", "found"),
    [
        (JACKET, fall(5.125), 0.3, (240.0, 260.0)),
        (JACKET, fall(4.875), 0.3, (240.0, None)),
        (JACKET, fall(2.9), 0.3, (None, None)),
        (JACKET, fall(5.125, 160.0), 0.3, (300.0, 360.0)),
        (JACKET, fall(8.2, 180.0), 0.3, (270.0, 310.0)),  # a drained tun whose probe cools with 900 s
        (JACKET, fall(30.0), 0.3, (210.0, 220.0)),  # 5 K a line: history moves with it, and the moves count
        (JACKET, fall(4.0, 10.0), 0.3, (210.0, None)),  # liquor poured in without a word
        (JACKET, fall(12.0), 0.0, (None, None)),  # with the heater off: G04 and the evidence look at that
        (JACKET, fall(12.0), lambda at: 0.0 if at <= 250.0 else 0.3, (None, None)),  # the first heat of all
        (JACKET, fall(12.0), lambda at: 0.3 if at <= 30.0 or at > 220.0 else 0.0, (230.0, 320.0)),  # a rest's heat
        (BEHIND, fall(7.5), 0.3, (None, None)),  # behind the heater 5 K more come from the heat
        (BEHIND, fall(9.5), 0.3, (260.0, None)),
        (BEHIND, fall(10.5), 0.3, (250.0, 260.0)),
    ],
)
def test_a_probe_that_slips_out(
    which: Tun, course: Course, duty: Course | float, found: tuple[float | None, float | None]
) -> None:
    """Over 3 K down in three minutes with heat on holds it back; over 5 K, heat on as it began, is a trip."""
    assert fallen(which, course, duty) == found


def test_what_a_fall_is_told_as() -> None:
    """A question to act on while heat waits; the trip says how far it fell."""
    slipping = story()
    assert slipping.go(fall(4.5), 0.3, 400.0) == 250.0
    figures = known(past=slipping.past, heat=slipping.heat, plate=slipping.plate)
    notes = slipping.interlock.notes(senses(slipping.base, now=slipping.now), figures)
    text = "The reading fell by 3.8 K in three minutes: liquor added, or probe out of the mash? Heat waits. " + (
        "If something was added, announce it, with what a hand thermometer in the mash reads."
    )
    assert notes == (Note("fall", text, 2),)
    assert slipping.interlock.notes(senses(slipping.base, now=slipping.now, state=S.HELD), figures) == ()


@pytest.mark.parametrize(("fell_k", "cut"), [(3.0, None), (5.0, True), (5.25, False)])
def test_five_kelvin_are_borne(fell_k: float, cut: bool | None) -> None:
    """Just 3 K down in three minutes are nothing, just 5 K no trip; a minute of history is enough, less is none."""
    for lines, known_of in ((20, False), (19, True), (7, True), (6, False)):
        steep = told([fell_k] + [0.0] * (lines - 1), [float(at) for at in range(lines)])
        found = judged(G09, steep)[1]
        assert (None if found is None else found.cut_only) == (cut if known_of else None)
        assert judged(G09, steep._replace(added_at=steep.lines[-1].at - 600.0))[1] is None


@pytest.mark.parametrize(("apart_s", "found"), [(180.0, None), (160.0, 370.0)])
def test_moves_older_than_three_minutes_do_not_count(apart_s: float, found: float | None) -> None:
    """4 K down at once, and 4 K more three minutes later, is not 8 K; 20 s sooner it is."""
    steps: Course = lambda at: 60.0 - 4.0 * (at > 200.0) - 4.0 * (at > 200.0 + apart_s)  # noqa: E731
    assert fallen(JACKET, steps, 0.3)[1] == found


@pytest.mark.parametrize("state", [S.HELD, S.RESTARTING])
def test_a_fall_is_nothing_without_a_run(state: S) -> None:
    """Held or restarting the line may cool."""
    assert story(state=state).go(fall(30.0), 0.3, 320.0) is None


# ---------------------------------------------------------------- the power that the node measures


def draws(*reports: tuple[float, float | None], hot: bool = True) -> tuple[NoHeatSeen, list[Finding | None]]:
    """A report a second: the output and the power measured. The plate says 5,000 W."""
    interlock, all_found = G09, []
    for output, power_w in reports:
        report = HeaterReport(NOW - 0.5, "b", 1, 50, output, 9.0, power_w=power_w)
        interlock, finding = watch(interlock, known(line=HOT if hot else OFF), report=report)
        all_found.append(finding)
    return interlock, all_found


def test_no_power_with_the_output_on() -> None:
    """Under 5 % of what should flow for 5 s in all is found at once; at 5 % it is power."""
    after, seen = draws(*[(1.0, 249.9)] * 5)
    assert seen == [None] * 4 + [Finding(G09.ROW, 249.9, 250.0, says=DRAWS, unit="W")]
    assert seen[-1] is not None and seen[-1].words.startswith(
        "With its output on, the heater draws 250 W (at least 250 W is due). Heat is off."
    )
    assert after.no_power_s == 0.0
    for report, found in (
        ((1.0, 250.0), False), ((0.5, 125.0), False), ((0.5, 124.9), True), ((0.2, 0.0), False), ((0.21, 0.0), True),
        ((1.0, None), False),
    ):  # fmt: skip
        assert (draws(*[report] * 5)[1][-1] is not None) is found, report
    assert draws(*[(1.0, 0.0)] * 20, hot=False)[1] == [None] * 20
    assert watch(G09, known(line=HOT), report=None) == (G09, None)


def test_power_within_an_on_off_window() -> None:
    """The off part of a window counts neither way: only time with the output on does; a meter that is late shows power
    in the off part; that is power too."""
    on, off = (1.0, 0.0), (0.0, 0.0)
    _, dead = draws(*[on, off, off] * 5)
    assert [n for n, finding in enumerate(dead) if finding is not None] == [12]
    assert draws(*[(1.0, 5000.0), off, off] * 50)[1] == [None] * 150
    assert draws(*[on, (0.0, 5000.0)] * 50)[1] == [None] * 100
    assert draws(*[on, on, on, on, (1.0, 5000.0)] * 20)[1] == [None] * 100
    assert draws(*[on, on, (1.0, 250.0), on, on, on])[1][-1] is not None  # 5 % are no proof of power, and no lack of it


def test_what_is_missing_at_once_is_told_before_what_is_missing_in_the_line() -> None:
    """In one tick both show: no power, and a fall of 8 K. The first is told."""
    past = told([8.0] * 2 + [0.0] * 6, [float(at) for at in range(8)])
    report = HeaterReport(NOW - 0.5, "b", 1, 50, 1.0, 9.0, power_w=0.0)
    _, finding = watch(NoHeatSeen(no_power_s=4.0), known(line=HOT, past=past), report=report)
    assert finding is not None and finding.says == DRAWS


def test_a_dead_element_is_seen_in_seconds() -> None:
    """The whole core: the cut-out opens in a ramp; five seconds later heat is off, with the power in the sentence."""
    bench = Bench(settings(), mash_c=58.0)
    bench.until("idle")
    bench.start(course(leg("beta", 66.0, 3600.0), grist_kg=0))
    for n in range(100):
        power_w = bench.duty * 5000.0 if bench.last is not None and n < 60 else 0.0
        seq, duty = bench.state.guard.line.seq, bench.duty
        bench.extra = {"heater": HeaterReport(bench.now + 0.9, "b1", 1, seq, duty, 9.0, power_w=power_w)}
        bench.step()
        if bench.state.guard.trips:
            break
    assert n == 64
    trip = bench.state.guard.trips[0]
    assert (trip.id, trip.latched, trip.unit) == ("G09", True, "W")
    assert trip.text.startswith("With its output on, the heater draws 0 W (at least")
