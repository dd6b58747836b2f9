"""The probe and its readings: what happens when the mash temperature is gone, false, frozen, moved or mistaken."""

from __future__ import annotations

from controller.core.nouns import RunState
from tests.stories.tale import RAMP, REST, tell


def test_gone_for_a_minute_goes_on_by_itself() -> None:
    """P1: once readings return and a minute is over the run goes on and completes without a person."""
    tale = tell(f"probe_unplugged@{REST}+60")
    assert tale.first("G02") is not None
    assert tale.result is RunState.COMPLETE


def test_slow_drift_of_the_only_probe_goes_unseen() -> None:
    """P9: a drift of -0.1 K/min cannot be seen by one probe: the mash ends some kelvins hot; said plainly, not hidden;
    the second probe would show it once they are 4 K apart; at this rate that is after this short mash.
    """
    tale = tell(f"probe_drift@{RAMP}=-0.1")
    assert tale.trips() == set()
    assert tale.highest_c() > 74.0


def test_a_faster_drift_is_seen_by_the_second_probe() -> None:
    """P9, P10: -0.2 K/min parts the two probes by more than 4 K within 22 minutes."""
    tale = tell(f"probe_drift@{REST}=-0.2", until_s=REST + 1500.0)
    assert "G05" in tale.trips()


def test_a_drift_is_seen_by_the_heat_that_it_asks_for() -> None:
    """P9: at -0.5 K/min a reading falls while heat goes in that should have warmed the mash; Gannet's second probe is
    4 K away from it before the heat account is at its bound."""
    tale = tell(f"probe_drift@{REST}=-0.5", until_s=REST + 900.0)
    assert tale.trips() == {"G05"}


def test_a_probe_that_has_fallen_out_never_makes_the_mash_hot() -> None:
    """P11: reads room air, asks for full heat; the mash stays below its hard limit."""
    assert tell(f"probe_fallen@{REST}", until_s=REST + 600.0).highest_c() < 68.0
