"""The slow interlocks on a made-up history, ten seconds a line: each limit from both sides, each window in full."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Literal

import pytest

from controller.brewing import water
from controller.core.guard import history as physics
from controller.core.guard.history import Past
from controller.core.guard.registry import Finding, Senses
from controller.core.nouns import RunState, Target
from controller.settings.tun import Heater, Tun
from tests.core.bench import tun
from tests.core.guard.test_guard_corners import BASE, SEEN

S = RunState
CAPACITY = 100_000.0  # J/K
POWER = 2_000.0  # W: 0.2 K in ten seconds, 1.2 K/min
NO_LOSS: dict[str, Any] = {"loss_w_per_k": 0.0, "room_c": 60.0}
JACKET = tun(heater=Heater(kind="proportional", power_w=POWER, place="jacket")).model_copy(update=NO_LOSS)
STEP_K = POWER * 10.0 / CAPACITY
Course = Callable[[float], float]


class Story:
    """A tun told line by line: what it reads, and what was let out."""

    def __init__(self, which: Tun = JACKET, calibrated: bool = False, judged: bool = False, **changes: Any) -> None:
        target = Target("hold", 78.0, 0.02, 1, CAPACITY)
        self.base = BASE._replace(
            tun=which, target=target, setpoint_c=78.0, power_w=POWER, capacity_j_per_k=CAPACITY, heater=None
        )._replace(**changes)
        self.past = Past(fitted=(round(CAPACITY),) if judged else ())  # judged: G25 has had its say
        self.now, self.calibrated = 0.0, calibrated
        self.finding: Finding | None = None

    def senses(self, value_c: float | None, **changes: Any) -> Senses:
        return self.base._replace(now=self.now, dt=10.0, seen=SEEN._replace(value_c=value_c))._replace(**changes)

    def line(self, value_c: float | None, duty: float, **changes: Any) -> Finding | None:
        """Ten seconds at this duty, then a reading."""
        self.now += 10.0
        senses = self.senses(value_c, **changes)
        self.past, self.finding = physics.judge(physics.record(self.past, senses, duty), senses, self.calibrated)
        return self.finding

    def go(self, value: Course, duty: Course | float, most_s: float = 4000.0, **changes: Any) -> float | None:
        """Until something is found: after how many seconds? None when nothing is."""
        start = self.now
        while self.now - start < most_s:
            at = self.now - start + 10.0
            share = duty(at) if callable(duty) else duty
            if self.line(value(at), share, **changes) is not None:
                return self.now - start
        return None

    @property
    def which(self) -> str:
        return "" if self.finding is None else self.finding.id


def flat(value_c: float) -> Course:
    return lambda at: value_c


def rising(from_c: float, k_per_min: float) -> Course:
    return lambda at: from_c + k_per_min * at / 60.0


# ---------------------------------------------------------------- G09


def test_no_heat_is_seen_after_window_dead_time_and_persistence() -> None:
    """Full heat and a flat reading: 240 s of window, 60 s of dead time, the fourth verdict in a row."""
    story = Story()
    assert story.go(flat(60.0), 1.0) == 10.0 + 300.0 + 30.0
    assert story.which == "G09"
    assert story.finding is not None
    assert story.finding.value == 0.0
    assert story.finding.limit == pytest.approx(0.25 * 24 * STEP_K)


@pytest.mark.parametrize(("share", "trips"), [(0.24, True), (0.26, False)])
def test_a_quarter_of_the_rise_is_enough(share: float, trips: bool) -> None:
    """Just under a quarter of what is due trips, just over does not."""
    story = Story()
    found = story.go(rising(50.0, 1.2 * share), 1.0, 800.0)
    assert (story.which == "G09" and found == 340.0) is trips


@pytest.mark.parametrize(
    ("due_k", "found"),
    [(2.05, 340.0), (1.95, 580.0), (1.03, 580.0), (0.97, 820.0), (0.68, 820.0), (0.65, 940.0), (0.49, None)],
)
def test_judged_by_the_first_window_in_which_two_kelvin_are_due(due_k: float, found: float | None) -> None:
    """Due in 240 s; what is too little for that is judged by 480 s, 720 and 840, dead time and persistence on top."""
    story = Story()
    assert story.go(flat(60.0), due_k / 4.8) == found
    assert story.which == ("G09" if found else "")


def test_a_weak_heater_is_judged_by_its_rise_as_well() -> None:
    """1.5 K due in 240 s, 3 K in 480: just under a quarter of that seen trips, just over does not."""
    for share, found in ((0.24, 580.0), (0.26, None)):
        assert Story().go(rising(50.0, share * 1.5 / 4.0), 1.5 / 4.8, 1500.0) == found


@pytest.mark.parametrize(("loss_w_per_k", "an_hour"), [(0.0, 0.15), (2.0, 0.15), (4.0, 0.2448), (50.0, 0.35)])
def test_loss_is_taken_pessimistically(loss_w_per_k: float, an_hour: float) -> None:
    """1.7 times the plate's loss is taken off what is due, but 15 to 35 % an hour of the difference to the room."""
    lossy = JACKET.model_copy(update={"room_c": 0.0, "loss_w_per_k": loss_w_per_k})
    loss_k = an_hour / 3600.0 * 60.0 * 240.0
    for spare, trips in ((0.02, True), (-0.02, False)):
        found = Story(lossy, judged=True).go(flat(60.0), (2.0 + loss_k + spare) / 4.8, 570.0)
        assert (found is not None) is trips


