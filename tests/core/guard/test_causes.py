"""What made a trip is looked at again while heat is off: nothing is cleared over a cause that anybody could see."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from controller.core.guard import causes
from controller.core.guard.history import Past
from controller.core.guard.registry import Memory
from controller.core.nouns import Reading, RunState, Trip
from controller.settings.tun import Probe, Probes
from tests.core.bench import Bench, course, leg, settings
from tests.core.guard.test_guard import tripped
from tests.core.guard.test_guard_corners import NOW, SEEN, check, hot, senses

PLAN = course(leg("beta", 63.0, 7200.0), leg("alpha", 72.0, 1200.0), grist_kg=0)
TWO = Probes(mash=Probe(topic="p/mash"), second=Probe(topic="p/second"))


class Paired(Bench):
    """With a second probe, so much off."""

    off_k: float = 0.0

    def step(self) -> object:  # type: ignore[override]
        self.extra["second"] = (Reading(self.mash_c + self.off_k, self.now + 0.8, self.seq + 1),)
        return super().step()


def began(bench: Bench) -> Bench:
    bench.until("idle")
    bench.start(PLAN)
    bench.run(100)
    return bench


def clear(bench: Bench, trip: str) -> tuple[bool, str]:
    bench.order("clear", trip=trip)
    bench.step()
    return bench.replies[-1].accepted, bench.replies[-1].reason


def level_gone(bench: Bench) -> None:
    bench.level = False


def probe_gone(bench: Bench) -> None:
    bench.probe = False


def node_gone(bench: Bench) -> None:
    bench.heater = False


def put_right(bench: Bench) -> None:
    bench.level = bench.probe = bench.heater = True


@pytest.mark.parametrize(
    ("breaks", "trip", "after_s"), [(level_gone, "G13", 70), (probe_gone, "G02", 960), (node_gone, "G14", 960)]
)
def test_as_long_as_it_is_there_it_cannot_be_cleared(breaks: Callable[[Bench], None], trip: str, after_s: int) -> None:
    """In a hold as in a run: refused while the cause is there, accepted a few seconds after it is gone."""
    bench = began(Bench(settings(), mash_c=61.0))
    breaks(bench)
    bench.run(after_s)
    assert tripped(bench) == [trip] and bench.state.guard.trips[0].latched
    accepted, why = clear(bench, trip)
    assert not accepted and f"{trip}: its cause is still there" in why
    put_right(bench)
    bench.run(5)
    assert clear(bench, trip)[0]


def test_probes_that_still_differ() -> None:
    """9 K apart they tripped; 4.1 K apart they still do, 3.9 K they do not."""
    bench = Paired(settings(probes=TWO), mash_c=62.0)
    began(bench)
    for _ in range(90):
        bench.off_k += 0.1
        bench.step()
    bench.run(140)
    assert tripped(bench) == ["G05"]
    for off_k, accepted in ((4.1, False), (3.9, True)):
        while bench.off_k > off_k:
            bench.off_k -= 0.1
            bench.step()
        bench.off_k = off_k
        bench.run(5)
        assert clear(bench, "G05")[0] is accepted


def test_a_relay_that_is_still_stuck() -> None:
    """A mash that goes on warming keeps G10; after three minutes without a rise it can be cleared."""
    bench = began(Bench(settings(), mash_c=62.9))
    bench.run(200)
    bench.stuck_w = 5000.0
    for _ in range(1500):
        bench.step()
        if bench.state.guard.trips:
            break
    bench.run(70)
    accepted, why = clear(bench, "G10")
    assert not accepted and "takes 180 s" in why
    bench.run(300)
    assert not clear(bench, "G10")[0]
    bench.stuck_w = 0.0
    bench.run(240)
    assert clear(bench, "G10")[0]


@pytest.mark.parametrize(("value_c", "there"), [(66.0, True), (65.99, False), (None, False)])
def test_a_mash_that_is_still_over_the_program(value_c: float | None, there: bool) -> None:
    """At the limit that it passed, in a hold, where nobody asks for anything."""
    trip = Trip("G06", NOW, "hot", 67.0, 66.0, "°C", 1, True, True)
    held = senses(state=RunState.HELD, seen=SEEN._replace(value_c=value_c))
    assert bool(causes.still_there((trip,), held, Memory(), Past())) is there


def test_a_trip_without_a_limit_or_a_cause_to_look_at() -> None:
    """G20 has no limit, G09 no cause that shows without heat."""
    plain = Trip("G20", NOW, "disk", None, None, "", 2, True, True)
    blind = Trip("G09", NOW, "no heat", 0.1, 0.5, "K", 1, True, False)
    assert causes.still_there((plain, blind), senses(), Memory(), Past()) == []


def test_a_trip_that_gets_worse_waits_for_a_person() -> None:
    """An outlet at 86 °C ends by itself; at 93 °C it latches, with the new figure, and is told in other words."""
    mild = check(raw_outlet=hot(86.0))
    assert [(t.id, t.latched) for t in mild.state.trips] == [("G08", False)]
    over_mash = mild.state.trips[0]._replace(limit=12.0, text="20 K over the mash")  # another rule of the same trip
    began = mild.state._replace(trips=(over_mash,), need_durable=False)
    worse = check(began, now=NOW + 1.0, raw_outlet=hot(93.0))
    assert [(t.id, t.latched, t.value, t.limit) for t in worse.state.trips] == [("G08", True, 93.0, 85.0)]
    assert "93.0 °C" in worse.state.trips[0].text and worse.state.need_durable
    told = [e for e in worse.events if e.kind in ("trip", "latched")]
    assert [(e.kind, e.id, e.value, e.latched, e.first_out) for e in told] == [("latched", "G08", 93.0, True, False)]
    assert "93.0 °C" in told[0].text and told[0].text.endswith("It now waits for a person")
    same = check(worse.state, now=NOW + 2.0, raw_outlet=hot(94.0))
    assert [e for e in same.events if e.kind in ("trip", "latched")] == []
