"""How much heat is in the mash that the reading has not shown yet?"""

from __future__ import annotations

from collections.abc import Sequence
from math import exp
from typing import Any

import pytest

from controller.core.guard import plate
from controller.core.guard.heat_account import NEW, HeatAccount, Pulse
from controller.core.nouns import JUMP_RATE_K_PER_S
from controller.settings.tun import Tun
from tests.core.guard.looks import SEEN, S, senses
from tests.core.guard.story import CAPACITY, JACKET, POWER, probed

PER_S = POWER / CAPACITY  # K/s at full heat
STREAM = probed(behind_heater=True).model_copy(update={"flow_l_per_min": 6.0})  # 4.8 K of its own at full heat


def told(
    readings: Sequence[float | None], duty: float | Sequence[float], which: Tun = JACKET, heat: HeatAccount = NEW
) -> HeatAccount:
    """A reading and a duty a second."""
    figures = plate.of(which)
    begun = 0.0 if heat.read_at is None else heat.read_at + 0.5
    for at, value_c in enumerate(readings):
        now = begun + at + 1.0
        seen = SEEN._replace(value_c=value_c, at=now - 0.5, fresh=value_c is not None)
        tick = senses(tun=which, now=now, dt=1.0, seen=seen, capacity_j_per_k=CAPACITY)
        heat = heat.follow(tick, duty if isinstance(duty, float) else duty[at], figures)
    return heat


def test_what_is_given_and_does_not_show_is_owed() -> None:
    """100 s of full heat are 2 K; with readings missing as well; a lease is all that a longer tick may give."""
    assert told([60.0] * 100, 1.0).owed_k == pytest.approx(100 * PER_S)
    assert told([60.0, *[None] * 99], 1.0).owed_k == pytest.approx(100 * PER_S)
    late = senses(tun=JACKET, dt=60.0, capacity_j_per_k=CAPACITY)
    assert NEW.follow(late, 1.0, plate.of(JACKET)).owed_k == pytest.approx(10 * PER_S)


def test_the_worst_loss_is_taken_off() -> None:
    """15 % an hour at the least of what the mash is over the room: 0.75 K in an hour at 5 K; never below nothing."""
    owing = HeatAccount(owed_k=1.0, last_c=65.0, read_at=0.0, level_c=65.0, low_c=65.0, low_mash_c=65.0)
    assert told([65.0] * 3600, 0.0, heat=owing).owed_k == pytest.approx(0.25)
    assert told([65.0] * 7200, 0.0, heat=owing).owed_k == 0.0


@pytest.mark.parametrize(("share", "owed"), [(1.0, False), (0.55, False), (0.4, True)])
def test_a_rise_is_credited_twice(share: float, owed: bool) -> None:
    """Twenty minutes of full heat: more than half of it seen leaves no more than what a filter of 15 s is late by."""
    after = told([40.0 + at * PER_S * share for at in range(1200)], 1.0)
    assert (after.owed_k > 1.0) is owed


@pytest.mark.parametrize("noise_k", [0.05, 0.25, 1.0])
def test_noise_earns_nothing(noise_k: float) -> None:
    """A frozen mash whose reading wavers: what is owed grows as without it, but for the first few readings."""
    wavers = [60.0 + noise_k * ((at * 7919) % 11 - 5) / 5.0 for at in range(1800)]
    assert told(wavers, 0.1).owed_k == pytest.approx(180 * PER_S, abs=0.3)


@pytest.mark.parametrize("step_k", [-30.0, -4.0, 4.0, 30.0])
def test_another_level_is_neither_rise_nor_fall(step_k: float) -> None:
    """Faster than a mash may change: what was owed stays owed, and what was credited is not credited again."""
    before = told([60.0] * 100, 1.0)
    assert told([60.0 + step_k] * 100, 0.0, heat=before).owed_k == pytest.approx(before.owed_k, abs=0.2)


COLD = HeatAccount(owed_k=2.0, last_c=0.0, read_at=10.0, level_c=0.0)  # under the room: nothing is lost
MOST_K = JACKET.guard.jump_k + JUMP_RATE_K_PER_S  # a second: more is another level
SHARE = 1.0 - exp(-1.0 / 15.0)


def reading(value_c: float, apart_s: float, heat: HeatAccount = COLD, which: Tun = JACKET) -> HeatAccount:
    """One reading so long after the last, without heat."""
    seen = SEEN._replace(value_c=value_c, at=10.0 + apart_s)
    tick = senses(tun=which, now=11.0 + apart_s, dt=1.0, seen=seen, capacity_j_per_k=CAPACITY)
    return heat.follow(tick, 0.0, plate.of(which))


