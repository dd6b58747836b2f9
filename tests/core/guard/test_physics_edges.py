"""The slow interlocks at their edges: values that are exactly the limit, in numbers that a computer holds exactly."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pytest

from controller.core.guard import history as physics
from controller.core.guard.history import Line, Past
from controller.core.guard.registry import Finding, Senses
from controller.core.nouns import RunState, Target
from controller.settings.tun import Output, Tun
from tests.core.guard.test_guard_corners import BASE
from tests.core.guard.test_physics_rules import JACKET, Story, rising

S = RunState


def vessel(limits: dict[str, float] | None = None, **changes: Any) -> Tun:
    """No dead time, no lag, no loss, a room of 0 °C: what is due is arithmetic."""
    guard = JACKET.guard.model_copy(update={"dead_time_s": 0.0, **(limits or {})})
    mash = JACKET.probes.mash.model_copy(update={"lag_s": 0.0})
    probes = JACKET.probes.model_copy(update={"mash": mash})
    return JACKET.model_copy(update={"guard": guard, "probes": probes, "room_c": 0.0, **changes})


def told(temperatures: Sequence[float], energies: Sequence[float], **changes: Any) -> Past:
    """A line every ten seconds from 0 on, with these temperatures and energies."""
    pairs = zip(temperatures, energies, strict=True)
    lines = tuple(Line(10.0 * at, temperature, energy) for at, (temperature, energy) in enumerate(pairs))
    return Past(lines=lines)._replace(**changes)


def straight(lines: int, rise: float, energy: float, span: int) -> Past:
    """So many lines; over the last `span` of them this rise and this energy, the same from line to line."""
    last = lines - 1
    return told([0.0 if at < last else rise for at in range(lines)], [energy * at / span for at in range(lines)])


def now(past: Past, which: Tun | None = None, **changes: Any) -> Senses:
    """One joule a kelvin, so that energy is rise."""
    target = Target("hold", 1000.0, 0.02, 1, 1.0)
    base = BASE._replace(tun=which or vessel(), now=past.lines[-1].at, target=target, capacity_j_per_k=1.0)
    return base._replace(setpoint_c=None, power_w=1.0)._replace(**changes)


def test_history_reaches_far_enough_and_no_further() -> None:
    """350 lines: 3.5 of the longest windows that the file may ask for, 600 s each, dead time and a bath's 1,200 s."""
    assert physics.KEEP == 350
    needed = 3.5 * 600.0 + 180.0 + physics.BATH_MOST_S
    assert needed / physics.STEP_S + 1 <= physics.KEEP < needed / physics.STEP_S + 10


def test_least_and_most_energy_of_any_window() -> None:
    """Two lines long, ending now or up to two lines ago."""
    past = told([0.0] * 6, [0.0, 1.0, 5.0, 6.0, 6.0, 8.0])
    assert physics._windows(past, 20.0, 20.0) == (1.0, 5.0)
    assert physics._windows(past, 20.0, 0.0) == (2.0, 2.0)


@pytest.mark.parametrize(("due", "rise", "counted"), [(2.0, 0.0, 1), (1.875, 0.0, 0), (8.0, 2.0, 0), (8.0, 1.875, 1)])
def test_missing_heat_at_its_limits(due: float, rise: float, counted: int) -> None:
    """2 K due is judged, a quarter of it seen is enough; a little less of either is not."""
    past = straight(25, rise, due, 24)
    assert physics._no_heat(past, now(past))[0].no_heat == counted


@pytest.mark.parametrize(
    ("lines", "due", "rise", "counted"),
    [(49, 1.0, 0.0, 1), (49, 0.96875, 0.0, 0), (48, 1.0, 0.0, 0), (49, 1.0, 0.5, 0), (49, 1.0, 0.484375, 1)],
)
def test_a_weak_heater_is_judged_by_twice_the_window(lines: int, due: float, rise: float, counted: int) -> None:
    """1 K due in 240 s is too little, 2 K in 480 s is enough; a quarter of that seen is enough as well."""
    past = straight(lines, rise, due, 24)
    assert physics._no_heat(past, now(past))[0].no_heat == counted


def test_a_strong_heater_is_judged_by_the_window_alone() -> None:
    """What was due in 240 s came: that nothing had come in the 240 s before is no matter."""
    came = told([0.0] * 25 + [at / 12.0 for at in range(1, 25)], [at / 12.0 for at in range(49)])
    assert physics._no_heat(came, now(came))[0].no_heat == 0


def behind() -> Tun:
    """The same with its probe behind the heater."""
    tun = vessel()
    mash = tun.probes.mash.model_copy(update={"behind_heater": True})
    return tun.model_copy(update={"probes": tun.probes.model_copy(update={"mash": mash})})


