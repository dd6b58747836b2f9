"""What does the guard remember from tick to tick?"""

from __future__ import annotations

import pytest

from controller.core.guard.evidence import Evidence
from controller.core.guard.heat_account import HeatAccount
from controller.core.guard.heater_line import HeaterLine
from controller.core.guard.history import History
from controller.core.guard.interlock import Known
from controller.core.guard.registry import ALL
from controller.core.guard.state import GuardState, Noted
from tests.core.guard.looks import LATCHED, NOW, OPEN, check, duty
from tests.core.guard.story import watt


def test_a_fresh_one_is_shut() -> None:
    """Nothing is known, nothing qualified, no trip stands: no heat leaves, and it opens by evidence only."""
    fresh = GuardState(plate=watt())
    assert fresh == GuardState(
        plate=watt(), started_at=0.0, epoch=1, lost=False, link_up=False, link_since=0.0, trips=(), gone=(),
        evidence=Evidence(0.0, False, 0.0, None, 0.0), need_durable=False, durable_need=0,
        noted=Noted((), (), None, ()), line=HeaterLine(), past=History(), interlocks=ALL,
    )  # fmt: skip
    assert duty(check(fresh)) == 0.0


def test_what_interlocks_may_look_at() -> None:
    """Heater line, history, heat account, plate and when this process began; each where it belongs."""
    state = OPEN._replace(past=History(era=7), heat=HeatAccount(owed_k=2.0), started_at=9.0)
    assert state.known == Known(
        line=OPEN.line, past=History(era=7), heat=HeatAccount(owed_k=2.0), plate=OPEN.plate, started_at=9.0
    )


@pytest.mark.parametrize(("trips", "misfit"), [((), False), (("G07",), False), (("G07", "G25"), True)])
def test_a_trip_that_doubts_masses_and_power(trips: tuple[str, ...], misfit: bool) -> None:
    """While one stands, the figures of the tun are not gone by."""
    state = OPEN._replace(trips=tuple(LATCHED._replace(id=name) for name in trips))
    assert (state.misfit, state.known.misfit, Noted().zero_reports) == (misfit, misfit, 0)


@pytest.mark.parametrize(("off_until", "until", "after"), [(0.0, 50.0, 50.0), (99.0, 50.0, 99.0)])
def test_shut_until(off_until: float, until: float, after: float) -> None:
    """No heat before the later of two times, and every reading so far counts no more; where the mash was stays."""
    before = OPEN._replace(evidence=OPEN.evidence._replace(off_until=off_until, quiet_c=61.0, quiet_at=5.0))
    shut = before.shut_until(until, NOW)
    assert shut.evidence == Evidence(off_until=after, qualified=False, from_at=NOW, quiet_c=61.0, quiet_at=5.0)
    assert shut._replace(evidence=before.evidence) == before
