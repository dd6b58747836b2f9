"""Which programs could be started on this tun, and with what before one's eyes?

Every program of this machine that was written for the tun, or that fits it, as a screen shows it before the start; of
one that cannot run every reason. Read from the files, off the beat, and anew only where a file has changed.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

from controller.brewing.advice.advice import Changes
from controller.core.nouns import Course, Order
from controller.core.procedure.orders import permissives
from controller.core.procedure.orders.permissives import Facts
from controller.edge.files import config_files, measured_worts
from controller.edge.record import run_header
from controller.messages import outgoing
from controller.messages.cautions import CAUTIONS
from controller.messages.history import MOST_BYTES
from controller.plan import plan
from controller.plan.advise import advise
from controller.settings.problems import Problem, Problems
from controller.settings.service import Settings

FIGURES = ("strike_c", "landing_c", "liquor_kg", "liquor_c", "grist_c", "fill_share", "heat_up_s", "duration_s")
LISTS = ("grist", "steps", "advice", "missing")
NOTHING: dict[str, Any] = dict.fromkeys(FIGURES) | {key: [] for key in LISTS}  # is known of a program that cannot run


class Startable(NamedTuple):
    """One program: what is told of it, and its course where it fits."""

    told: dict[str, Any]
    course: Course | None = None


def looker(config: Path, settings: Settings) -> Callable[[], tuple[Startable, ...] | None]:
    """A function that reads the programs; it gives None where none has changed since its last answer."""
    before: list[object] = [None]

    def look() -> tuple[Startable, ...] | None:
        files = (*(config / "programs").glob("*.*"), config / "advice.toml")
        stamps = sorted((path.name, path.stat().st_mtime_ns, path.stat().st_size) for path in files if path.is_file())
        if stamps == before[0]:
            return None
        before[0] = stamps
        return tuple(read(config, settings))

    return look


def read(config: Path, settings: Settings) -> list[Startable]:
    """All programs, those that can run first. Raises OSError."""
    try:
        changes = config_files.load_advice(config)
    except Problems:
        changes = {}  # the start files that they cannot be read
    found = [_one(config, name, settings, changes) for name in config_files.names(config / "programs")]
    return sorted((one for one in found if one is not None), key=lambda one: one.course is None)


def _one(config: Path, name: str, settings: Settings, changes: Changes) -> Startable | None:
    """What is told of this program? None where it was written for another tun and does not fit this one."""
    problems: list[Problem] = []
    program = config_files.tried(problems, lambda: config_files.load_program(config, name))
    wished = config_files.written_tun(config, name) if program is None else program.tun
    ours = wished in ("", settings.tun.name)
    told = {**NOTHING, "name": name, "title": name if program is None else program.title, "tun": wished}
    if program is None:
        return Startable({**told, "missing": list(map(str, problems))}) if ours else None
    made = plan.make(program, settings.tun, measured_worts.load_if_sound(settings.service))
    if made.problems:
        return Startable({**told, "missing": list(map(str, made.problems))}) if ours else None
    return Startable({**told, **_planned(made, settings, changes)}, made.course)


def _planned(made: plan.Plan, settings: Settings, changes: Changes) -> dict[str, Any]:
    """The figures of a program that fits."""
    advice = advise(made, changes, calibration_age_days=run_header.advised_days(settings.tun, time.time()))
    return {
        "strike_c": _figure(made.strike_c, 1),
        "landing_c": _figure(made.landing_c if made.program.grist else None, 1),
        "liquor_kg": round(made.liquor_kg, 2),
        "liquor_c": made.program.liquor.temperature_c,
        "grist": [{"name": line.name, "mass_kg": round(line.mass_kg, 3)} for line in made.program.grist],
        "grist_c": made.program.dough_in.grist_temperature_c if made.program.grist else None,
        "fill_share": round(made.fill_share, 3),
        "heat_up_s": _figure(made.heat_up_s, 0),
        "duration_s": _figure(made.duration_s, 0),
        "steps": [{"name": leg.name, "target_c": leg.target_c, "planned_s": leg.hold_s} for leg in made.course.legs],
        "advice": [f"{one.advice.text} {one.advice.mend}" for one in advice if one.overruled is None],
    }


def _figure(value: float | None, digits: int) -> float | None:
    return None if value is None or not math.isfinite(value) else round(value, digits)


def document(programs: Sequence[Startable], facts: Facts, units: str = "metric") -> dict[str, Any]:
    """What could be started now, and what is missing for it; what a person says of the tun is taken for granted."""
    said = {"here": True, "attended": True, "hand_c": facts.seen.value_c or 0.0}

    def lacks(course: Course | None = None, **other: object) -> list[str]:
        return list(permissives.missing(facts, Order("start", facts.now, args={**said, **other}, course=course)))

    missing = lacks()

    def more(**other: Any) -> list[str]:
        return [words for words in lacks(**other) if words not in missing]

    return {
        "programs": [one.told | ({"missing": more(course=one.course)} if one.course else {}) for one in programs],
        "missing": missing,
        "unattended": more(attended=False),
        "delayed": more(ready_at=0.0),
        "cautions": list(CAUTIONS),
        "units": units,
    }


def payload(found: Mapping[str, Any], wall_s: float) -> bytes:
    """The message; where it would be too long the last programs stay away, those that cannot run first."""
    programs = list(found["programs"])
    while True:
        made = outgoing.document({"at": round(wall_s, 3), **found, "programs": programs})
        if len(made) <= MOST_BYTES or not programs:
            return made
        del programs[-max(1, len(programs) // 8) :]