def falling(last: float) -> Past:
    """0.1 J/s for 300 s without a rise, then `last` J less than that over the last 20 s."""
    return told([0.0] * 31, [float(at) for at in range(29)] + [29.0 - last / 2, 30.0 - last])


def test_missing_heat_is_not_judged_behind_the_heater_once_heat_is_less() -> None:
    """The probe falls with the heat: a tenth of full power less over 20 s is judged, more than that is not. One in the
    mash is judged either way."""
    tenth = physics.EVEN_SHARE * 20.0
    for less, which, counted in (
        (0.0, behind(), 1), (tenth, behind(), 1), (tenth + 0.001, behind(), 0), (tenth + 0.001, vessel(), 1),
        (-tenth - 0.001, behind(), 1),
    ):  # fmt: skip
        past = falling(less)
        assert physics._no_heat(past, now(past, which))[0].no_heat == counted


def test_less_heat_is_looked_for_in_a_minute_and_in_20_s() -> None:
    """Over a minute a tenth less is little, more is less; with no line before the window nothing is less."""
    whole = [float(10 * at) for at in range(31)]
    for less, found in ((6.0, False), (6.001, True)):
        slow = [*whole[:25], *(energy - less * (at + 1) / 6.0 for at, energy in enumerate(whole[25:]))]
        assert physics._less(told([0.0] * 31, slow), 1.0, 240.0) is found
    assert physics._less(told([0.0] * 25, [0.0] * 25), 1.0, 240.0) is False


@pytest.mark.parametrize(("power_w", "found"), [(1.0, True), (2.0, False), (0.5, True)])
def test_less_heat_is_held_against_full_power_just_before_the_window(power_w: float, found: bool) -> None:
    """4 J in the 20 s before the window and none since: over a tenth of 1 W, not over a tenth of 2 W."""
    past = told([0.0] * 31, [0.0] * 5 + [2.0] + [4.0] * 25)
    assert physics._less(past, power_w, 240.0) is found


@pytest.mark.parametrize(("rise", "trips"), [(0.8, True), (0.75, False)])
def test_unasked_rise_at_its_limit(rise: float, trips: bool) -> None:
    """0.8 K in three minutes is too much."""
    past = straight(60, rise, 0.0, 59)._replace(off_since=0.0)
    found = physics._unasked(past, now(past))[1]
    assert found == (Finding("G10", 0.8, 0.8) if trips else None)


def test_over_the_setpoint_at_its_limits() -> None:
    """Just 3 K over is not over, a rise of just 0.1 K a minute is none, and without a setpoint the count is gone."""
    rate = physics.RISING_K_PER_S * 30.0
    for rise, setpoint, over in ((3.125, 0.0, 6), (3.0, 0.0, 0), (rate, -4.0, 0), (1.1 * rate, -4.0, 6)):
        past = straight(20, rise, 0.0, 19)._replace(off_since=0.0, over=5)
        assert physics._over(past, now(past, setpoint_c=setpoint))[0].over == over, (rise, setpoint)
    past = straight(20, 5.0, 0.0, 19)._replace(off_since=0.0, over=5)
    assert physics._over(past, now(past))[0].over == 0
    assert physics._over(past._replace(off_since=None), now(past, setpoint_c=0.0))[0].over == 0


def test_slow_rise_far_over_the_setpoint() -> None:
    """0.11 K a minute is a rise; 0.09 is not."""
    assert Story(setpoint_c=60.0).go(rising(63.05, 0.11), 0.0, 1500.0) == 180.0
    assert Story(setpoint_c=60.0).go(rising(63.05, 0.09), 0.0, 1500.0) is None


def idle(temperatures: Sequence[float], power_w: float, limit_k: float = 0.5) -> tuple[bool, bool]:
    """Alarm and latch with nothing running, in a tun of 65,536 J/K, full or not."""
    tun = vessel({"unasked_rise_k": limit_k}, volume_l=10.0, min_liquor_l=10.0, metal_j_per_k=65_536.0 - 41_860.0)
    past = told(temperatures, [0.0] * len(temperatures), off_since=0.0)
    after, found = physics._unasked_idle(past, now(past, tun, state=S.IDLE, power_w=power_w))
    return after.idle_alarm, found is not None


def steady(per_line: float) -> list[float]:
    return [per_line * at for at in range(60)]


@pytest.mark.parametrize(
    ("per_line", "power_w", "latches"),
    [
        (10.0 / 128, 1024.0, True), (10.0 / 128, 1025.0, False),  # half the heater's rate, just under
        (15.0 / 256, 256.0, True), (15.0 / 256, 255.0, False),  # 1.5 times the heater's rate, just over
    ],
)  # fmt: skip
def test_idle_rates_at_their_limits(per_line: float, power_w: float, latches: bool) -> None:
    """From half to one and a half times the heater's own rate latches, both ends included."""
    assert idle(steady(per_line), power_w) == (True, latches)


