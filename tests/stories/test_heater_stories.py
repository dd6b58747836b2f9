"""Heater and plant: stuck, open, weak, dry, without flow; liquor added or lost."""

from __future__ import annotations

from controller.core.nouns import RunState
from tests.stories.tale import REST, tell


def test_a_welded_relay_boils_the_mash_whatever_software_does() -> None:
    """H1: the trip comes, the command is OFF, the mash heats on; this is why a cut-out by wire is needed."""
    tale = tell(f"heater_welded@{REST}", until_s=4200.0)
    assert {"G10", "G07"} & tale.trips()
    assert tale.cold((tale.first("G10") or 0.0) + 0.1)
    assert tale.highest_c() > 95.0


def test_welded_on_before_any_run_is_seen_when_idle() -> None:
    """H1 with no program: the guard watches in idle too; the start is refused or the alarm latches."""
    tale = tell("heater_welded@0", until_s=2400.0)
    assert {"G10", "G07", "G15", "G25"} & tale.trips()
    assert tale.result is not RunState.COMPLETE


def test_cut_by_the_supply_for_a_minute_goes_on() -> None:
    """C2 at the tun: heater node and probe node without supply for a minute; the run goes on by itself."""
    tale = tell(f"mains_cut@{REST}+60")
    assert tale.result is RunState.COMPLETE
    assert tale.trips() <= {"G02", "G13", "G14"}


def test_boiling_liquor_unannounced() -> None:
    """H12: a bucket of boiling liquor nobody announced: heat is off while the mash is over its target."""
    tale = tell(f"hot_liquor@{REST}=8", until_s=REST + 300.0)
    assert tale.cold(REST + 60.1)
    assert any(event.id == "over" for _, event in tale.events)