@pytest.mark.parametrize(
    ("value_c", "apart_s", "before", "level_c", "credited_k", "step_k"),
    [
        (1.0, 10.0, COLD, 0.3, 0.2, 0.0),  # no reading counts for more than 0.3, and 0.1 K are no rise
        (1.0, 5.0, COLD, 1.0 - exp(-5.0 / 15.0), 0.9 - exp(-5.0 / 15.0), 0.05),
        (1.0, 5.5, COLD, 0.3, 0.2, 0.0),  # so far apart they say nothing of noise
        (0.5, 1.0, COLD, 0.5 * SHARE, 0.0, 0.025),
        (MOST_K, 1.0, COLD, MOST_K * SHARE, MOST_K * SHARE - 0.1, 0.05 * MOST_K),
        (MOST_K + 0.01, 1.0, COLD, MOST_K + 0.01, 0.0, 0.0),  # another level: all is moved, none is credited
        (-1.0, 10.0, COLD, -0.3, 0.0, 0.0),
        (1.0, 10.0, COLD._replace(step_k=0.2), 0.3, 0.3 - 0.886 * 0.2, 0.2),  # beyond the noise
    ],
)
def test_what_one_reading_does(
    value_c: float, apart_s: float, before: HeatAccount, level_c: float, credited_k: float, step_k: float
) -> None:
    """The filtered reading, its lowest since a credit, the noise, and off what is owed twice what is credited."""
    low_c = credited_k if credited_k > 0.0 else value_c if value_c > MOST_K else min(0.0, level_c)
    after = reading(value_c, apart_s, before)
    assert (after.last_c, after.read_at) == (value_c, 10.0 + apart_s)
    assert after.level_c == pytest.approx(level_c)
    assert (after.low_c, after.low_mash_c) == pytest.approx((low_c, low_c))
    assert after.step_k == pytest.approx(step_k)
    assert after.owed_k == pytest.approx(2.0 - 2.0 * credited_k)


def test_behind_the_heater_both_must_have_risen() -> None:
    """A reading with all of its own rise in it shows no mash that has risen; its jump may be 5 K larger."""
    warm = COLD._replace(own_k=4.0, low_mash_c=-4.0)
    assert reading(MOST_K + 4.9, 1.0, warm, STREAM).level_c == pytest.approx((MOST_K + 4.9) * SHARE)
    assert reading(MOST_K + 5.1, 1.0, warm, STREAM).level_c == pytest.approx(MOST_K + 5.1)
    first = HeatAccount(own_k=4.0).follow(
        senses(tun=STREAM, dt=1.0, seen=SEEN._replace(value_c=0.0)), 0.5, plate.of(STREAM)
    )
    own_k = 4.0 + (0.5 * plate.of(STREAM).own_rise_k - 4.0) * SHARE
    assert (first.own_k, first.low_c, first.low_mash_c) == pytest.approx((own_k, 0.0, -own_k))


def test_what_is_known_at_first() -> None:
    """Nothing is owed, no reading was there, no pulse is on; the first reading is level and lowest, noise is none."""
    assert tuple(NEW) == (0.0, None, None, None, 0.0, 0.0, 0.0, 0.0, 0.0, None, 0.0)
    assert tuple(Pulse()) == (None, 0.0, 0.0, None)
    first = told([60.0], 0.0)
    assert first == HeatAccount(last_c=60.0, read_at=0.5, level_c=60.0, low_c=60.0, low_mash_c=60.0)


def test_a_rise_within_a_gap_counts() -> None:
    """1 K over a minute without readings is one: the probe lives."""
    before = told([60.0] * 100, 1.0)
    after = told([None] * 60 + [61.0] * 60, 0.0, heat=before)
    assert after.owed_k == pytest.approx(before.owed_k - 2.0 * (1.0 - 0.1), abs=0.05)


