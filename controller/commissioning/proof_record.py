"""When was this tun last tried out, and does that still count?

The record of `underback tryout`, one file a tun in the data folder: the newest trial rules, passed or not, so that a
failed one takes an older proof away. All trials ever made stand in the history beside it.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, NamedTuple

from controller import __version__
from controller.edge.record.run_header import AHEAD_S
from controller.settings.service import Settings
from controller.settings.tun import Tun

DAY_S = 86400.0
ROLES = ("mash", "second", "outlet")  # of the probes
INTERRUPTED = "interrupted"  # the trial that stands for all that were not tried


class Trial(NamedTuple):
    """One thing tried: what was wanted, what was found."""

    name: str
    passed: bool
    text: str
    value: float | None = None
    limit: float | None = None
    unit: str = ""


def folder(settings: Settings) -> Path:
    """Where do the records of trials lie?"""
    return Path(settings.service.data_dir) / "proof"


def equipment(tun: Tun) -> str:
    """The heater, its line, the switches and the probes' topics as a mark: another one, and the proof is void."""
    parts = (tun.heater, tun.level, tun.flow, tun.stirrer, tun.pump)
    probes = [getattr(tun.probes, role) for role in ROLES]
    said = [part.model_dump_json() if part is not None else "" for part in parts]
    said += [f"{probe.topic} {probe.pointer}" if probe is not None else "" for probe in probes]
    return hashlib.sha256("\n".join(said).encode()).hexdigest()[:16]


def plan(tun: Tun) -> tuple[str, ...]:
    """The trials of this tun, in their order: a proof has every one of them, and no other."""
    probes = [f"{role} probe" for role in ROLES if getattr(tun.probes, role) is not None]
    switches = [name for name in ("level", "flow") if getattr(tun, name) is not None]
    return ("nodes", *probes, "heater on", "heater off", "no heat when off", "lease", *switches, "hard limit", "clear")


def record(settings: Settings, trials: Sequence[Trial], by: str, wall_s: float) -> dict[str, Any]:
    """The trials as a record. Passed only when every trial of the tun's plan ran, and passed."""
    whole = tuple(trial.name for trial in trials) == plan(settings.tun)
    return {
        "tun": settings.tun.name,
        "date": datetime.fromtimestamp(wall_s, UTC).date().isoformat(),
        "at": round(wall_s, 3),
        "by": by,
        "passed": whole and all(trial.passed for trial in trials),
        "simulated": settings.tun.simulated,
        "version": __version__,
        "config_hash": settings.digest,
        "equipment": equipment(settings.tun),
        "trials": [trial._asdict() for trial in trials],
    }


def write(settings: Settings, document: dict[str, Any]) -> Path:
    """Keep a record: the newest in the tun's own file, whole or not at all, and a line in the history."""
    place = folder(settings)
    place.mkdir(parents=True, exist_ok=True)
    path, fresh = place / f"{settings.tun.name}.json", place / f".{settings.tun.name}.new"
    with (place / f"{settings.tun.name}.history.jsonl").open("a", encoding="utf-8") as history:
        history.write(json.dumps(document, ensure_ascii=False) + "\n")
    with fresh.open("w", encoding="utf-8") as file:
        file.write(json.dumps(document, ensure_ascii=False, indent=1) + "\n")
        file.flush()
        os.fsync(file.fileno())
    fresh.replace(path)
    return path


def proof_days(settings: Settings, wall_s: float) -> float | None:
    """How old is the proof test, in days? None where there is none that counts for this tun as it is now."""
    try:
        found = json.loads((folder(settings) / f"{settings.tun.name}.json").read_text("utf-8"))
    except (OSError, ValueError, RecursionError):
        return None
    if not isinstance(found, dict) or found.get("passed") is not True or found.get("tun") != settings.tun.name:
        return None
    if found.get("simulated") is not settings.tun.simulated or found.get("equipment") != equipment(settings.tun):
        return None
    trials = found.get("trials")
    if not isinstance(trials, list) or [t.get("name") for t in trials if isinstance(t, dict)] != [*plan(settings.tun)]:
        return None
    at = found.get("at")
    if not isinstance(at, int | float) or isinstance(at, bool) or not (at <= wall_s + AHEAD_S):
        return None
    return max(0.0, (wall_s - at) / DAY_S)
