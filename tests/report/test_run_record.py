"""The run record: rows in, steps measured, gaps found, curves drawn without losing a spike."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.report import PlanEntry, Second, from_rows
from controller.report.rows import gaps, measured
from controller.report.run_record import Gap, plan_curve
from controller.report.svg import Axes, Curve, clock, envelope, filled, marks, time_step_s
from tests.report.runs import GAP, LASTS_S, PLAN, record, rows


def row(t: float, c: float | None, step: int = 0, phase: str = "resting", state: str = "running") -> Second:
    return Second(t, c, 60.0, 60.0, 0.0, step, phase, state)


def test_steps_are_measured_from_the_samples() -> None:
    """Ramp, band, credit, mean, overshoot, error and climb of a hand-made step are the arithmetic ones."""
    plan = [PlanEntry("rest", "rest", 60.0, 60.0, 100.0)]
    ramp = [row(t, 50.0 + t * 10 / 60, phase="ramping") for t in range(60)]
    rest = [row(60 + t, 60.0 + (0.5 if t % 2 else -0.5)) for t in range(100)]
    (went,) = measured([*ramp, *rest], plan)
    assert (went.ramp_started_s, went.in_band_s, went.ended_s) == (0, 60, 159)
    assert went.credited_s == 100
    assert (went.min_c, went.mean_c, went.max_c) == (59.5, 60.0, 60.5)
    assert went.overshoot_c == 0.5
    assert went.rms_error_c == 0.5
    assert went.climb_c_per_min == pytest.approx(9.5, abs=0.01)


def test_held_time_is_not_credited_and_a_step_that_never_came_has_no_figures() -> None:
    """Samples while held count for minimum and maximum, not as rest time; none, not zero, for what was not measured."""
    plan = [PlanEntry("rest", "rest", 60.0, 0.0, 100.0), PlanEntry("never", "rest", 70.0, 0.0, 100.0)]
    went, never = measured([row(t, 60.0, state="held" if t >= 50 else "running") for t in range(100)], plan)
    assert went.credited_s == 50
    assert (never.ramp_started_s, never.in_band_s, never.mean_c, never.credited_s) == (None, None, None, 0.0)


def test_gaps_are_found_in_time_and_in_silence() -> None:
    """A hole between samples and a stretch without temperature are gaps; ten seconds of either are not."""
    found = gaps([row(t, None if 50 <= t < 70 else 60.0) for t in range(200) if not 100 < t < 150])
    assert found == (Gap(49, 70), Gap(100, 150))
    assert gaps([row(t, None if 50 <= t < 59 else 60.0) for t in range(100)]) == ()
    assert gaps([row(0, None), row(30, None)]) == (Gap(0, 30),)
    assert gaps([]) == ()


def test_steps_are_known_by_number_or_name_and_csv_text_is_taken() -> None:
    """Rows that name the step and rows that number it give the same record, two steps of one name included; rows
    straight from a CSV file, all text and some empty, give the same rows as numbers."""
    plan = [PlanEntry(name, "rest", 60.0 + i, 0.0, 1.0) for i, name in enumerate(("rest", "x", "rest"))]
    order = [0, 0, 1, 1, 2, 2]
    named = [{"t_s": t, "mash_c": 60.0, "step": plan[i].name} for t, i in enumerate(order)]
    numbered = [{"t_s": t, "mash_c": 60.0, "step": i} for t, i in enumerate(order)]
    kinds: Any = {"title": "t", "tun": "g", "program": "p", "state": "complete"}
    by_name, by_number = from_rows(named, plan, **kinds), from_rows(numbered, plan, **kinds)
    assert [r.step for r in by_name.rows] == order == [r.step for r in by_number.rows]
    typed = {"t_s": 1.0, "mash_c": None, "setpoint_c": 60.0, "duty": 0.5, "step": "low rest", "phase": "ramping"}
    text = {k: "" if v is None else str(v) for k, v in typed.items()}
    assert from_rows([text], PLAN, **kinds).rows == from_rows([typed], PLAN, **kinds).rows


def test_the_record_knows_its_length_and_its_planned_curve() -> None:
    """The run is as long as its last sample; the planned curve begins where the mash was and ends when the plan says,
    the keep not counted."""
    run = record()
    assert run.ended_s == sum(LASTS_S) - 1
    assert gaps(run.rows) == (Gap(*map(float, GAP)),)
    assert rows()[-1]["step"] == "keep"
    planned_s = sum(s.ramp_s + s.hold_s for s in PLAN if s.kind != "keep")
    points = plan_curve(run)
    assert (points[0], points[-1]) == ((0.0, run.rows[0].mash_c), (planned_s, 78.0))


# ---------------------------------------------------------------- drawing

AXES = Axes(20_000.0, 0.0, 100.0, 300.0)


def heights(path: str) -> list[float]:
    """All y values of a path."""
    return [float(y) for y in re.findall(r"(?:[ML]\d+ |V)([\d.]+)", path)]


@settings(max_examples=30)
@given(st.integers(1, 19_998), st.floats(1.0, 99.0))
def test_no_spike_is_lost(at: int, height: float) -> None:
    """One odd sample among twenty thousand is in the path, however few pixels there are."""
    values = [50.0] * 20_000
    values[at] = height
    path = envelope(AXES, Curve("c", "c", range(20_000), values))
    assert any(abs(y - AXES.y(height)) <= 0.06 for y in heights(path))
    assert len(path) < 40_000


def test_nothing_is_drawn_across_a_gap() -> None:
    """A curve with a hole is two strokes, and one without is one."""
    times = [*range(5000), *range(10_000, 20_000)]
    curve = Curve("c", "c", times, [50.0] * len(times))
    assert envelope(AXES, curve, break_s=10.0).count("M") == 2
    assert envelope(AXES, curve).count("M") == 1
    silent = Curve("c", "c", range(300), [50.0] * 100 + [None] * 100 + [50.0] * 100)
    assert envelope(AXES, silent).count("M") == 2


def test_relay_switching_is_drawn_as_its_share() -> None:
    """Half the time full and half off is a bar of half height, not a full one."""
    switching = Curve("heat", "heat", range(20_000), [100.0 * (t % 2) for t in range(20_000)])
    tops = [float(y) for y in re.findall(r"V([\d.]+)", filled(AXES, switching))]
    assert len(tops) > 800
    assert all(AXES.y(53.0) <= y <= AXES.y(47.0) for y in tops)


def test_time_is_marked_sparingly() -> None:
    """At most a dozen marks and one, whatever the length; times read as people say them."""
    for until in (60, 3600, 10_800, 86_400):
        assert until / time_step_s(until) <= 12
    assert (clock(0), clock(1500), clock(3900)) == ("0 min", "25 min", "1:05 h")


def test_marks_that_would_lie_on_each_other_are_one() -> None:
    """Far apart each has its number; close together they stand as a range, a trip among them gives it its colour."""
    drawn = marks(AXES, [(1000.0, 1, "person"), (5000.0, 2, "person"), (5050.0, 3, "trip"), (5100.0, 4, "person")])
    assert re.findall(r"<text[^>]*>([^<]*)</text>", drawn) == ["1", "2\N{EN DASH}4"]
    assert re.findall(r'class="mark (\w+)"', drawn) == ["person", "trip"]
    assert drawn.count("<path") == 4


def test_mixing_is_in_the_planned_curve() -> None:
    """After the strike the curve goes to where the mash lands for as long as grain mixes; an infusion rises so."""
    plan = (
        PlanEntry("dough-in", "dough_in", 54.0, 600.0, 0.0, mixing_s=180.0),
        PlanEntry("low", "rest", 50.0, 0.0, 300.0),
        PlanEntry("more", "infusion", 63.0, 0.0, 0.0, mixing_s=180.0),
        PlanEntry("high", "rest", 63.0, 0.0, 300.0),
    )
    run = replace(record(), planned=plan, landing_c=50.0)
    corners = dict(plan_curve(run))
    assert [t for t, _ in plan_curve(run)][-1] == 600.0 + 180.0 + 300.0 + 180.0 + 300.0
    assert (corners[600.0], corners[780.0], corners[1080.0], corners[1260.0]) == (54.0, 50.0, 50.0, 63.0)
