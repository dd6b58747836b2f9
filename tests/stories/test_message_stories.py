"""Messages, broker, network, strangers."""

from __future__ import annotations

import pytest

from controller.core.nouns import RunState
from tests.stories.tale import RAMP, RAMP2, REST, tell

GOES_ON = [
    ("M1 broker gone for 30 s", f"broker_gone@{REST}+30", {"G14"}),
    ("M1 broker gone in a rise", f"broker_gone@{RAMP}+25", {"G14"}),
    ("M1 broker gone for 10 min", f"broker_gone@{REST}+600", {"G14"}),
    ("M2 every message 15 s late", f"delay@{REST}+60=15", {"G02", "G14"}),
    ("M1 nine of ten messages lost", f"lost@{RAMP}+100=0.9", {"G02", "G13", "G14"}),
    ("M16 heater node reports nothing", f"heater_silent@{REST}+60", {"G14"}),
    ("M15 heater node hears nothing", f"heater_deaf@{REST}+60", {"G14"}),
    ("M16 heater node gone", f"heater_gone@{REST}+60", {"G14"}),
]


@pytest.mark.parametrize(("fault", "trips"), [row[1:] for row in GOES_ON], ids=[row[0] for row in GOES_ON])
def test_heat_is_off_meanwhile_and_the_run_goes_on(fault: str, trips: set[str]) -> None:
    """Gaps of a link that last: heat off, rest kept, back with the evidence, complete in the end; none latches."""
    tale = tell(fault)
    found, *end = tale.outcome()
    assert found and found <= trips
    assert end == [RunState.COMPLETE, 0]


@pytest.mark.parametrize("fault", [f"broker_gone@{RAMP}+5", f"lost@{RAMP}+100=0.5", f"heater_silent@{REST}+15"])
def test_a_short_gap_is_no_trip(fault: str) -> None:
    """M1: heat is off meanwhile, and back within half a minute of its end."""
    tale = tell(fault)
    assert tale.outcome() == (set(), RunState.COMPLETE, 0)


def test_three_outages_within_half_an_hour_stop_nothing() -> None:
    """M1: a broker away for 5 s three times is no cause that a person must look at."""
    tale = tell(*(f"broker_gone@{at}+5" for at in (RAMP, REST, RAMP2)))
    assert tale.outcome() == (set(), RunState.COMPLETE, 0)


@pytest.mark.parametrize("fault", [f"foreign_heat@{REST}", f"foreign_epoch@{REST}"])
def test_a_second_controller_ends_it_within_two_seconds(fault: str) -> None:
    """C9, M11: foreign heat or a higher epoch: aborted, silent or OFF, never again in this life."""
    tale = tell(fault)
    first = tale.first("G19")
    assert first is not None and first - REST <= 2.0
    assert tale.result is RunState.ABORTED and tale.cold(first)


def test_a_stranger_on_the_reading_topic_is_not_believed() -> None:
    """M11: readings of 30 °C in between are refused as jumps; the mash is not overheated."""
    tale = tell(f"foreign_reading@{REST}+60=30", until_s=REST + 300.0)
    assert tale.highest_c() < 64.0


@pytest.mark.parametrize("fault", [f"heater_lies@{REST}", f"heater_boots_on@{REST}"])
def test_a_heater_that_is_on_after_off_latches(fault: str) -> None:
    """M16, M17: reports heat after being told off: latched, act now."""
    tale = tell(fault, until_s=REST + 200.0)
    assert "G15" in tale.trips()
    assert tale.result is RunState.HELD
