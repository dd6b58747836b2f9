"""How is a probe checked at two points, step by step, and what is written down?

The readings come as a stream, uncorrected; what counts as a point is judged by the trade's own rules
(brewing/probe_calibration.py). Nothing is put into the tun file: its lines are printed for a person to put there.
"""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, NamedTuple, Protocol

from controller.brewing import probe_calibration
from controller.brewing.probe_calibration import STEADY_K, STEADY_S, Correction, Point, Refused, Sample
from controller.edge.record.run_header import MASH_C, history
from controller.settings.service import Settings
from controller.settings.tun import Probe

LONGEST_S = 1800.0  # a point that is not steady by then is given up
SILENT_S = 30.0  # no reading for so long: given up at once
KEPT_S = 2.0 * STEADY_S  # older samples are of no use


class Stream(Protocol):
    """Uncorrected readings as they come."""

    async def next(self, within_s: float) -> Sample | None:
        """The next one; None when there is none within so many seconds."""

    def drop(self) -> None:
        """Forget what has come so far."""


class Person(Protocol):
    """Whoever holds the probe."""

    async def ready(self, text: str) -> None:
        """Say what to do, and wait until it is done."""

    def shows(self, text: str) -> None:
        """A line that replaces the one before it."""


class Place(NamedTuple):
    """How the boiling point is known: the pressure of the day goes before the altitude."""

    altitude_m: float | None
    pressure_kpa: float | None


class Checked(NamedTuple):
    """Both points, and the line through them."""

    ice: Point
    boil: Point
    line: Correction


TELLS = {
    "ice": "Crushed ice, just enough water to fill the gaps, probe in the middle, stirred. Press Enter when it is in.",
    "boil": "Plain water at a rolling boil, probe clear of heater and bottom. Press Enter when it is in.",
}


def unknown(place: Place) -> tuple[str, ...]:
    """Why can the boiling point of this place not be known? Nothing where pressure or altitude tells it."""
    nowhere = probe_calibration.boiling_point((), **place._asdict())
    if isinstance(nowhere, Refused) and not nowhere.reasons[0].startswith("0 readings"):
        return nowhere.reasons
    return ()


async def check(probe: Probe, stream: Stream, person: Person, place: Place) -> Checked | Refused:
    """Both points, one after the other. A refused point ends it: a correction would only hide what is wrong."""

    def boils(samples: Sequence[Sample]) -> Point | Refused:
        return probe_calibration.boiling_point(samples, **place._asdict())

    if why := unknown(place):
        return Refused(why)  # said before anybody boils water
    points = []
    for kind, judge in (("ice", probe_calibration.ice_point), ("boil", boils)):
        await person.ready(TELLS[kind])
        stream.drop()
        found = await _steady(probe, stream, judge, person)
        if isinstance(found, Refused):
            return Refused(tuple(f"{kind} point: {why}" for why in found.reasons))
        points.append(found)
        person.shows(f"{kind} point taken: reads {found.raw_c:.2f} °C where it is {found.true_c:.2f} °C\n")
    return Checked(points[0], points[1], probe_calibration.correction(points[0], points[1]))


async def _steady(
    probe: Probe, stream: Stream, judge: Callable[[Sequence[Sample]], Point | Refused], person: Person
) -> Point | Refused:
    """Wait until the reading stands still; a steady reading in a wrong place is refused at once."""
    samples: list[Sample] = []
    began_s: float | None = None
    while True:
        sample = await stream.next(SILENT_S)
        if sample is None:
            return Refused((f"no reading for {SILENT_S:g} s: look at the probe's node and its topic, {probe.topic}",))
        samples = [old for old in samples if sample.at_s - old.at_s <= KEPT_S] + [sample]
        found = judge(samples)
        if isinstance(found, Point) or _absurd(found, samples):
            return found
        began_s = sample.at_s if began_s is None else began_s
        if sample.at_s - began_s > LONGEST_S:
            return found
        spread = max(s.raw_c for s in samples) - min(s.raw_c for s in samples)
        person.shows(
            f"raw {sample.raw_c:7.2f} °C, corrected so far {probe.calibrated(sample.raw_c):7.2f} °C; moved by "
            f"{spread:.2f} K in {sample.at_s - samples[0].at_s:.0f} s, wanted {STEADY_K:g} K in {STEADY_S:.0f} s"
        )


def _absurd(found: Refused, samples: Sequence[Sample]) -> bool:
    """Is it steady, and still nowhere near where it should be?"""
    steady = samples[-1].at_s - samples[0].at_s >= STEADY_S
    return steady and len(found.reasons) == 1 and found.reasons[0].startswith("reads ")


def lines(role: str, checked: Checked, day: str) -> str:
    """What to put into the tun file, as it stands there."""
    line = checked.line
    return f"""[probes.{role}]
raw_ice = "{line.raw_ice_c:.2f} °C"
raw_boil = "{line.raw_boil_c:.2f} °C"
boil = "{line.boil_c:.2f} °C"
calibrated_on = {day}"""


def record(
    settings: Settings, role: str, probe: Probe, checked: Checked, place: Place, by: str, wall_s: float, due_days: float
) -> dict[str, Any]:
    """Who checked which probe when, with what, and what came of it: old and new constants, and when it is due again."""
    day = datetime.fromtimestamp(wall_s, UTC).date()
    old = Correction(probe.raw_ice_c, probe.raw_boil_c, probe.boil_c)
    raw = (MASH_C * (old.raw_boil_c - old.raw_ice_c)) / old.boil_c + old.raw_ice_c
    return {
        "tun": settings.tun.name,
        "probe": role,
        "topic": probe.topic,
        "date": day.isoformat(),
        "at": round(wall_s, 3),
        "by": by,
        "due": (day + timedelta(days=due_days)).isoformat(),
        "altitude_m": place.altitude_m,
        "pressure_kpa": place.pressure_kpa,
        "ice": {"raw_c": round(checked.ice.raw_c, 3), "true_c": 0.0},
        "boil": {"raw_c": round(checked.boil.raw_c, 3), "true_c": round(checked.boil.true_c, 3)},
        "old": old._asdict(),
        "new": {key: round(value, 3) for key, value in checked.line._asdict().items()},
        "moves_65_by_k": round(probe_calibration.corrected_c(checked.line, raw) - MASH_C, 3),
    }


def write(settings: Settings, document: dict[str, Any]) -> Path:
    """One more line in the probe's calibration history; earlier ones are never touched."""
    path = history(settings, document["probe"])
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("a", encoding="utf-8") as file:
        file.write(json.dumps(document, ensure_ascii=False) + "\n")
        file.flush()
        os.fsync(file.fileno())
    return path