def test_idle_steepness_at_its_limit() -> None:
    """Just 2 K in any thirty seconds latches; one stretch that is steeper does not, whatever the others are."""
    wave = [0.0]
    for at in range(59):
        wave.append(wave[-1] + (0.75 if at % 3 == 1 else 0.625))
    assert idle(wave, 65_536.0 / 15.0) == (True, True)
    hose = [value + (1.0 if at >= 45 else 0.0) for at, value in enumerate(steady(0.5))]
    assert idle(hose, 65_536.0 / 20.0) == (True, False)
    assert idle(steady(0.5), 65_536.0 / 20.0) == (True, True)


def test_idle_alarm_at_its_limits() -> None:
    """A rise of just the limit alarms; a stretch of thirty seconds without any rise ends the alarm."""
    limit_k = 10.0 * 30.0 / 128 / 300.0 * 180.0
    assert idle(steady(10.0 / 128), 1024.0, limit_k)[0]
    assert not idle(steady(10.0 / 128), 1024.0, limit_k + 0.001)[0]
    flat = [
        value if at < 45 else max(value - 0.25, steady(10.0 / 128)[44]) for at, value in enumerate(steady(10.0 / 128))
    ]
    assert flat[47] == flat[44]
    assert not idle(flat, 1024.0)[0]


@pytest.mark.parametrize("temperatures", [[0.0] * 20, [0.0] * 60])
def test_idle_alarm_ends(temperatures: list[float]) -> None:
    """With too little history, or with no rise, an alarm that was on is off."""
    past = told(temperatures, [0.0] * len(temperatures), off_since=0.0, idle_alarm=True)
    assert not physics._unasked_idle(past, now(past, state=S.IDLE))[0].idle_alarm


@pytest.mark.parametrize(
    ("now_c", "full_c", "target_c", "loss", "found"),
    [
        (450.0, 0.0, 1000.0, 0.0, False), (449.5, 0.0, 1000.0, 0.0, True),  # half of the 900 K that the plate allows
        (100.0, 100.0, 104.0, 0.0, False), (100.0, 100.0, 104.5, 0.0, True),  # 4 K short
        (100.0, 100.0, 1000.0, 1.0, False),  # all of it is lost: nothing is due
        (100.0, 55.5, 1000.0, 1.0 / 80.0, False), (100.0, 56.5, 1000.0, 1.0 / 80.0, False),
    ],
)  # fmt: skip
def test_cannot_keep_up_at_its_limits(now_c: float, full_c: float, target_c: float, loss: float, found: bool) -> None:
    """One watt into one joule a kelvin for 900 s: half of it is enough, 4 K are near enough, loss is taken off."""
    past = told([now_c], [0.0], full_since=-900.0, full_c=full_c)
    target = Target("hold", target_c, 0.02, 1, 1.0)
    finding = physics._cannot_keep_up(past, now(past, vessel(loss_w_per_k=loss), target=target))[1]
    assert (None if finding is None else finding[:3]) == (("G11", target_c - now_c, 4.0) if found else None)


def test_the_room_counts_for_what_the_plate_allows() -> None:
    """100 °C in a room of 20 loses half a watt of one: 450 K in 900 s, half of that is 225."""
    tun = vessel(loss_w_per_k=1.0 / 160.0, room_c=20.0)
    for risen, found in ((225.0, False), (224.5, True)):
        past = told([100.0], [0.0], full_since=-900.0, full_c=100.0 - risen)
        assert (physics._cannot_keep_up(past, now(past, tun))[1] is not None) is found


# ---------------------------------------------------------------- G25


def fit(
    rise: float, energy: float, lines: int = 31, since: float = 0.0, which: Tun | None = None
) -> tuple[bool, Finding | None]:
    """Judged or not, and what was found: this rise and energy over the 300 s of the window."""
    past = straight(lines, rise, energy, 30)._replace(heat_since=since)
    after, finding = physics._fit(past, now(past, which))
    return bool(after.fitted), finding


@pytest.mark.parametrize(
    ("rise", "energy", "judged", "found"),
    [
        (4.0, 2.0, True, Finding("G25", 2.0, 1.6)), (4.0, 1.875, False, None),  # 2 K due is judged
        (8.0, 5.0, True, None), (8.25, 5.0, True, Finding("G25", 1.65, 1.6)),  # 1.6 times fits
        (2.0, 2.0, True, None), (1.0, 4.0, True, Finding("G25", 0.25, 0.5)), (0.9375, 4.0, False, None),  # a quarter
        (0.5, 4.0, False, None), (2.0, 4.0, True, None), (1.9375, 4.0, True, Finding("G25", 0.484375, 0.5)),  # a half
    ],
)  # fmt: skip
def test_fit_at_its_limits(rise: float, energy: float, judged: bool, found: Finding | None) -> None:
    """What is due and what is seen, exactly at each limit and just beside it."""
    assert fit(rise, energy) == (judged, found)


