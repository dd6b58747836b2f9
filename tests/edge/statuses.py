"""Status documents made by the real core on the small bench: idle, in a rest, tripped."""

from __future__ import annotations

from functools import cache
from typing import Any

from controller.messages.status_document import status
from controller.settings.tun import Probe, Probes
from tests.core.bench import WALL, Bench, course, leg, settings


def said(bench: Bench) -> dict[str, Any]:
    """The status of a bench's last tick."""
    return status(
        bench.settings,
        bench.outcome,
        wall_s=WALL + bench.now,
        wall_confirmed=True,
        speed=1.0,
        journal_seq=len(bench.events),
        counters={"not JSON": 1},
        prediction=None,
    )


def _bench() -> Bench:
    return Bench(settings(title="Test tun", probes=Probes(mash=Probe(topic="p/mash"))), mash_c=48.0)


@cache
def _idle() -> dict[str, Any]:
    bench = _bench()
    bench.until("idle")
    return said(bench)


def mashing() -> Bench:
    """A bench some minutes into its first rest."""
    bench = _bench()
    bench.until("idle")
    bench.start(course(leg("low rest", 52.0, 600.0), leg("high rest", 60.0, 600.0), grist_kg=0))
    bench.until("resting")
    bench.run(200)
    return bench


@cache
def _mash() -> dict[str, Any]:
    return said(mashing())


@cache
def _tripped() -> dict[str, Any]:
    bench = mashing()
    bench.probe = False
    bench.run(30)
    assert bench.state.guard.trips
    return said(bench)


def document() -> dict[str, Any]:
    """An idle tun."""
    return dict(_idle())


def a_mash() -> dict[str, Any]:
    """A tun in a rest."""
    return dict(_mash())


def tripped() -> dict[str, Any]:
    """A tun whose probe has gone silent."""
    return dict(_tripped())
