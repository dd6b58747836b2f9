"""After dough-in: predicted against measured, the correction in figures, and that nothing waits for it."""

from __future__ import annotations

import pytest

from controller.core.nouns import Phase, RunState
from controller.core.procedure import settling
from controller.core.procedure.run import leg_of
from controller.settings.tun import Output
from tests.core.bench import Bench, tun
from tests.core.runs import SETTLED, SETTLED_REST, settled
from tests.edge.statuses import said as status_of


def said(bench: Bench) -> list[str]:
    return [event.text for event in bench.events if event.kind == "settled"]


def test_the_figures_of_the_demo_brewhouse() -> None:
    """1.4 K short of 50 °C on the reference mash: 1.4 min at 5 kW, or 2.2 kg at 95 °C (worked from formulas 6, 12)."""
    free = tun(climb_k_per_s=5.0 / 60)
    found = settling.correction(SETTLED, SETTLED_REST._replace(climb_k_per_s=5.0 / 60), free, 48.6)
    assert found.heat_s is not None and found.heat_s / 60 == pytest.approx(1.42, abs=0.02)
    assert found.liquor_kg == pytest.approx(2.21, abs=0.01)
    assert found.thickness_l_per_kg == pytest.approx(62.21 / 20.0, abs=0.01)


def test_an_overshoot_is_corrected_with_cold_liquor() -> None:
    """2 K over 64 °C with liquor of 12 °C: 2.73 kg (worked example W7c)."""
    found = settling.correction(SETTLED, SETTLED_REST._replace(target_c=64.0), tun(room_c=12.0), 66.0)
    assert found.heat_s is None
    assert found.liquor_kg == pytest.approx(2.73, abs=0.02)


def test_predicted_and_measured_go_on_record_and_a_shortfall_is_offered() -> None:
    """48.6 °C where 50 was wanted: one event with both figures, and an offer in the run."""
    bench = settled(48.6)
    event = next(e for e in bench.events if e.kind == "settled")
    assert (event.value, event.limit) == (48.6, 50.0)
    assert "1.4 K short" in event.text and "2.2 kg of liquor at 95 °C" in event.text
    offer = bench.state.run.offer
    assert offer is not None and offer.answers == ("heat", "hot liquor", "accept")


def test_the_status_tells_the_offer_in_figures() -> None:
    """Measured, wanted and each way in the status are those of the correction; without an offer it is null."""
    bench = settled(48.6)
    found = status_of(bench)["offer"]
    course_, offer = bench.state.run.course, bench.state.run.offer
    assert course_ is not None and offer is not None
    ways = settling.correction(course_, course_.legs[1], bench.settings.tun, offer.measured_c)
    assert (found["measured_c"], found["wanted_c"]) == (48.6, 50.0)
    for key, value in ways._asdict().items():
        assert found[key] == (None if value is None else round(value, 3)), key
    assert status_of(settled(49.6))["offer"] is None


def test_a_good_landing_is_recorded_and_nothing_is_offered() -> None:
    """Within half a kelvin there is nothing to correct; half a kelvin and a little there is."""
    assert settled(49.6).state.run.offer is None
    assert len(said(settled(49.6))) == 1
    assert settled(49.4).state.run.offer is not None


def test_nothing_waits_for_the_offer() -> None:
    """Unanswered, every command is what it is with the offer struck out of the run."""
    loud, quiet = settled(48.6), settled(48.6)
    quiet.state = quiet.state._replace(run=quiet.state.run._replace(offer=None))
    for _ in range(900):
        loud.step()
        quiet.step()
        assert (loud.duty, loud.state.run.phase) == (quiet.duty, quiet.state.run.phase)
    assert loud.state.run.offer is None


def test_the_offer_is_withdrawn_once_the_rest_is_counted() -> None:
    """After the rise the rest clock runs and there is nothing left to put right."""
    bench = settled(48.6)
    bench.until("resting")
    bench.run(65)
    assert bench.state.run.progress.counting
    assert bench.state.run.offer is None


def test_heat_is_the_ordinary_answer_and_changes_nothing_but_the_record() -> None:
    """Who answers, and what, is an event; the target stays."""
    bench = settled(48.6)
    assert bench.obey("answer", prompt="settled", answer="heat").accepted
    assert bench.state.run.offer is None
    now = leg_of(bench.state.run)
    assert now is not None and now.target_c == 50.0
    assert [e.data["answer"] for e in bench.events if e.kind == "answer" and e.id == "settled"] == ["heat"]


def test_accepted_as_it_is_the_rest_takes_the_measured_temperature() -> None:
    """48.6 °C is then in band at once."""
    bench = settled(48.6)
    bench.order("answer", answer="accept")
    bench.run(2)
    now = leg_of(bench.state.run)
    assert now is not None and now.target_c == 48.6
    assert bench.state.run.phase is Phase.RESTING


def test_hot_liquor_is_an_announced_addition() -> None:
    """Heat is blocked until the person says that it is in."""
    bench = settled(48.6)
    bench.order("answer", prompt="settled", answer="hot liquor")
    bench.run(2)
    assert (bench.state.run.phase, bench.duty) == (Phase.ADDING, 0.0)
    bench.answer()
    bench.run(2)
    assert bench.state.run.phase == "ramping"


def test_too_hot_is_said_while_it_still_settles_and_cold_liquor_starts_settling_anew() -> None:
    """1.1 K over the rest half a minute into settling: the offer stands at once."""
    bench = settled(51.4, over_at=30.0)
    run = bench.state.run
    assert run.phase is Phase.SETTLING
    assert run.offer is not None and run.offer.answers[1] == "cold liquor"
    assert "1.4 K over" in run.offer.text
    assert bench.obey("answer", prompt="settled", answer="cold liquor").accepted
    assert bench.state.run.phase is Phase.SETTLING
    assert bench.now - bench.state.run.phase_since < 1.5


def test_a_probe_that_only_the_pump_reaches_is_not_believed_before_the_pump_has_run() -> None:
    """Strike liquor stands at the probe: nothing is said after 31 s nor after 149 s, and at 151 s it is."""
    bench = settled(53.5, over_at=30.0)
    run = bench.state.run._replace(phase_since=bench.now, offer=None)
    pumped = tun(mixing="pump", stirrer=None, pump=Output(topic="p/pump"))
    for after_s, said in ((31.0, False), (149.0, False), (151.0, True)):
        _, event = settling.follow(run, run, pumped, bench.outcome.seen, bench.now + after_s)
        assert (event is not None) is said, after_s


def test_an_answer_that_was_not_offered_is_refused() -> None:
    """`cold liquor` for a mash that is too cold changes nothing."""
    bench = settled(48.6)
    assert not bench.obey("answer", prompt="settled", answer="cold liquor").accepted
    assert bench.state.run.offer is not None
    assert bench.state.run.state is RunState.RUNNING


def test_no_room_for_liquor_is_said() -> None:
    """In a tun already full to 95 % the liquor is named as impossible."""
    found = settling.correction(SETTLED, SETTLED_REST, tun(volume_l=76.0), 48.6)
    assert any("no room" in way for way in settling._ways(found))