def test_a_frozen_probe_behind_the_heater_earns_nothing_by_pulses() -> None:
    """A minute of full heat, a minute without: what the heater adds there is no rise of the mash, nor is its end."""
    pulses = [1.0 if at // 60 % 2 == 0 else 0.0 for at in range(1200)]
    assert told([60.0] * 1200, pulses, STREAM).owed_k == pytest.approx(600 * PER_S)
    own = plate.of(STREAM).own_rise_k
    lives = [60.0 + own * duty for duty in pulses]  # and no heat gets into the mash
    assert told(lives, pulses, STREAM).owed_k > 0.7 * 600 * PER_S


def test_a_mash_that_follows_owes_little_behind_the_heater() -> None:
    """The reading is over the mash by what the heater adds, and both rise."""
    rises = [40.0 + 4.8 + at * PER_S for at in range(1200)]
    assert told(rises, 1.0, STREAM).owed_k < 1.5


# ---------------------------------------------------------------- how hot it may be, and one pulse


def test_how_hot_the_mash_may_be() -> None:
    """The reading, less what the heater itself adds there, and what is owed, before a clear as well."""
    account = HeatAccount(owed_k=2.0, last_c=70.0, own_k=1.5)
    assert account.hottest_c == 70.5
    assert account._replace(pulse=Pulse(before_k=3.0)).hottest_c == 73.5
    assert NEW.hottest_c is None


def test_a_pulse_and_what_it_shows() -> None:
    """1.5 K and it is out; half of it must show, and then the account is even; a clear keeps in mind what was owed."""
    trial = HeatAccount(owed_k=4.0).on_trial()
    assert (trial.owed_k, trial.pulse) == (0.0, Pulse(before_k=4.0))
    assert trial.on_trial().pulse == Pulse(before_k=4.0)
    short = told([60.0] * 74, 1.0, heat=trial)
    assert short.pulse is not None and short.pulse.given_at is None
    out = told([60.0] * 76, 1.0, heat=trial)
    assert out.pulse is not None and out.pulse.given_at is not None
    shown = told([60.0 + 0.05 * at for at in range(60)], 0.0, heat=out)
    assert (shown.owed_k, shown.pulse) == (0.0, None)


def test_the_ends_of_a_pulse() -> None:
    """Just 1.5 K owed and it is out, just half of it shown and the account is even; what was owed before goes as the
    worst loss takes it, down to nothing."""
    just = COLD._replace(owed_k=1.5, pulse=Pulse())
    assert reading(0.0, 1.0, just).pulse == Pulse(given_at=12.0)
    shown = reading(0.0, 1.0, just._replace(pulse=Pulse(given_at=5.0, shown_k=0.75), vain_k=1.0))
    assert (shown.owed_k, shown.pulse, shown.vain_k) == (0.0, None, 0.0)
    hour = told([80.0] * 3600, 0.0, heat=HeatAccount(pulse=Pulse(before_k=12.0)))
    assert hour.pulse is not None
    assert hour.pulse.before_k == pytest.approx(12.0 - 0.15 * (80.0 - plate.of(JACKET).room_c), abs=0.01)
    assert told([80.0] * 5400, 0.0, heat=HeatAccount(pulse=Pulse(before_k=4.0))).pulse == Pulse(before_k=0.0)


def test_a_reading_that_falls_under_a_pulse() -> None:
    """Counted from its first heat on, the worst loss taken off; before that heat nothing counts."""
    waits = told([82.0, *[80.0] * 200], 0.0, heat=HeatAccount().on_trial())
    assert (waits.fell_k, NEW.fell_k) == (0.0, 0.0)
    assert told([80.0] * 600, [1.0, *[0.0] * 599], heat=waits).fell_k == 0.0
    falls = told([80.0 - 0.01 * at for at in range(600)], [1.0, *[0.0] * 599], heat=waits)
    assert falls.level_c is not None
    lost_k = 600 * 0.15 * (77.0 - plate.of(JACKET).room_c) / 3600.0
    assert falls.fell_k == pytest.approx(80.0 - lost_k - falls.level_c, abs=0.01)
    assert falls.fell_k > 5.0


def test_a_pulse_in_vain_is_owed_until_the_worst_loss_has_taken_it() -> None:
    """Cleared again, with the panel's figure for a hand's, 1.5 K go as they would by the worst loss; a rise ends it."""
    out = told([80.0] * 80, 1.0, heat=HeatAccount().on_trial())
    again = out.on_trial().measured()
    assert (again.pulse, again.vain_k) == (Pulse(), out.owed_k)
    assert again.on_trial().measured().vain_k == again.vain_k > 1.0
    later = told([80.0] * 900, 0.0, heat=again)
    assert again.vain_k - later.vain_k == pytest.approx(0.15 * (80.0 - plate.of(JACKET).room_c) / 4.0) == 0.75
    assert told([80.0] * 1000, 0.0, heat=later).vain_k == 0.0
    shown = told([80.0 + 0.05 * at for at in range(60)], 0.0, heat=later)
    assert (shown.vain_k, shown.pulse) == (0.0, None)


# ---------------------------------------------------------------- from run to run, from process to process


def test_a_run_begins_with_nothing_owed() -> None:
    """Nobody knows what was filled in; a process that starts counts what was not recorded as given."""
    owing = told([60.0] * 100, 1.0)
    assert owing.next_run() is NEW
    assert NEW.next_run() is NEW
    checking = senses(tun=JACKET, state=S.CHECKING, seen=SEEN._replace(fresh=False), capacity_j_per_k=100.0)
    checked = owing.recalled(10.0).follow(checking, 0.0, plate.of(JACKET))
    assert checked == owing.recalled(10.0)
    back = told([60.0], 0.0, heat=checked)
    assert back.owed_k == pytest.approx(owing.owed_k + 10.0 * PER_S)
    assert told([60.0], 0.0, heat=back).owed_k == pytest.approx(back.owed_k)


def measured(**changes: Any) -> HeatAccount:
    return HeatAccount(owed_k=4.0, **changes).measured()


def test_a_hand_reading_says_where_it_is() -> None:
    """What was owed before is nothing more; a pulse that was due is due all the same."""
    assert measured() == HeatAccount()
    assert measured(pulse=Pulse(given_at=5.0, shown_k=0.1, before_k=3.0)) == HeatAccount(pulse=Pulse(), vain_k=4.0)
