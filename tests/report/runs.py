"""A three-hour run at one sample a second with everything that a report must show: correction, trip, gap, hold."""

from __future__ import annotations

import math
from typing import Any

from controller.report import EventRecord, PlanEntry, RunRecord, from_rows

PLAN = (
    PlanEntry("dough-in", "dough_in", 52.78, 2200.0, 0.0),
    PlanEntry("low rest", "rest", 50.0, 0.0, 600.0),
    PlanEntry("maltose rest", "rest", 63.0, 800.0, 2400.0),
    PlanEntry("dextrin rest", "rest", 72.0, 560.0, 1200.0),
    PlanEntry("mash-out", "mash_out", 78.0, 372.0, 300.0),
    PlanEntry("keep", "keep", 78.0, 0.0, 7200.0),
)
LASTS_S = (2500, 900, 3200, 1760, 672, 1768)  # how long each step took
GAP = (5000, 5120)
HELD = (7000, 7200)
EVIL = "</script><script>alert(1)</script>"

PREDICTION: dict[str, Any] = {
    "set": "calibrated",
    "basis": "published laboratory mashes",
    "apparent_limit_pct": {"low": 78.0, "mid": 82.1, "high": 86.0},
    "real_limit_pct": {"low": 63.0, "mid": 66.4, "high": 70.0},
    "extract_pct": {"low": 84.0, "mid": 91.0, "high": 98.0},
    "starch_left_pct": 1.2,
    "iodine_fine_min": 31.0,
    "iodine_negative_min": 62.0,
}

EVENTS = (
    EventRecord(0, "run", "r", "Sandpiper lager started by brewer"),
    EventRecord(2500, "step", "low rest", "step 2: low rest, 50.0 °C"),
    EventRecord(4000, "order", "extend", "maltose rest is 10 min longer", 600, None, "s", data={"by": "technician"}),
    EventRecord(5010, "trip", "G02", "No mash reading for 10 s; limit 10 s.", 11, 10, "s", 1),
    EventRecord(5121, "cleared", "G02", "G02 (reading gone) is over"),
    EventRecord(6000, "entry", "remark", f"remark {EVIL}", data={"by": "student"}),
)

MANY = tuple(  # more than fits on a page
    EventRecord(t * 30.0, "order", "adjust", f"line {t}: " + "a long sentence about the mash " * 5) for t in range(300)
)


def rows() -> list[dict[str, Any]]:
    """One row a second, as `dryrun --csv` writes them."""
    found, t = [], 0
    begins_c = 12.0
    for index, lasts in enumerate(LASTS_S):
        target = PLAN[index].target_c
        for i in range(lasts):
            setpoint = target if begins_c > target else min(target, begins_c + i / 60)
            mash = setpoint + 0.05 * math.sin(t / 7) + (4.0 * math.exp(-i / 200) if begins_c > target else 0.0)
            held = HELD[0] <= t < HELD[1]
            if not GAP[0] < t < GAP[1]:
                found.append(
                    {
                        "t_s": float(t),
                        "mash_c": round(mash, 3),
                        "setpoint_c": round(setpoint, 3),
                        "target_c": target,
                        "duty": 0.0 if held else round(min(1.0, max(0.0, 0.1 + target - setpoint)), 3),
                        "step": PLAN[index].name,
                        "phase": "resting" if abs(mash - target) < 0.6 else "ramping",
                        "state": "held" if held else "running",
                        "beta_left_pct": 100 * math.exp(-t / 6000),
                        "alpha_left_pct": 100 * math.exp(-t / 20000),
                        "starch_left_pct": max(0.0, 100 - t / 60),
                    }
                )
            t += 1
        begins_c = target
    return found


def record(**changes: Any) -> RunRecord:
    """The run as a record."""
    values: dict[str, Any] = {
        "title": f"Sandpiper lager {EVIL}",
        "tun": "gannet",
        "program": "sandpiper",
        "state": "complete",
        "events": EVENTS,
        "prediction": PREDICTION,
        "meta": {"Seed": "1"},
        "energy_kwh": 5.7,
    }
    return from_rows(rows(), PLAN, **{**values, **changes})