@pytest.mark.parametrize(
    ("target_c", "duty", "found"),
    [(61.0, 0.70, 340.0), (60.9, 0.73, 340.0), (60.9, 0.69, None), (60.9, 0.96, 340.0), (None, 0.69, None)],
)
def test_a_mash_kept_at_its_target_is_judged_mildly(target_c: float | None, duty: float, found: float | None) -> None:
    """Within 1 K of its target and by less than full heat a mash is kept: 35 % an hour may be lost, lid off, and only
    the window itself judges. 60 K over the room 1.4 K of 240 s are lost then, 0.6 K otherwise."""
    lossless = JACKET.model_copy(update={"room_c": 0.0})
    target = Target("hold", target_c, 0.02, 1, CAPACITY)
    story = Story(lossless, judged=True, target=target, setpoint_c=None)
    assert story.go(flat(60.0), duty, 1500.0) == found


def test_a_mash_at_its_target_with_full_heat_is_no_kept_one() -> None:
    """0.5 K short at full heat of a weak heater, 0.8 K due in 240 s: seen by three windows."""
    weak = Story(judged=True, target=Target("hold", 60.5, 0.02, 1, 6.0 * CAPACITY), capacity_j_per_k=6.0 * CAPACITY)
    assert weak.go(flat(60.0), 1.0, 1500.0) == 820.0
    assert weak.which == "G09"


@pytest.mark.parametrize("doubt_every", [1, 3, 20])
def test_a_doubtful_reading_forgets_nothing(doubt_every: int) -> None:
    """One refused or lost sample now and then, or always: missing heat is seen as soon as without it."""
    story, found = Story(), None
    while found is None and story.now < 1000.0:
        doubtful = round(story.now / 10.0) % doubt_every == 0
        found = story.line(60.0, 1.0, seen=SEEN._replace(value_c=60.0, doubtful=doubtful))
    assert (story.which, story.now) == ("G09", 340.0)


@pytest.mark.parametrize(("behind", "step_k", "moves"), [
    (False, 3.0, False), (False, 3.125, True), (False, -3.125, True), (True, 8.0, False), (True, 8.125, True),
])  # fmt: skip
def test_another_level_moves_the_history(behind: bool, step_k: float, moves: bool) -> None:
    """More than 2 K and a tenth of a kelvin a second from the line before is another level; behind the heater 5 K more
    may come from the heat. Lines, the ledger's base and the reading at full heat move with it; heat and times stay."""
    mash = JACKET.probes.mash.model_copy(update={"behind_heater": behind})
    which = JACKET.model_copy(update={"probes": JACKET.probes.model_copy(update={"mash": mash})})
    story = Story(which, calibrated=True, judged=True)
    story.go(lambda at: 55.0 + at / 20.0, 1.0, 100.0)
    before = story.past
    story.line(60.0 + step_k, 1.0)
    by_k = step_k if moves else 0.0
    after = story.past
    was = [line.temperature_c + by_k for line in before.lines]
    assert [line.temperature_c for line in after.lines] == [*was, 60.0 + step_k]
    assert [(line.at, line.energy_j) for line in after.lines[:-1]] == [
        (line.at, line.energy_j) for line in before.lines
    ]
    assert after.ledger_base is not None
    assert after.ledger_base.temperature_c == 55.5 + by_k
    assert (after.full_c, after.full_since) == (55.5 + by_k, before.full_since)


def fall(k: float, over_s: float = 60.0) -> Course:
    """At 60 °C for 200 s, then so many kelvins down at an even rate."""
    return lambda at: 60.0 - k * min(max(at - 200.0, 0.0) / over_s, 1.0)


