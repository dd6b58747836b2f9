"""What goes on record at the start of a run, beside the program itself?

The advice as it was given then, with the reason where the brewer did not follow it; the malt lots; the calibration of
every probe in force. Read off the beat together with the program; nothing here can stop a start.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from controller.core.nouns import Event
from controller.edge.files import config_files
from controller.plan import kettle
from controller.plan.advise import advise
from controller.plan.plan import Plan
from controller.settings.problems import Problems
from controller.settings.service import Settings
from controller.settings.tun import Probe, Tun


def at_start(config: Path, plan: Plan, settings: Settings, wall_s: float) -> tuple[Event, ...]:
    """The events that file advice, malt and calibration of this run."""
    filed = (*_advice(config, plan, settings, wall_s), *_malt(plan), *_beakers(plan), *_expected(plan))
    return (*filed, *_calibrations(settings))


def _advice(config: Path, plan: Plan, settings: Settings, wall_s: float) -> Iterator[Event]:
    """Each piece of advice: rule, level, what; and the reason where it was overruled."""
    try:
        changes = config_files.load_advice(config)
    except Problems as wrong:
        told = "; ".join(str(problem) for problem in wrong.problems)
        yield Event("note", "advice", f"the brewery's own advice cannot be read, the usual one is filed: {told}"[:1000])
        changes = {}
    for said in advise(plan, changes, calibration_age_days=advised_days(settings.tun, wall_s)):
        advice = said.advice
        data = {"level": advice.level, "what": advice.text, "mend": advice.mend, "overruled": said.overruled}
        yield Event("advice", advice.rule, f"{advice.level} {advice.rule}: {advice.text}", data=data)


def _malt(plan: Plan) -> Iterator[Event]:
    """Each line of the grist with its lot and the figures of its sheet."""
    for line in plan.program.all_grist:
        lot = f", lot {line.lot}" if line.lot else ", lot not known"
        ground = {} if plan.program.grind is None else {"grind": plan.program.grind}
        data = line.model_dump(mode="json") | ground
        yield Event("malt", line.name, f"{line.mass_kg:g} kg {line.name}{lot}", data=data)


def _beakers(plan: Plan) -> Iterator[Event]:
    """Each beaker of a laboratory's bath by its number, weighed to 0.01 g."""
    for number, one in enumerate(plan.program.beaker, 1):
        text = f"beaker {number}: {1000.0 * one.grist_kg:.2f} g, {one.grind}, lot {one.lot or 'not known'}"
        yield Event("beaker", str(number), text, data=one.model_dump(mode="json"))


def _expected(plan: Plan) -> Iterator[Event]:
    """What is to be got of liquor and wort, so that the record can compare; nothing of a run with water alone."""
    if not plan.program.grist:
        return
    found: dict[str, float | None] = {"liquor_kg": round(plan.liquor_kg, 2), "first_wort_p": plan.first_wort_p}
    found["added_kg"] = round(sum(stage.comes.liquor_kg for stage in plan.stages), 2)
    try:
        wort = kettle.expected(plan.program, plan.tun)
    except ValueError:
        wort = None
    if wort is not None and plan.program.wanted is not None:
        got = wort.got
        found |= {"kettle_l": got.volume_l, "kettle_p": got.wort_p, "extract_kg": got.extract_kg}
        found |= {"lauter_share": wort.lauter_share, "conversion_share": plan.program.wanted.conversion}
    rounded = {key: None if value is None else round(value, 4) for key, value in found.items()}
    yield Event("expected", "wort", "what is to be got of liquor and wort", data=rounded)


def _calibrations(settings: Settings) -> Iterator[Event]:
    for role, probe in _fitted(settings.tun):
        found = in_force(settings, role, probe)
        yield Event("calibration", role, _words(role, found), data=found)


