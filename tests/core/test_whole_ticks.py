"""What only whole ticks show: the guard from outside, by what goes in and which command comes out."""

from __future__ import annotations

from typing import Any

import pytest

from controller.core import tick as corridor
from controller.core.control import loop
from controller.core.nouns import Demand, Foreign, HeaterReport, Link, Phase, RunState, Switch, Target
from controller.core.procedure import wanted
from controller.settings.tun import Heater, Output, SwitchInput
from tests.core.bench import Bench, course, leg, settings
from tests.core.guard.rounds import tripped
from tests.core.runs import begun
from tests.messages.inboxes import inbox

PUMPED: dict[str, Any] = {
    "mixing": "pump",
    "stirrer": None,
    "pump": Output(topic="u"),
    "flow": SwitchInput(topic="f"),
    "flow_l_per_min": 6.0,
    "heater": Heater(kind="proportional", power_w=5000.0, place="line"),
}
PLAN = course(leg("beta", 63.0, 600.0), leg("alpha", 72.0, 600.0), grist_kg=0)


def rising(**changes: Any) -> Bench:
    """A run that heats in its first ramp."""
    bench = begun(Bench(settings(**changes), mash_c=50.0), PLAN)
    bench.run(60)
    assert bench.state.run.phase is Phase.RAMPING and bench.duty > 0.0
    return bench


@pytest.mark.parametrize("phase", [Phase.RAMPING, Phase.RESTING])
def test_lost_flow_trips_in_a_ramp_as_in_a_rest(phase: Phase) -> None:
    """The flow switch opens while the pump runs: G13 in the same tick, whether the mash rises or rests."""
    bench = rising(**PUMPED)
    if phase is Phase.RESTING:
        bench.until("resting")
        bench.run(30)
    assert bench.state.run.phase is phase
    bench.extra = {"flow": Switch(False, bench.now + 0.9, bench.now - 0.1)}
    bench.step()
    assert (tripped(bench), bench.duty) == (["G13"], 0.0)


@pytest.mark.parametrize("state", [RunState.IDLE, RunState.RUNNING, RunState.HELD, RunState.STOPPED])
@pytest.mark.parametrize("how", ["a foreign command", "a higher epoch"])
def test_another_owner_is_seen_in_every_state(state: RunState, how: str) -> None:
    """Somebody else sends heat, or a higher epoch shows: G19 at once, also where nothing heats."""
    bench = rising()
    if state is not RunState.RUNNING:
        bench.order("hold" if state is RunState.HELD else "stop")
        bench.until("held" if state is RunState.HELD else "stopped", 30)
    if state is RunState.IDLE:
        bench.obey("reset")
    assert bench.state.run.state is state and tripped(bench) == []
    foreign = Link(True, 0.0, foreign=Foreign(bench.now + 0.5, None, 1.0))
    bench.extra = {"link": foreign} if how == "a foreign command" else {"epoch_seen": bench.state.guard.epoch + 1}
    bench.step()
    assert tripped(bench) == ["G19"]
    assert bench.duty == 0.0


@pytest.mark.parametrize("state", list(RunState))
def test_rooms_that_always_ask_for_heat_get_it_only_while_a_run_heats(
    state: RunState, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Program and loop both gone mad: with all evidence good heat leaves in three states of a run, in no other."""
    bench = rising()
    bench.state = bench.state._replace(run=bench.state.run._replace(state=state))
    madly = Target("hold", 63.0, 1.0 / 60.0, 1, 297_420.0)
    looped = bench.state.loop
    monkeypatch.setattr(corridor, "_walked", lambda settings, state, *given: state.run)
    monkeypatch.setattr(wanted, "target", lambda run, tun: madly)
    monkeypatch.setattr(loop, "regulate", lambda *given: (looped, Demand(1.0, "mad")))
    bench.step()
    assert tripped(bench) == [] and bench.state.run.state is state
    assert (bench.duty > 0.0) is (state in {RunState.RUNNING, RunState.PAUSING, RunState.PAUSED})


def test_an_old_heater_report_does_not_count_for_ever() -> None:
    """The node's last word was `on`; it falls silent, and that word lies in the inbox for good: it does not answer
    (G14), but nothing says that it is on against its order (G15)."""
    bench = rising()
    command = bench.outcome.command
    assert command is not None
    last = HeaterReport(bench.now + 0.9, "b1", command.epoch, command.seq, command.duty, 9.0, power_w=4000.0)
    bench.extra = {"heater": last}
    bench.run(10)
    assert tripped(bench) == []
    bench.run(60)
    assert tripped(bench) == ["G14"]


@pytest.mark.parametrize("word", ["hold", "stop", "abort"])
@pytest.mark.parametrize("written", ["{}", " {} \n", '{{"order": "{}"}}'])
def test_a_bare_word_takes_the_heat_away_in_its_tick(word: str, written: str) -> None:
    """`hold`, `stop` and `abort` need no envelope: the word as a plain button sends it, OFF in the next command."""
    bench, box = rising(), inbox()
    box.put(box.topics.order, written.format(word).encode(), bench.now + 0.5)
    bench.orders = list(box.take(bench.now + 1.0).orders)
    assert [order.name for order in bench.orders] == [word]
    bench.step()
    assert bench.replies[-1].accepted, bench.replies[-1].reason
    assert bench.duty == 0.0
    bench.run(30)
    assert bench.state.run.state.value == {"hold": "held", "stop": "stopped", "abort": "aborted"}[word]


@pytest.mark.parametrize("word", ["start", "restart", "resume", "clear", "extend", "adjust"])
def test_no_other_bare_word_is_an_order(word: str) -> None:
    """What brings heat or changes the program is turned away without its envelope."""
    box = inbox()
    box.put(box.topics.order, word.encode(), 1.0)
    assert box.take(2.0).orders == ()
    assert len(box.turned_away) == 1