@pytest.mark.parametrize(
    ("course", "duty", "found"),
    [
        (fall(5.125), 0.3, 260.0),
        (fall(4.875), 0.3, None),
        (fall(5.125, 80.0), 0.3, None),  # too slow: 3.8 K in a minute
        (fall(30.0), 0.3, 220.0),  # 5 K a line: history moves with it, and the moves count
        (fall(4.0, 10.0), 0.3, None),  # liquor poured in without a word
        (fall(12.0), 0.0, None),  # with the heater off: G04 and the evidence look at that
        (fall(12.0), lambda at: 0.3 if at <= 50.0 or 220.0 < at <= 230.0 else 0.0, 260.0),
        (fall(12.0), lambda at: 0.0 if at <= 250.0 else 0.3, None),  # heat began while it fell
    ],
)
def test_a_probe_that_slips_out(course: Course, duty: Course | float, found: float | None) -> None:
    """More than 5 K down in a minute with heat on all the while is no mash: seen at once."""
    story = Story(judged=True)
    assert story.go(course, duty, 320.0) == found
    if found is not None and story.finding is not None:
        assert story.which == "G09"
        assert story.finding.says.format(value=story.finding.value, limit=story.finding.limit).startswith(
            "The reading fe"
        )


def test_moves_older_than_a_minute_do_not_count() -> None:
    """4 K down at once, and 4 K more 60 s later, is not 8 K in a minute; 50 s later it is."""
    for apart_s, found in ((60.0, None), (50.0, 260.0)):
        steps: Course = lambda at, apart_s=apart_s: 60.0 - 4.0 * (at > 200.0) - 4.0 * (at > 200.0 + apart_s)  # type: ignore[misc]  # noqa: E731
        assert Story(judged=True).go(steps, 0.3, 320.0) == found


def test_behind_the_heater_a_reading_may_fall_with_the_heat() -> None:
    """Up to 5 K more: 9.5 K down in a minute is nothing there, 10.5 is."""
    mash = JACKET.probes.mash.model_copy(update={"behind_heater": True})
    behind = JACKET.model_copy(update={"probes": JACKET.probes.model_copy(update={"mash": mash})})
    for k, found in ((9.5, None), (10.5, 260.0)):
        assert Story(behind, judged=True).go(fall(k), 0.3, 300.0) == found


@pytest.mark.parametrize("state", [S.HELD, S.RESTARTING])
def test_a_fall_is_nothing_without_a_run(state: RunState) -> None:
    """Held or restarting the line may cool."""
    assert Story(judged=True).go(fall(30.0), 0.3, 320.0, state=state) is None


def test_a_capped_heater_at_its_cap_is_at_full_heat() -> None:
    """With a duty cap of 0.6, 0.58 is full heat and 0.56 is not; the rise that is due is that of the cap."""
    capped = JACKET.model_copy(update={"heater": JACKET.heater.model_copy(update={"duty_cap": 0.6})})
    full = 0.6 * 1.2
    for duty, rises, trips in ((0.58, 0.45 * full, True), (0.56, 0.45 * full, False), (0.58, 0.51 * full, False)):
        story = Story(capped, judged=True)
        assert (story.go(rising(50.0, rises), duty, 1200.0) is not None) is trips
        assert story.which == ("G11" if trips else "")


def test_what_was_before_the_first_heat_says_nothing() -> None:
    """Filled with cold liquor, 12 K in a minute, just before the start: the fall is not held against the heat."""
    story = Story()
    story.go(lambda at: 60.0 - max(at - 240.0, 0.0) / 5.0, 0.0, 300.0)
    assert len(story.past.lines) == 30
    assert story.go(rising(48.0, 1.0), 1.0, 1000.0) is None


def test_no_loss_to_a_warmer_room() -> None:
    """A room warmer than the mash gives it nothing."""
    warm = JACKET.model_copy(update={"room_c": 80.0})
    assert Story(warm).go(flat(60.0), 2.05 / 4.8, 570.0) is not None
    assert Story(warm).go(flat(60.0), 1.95 / 4.8, 570.0) is None


def test_heat_may_come_at_once_or_late() -> None:
    """A rise of three minutes shows at once or a minute late: neither is taken for missing heat afterwards."""
    rise = 180.0 * 1.2 / 60.0
    for late in (0.0, 30.0, 60.0):
        story = Story()
        found = story.go(
            lambda at, late=late: 60.0 + min(rise, max(0.0, at - 600.0 - late) * 0.02),  # type: ignore[misc]
            lambda at: 1.0 if 600.0 < at <= 780.0 else 0.0,
            1500.0,
        )
        assert found is None, late


def test_persistence_begins_anew() -> None:
    """A single line with a rise in between, and the count of verdicts starts again."""
    story = Story()
    for _ in range(33):
        story.line(60.0, 1.0)
    assert story.past.no_heat == 3
    assert story.line(62.0, 1.0) is None
    assert story.past.no_heat == 0


def test_no_heat_is_for_runs_only() -> None:
    """Held or idle, heat is not asked for and nothing is due; what had been counted is forgotten."""
    story = Story()
    story.go(flat(60.0), 1.0, 330.0)
    assert story.past.no_heat == 3
    story.line(60.0, 1.0, state=S.HELD)
    assert story.past.no_heat == 0
    assert Story(state=S.HELD).go(flat(60.0), 1.0, 800.0) is None


