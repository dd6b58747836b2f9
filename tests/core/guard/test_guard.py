"""The guard's interlocks in the closed loop: each fires in time, keeps quiet just under, and gives back as written."""

from __future__ import annotations

import itertools
import math

import pytest

from controller.core import tick
from controller.core.guard import gate as guard
from controller.core.guard.registry import BY_ID, TABLE, Senses
from controller.core.nouns import Bad, Disk, Foreign, HeaterReport, Inputs, Link, Reading, RunState
from controller.settings.guard_limits import table as limits_table
from tests.core.bench import Bench, course, leg, settings

PLAN = course(leg("beta", 63.0, 3600.0), leg("alpha", 72.0, 1200.0), leg("keep", 78.0, 7200.0, kind="keep"), grist_kg=0)


def running(phase: str = "resting", start_c: float = 61.0) -> Bench:
    bench = Bench(settings(), mash_c=start_c)
    bench.until("idle")
    bench.start(PLAN._replace(liquor_capacity_j_per_k=263_900.0))
    bench.until(phase)
    bench.run(30)
    return bench


def tripped(bench: Bench) -> list[str]:
    return [t.id for t in bench.state.guard.trips]


def seconds_until_trip(bench: Bench, which: str, most_s: int) -> int:
    for second in range(1, most_s + 1):
        bench.step()
        if which in tripped(bench):
            assert bench.duty == 0.0
            return second
    raise AssertionError(f"{which} never came; {tripped(bench)}")


def test_the_table_is_whole() -> None:
    """Twenty-six rows with distinct ids, a sentence that takes value and limit, and a limit field that exists."""
    assert [row.id for row in TABLE] == [f"G{n:02d}" for n in range(1, 27)]
    fields = {row.name for row in limits_table()}
    for row in TABLE:
        assert row.field in fields or row.field == "", row
        assert row.says.format(value=1.0, limit=2.0)
        assert row.do.endswith((".", "?", "bug."))


def test_a_healthy_start_lets_heat_out_and_no_sooner() -> None:
    """Ten seconds of checking, a start, then heat on the first tick that all conditions hold."""
    bench = Bench(settings(), mash_c=61.0)
    bench.until("idle")
    assert bench.now >= 10.25
    assert all(out.command is not None and out.command.duty == 0.0 for out in bench.log)
    bench.start(PLAN)
    bench.run(3)
    assert bench.duty > 0.0


def test_gone_reading_cuts_within_ten_seconds_and_returns_by_itself() -> None:
    """G02: heat is off ten seconds after the last reading; the run goes on after a minute with good readings."""
    bench = running("ramping", 55.0)
    assert bench.duty > 0.0
    bench.probe = False
    late = seconds_until_trip(bench, "G02", 12)
    assert late <= 11
    bench.run(5)
    assert bench.state.run.state is RunState.HELD
    bench.probe = True
    cut_at = bench.now
    bench.until("running", 200)
    bench.run(3)
    assert bench.now - cut_at >= 55.0
    assert bench.duty > 0.0
    assert [e.first_out for e in bench.events if e.kind == "trip"] == [True]


def test_gone_for_a_quarter_of_an_hour_waits_for_a_person() -> None:
    """G02 latches after 15 min; readings alone then give nothing back, clear and restart do."""
    bench = running()
    bench.probe = False
    bench.run(930)
    bench.probe = True
    bench.run(300)
    assert bench.state.run.state is RunState.HELD
    bench.order("restart")
    bench.step()
    assert not bench.replies[-1].accepted
    bench.order("clear", trip="G02")
    bench.run(2)
    assert bench.replies[-1].accepted
    bench.run(120)
    assert bench.state.run.state is RunState.HELD, "clear never leads to heat"
    bench.order("restart")
    bench.until("running", 200)


