"""Are faults read as they are written, at work when they should be, and wrong ones named?"""

from __future__ import annotations

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.world.faults import FOREVER_S, KINDS, Fault, Faults, draw_faults, parse


def test_a_full_spec_is_read() -> None:
    """Kind, start, duration and value, in seconds or with min and h."""
    assert parse("probe_frozen@1200+300") == Fault("probe_frozen", 1200.0, 300.0, 0.0)
    assert parse("heater_power@20min+1.5h=0.4") == Fault("heater_power", 1200.0, 5400.0, 0.4)
    assert parse(" probe_jump@10=-3.5 ") == Fault("probe_jump", 10.0, FOREVER_S, -3.5)


def test_what_is_left_out_is_the_kinds_own() -> None:
    """Without start 600 s; without duration and value those of the table."""
    assert parse("heater_power") == Fault("heater_power", 600.0, FOREVER_S, 0.5)
    assert parse("broker_gone@5") == Fault("broker_gone", 5.0, 30.0, 0.0)


@pytest.mark.parametrize(
    ("spec", "said"),
    [
        ("probe_frosen@5", "did you mean 'probe_frozen'"),
        ("probe_frosen@5", "`underback dryrun --fault list` names all$"),
        ("", "no fault"),
        ("probe_frozen@soon", "'soon' is no time"),
        ("probe_frozen@5+5 days", "'5 days' is no time"),
        ("probe_frozen@-5", "'-5' is no time"),
        ("probe_frozen@nan", "'nan' is no time"),
        ("heater_power@5=much", "'much' is no number"),
        ("heater_power@5=nan", "outside 0..1.5"),
        ("heater_power@5=7", "outside 0..1.5"),
        ("probe_nan@5=1", "takes no value"),
        ("heater_power@5=", "no fault"),
        ("PROBE_FROZEN@5", "no fault"),
    ],
)
def test_wrong_specs_are_refused_with_the_reason(spec: str, said: str) -> None:
    """Each says what was found and what was wanted."""
    with pytest.raises(ValueError, match=said):
        parse(spec)


@given(kind=st.sampled_from(sorted(KINDS)), at=st.integers(0, 9999), lasts=st.integers(1, 9999), part=st.floats(0, 1))
def test_what_a_fault_prints_reads_back(kind: str, at: int, lasts: int, part: float) -> None:
    """A failing run can be replayed from its own words: every kind's text parses to the same fault."""
    row = KINDS[kind]
    value = float(f"{row.low + part * (row.high - row.low):g}") if row.low != row.high else row.value
    value = min(row.high, max(row.low, value)) if row.low != row.high else value
    fault = Fault(kind, float(at), float(lasts), value)
    again = parse(str(fault))
    assert again[:3] == fault[:3]
    assert again.value == pytest.approx(fault.value, rel=1e-5)


@given(st.text(max_size=30))
def test_no_text_makes_the_parser_stumble(text: str) -> None:
    """Any text is a fault or a ValueError with words."""
    try:
        assert parse(text).kind in KINDS
    except ValueError as why:
        assert str(why)


def test_faults_begin_and_end_to_the_second() -> None:
    """At work from the start on, and no longer at the end; of two of a kind the later one counts."""
    faults = Faults([parse("probe_jump@10+20=2"), parse("probe_jump@20+20=3"), parse("probe_nan@15+1")])
    assert not faults.at(9.5)
    assert faults.at(10.0)["probe_jump"].value == 2
    assert set(faults.at(15.5)) == {"probe_jump", "probe_nan"}
    assert set(faults.at(16.0)) == {"probe_jump"}
    assert faults.at(20.0)["probe_jump"].value == 3
    assert faults.at(39.9)["probe_jump"].value == 3
    assert not faults.at(40.0)


def test_random_faults_are_of_the_table_and_end() -> None:
    """5,000 drawn faults: each kind that may be drawn is drawn, values lie in range, none lasts beyond its kind's."""
    drawn = draw_faults(random.Random(3), 7200.0, 5000)
    assert {fault.kind for fault in drawn} == {name for name, kind in KINDS.items() if kind.swarm_s is not None}
    for fault in drawn:
        kind = KINDS[fault.kind]
        assert kind.low == kind.high or kind.low <= fault.value <= kind.high
        assert 0.0 < fault.for_s <= 900.0
        assert parse(str(fault)) == fault