def test_a_coil_has_time() -> None:
    """The liquor round a coil holds heat back: five minutes more."""
    coil = JACKET.model_copy(update={"heater": JACKET.heater.model_copy(update={"place": "coil"})})
    assert Story(coil).go(flat(60.0), 1.0) == 640.0


def bathed(litres: float, place: Literal["jacket", "coil"] = "coil") -> Tun:
    heater = JACKET.heater.model_copy(update={"place": place, "bath_l": litres})
    return JACKET.model_copy(update={"heater": heater})


@pytest.mark.parametrize(("which", "found"), [
    (bathed(2.0), 640.0), (bathed(10.0), 760.0), (bathed(10.0, "jacket"), 760.0), (bathed(29.0), 1540.0),
    (bathed(90.0), 1540.0),
])  # fmt: skip
def test_liquor_that_the_file_names_holds_heat_back(which: Tun, found: float) -> None:
    """As much as 20 K over the wort at full power store: 4,186 J/K a litre times 20 K over 2 kW, 419 s for ten litres;
    a coil never less than its five minutes, and nothing more than 1,200 s, so that history reaches."""
    assert Story(which).go(flat(60.0), 1.0) == found


def test_a_coil_in_liquor_that_the_file_names_must_keep_up_as_any_heater() -> None:
    """Its liquor is in the heat capacity, so half of the rise is due as elsewhere, not 0.3 of it."""
    for share, which in ((0.4, "G11"), (0.55, "")):
        story = Story(bathed(10.0), judged=True)
        story.go(rising(20.0, 1.2 * share), 1.0, 3500.0)
        assert story.which == which


def test_a_slow_rise_in_idle_with_a_bath() -> None:
    """A full tun and its bath may warm so slowly; half of that rate is the least that looks like the heater."""
    full = water.J_PER_L_K * JACKET.volume_l + JACKET.metal_j_per_k
    for bath_l, trips in ((0.0, False), (100.0, True)):
        rate = 60.0 * 0.45 * 10_000.0 / full
        story = Story(bathed(bath_l, "jacket"), state=S.IDLE, setpoint_c=None, power_w=10_000.0)
        assert (story.go(rising(40.0, rate), 0.0, 4000.0) is not None) is trips, bath_l


def test_limits_of_the_file_count() -> None:
    """A shorter window and another dead time move the moment."""
    limits = JACKET.guard.model_copy(update={"no_heat_window_s": 180.0, "dead_time_s": 0.0})
    quick = JACKET.model_copy(update={"guard": limits})
    assert Story(quick).go(flat(60.0), 1.0) == 10.0 + 180.0 + 30.0


# ---------------------------------------------------------------- G10


def test_unasked_rise_after_a_long_off() -> None:
    """Off for 330 s and the dead time, then 0.8 K in three minutes; 0.7 K is nothing."""
    story = Story(setpoint_c=None)
    assert story.go(rising(60.0, 0.8 / 3.0 + 1e-6), 0.0) == 400.0
    assert story.which == "G10"
    assert Story(setpoint_c=None).go(rising(60.0, 0.7 / 3.0), 0.0, 1500.0) is None


def test_heat_begins_the_quiet_anew() -> None:
    """One line of heat and the wait starts again."""
    story = Story(setpoint_c=None)
    assert story.go(rising(50.0, 0.5), lambda at: 0.01 if at == 300.0 else 0.0) == 700.0


def test_far_over_the_setpoint_and_rising() -> None:
    """3 K over for 90 s, rising faster than 0.1 K a minute, off for 90 s; less of any of these does nothing."""
    story = Story(setpoint_c=60.0)
    assert story.go(rising(63.05, 0.2), 0.0) == 90.0 + 90.0
    assert story.finding is not None
    assert (story.finding.id, story.finding.limit) == ("G10", 3.0)
    assert story.finding.value == pytest.approx(63.05 + 0.6 - 60.0)
    assert Story(setpoint_c=60.0).go(rising(63.05, 0.09), 0.0, 1500.0) is None
    assert Story(setpoint_c=70.0).go(rising(63.05, 0.2), 0.0, 1500.0) is None
    assert Story(setpoint_c=None).go(rising(63.05, 0.2), 0.0, 1500.0) is None
    assert Story(setpoint_c=60.0).go(rising(63.05, 0.2), 0.1, 1500.0) is None


def test_hot_liquor_that_still_mixes_may_lie_twice_as_far_over_the_setpoint() -> None:
    """Within 600 s of an addition 6 K are the limit; after them it is 3 K again, and what rises then is found."""
    story = Story(setpoint_c=60.0)
    story.line(60.0, 0.0, target=Target("blocked", 63.0, 0.02, 1, CAPACITY))
    assert story.go(rising(63.5, 0.2), 0.0, 600.0) is None
    assert story.past.over == 0
    assert story.go(rising(65.55, 0.2), 0.0) == 90.0
    assert story.finding is not None and story.finding.limit == 3.0
    hotter = Story(setpoint_c=60.0)
    hotter.line(60.0, 0.0, target=Target("blocked", 63.0, 0.02, 1, CAPACITY))
    assert hotter.go(rising(66.2, 0.2), 0.0, 600.0) == 90.0 - 10.0 + 90.0  # off since the line before
    assert hotter.finding is not None and hotter.finding.limit == 6.0