def _fitted(tun: Tun) -> list[tuple[str, Probe]]:
    probes = tun.probes
    fitted = (("mash", probes.mash), ("second", probes.second), ("outlet", probes.outlet))
    return [(role, probe) for role, probe in fitted if probe is not None]


def not_own(settings: Settings) -> list[str]:
    """A sentence for each probe with a date of calibration that no `calibrate` of this tun wrote."""
    return [
        f"{role} probe: no calibration of {settings.tun.name} of {probe.calibrated_on} with these figures is on "
        "record; figures copied with a tun file are not its own"
        for role, probe in _fitted(settings.tun)
        if probe.calibrated_on is not None and _who(settings, role, probe) is None
    ]


def in_force(settings: Settings, role: str, probe: Probe) -> dict[str, Any]:
    """Date, both points, the offset at 0 °C and at mash temperature (K), and who did it, where the history says so."""
    return {
        **constants(probe),
        "offset_ice_k": round(probe.calibrated(0.0), 3) + 0.0,
        "offset_at_65_k": round(probe.calibrated(MASH_C) - MASH_C, 3),
        "by": _who(settings, role, probe),
    }


def constants(probe: Probe) -> dict[str, Any]:
    """The date and the points of a calibration, °C."""
    points = {"raw_ice_c": probe.raw_ice_c, "raw_boil_c": probe.raw_boil_c, "boil_c": round(probe.boil_c, 3)}
    return {"calibrated_on": probe.calibrated_on, **points}


def _who(settings: Settings, role: str, probe: Probe) -> str | None:
    """Who made the calibration that stands in the tun file? None where its history does not tell."""
    path = history(settings, role)
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except (OSError, ValueError):
        return None
    return next((by for line in reversed(lines) if (by := _signed(line, probe)) is not None), None)


def _signed(line: str, probe: Probe) -> str | None:
    """The name in a line of the history, where its date and points are those of the tun file."""
    try:
        said = json.loads(line)
        new = said["new"]
        points = ((new["raw_ice_c"], probe.raw_ice_c), (new["raw_boil_c"], probe.raw_boil_c))
        same = said["date"] == probe.calibrated_on and all(abs(a - b) <= 0.006 for a, b in points)  # file: 0.01 °C
        return str(said["by"]) if same else None
    except (ValueError, KeyError, TypeError):
        return None


def _words(role: str, found: dict[str, Any]) -> str:
    points = f"ice {found['raw_ice_c']:g} °C, boil {found['raw_boil_c']:g} °C for {found['boil_c']:g} °C"
    if found["calibrated_on"] is None:
        return f"{role} probe: no calibration on record; constants in force: {points}"
    if not found["by"]:
        own = "but no `calibrate` of this tun wrote that, so it may be another probe's"
        return f"{role} probe: the tun file says calibrated on {found['calibrated_on']}, {own}: {points}"
    return f"{role} probe calibrated on {found['calibrated_on']} by {found['by']}: {points}"


AHEAD_S = 3600.0  # a record from so far in the future was written by a wrong clock
MASH_C = 65.0  # where errors matter


def history(settings: Settings, role: str) -> Path:
    """Where do a probe's calibrations stand, one line each?"""
    return Path(settings.service.data_dir) / "calibration" / f"{settings.tun.name}-{role}.jsonl"


def advised_days(tun: Tun, wall_s: float) -> float | None:
    """By which age does the advice go? A simulated probe needs no checking."""
    return 0.0 if tun.simulated else age_days(tun.probes.mash, wall_s)


def age_days(probe: Probe, wall_s: float) -> float | None:
    """How old is the calibration that is in force, in days? None: never calibrated, or a date that cannot be."""
    if probe.calibrated_on is None:
        return None
    try:
        then = datetime.fromisoformat(probe.calibrated_on).replace(tzinfo=UTC).timestamp()
    except ValueError:
        return None
    return None if then > wall_s + AHEAD_S + 86400.0 else max(0.0, (wall_s - then) / 86400.0)
