"""Which trouble is caught, by which interlock and how soon, and which must a mash bear?"""

from __future__ import annotations

import pytest

from controller.core.nouns import RunState
from tests.stories.tale import RAMP, REST, tell

# hazard, fault, interlock, at most so many s from the fault to the cut, and to the trip where that comes later
CAUGHT = [
    ("P1 gone in a rest", f"probe_unplugged@{REST}", "G02", 11.0, 21.0),
    ("P1 gone in a rise", f"probe_unplugged@{RAMP}", "G02", 11.0, 21.0),
    ("P2 the same sample again and again", f"probe_stale@{REST}", "G02", 12.0, 22.0),
    ("P2 the same sample in a rise", f"probe_stale@{RAMP}", "G02", 12.0, 22.0),
    ("P3 frozen in a rise", f"probe_frozen@{RAMP}", "G05 G09", 361.0),
    ("P4 -127", f"probe_value@{REST}=-127", "G02", 5.0, 11.0),
    ("P4 150", f"probe_value@{REST}=150", "G02", 5.0, 11.0),
    ("P4 4095", f"probe_value@{RAMP}=4095", "G02", 5.0, 11.0),
    ("P4 -273.15", f"probe_value@{REST}=-273.15", "G02", 5.0, 11.0),
    ("P5 85.0 for good", f"probe_value@{REST}=85", "G02", 5.0, 11.0),
    ("P6 127.94", f"probe_value@{REST}=127.94", "G02", 5.0, 11.0),
    ("P6 0.0", f"probe_value@{REST}=0", "G02", 5.0, 11.0),
    ("P6 -0.0625", f"probe_value@{REST}=-0.0625", "G02", 5.0, 11.0),
    ("P6 32.0, 0 in F", f"probe_value@{REST}=32", "G02", 5.0, 11.0),
    ("P7 NaN", f"probe_nan@{REST}", "G02", 5.0, 11.0),
    ("P7 garbage of every kind", f"probe_text@{REST}", "G02", 6.0, 11.0),
    ("P8 down by 30 K", f"probe_jump@{REST}=-30", "G04", 6.0, 11.0),
    ("P8 down by 6 K", f"probe_jump@{REST}=-6", "G04", 6.0, 11.0),
    ("P8 up by 8 K", f"probe_jump@{REST}=8", "G04", 7.0, 12.0),
    ("P10 the other probe 4.5 K off", f"second_offset@{REST}=4.5", "G05", 70.0),
    ("P11 fallen out in a rise", f"probe_fallen@{RAMP}", "G09", 70.0),
    ("P14 a reading every 15 s", f"probe_slow@{REST}=15", "G02", 16.0, 26.0),
    ("P15 sent in F", f"probe_fahrenheit@{REST}", "G02", 5.0, 11.0),
    ("P15 C taken for F", f"probe_celsius@{REST}", "G04", 6.0, 11.0),
    ("H1 welded on in a rest", f"heater_welded@{REST}", "G10", 740.0),
    ("H2 open in a rise", f"heater_open@{RAMP}", "G09 G25", 361.0),
    ("H5 no liquid", f"level_lost@{REST}", "G13", 2.5, 5.0),
    ("H5 level switch silent", f"level_silent@{REST}", "G13", 12.0, 22.0),
    ("H6 no flow", f"flow_lost@{REST}", "G13", 2.5, 5.0),
    ("H6 flow switch silent", f"flow_silent@{REST}", "G13", 12.0, 22.0),
    ("H6 pump stands still", f"pump_stopped@{REST}", "G13", 4.0, 6.5),
    ("H10 outlet hot", f"outlet_hot@{REST}=30", "G08", 2.5),
    ("M16 the stirrer's node gone", f"mover_gone@{REST}", "G14", 2.5, 22.0),
]


PUMPED = ("H6", "H10")  # hazards of a tun with a pump: Plover; the others are told of Gannet


@pytest.mark.parametrize("row", CAUGHT, ids=[row[0] for row in CAUGHT])
def test_caught_in_time(row: tuple[str, str, str, float] | tuple[str, str, str, float, float]) -> None:
    """The named interlock takes the heat away within its time, for at least a minute, and no heat lacked evidence."""
    what, fault, trip, cut_s, trip_s = row if len(row) == 5 else (*row, row[3])
    tun = "plover" if what.startswith(PUMPED) else "gannet"
    told = tell(fault, tun=tun, until_s=REST + (900.0 if what[0] == "H" else 500.0))
    at = float(fault.partition("@")[2].partition("=")[0])
    first = min((t for t in map(told.first, trip.split()) if t is not None), default=None)
    assert first is not None, told.trips()
    assert first - at <= trip_s
    if what[0] == "P" or len(row) == 5:
        off = told.off_from(at)
        assert off is not None and off - at <= cut_s
    assert told.without_evidence == 0


BORNE = [  # a little smaller or shorter, or small trouble of every brewing day; copies, replays, traps and late mail
    ("P1 silent for eight seconds", f"probe_unplugged@{REST}+8"),
    ("P4 one false value", f"probe_value@{REST}+1.2=150"),
    ("P5 one power-on value", f"probe_value@{REST}+1.2=85"),
    ("P6 two lines high", f"probe_value@{REST}+2=-0.0625"),
    ("P8 spikes", f"probe_spike@{REST}+60=20"),
    ("P8 a spike down", f"probe_spike@{REST}+60=-15"),
    ("P10 the other probe 3.5 K off", f"second_offset@{REST}=3.5"),
    ("P14 a reading every 3 s", f"probe_slow@{REST}=3"),
    ("P14 200 readings a second", f"probe_flood@{REST}+20=200"),
    ("P1 the node starts anew", f"probe_reboot@{REST}"),
    ("H3 four fifths of the mains", f"mains_power@{RAMP}=0.81"),
    ("H7 nothing tells of a stirrer", f"stirrer_stopped@{REST}"),
    ("H5 the float bounces", f"level_lost@{REST}+0.9"),
    ("H6 the flow switch bounces", f"flow_lost@{REST}+0.9", "plover"),
    ("H10 outlet 10 K warmer", f"outlet_hot@{REST}=10", "plover"),
    ("H12 cold liquor unannounced", f"cold_liquor@{REST}=2"),
    ("U8 lid off", f"lid_open@{RAMP}"),
    ("H6 flow down to half", f"pump_slow@{REST}=0.5", "plover"),
    ("M2 every message 4 s late", f"delay@{REST}+60=4"),
    ("M5 everything three times", f"duplicate@{RAMP}=3"),
    ("M6 any order within 3 s", f"reorder@{REST}+60=3"),
    ("M7 retained traps", f"retained_replay@{REST}"),
    ("M8 orders and commands again", f"replay@{REST}"),
    ("M11 a stranger's OFF", f"foreign_off@{REST}"),
    ("M17 heater node starts anew", f"heater_reboot@{RAMP}"),
    ("M1 no broker for so long that the pump stops", f"broker_gone@{REST}+15", "plover"),
    ("M16 the pump's node gone for 15 s", f"mover_gone@{REST}+15", "plover"),
]


@pytest.mark.parametrize("row", BORNE, ids=[row[0] for row in BORNE])
def test_what_a_mash_must_bear(row: tuple[str, str] | tuple[str, str, str]) -> None:
    """Nothing trips, and the mash goes on and completes."""
    assert tell(row[1], tun=row[2] if len(row) == 3 else "gannet").outcome() == (set(), RunState.COMPLETE, 0)