def test_a_coil_warms_the_mash_for_longer_after_it_is_off() -> None:
    """330 s, the dead time and twice the coil's 300 s, then 0.8 K in three minutes is nobody's heat."""
    coil = JACKET.model_copy(update={"heater": JACKET.heater.model_copy(update={"place": "coil"})})
    assert Story(coil, setpoint_c=None).go(rising(50.0, 0.5), 0.0, 2000.0) == 1000.0


def test_over_the_setpoint_starts_anew() -> None:
    """A line that does not rise starts the count again."""
    story = Story(setpoint_c=60.0)
    for at in range(15):
        story.line(63.05 + 0.05 * at, 0.0)
    assert story.past.over > 0
    story.line(63.4, 0.0)
    assert story.past.over == 0


def test_idle_alarm_and_latch() -> None:
    """With nothing running a steady rise at the heater's own rate latches; a slope too fast or too slow only alarms."""
    own = POWER / (JACKET.min_liquor_l * water.J_PER_L_K + JACKET.metal_j_per_k) * 60.0  # K/min at the least content
    least = POWER / (JACKET.volume_l * water.J_PER_L_K + JACKET.metal_j_per_k) * 60.0
    for rate, latches in ((1.4 * own, True), (1.6 * own, False), (0.52 * least, False), (0.9 * own, True)):
        story = Story(state=S.IDLE)
        assert (story.go(rising(20.0, rate), 0.0, 900.0) is not None) is latches, rate
        assert story.past.idle_alarm is (rate >= 0.8 / 3.0), rate


@pytest.mark.parametrize(("share", "latches"), [(0.48, False), (0.52, True)])
def test_idle_latches_nothing_slower_than_a_full_tun(share: float, latches: bool) -> None:
    """Half the rate of the fullest tun still counts as the heater's; a slower rise only alarms."""
    least = 4000.0 / (JACKET.volume_l * water.J_PER_L_K + JACKET.metal_j_per_k) * 60.0
    story = Story(state=S.IDLE, power_w=4000.0)
    assert (story.go(rising(20.0, share * least), 0.0, 900.0) is not None) is latches
    assert story.past.idle_alarm


def test_idle_alarm_begins_at_its_limit() -> None:
    """0.8 K in three minutes, as a mean of five; the finding says so. A standing reading is no rise."""
    story = Story(state=S.IDLE)
    story.go(rising(20.0, 0.79 / 3.0), 0.0, 900.0)
    assert not story.past.idle_alarm
    story = Story(state=S.IDLE, power_w=4000.0)
    assert story.go(rising(20.0, 1.2), 0.0, 900.0) is not None
    assert story.finding is not None
    assert story.finding.value == pytest.approx(3.6)


def test_idle_is_quiet_for_what_is_no_steady_rise() -> None:
    """A step, a fall in between, checking, or heat shortly before: no alarm."""
    assert Story(state=S.CHECKING).go(rising(20.0, 1.0), 0.0, 900.0) is None
    step = Story(state=S.IDLE)
    assert step.go(lambda at: 20.0 if at < 500.0 else 50.0, 0.0, 900.0) is None
    assert not step.past.idle_alarm
    shaky = Story(state=S.IDLE)
    assert shaky.go(lambda at: 20.0 + at / 60.0 - (2.0 if at % 100.0 == 0.0 else 0.0), 0.0, 900.0) is None
    assert not shaky.past.idle_alarm
    early = Story(state=S.IDLE)
    early.go(rising(20.0, 1.0), 0.0, 380.0)
    assert not early.past.idle_alarm
    early.line(20.0 + 390.0 / 60.0, 0.0)
    assert not early.past.idle_alarm
    assert early.line(20.0 + 400.0 / 60.0, 0.0) is not None
    assert early.past.idle_alarm


@pytest.mark.parametrize(("k_per_min", "latches"), [(3.9, True), (4.1, False)])
def test_idle_latches_no_steep_rise(k_per_min: float, latches: bool) -> None:
    """More than 2 K in thirty seconds is a hose, not a heater, however strong the plate says that it is."""
    strong = JACKET.model_copy(update={"min_liquor_l": 1.0, "metal_j_per_k": 10.0})
    story = Story(strong, state=S.IDLE, power_w=10_000.0)
    assert (story.go(rising(0.0, k_per_min), 0.0, 600.0) is not None) is latches
    assert story.past.idle_alarm


# ---------------------------------------------------------------- G11


