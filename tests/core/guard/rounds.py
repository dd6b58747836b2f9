"""A run in the closed loop, as far as a test needs it."""

from __future__ import annotations

from controller.core.nouns import Course
from tests.core.bench import Bench, course, leg, settings
from tests.core.guard.looks import Kind, S, having, memory_of
from tests.core.runs import ordered

RISING = course(leg("beta", 62.0, 3600.0), leg("alpha", 72.0, 3600.0), grist_kg=0)
FALLING = course(leg("warm", 66.0, 3600.0), leg("cool", 60.0, 3600.0), grist_kg=0)


def begun(plan: Course, start_c: float, until: str = "running", bench: Bench | None = None) -> Bench:
    """A run of this plan that has come so far."""
    bench = Bench(settings(), mash_c=start_c) if bench is None else bench
    bench.until("idle")
    bench.start(plan)
    bench.until(until)
    bench.run(2 if until == "running" else 30)
    return bench


def resting(plan: Course = RISING, start_c: float = 61.5) -> Bench:
    """Half a minute into its first rest."""
    return begun(plan, start_c, "resting")


def ended(bench: Bench) -> Bench:
    """The run is stopped and the tun ready for the next one, in the same process."""
    bench.order("stop")
    bench.until("stopped", 20)
    bench.order("reset")
    bench.step()
    assert bench.state.run.state is S.IDLE
    return bench


def tripped(bench: Bench) -> list[str]:
    """Which trips are on?"""
    return [trip.id for trip in bench.state.guard.trips]


def with_memory(bench: Bench, interlock: Kind) -> None:
    """An interlock remembers this."""
    bench.state = bench.state._replace(guard=having(interlock, bench.state.guard))


def remembered(bench: Bench, kind: type[Kind]) -> Kind:
    """What does this interlock remember?"""
    return memory_of(bench.state.guard, kind)


def goes_on(bench: Bench, trip: str) -> None:
    """A minute later a person clears it and lets the run go on, with a hand reading where one is asked for."""
    bench.run(61)
    assert bench.clear(trip).accepted
    bench.order("restart")
    bench.run(2)
    if not bench.replies[-1].accepted:
        assert "hand=" in bench.replies[-1].reason
        ordered(bench, "restart", hand_c=bench.mash_c)
    bench.until("running", 30)


def broker_away(bench: Bench) -> None:
    """For five seconds."""
    bench.link = False
    bench.run(5)
    bench.link = True
    bench.run(30)