def test_fit_waits_for_lag_and_window() -> None:
    """Heat for just dead time, lags and window is enough, a second less is not; nor is a history one line short."""
    slow = vessel({"dead_time_s": 60.0})
    assert fit(30.0, 5.0, 37, 0.0, slow) == (True, Finding("G25", 6.0, 1.6))
    assert fit(30.0, 5.0, 37, 1.0, slow) == (False, None)
    assert fit(30.0, 5.0, 36, -1000.0, slow) == (False, None)


def pumped(litres: float, flow_l_per_min: float | None, stirred: bool = False) -> Tun:
    """The same, moved by a pump (and by a stirrer as well, if it has one)."""
    stirrer = Output(topic="s") if stirred else None
    return vessel(mixing="pump", volume_l=litres, flow_l_per_min=flow_l_per_min, stirrer=stirrer)


@pytest.mark.parametrize(
    ("which", "late_s"),
    [
        (pumped(40.0, 10.0), 120.0), (pumped(100.0, 10.0), 300.0), (pumped(101.0, 1.0), 300.0),
        (pumped(40.0, 10.0, stirred=True), 0.0), (pumped(40.0, None), 0.0), (vessel(), 0.0),
    ],
)  # fmt: skip
def test_fit_waits_for_a_pumped_bed(which: Tun, late_s: float) -> None:
    """Half a turnover, 300 s at most; where a stirrer helps, or no flow is known, nothing."""
    assert physics._bed_s(now(straight(2, 0.0, 0.0, 1), which)) == late_s
    lines = 31 + round(late_s / 10.0)
    assert fit(30.0, 5.0, lines, 0.0, which)[0] is True
    assert fit(30.0, 5.0, lines, 1.0, which)[0] is False


def test_fit_takes_the_loss_of_the_mean_off() -> None:
    """From 0 to 20 °C in a room of 2: 8 K over it for 300 s at 1/480 W/K are 5 J of the 15."""
    lossy = vessel(loss_w_per_k=1.0 / 480.0, room_c=2.0)
    assert fit(20.0, 15.0, which=lossy) == (True, Finding("G25", 2.0, 1.6))


def test_even_heat_at_its_limit() -> None:
    """A tenth of full power more than before is even, the least bit more is not."""
    moved = physics.EVEN_SHARE * 1.0 * 2 * physics.STEP_S
    for more, even in ((moved, True), (moved + 0.001, False), (-moved, True), (-moved - 0.001, False)):
        past = told([0.0] * 40, [100.0] * 39 + [100.0 + more])
        assert physics._even_over(past, 1.0, 2) is even


# ---------------------------------------------------------------- G12


def ledger(put_in: float, rise: float = 0.0, old_at: float = 0.0, count: int = 0) -> Past:
    """A ledger from the first line on, 60 s of slack, so much put in until a minute ago."""
    past = told([0.0] * 12 + [rise], [0.0] + [put_in] * 12)
    base = past.lines[0]._replace(at=old_at)
    past = past._replace(ledger_base=base, ledger=count)
    return physics._ledger(past, now(past))[0]


def test_ledger_at_its_limits() -> None:
    """2 K and 30 percent of 4 K put in may be missing; what has begun is counted on, or begins anew."""
    limit = 2.0 + physics.SLACK_SHARE * 4.0
    assert ledger(4.0, 4.0 - limit).ledger == 0
    assert ledger(4.0, 4.0 - limit - 0.001, count=2).ledger == 3
    assert ledger(4.0, 4.0, count=5).ledger == 0


def test_ledger_looks_from_its_first_line_on() -> None:
    """Heat as old as the ledger's first line is looked at, older is not."""
    assert ledger(0.0, old_at=60.0, count=3).ledger == 0
    assert ledger(0.0, old_at=61.0, count=3).ledger == 3


def test_ledger_anew_when_held() -> None:
    """Held, all that was counted is gone."""
    past = told([5.0] * 12, [0.0] * 12, ledger_base=Line(0.0, 0.0, 0.0), ledger_loss_j=7.0, ledger=4)
    after = physics._ledger(past, now(past, state=S.HELD))[0]
    assert (after.ledger, after.ledger_loss_j, after.ledger_base) == (0, 0.0, past.lines[-1])