@pytest.mark.parametrize(("share", "trips"), [(0.46, True), (0.48, False)])
def test_cannot_keep_up(share: float, trips: bool) -> None:
    """900 s at full heat after 60 s of dead time, over 4 K short, less than half of what the plate allows in 900 s,
    that is 0.47 of the full rise over 960 s."""
    story = Story(judged=True)
    found = story.go(rising(30.0, 1.2 * share), 0.95, 1500.0)
    assert (found == 970.0 and story.which == "G11") is trips


def test_keeping_up_is_asked_of_runs_that_are_short_only() -> None:
    """Within 4 K of the target, without a target, when held, below 0.95: nothing."""
    slow = rising(60.0, 0.5)

    def found(duty: float = 1.0, **changes: Any) -> float | None:
        return Story(judged=True, **changes).go(slow, duty, 1000.0)

    assert found(target=Target("hold", 71.5, 0.02, 1, CAPACITY)) is None
    assert found(target=Target("hold", 72.5, 0.02, 1, CAPACITY)) == 970.0
    assert found(target=Target("hold", None, 0.02, 1, CAPACITY)) is None
    assert found(state=S.HELD) is None
    assert found(0.94) is None


@pytest.mark.parametrize("pause", [0.9, 0.0])
def test_full_heat_must_last(pause: float) -> None:
    """A line below 0.95 or an OFF: the quarter of an hour begins anew."""
    story = Story(judged=True)
    assert story.go(rising(40.0, 0.5), lambda at: pause if at == 500.0 else 1.0) == 1470.0


def test_full_heat_needs_a_reading() -> None:
    """Without one the time does not begin, and what had begun is forgotten."""
    story = Story(judged=True)
    story.go(rising(40.0, 0.5), 1.0, 500.0)
    assert story.past.full_since == 10.0
    assert story.past.full_c == pytest.approx(40.0 + 0.5 / 6.0)
    senses = story.senses(None)
    assert physics.record(story.past, senses, 1.0).full_since is None
    assert physics.record(Past(), senses, 1.0).full_since is None
    assert physics.record(Past(), senses, 0.5).full_since is None


@pytest.mark.parametrize(("loss_w_per_k", "found"), [(0.0, 970.0), (20.0, None), (300.0, None)])
def test_what_the_plate_allows_is_net_of_loss(loss_w_per_k: float, found: float | None) -> None:
    """0.4 of the full rise is missed where nothing is lost, not where 40 percent are, nor where more than all is."""
    weak = JACKET.model_copy(update={"loss_w_per_k": loss_w_per_k, "room_c": 0.0})
    assert (
        Story(weak, judged=True, target=Target("hold", 78.0, 0.02, 1, CAPACITY)).go(
            rising(40.0, 1.2 * 0.4), 1.0, 1200.0
        )
        == found
    )


# ---------------------------------------------------------------- G25


def fits(rate_share: float, which: Tun = JACKET, **changes: Any) -> tuple[float | None, Story]:
    story = Story(which, **changes)
    return story.go(rising(40.0, 1.2 * rate_share), 1.0, 890.0), story


@pytest.mark.parametrize(("share", "found"), [(0.49, 0.5), (0.51, None), (1.0, None), (1.59, None), (1.61, 1.6)])
def test_warming_that_does_not_fit(share: float, found: float | None) -> None:
    """Under half and over 1.6 of what is due, judged after lag and window; between it fits."""
    at, story = fits(share)
    lag = 60.0 + 3.0 * JACKET.probes.mash.lag_s
    if found is None:
        assert at is None
        assert story.past.fitted == (round(CAPACITY),)
    else:
        assert (at, story.which) == (10.0 + lag + 300.0, "G25")
        assert story.finding is not None
        assert story.finding.value == pytest.approx(share, abs=0.001)
        assert story.finding.limit == found


def test_judged_once_for_each_content() -> None:
    """What was judged stays judged, another content is judged anew, and hardly any rise is left to G09."""
    _, story = fits(1.0)
    assert story.go(rising(57.8, 2.4), 1.0, 300.0) is None
    assert story.line(69.8 + 0.4, 1.0, capacity_j_per_k=0.5 * CAPACITY) is None
    assert story.past.fitted == (100_000, 50_000)
    _, story = fits(1.0)
    finding = story.line(57.8 + 0.2, 1.0, capacity_j_per_k=2.0 * CAPACITY)
    assert finding is not None
    assert finding.id == "G25"
    assert finding.value == pytest.approx(2.0)
    _, story = fits(0.24)
    assert story.which != "G25"
    assert story.past.fitted == ()


def test_fit_needs_enough_heat_and_a_run() -> None:
    """Below 2 K of rise due in the window nothing is judged; nor when held."""
    little = Story()
    assert little.go(rising(40.0, 3.0), 1.9 / 6.0, 890.0) is None
    assert little.past.fitted == ()
    enough = Story()
    assert enough.go(rising(40.0, 3.0), 2.1 / 6.0, 890.0) is not None
    assert Story(state=S.HELD, setpoint_c=None).go(rising(40.0, 3.0), 1.0, 890.0) is None