def test_late_reading_does_not_let_duty_rise() -> None:
    """G01: between five and ten seconds of silence the duty may fall but not rise."""
    bench = running("ramping", 55.0)
    bench.probe = False
    duties = []
    for _ in range(9):
        bench.step()
        duties.append(bench.duty)
    after = duties[5:]
    assert all(b <= a + 1e-12 for a, b in itertools.pairwise(after))
    assert "G02" not in tripped(bench)


@pytest.mark.parametrize("value", [-127.0, 150.0, 999.0, math.nan, math.inf, -math.inf])
def test_three_nonsense_readings_cut(value: float) -> None:
    """G03: the third reading in a row that can't be true takes the heat away; two do not."""
    bench = running()
    bench.reading_c = value
    bench.run(2)
    assert "G03" not in tripped(bench)
    bench.step()
    assert "G03" in tripped(bench)
    assert bench.duty == 0.0


def test_garbage_counts_like_nonsense() -> None:
    """Messages that are no readings at all trip G03 as well."""
    bench = running()
    bench.probe = False
    bench.extra = {"mash": (Bad("no number", bench.now), Bad("no number", bench.now), Bad("no number", bench.now))}
    bench.step()
    assert "G03" in tripped(bench)


def test_one_spike_is_shrugged_off() -> None:
    """A single reading 12 K up is refused and trips nothing."""
    bench = running()
    bench.offset_k = 12.0
    bench.step()
    bench.offset_k = 0.0
    bench.run(20)
    assert tripped(bench) == []


def test_jump_up_latches_and_needs_a_person() -> None:
    """G04: readings on a level 8 K up for five seconds cut the heat until somebody has looked."""
    bench = running()
    bench.offset_k = 8.0
    assert seconds_until_trip(bench, "G04", 8) <= 7
    assert bench.state.guard.trips[0].latched


def test_above_program_after_three_readings() -> None:
    """G06: 3.0 K over the highest target that remains, three readings in a row; 2.9 K never."""
    plan = course(leg("only", 63.0, 3600.0), grist_kg=0)
    bench = Bench(settings(), mash_c=62.0)
    bench.until("idle")
    bench.start(plan)
    bench.until("resting")
    bench.mash_c = 64.9
    bench.run(30)
    bench.mash_c = 65.9
    bench.run(20)
    assert "G06" not in tripped(bench)
    bench.mash_c = 66.3
    assert seconds_until_trip(bench, "G06", 5) == 3


def test_hard_limit_cuts_at_once_and_latches_on_the_second_reading() -> None:
    """G07: one raw reading at the limit cuts that tick, two latch; just under does nothing."""
    bench = running()
    bench.reading_c = 79.99
    bench.step()
    assert "G07" not in tripped(bench)
    bench = running()
    bench.reading_c = 80.0
    bench.step()
    assert bench.duty == 0.0
    assert "G07" not in tripped(bench)
    bench.step()
    assert "G07" in tripped(bench)


@pytest.mark.parametrize("value", [85.0])
def test_two_power_on_values_cut_but_do_not_latch(value: float) -> None:
    """The value a sensor gives after power-up cuts the tick and is not taken for a hot mash."""
    bench = running()
    bench.reading_c = value
    bench.run(2)
    assert bench.duty == 0.0
    assert "G07" not in tripped(bench)


def test_hard_limit_is_watched_when_idle() -> None:
    """G07 in idle: latched, and a start is refused."""
    bench = Bench(settings(), mash_c=79.0)
    bench.until("idle")
    bench.mash_c = 80.5
    bench.run(3)
    assert "G07" in tripped(bench)
    bench.start(PLAN)
    bench.step()
    assert not bench.replies[-1].accepted
    assert "G07" in bench.replies[-1].reason


def test_dead_heater_is_noticed() -> None:
    """G09: full heat asked for and no rise trips within 300 s plus the dead time."""
    bench = running("ramping", 45.0)
    bench.works = 0.0
    assert seconds_until_trip(bench, "G09", 400) <= 360 + 10


