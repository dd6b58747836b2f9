"""Who moves what, how much more to add, and the reminders of a long mash."""

from __future__ import annotations

import pytest

from controller.brewing import heat
from controller.core.nouns import ForPeople, Leg, Measurement, Phase, RunState
from controller.core.procedure import who_moves as moves
from controller.core.procedure.run import Beginning, Run
from controller.messages import status_document as additions
from tests.core.bench import MASH_J_PER_K, Bench, course, leg, settings
from tests.core.runs import begun

REST = leg("first", 52.0, 300.0)
BACK = leg(
    "decoction", 64.0, 0.0, kind="decoction", kg=23.27, hot_c=95.0,
    j_per_kg_k=(MASH_J_PER_K - 12_500.0) / 80.0,  # as thick as the mash
)  # fmt: skip
MORE = leg("more", 64.0, 0.0, kind="infusion", kg=24.2, hot_c=98.0)


def seen(value_c: float | None) -> Measurement:
    return Measurement(value_c, value_c, 0.0, 0.0, 1, True, False)


def adding(what: Leg) -> Run:
    return Run(RunState.RUNNING, course(REST, what), Beginning("r"), 2, Phase.ADDING, grain_in=True)


@pytest.mark.parametrize("row", moves.TABLE, ids=lambda row: row.stage)
def test_heat_is_never_on_where_the_table_lets_something_stand(row: moves.Motion) -> None:
    """Every row with heat moves both stirrer and pump; a blocked or missing heater may do without."""
    if row.heater.startswith(("on", "holding")):
        assert (row.stirrer, row.pump) == ("on", "on")


def test_every_stage_of_every_state_phase_and_kind_has_its_row() -> None:
    """Nothing a run can be in falls out of the table, and only dough-in and additions have the pump off under way."""
    kinds = ("dough_in", "rest", "infusion", "decoction", "mash_out", "keep", "souring")
    for state in RunState:
        for phase in Phase:
            for kind in kinds:
                run = Run(state, course(leg("x", 60.0, 60.0, kind=kind), grist_kg=0), Beginning("r"), 0, phase)
                row = moves.stage(run)
                assert row in moves.TABLE
                if state is RunState.RUNNING and row.pump == "off":
                    assert phase in (Phase.ARMED, Phase.ADDING)


def test_the_pump_rests_a_minute_after_an_addition() -> None:
    """Settling: off for 60 s so that the bed can settle, then on."""
    run = Run(RunState.RUNNING, course(REST), Beginning("r"), 0, Phase.SETTLING, phase_since=100.0)
    assert [moves.motors(run, at)[1].on for at in (101.0, 159.0, 160.0)] == [False, False, True]


def test_a_decoction_to_return_is_what_was_pulled_and_shrinks_to_nothing() -> None:
    """At 52 °C all of the 29 % is still to come back (W9b, vessel counted); the more is in, the less is left."""
    left = [additions.left_kg(adding(BACK), BACK, at_c) for at_c in (52.0, 55.0, 58.0, 61.0, 63.9)]
    assert left[0] == pytest.approx(23.27, abs=0.1)
    assert left == sorted(left, reverse=True)
    assert left[-1] < 0.5


def test_an_infusion_half_way_needs_what_the_heat_balance_says() -> None:
    """10 kg of 98 °C in: the mash stands where it must, and the rest of the balance is left."""
    whole = heat.addition_kg(MASH_J_PER_K, 52.0, 64.0, 98.0)
    now_c = heat.mixed_with_liquor_c(MASH_J_PER_K, 52.0, 10.0, 98.0)
    assert additions.left_kg(adding(MORE), MORE, now_c) == pytest.approx(whole - 10.0, abs=0.01)


def test_the_words_say_how_much_more_and_when_to_stop() -> None:
    """23.3 kg less the 9.8 kg that make 58 °C, by hand; half a kelvin under the target: stop; nobody adds: nothing."""
    assert additions.more(adding(BACK), seen(58.0)) == "58.0 °C: about 13.6 kg more to return; stop at 63.5 °C"
    assert "stop now" in (additions.more(adding(BACK), seen(63.5)) or "")
    assert additions.more(adding(BACK), seen(None)) is None
    assert additions.more(adding(BACK)._replace(phase=Phase.WAITING), seen(58.0)) is None


def test_a_souring_hold_asks_for_its_ph_from_time_to_time() -> None:
    """Every ten minutes of rest a question; a pH that is entered answers it; unanswered, the hold goes on and ends."""
    bench = Bench(settings(), mash_c=44.0)
    sour = leg("sour", 44.0, 2000.0, kind="souring", remind_s=600.0)
    begun(bench, course(sour, leg("keep", 44.0, 3600.0, kind="keep"), grist_kg=0))
    bench.until("ph")
    assert bench.state.run.progress.credited_s == pytest.approx(600.0, abs=1.5)
    bench.obey("answer", ph=4.6)
    assert bench.state.run.prompt is None
    bench.until("ph")
    assert bench.state.run.progress.credited_s == pytest.approx(1200.0, abs=1.5)
    bench.until("take_over")
    assert bench.state.run.leg == 1


def test_the_liquor_for_the_run_off_is_told_of_once_and_in_time() -> None:
    """It takes 10 min to heat: the note comes 15 min before the mash is ready, and never again."""
    bench = Bench(settings(), mash_c=63.0)
    keep = leg("keep", 63.0, 3600.0, kind="keep", ramp_s=0.0)
    plan = course(leg("beta", 63.0, 2400.0, ramp_s=0.0), keep, grist_kg=0)
    begun(bench, plan._replace(people=ForPeople(hot_liquor_s=600.0, hot_liquor_c=78.0)))
    bench.until("take_over")
    told = [e for e in bench.events if e.id == "hot liquor"]
    assert len(told) == 1
    assert told[0].value == pytest.approx(900.0, abs=2.0)
    assert "78 °C" in told[0].text