def test_fit_takes_the_loss_off() -> None:
    """The plate's loss over the window is taken from what is due."""
    lossy = JACKET.model_copy(update={"loss_w_per_k": 20.0, "room_c": 0.0})  # some 45 °C: 900 W of 2,000
    assert fits(0.6, lossy)[0] is None
    at, story = fits(1.0, lossy)
    assert (at, story.which) == (400.0, "G25")


def test_the_foot_of_a_ramp_is_no_misfit() -> None:
    """A little heat for long, then full heat: the rise of the last minutes is held against the last minutes' heat."""
    story = Story()
    found = story.go(lambda at: 60.0 + max(0.0, at - 630.0) * 0.02, lambda at: 0.01 if at <= 600.0 else 1.0, 1500.0)
    assert found is None
    assert story.past.fitted == (round(CAPACITY),)


def test_behind_the_heater_only_even_heat_is_judged() -> None:
    """A probe in the warm stream reads higher at once as heat goes up: not judged too fast before the ramp is even."""
    behind = JACKET.model_copy(
        update={
            "probes": JACKET.probes.model_copy(
                update={"mash": JACKET.probes.mash.model_copy(update={"behind_heater": True})}
            )
        }
    )
    heat: Course = lambda at: 0.01 if at <= 600.0 else 1.0  # noqa: E731
    value: Course = lambda at: 60.0 + min(max(at - 600.0, 0.0) * 0.05, 5.0) + max(at - 600.0, 0.0) * 0.02  # noqa: E731
    assert Story(behind).go(value, heat, 890.0) is None
    assert Story().go(value, heat, 890.0) is not None
    assert fits(1.61, behind)[0] == 400.0
    falling: Course = lambda at: 1.0 if at <= 360.0 else 0.3  # noqa: E731
    cooler: Course = lambda at: 60.0 + at * 0.02 - min(max(at - 360.0, 0.0) * 0.17, 3.4)  # noqa: E731
    assert Story(behind, target=Target("hold", 68.0, 0.02, 1, CAPACITY)).go(cooler, falling, 500.0) is None
    assert Story(target=Target("hold", 68.0, 0.02, 1, CAPACITY)).go(cooler, falling, 500.0) == 400.0


@pytest.mark.parametrize(("moved", "even"), [(0.09, True), (0.11, False), (-0.09, True), (-0.11, False)])
def test_even_heat(moved: float, even: bool) -> None:
    """The last minute's mean duty within a tenth of that of the minute before the window; no history, not even."""
    story = Story(state=S.HELD, setpoint_c=None)
    for at in range(60):
        story.line(60.0, 0.5 if at < 54 else 0.5 + moved)
    assert physics._even(story.past, POWER) is even
    short = story.past._replace(lines=story.past.lines[-36:])
    assert not physics._even(short, POWER)
    assert physics._even(story.past._replace(lines=story.past.lines[-37:]), POWER) is even


@pytest.mark.parametrize(("moved", "even"), [(0.09, True), (0.11, False), (-0.09, True), (-0.11, False)])
def test_even_in_the_last_seconds(moved: float, even: bool) -> None:
    """Heat that changed only in the last 20 s is no even heat, though the minute's mean has hardly moved; and no more
    is heat that changed in the 20 s before the window."""
    late, early = Story(state=S.HELD, setpoint_c=None), Story(state=S.HELD, setpoint_c=None)
    for at in range(60):
        late.line(60.0, 0.5 + (moved if at >= 58 else 0.0))
        early.line(60.0, 0.5 + (moved if 28 <= at < 30 else 0.0))
    assert physics._even(late.past, POWER) is even
    assert physics._even(early.past, POWER) is even


def test_many_contents_are_remembered() -> None:
    """The last eight contents that were judged, no more."""
    past = Past(fitted=tuple(range(8)))
    assert physics._fitted(past, 99).fitted == (1, 2, 3, 4, 5, 6, 7, 99)


# ---------------------------------------------------------------- G12


def ledger(missing_share: float, most_s: float = 890.0, **changes: Any) -> tuple[float | None, Story]:
    """Some ten kelvins put in, so much of it not seen."""
    story = Story(calibrated=True, judged=True, **changes)
    rate = 1.2 * (1.0 - missing_share)
    value: Course = lambda at: 50.0 + min(at, 510.0) * rate / 60.0  # noqa: E731
    return story.go(value, lambda at: 1.0 if at <= 510.0 else 0.0, most_s), story