def test_welded_switch_is_noticed_while_held() -> None:
    """G10: the mash warms although heat is off."""
    bench = running()
    bench.order("hold")
    bench.step()
    bench.stuck_w = 5000.0
    assert seconds_until_trip(bench, "G10", 1200) <= 900


def test_silent_heater() -> None:
    """G14: no answer to our commands for ten seconds."""
    bench = running()
    bench.heater = False
    assert 9 <= seconds_until_trip(bench, "G14", 13) <= 12


def test_heater_that_lies_or_sticks() -> None:
    """G15: reports heat three seconds after being told off; latched."""
    bench = running()
    bench.order("hold")
    bench.lie = 1.0
    assert seconds_until_trip(bench, "G15", 8) <= 5
    assert bench.state.guard.trips[0].latched


def test_late_report_is_no_lie() -> None:
    """A report that still answers an earlier command does not trip G15."""
    bench = running("ramping", 55.0)
    seq = bench.state.guard.seq
    bench.order("hold")
    bench.step()
    for _ in range(6):
        late = HeaterReport(bench.now + 0.9, "b1", 1, seq, 1.0, 4.0)
        bench.extra = {"heater": late}
        bench.step()
    assert "G15" not in tripped(bench)


def test_broker_gone_at_once_and_back() -> None:
    """G16: the lost link trips in the same tick; ten seconds after its return at the earliest heat comes back."""
    bench = running("ramping", 55.0)
    bench.link = False
    bench.step()
    assert "G16" in tripped(bench)
    assert bench.duty == 0.0
    bench.link = True
    bench.until("running", 200)


def test_late_loop() -> None:
    """G17: a tick over two seconds late; 2.0 s exactly is allowed."""
    bench = running()
    bench.extra = {"late_s": 2.0}
    bench.step()
    assert tripped(bench) == []
    bench.extra = {"late_s": 2.1}
    bench.step()
    assert tripped(bench) == ["G17"]


def test_third_interruption_latches() -> None:
    """G24: the third self-clearing trip within half an hour waits for a person who has inspected."""
    bench = running()
    for _ in range(2):
        bench.extra = {"late_s": 3.0}
        bench.step()
        bench.extra = {}
        bench.until("held", 10)
        bench.until("running", 200)
        bench.run(5)
    bench.extra = {"late_s": 3.0}
    bench.step()
    bench.extra = {}
    assert "G24" in tripped(bench)
    bench.run(200)
    bench.order("clear", trip="G24")
    bench.step()
    assert "inspected" in bench.replies[-1].reason


def test_stranger_with_heat_ends_it_for_good() -> None:
    """G19: a foreign command with duty aborts; no order gives heat back in this process."""
    bench = running()
    bench.extra = {"link": Link(True, 0.0, foreign=Foreign(0.5, 1, bench.now))}
    bench.step()
    bench.extra = {}
    assert "G19" in tripped(bench)
    bench.until("aborted", 20)
    bench.order("clear", trip="G19")
    bench.run(100)
    assert not bench.replies[-1].accepted
    assert bench.duty == 0.0


def test_higher_epoch_silences_the_loser() -> None:
    """After a higher owner epoch was seen nothing more is said on the heater's line."""
    bench = running()
    bench.extra = {"epoch_seen": 7}
    bench.run(3)
    assert bench.outcome.command is None


def test_foreign_off_is_noted_only() -> None:
    """Anybody may send OFF: noted, obeyed, no trip."""
    bench = running()
    bench.extra = {"link": Link(True, 0.0, foreign=Foreign(0.0, None, bench.now))}
    bench.step()
    assert tripped(bench) == []
    assert any("OFF" in text for _, text in bench.state.guard.notes)


def test_level_lost_cuts_within_two_seconds() -> None:
    """G13: no liquid over the heater."""
    bench = running()
    bench.level = False
    assert seconds_until_trip(bench, "G13", 3) <= 2


