"""Program and person: wrong amounts, nobody there, plain buttons, clearing without looking."""

from __future__ import annotations

from controller.core.nouns import RunState
from sim.people.manner import Manner
from tests.stories.tale import REST, tell


def test_half_the_liquor_is_not_heated() -> None:
    """U7: less than the heater needs: the level switch refuses the start."""
    tale = tell("liquor_share@0=0.4", until_s=300.0)
    assert tale.cold() and any("level" in why for why in tale.refusals)


def test_far_less_liquor_than_declared_is_noticed() -> None:
    """U7: above the switch but half of what the program says: from cold it warms too fast, and that trips."""
    tale = tell("liquor_share@0=0.5", tun="plover", until_s=1500.0, start_c=15.0)
    assert "G25" in tale.trips()


def test_nobody_takes_over_and_the_heat_ends() -> None:
    """U11: kept no longer than written, then cold and complete."""
    tale = tell(manner=Manner(take_over=False), until_s=6000.0)
    assert tale.result is RunState.COMPLETE
    assert tale.moments[-1].duty == 0.0


def test_a_bare_hold_button_works() -> None:
    """A plain button without id, time or nonce takes the heat away at once."""
    tale = tell(f"stop_button@{REST}=2", until_s=REST + 120.0)
    assert tale.result is RunState.HELD
    assert tale.cold(REST + 2.1)


def test_bare_stop_and_abort_end_the_run() -> None:
    """stop and abort likewise."""
    assert tell(f"stop_button@{REST}=1", until_s=REST + 120.0).result is RunState.STOPPED
    assert tell(f"stop_button@{REST}=3", until_s=REST + 120.0).result is RunState.ABORTED


def test_a_person_who_clears_and_restarts_gets_the_run_home() -> None:
    """A latched trip, its cause mended, cleared and restarted: the run completes."""
    tale = tell(f"level_lost@{REST}+60", manner=Manner(clears=True))
    assert "G13" in tale.trips()
    assert tale.result is RunState.COMPLETE
    assert tale.without_evidence == 0


def test_no_permissive_is_skipped_by_the_simulated_person() -> None:
    """U10: the start the person sends carries the mark, the hand thermometer and the stay."""
    tale = tell(manner=Manner(attended=False), until_s=400.0)
    assert tale.cold() and any("proof test" in why for why in tale.refusals)
