"""Heater and plant: stuck, open, weak, dry, without flow; liquor added or lost."""

from __future__ import annotations

import pytest

from controller.core.nouns import RunState
from tests.stories.tale import RAMP, REST, tell

CAUGHT = [
    ("H1 welded on in a rest", "gannet", f"heater_welded@{REST}", "G10", 740.0),
    ("H2 open in a rise", "gannet", f"heater_open@{RAMP}", "G09 G25", 361.0),
    ("H5 no liquid", "gannet", f"level_lost@{REST}", "G13", 2.5),
    ("H5 level switch silent", "gannet", f"level_silent@{REST}", "G13", 12.0),
    ("H6 no flow", "plover", f"flow_lost@{REST}", "G13", 2.5),
    ("H6 flow switch silent", "plover", f"flow_silent@{REST}", "G13", 12.0),
    ("H6 pump stands still", "plover", f"pump_stopped@{REST}", "G13", 4.0),
    ("H10 outlet hot", "plover", f"outlet_hot@{REST}=30", "G08", 2.5),
]


@pytest.mark.parametrize(
    ("tun", "fault", "trip", "within"), [row[1:] for row in CAUGHT], ids=[row[0] for row in CAUGHT]
)
def test_caught_in_time(tun: str, fault: str, trip: str, within: float) -> None:
    """The named interlock takes the heat away within its time."""
    tale = tell(fault, tun=tun, until_s=REST + 900.0)
    at = float(fault.partition("@")[2].partition("=")[0])
    first = min((t for t in map(tale.first, trip.split()) if t is not None), default=None)
    assert first is not None, tale.trips()
    assert first - at <= within
    assert tale.without_evidence == 0


QUIET = [
    ("H3 four fifths of the mains", "gannet", f"mains_power@{RAMP}=0.81"),
    ("H7 nothing tells of a stirrer", "gannet", f"stirrer_stopped@{REST}"),
    ("H10 outlet 10 K warmer", "plover", f"outlet_hot@{REST}=10"),
    ("H12 cold liquor unannounced", "gannet", f"cold_liquor@{REST}=2"),
    ("U8 lid off", "gannet", f"lid_open@{RAMP}"),
    ("H6 flow down to half", "plover", f"pump_slow@{REST}=0.5"),
]


@pytest.mark.parametrize(("tun", "fault"), [row[1:] for row in QUIET], ids=[row[0] for row in QUIET])
def test_what_a_mash_must_bear(tun: str, fault: str) -> None:
    """Small trouble of every brewing day trips nothing and the mash completes."""
    tale = tell(fault, tun=tun)
    assert tale.trips() == set()
    assert tale.result is RunState.COMPLETE


def test_a_welded_relay_boils_the_mash_whatever_software_does() -> None:
    """H1: the trip comes, the command is OFF, the mash heats on; this is why a cut-out by wire is needed."""
    tale = tell(f"heater_welded@{REST}", until_s=4200.0)
    assert {"G10", "G07"} & tale.trips()
    after = [m for m in tale.moments if m.at > (tale.first("G10") or 0.0)]
    assert all(m.duty == 0.0 for m in after)
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
    hot = [m for m in tale.moments if m.at > REST + 60.0]
    assert all(m.duty == 0.0 for m in hot)
    assert any(event.id == "over" for _, event in tale.events)