def test_bad_demand_is_replaced_by_off() -> None:
    """G26: a demand that is no number becomes OFF, not full heat."""
    bench = running("ramping", 55.0)
    for duty in (math.nan, math.inf, -0.1, 1.1):
        senses_demand = bench.outcome.demand._replace(duty=duty)
        state = bench.state.guard
        gate = guard.check(state, _senses(bench), senses_demand, False, 10)
        assert gate.command is not None
        assert gate.command.duty == 0.0
        assert "G26" in [t.id for t in gate.state.trips]


def _senses(bench: Bench) -> Senses:
    out, state, inputs = bench.outcome, bench.state, Inputs(link=Link(True, 0.0))
    return tick._senses(
        bench.settings.tun, state, state.run, bench.now, 1.0, inputs, out.seen, None, None, out.target, out.setpoint,
        state.stir_on_s, state.pump_on_s,
    )  # fmt: skip


def test_no_heat_after_a_trip_until_it_is_on_disk() -> None:
    """The record of a trip is durable before any later heat."""
    bench = running("ramping", 55.0)
    bench.extra = {"late_s": 3.0}
    bench.step()
    bench.extra = {"disk": Disk(True, 9, 10)}
    bench.run(200)
    assert bench.duty == 0.0
    bench.extra = {}
    bench.run(30)
    assert bench.duty > 0.0


def test_lease_never_outlives_its_evidence() -> None:
    """validity = min(10 s, 12 s - age of the reading), for every command with power."""
    bench = running("ramping", 50.0)
    bench.probe = False
    for _ in range(9):
        bench.step()
        command = bench.outcome.command
        assert command is not None
        if command.duty > 0.0:
            assert command.reading_age_s is not None
            assert command.valid_s == pytest.approx(min(10.0, 12.0 - command.reading_age_s))


def test_words_name_value_limit_and_deed() -> None:
    """Every trip's sentence has the value, the limit and what to do."""
    bench = running()
    bench.reading_c = 80.5
    bench.run(2)
    trip = next(t for t in bench.state.guard.trips if t.id == "G07")
    assert "80.5" in trip.text
    assert "80" in trip.text
    assert BY_ID["G07"].do in trip.text


def test_samples_between_ticks_are_all_seen() -> None:
    """Two hot readings between two ticks latch although a cool one came last."""
    bench = running()
    now = bench.now + 0.5
    bench.extra = {
        "mash": (Reading(81.0, now, 10_001), Reading(81.0, now + 0.1, 10_002), Reading(63.0, now + 0.2, 10_003)),
    }
    bench.step()
    assert bench.duty == 0.0
    assert "G07" in tripped(bench)


def test_a_mash_that_lies_elsewhere_after_a_clear_is_taken_as_it_is() -> None:
    """The reading at the cut is no measure once a person has cleared: a false low one does not trap the run."""
    bench = running()
    bench.reading_c = 54.0
    bench.run(6)
    bench.level = False
    bench.run(2)
    bench.level, bench.reading_c = True, None
    bench.run(70)
    for trip in bench.state.guard.trips:
        bench.order("clear", trip=trip.id)
    bench.step()
    bench.order("restart")
    bench.until("running", 300)
    bench.run(5)
    assert tripped(bench) == []


def test_a_run_that_was_too_long_gets_an_hour_more_by_a_clear() -> None:
    """G23: cleared and restarted it does not trip again at once."""
    bench = running()
    bench.state = bench.state._replace(run=bench.state.run._replace(started_at=bench.now - 1e5))
    assert seconds_until_trip(bench, "G23", 3) == 1
    bench.state = bench.state._replace(run=bench.state.run._replace(started_at=bench.now - 13_500))
    bench.run(61)
    bench.order("clear", trip="G23")
    bench.step()
    bench.order("restart")
    bench.until("running", 100)
    bench.run(30)
    assert tripped(bench) == []