def test_ledger_from_both_sides() -> None:
    """Of the 10 K put in after its first line 2 K and 30 percent may be missing, for a minute."""
    at, story = ledger(0.51)
    assert at is not None
    assert story.finding is not None
    assert story.which == "G12"
    assert story.finding.limit == pytest.approx(2.0 + 0.3 * 10.0)
    assert story.finding.value == pytest.approx(5.1)
    assert ledger(0.49)[0] is None


def test_ledger_is_for_measured_tuns() -> None:
    """Without a water run nothing is missed."""
    story = Story(judged=True)
    assert story.go(lambda at: 50.0 + min(at, 500.0) * 0.008, lambda at: 1.0 if at <= 500.0 else 0.0, 890.0) is None


def test_ledger_waits_a_minute() -> None:
    """The sixth line in a row over the limit is the one that trips; one line below starts anew."""
    at, _ = ledger(0.7)
    assert at is not None
    _, before = ledger(0.7, at - 10.0)
    assert before.past.ledger == 5
    before.line(before.past.lines[-1].temperature_c + 2.5, 1.0)
    assert before.past.ledger == 0


def test_ledger_counts_old_heat_only() -> None:
    """Heat younger than dead time and a minute is not missed yet: 90 s of heat are, 120 s later and for a minute."""
    limits = JACKET.guard.model_copy(update={"ledger_k": 1.0})
    story = Story(JACKET.model_copy(update={"guard": limits}), calibrated=True)
    assert story.go(flat(60.0), lambda at: 1.0 if at <= 95.0 else 0.0) == 90.0 + 120.0 + 50.0
    assert story.which == "G12"


@pytest.mark.parametrize(("room_c", "trips"), [(38.0, False), (47.0, True)])
def test_ledger_counts_losses_richly(room_c: float, trips: bool) -> None:
    """Loss counts at 1.7 times the plate's: of 200 W put in 187 W may be lost to a room 22 K cooler, 110 to one 13."""
    lossy = JACKET.model_copy(update={"loss_w_per_k": 5.0, "room_c": room_c})
    story = Story(lossy, calibrated=True, judged=True)
    assert (story.go(flat(60.0), 0.1, 9000.0) is not None) is trips
    assert story.which == ("G12" if trips else "")


def test_ledger_begins_with_a_run() -> None:
    """Held, the ledger starts anew."""
    story = Story(calibrated=True)
    story.go(rising(50.0, 1.2), 1.0, 200.0)
    assert story.past.ledger_base is not None
    assert story.past.ledger_base.at == 10.0
    story.line(54.0, 0.0, state=S.HELD)
    assert story.past.ledger_base.at == 210.0
    assert (story.past.ledger, story.past.ledger_loss_j) == (0, 0.0)


# ---------------------------------------------------------------- history


def test_a_line_every_ten_seconds() -> None:
    """More readings than that are not kept, and no more lines than needed."""
    story = Story()
    story.line(60.0, 0.0)
    story.now += 5.0
    senses = story.senses(61.0)
    past, finding = physics.judge(story.past, senses, False)
    assert (past.lines, finding) == (story.past.lines, None)
    for _ in range(physics.KEEP + 10):
        story.line(60.0, 0.0)
    assert len(story.past.lines) == physics.KEEP
    assert story.past.lines[-1].at - story.past.lines[0].at == 10.0 * (physics.KEEP - 1)


@pytest.mark.parametrize(
    "changes",
    [
        {"target": Target("blocked", 63.0, 0.02, 1, CAPACITY)},
        {"seen": SEEN._replace(value_c=None)},
    ],
)
def test_additions_and_gaps_forget_the_history(changes: dict[str, Any]) -> None:
    """Every window starts anew; what was judged and since when heat is off stays."""
    story = Story()
    story.past = story.past._replace(fitted=(7,))
    story.go(rising(60.0, 0.1), 0.0, 300.0)
    off_since = story.past.off_since
    assert off_since == 10.0
    for _ in range(2):
        assert story.line(60.0, 0.0, **changes) is None
        added = story.now if "target" in changes else None
        assert story.past == Past(fitted=(7,), off_since=off_since, added_at=added)


def test_energy_is_what_was_let_out() -> None:
    """Duty, power and time, a lease at most; heat and OFF each remember since when."""
    senses = Story().senses(60.0)._replace(now=50.0)
    past = physics.record(Past(), senses, 0.5)
    assert (past.energy_j, past.heat_since, past.off_since) == (0.5 * POWER * 10.0, 50.0, None)
    late = physics.record(past, senses._replace(now=90.0, dt=40.0), 0.5)
    assert (late.energy_j, late.heat_since) == (POWER * 10.0, 50.0)
    off = physics.record(late, senses._replace(now=91.0), 0.0)
    assert (off.off_since, off.energy_j) == (91.0, late.energy_j)
    assert physics.record(off, senses._replace(now=95.0), 0.0).off_since == 91.0
    assert physics.record(off, senses._replace(now=96.0), 0.1).off_since is None
