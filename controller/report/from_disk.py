"""How does a record on disk become a run record?

A run's files (one, or more after a disk failure) are read in order and laid on one time axis (run_time.py). What a
restart or a failure left out is a gap, and damage is said.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise
from pathlib import Path
from typing import Any, NamedTuple

from controller.core.nouns import GOES_IN
from controller.edge.record import line_format
from controller.edge.record.run_time import RunTime
from controller.report import wort
from controller.report.rows import measured
from controller.report.run_record import EventRecord, PlanEntry, RunRecord, Second, StepRecord

GLANCE_BYTES = 1 << 16  # of each end of a file: enough for its header and its last kept state
OURS = ("header", "process", "keep", "sample")  # lines of the record itself; the others are events


class Glance(NamedTuple):
    """What a list of runs tells of one file."""

    path: Path
    number: int
    run: str
    program: str
    title: str
    state: str
    at: float  # unix s of the header
    ran_s: float


def runs(folder: Path) -> list[Glance]:
    """The runs of a tun, oldest first. Only both ends of each file are read."""
    return [
        seen for path in line_format.files(folder) if path.stem.endswith("-run") and (seen := glance(path)) is not None
    ]


def glance(path: Path) -> Glance | None:
    """What run does this file hold? None where it holds none yet."""
    lines = list(_ends(path))
    kept = [e["state"]["run"] for e in lines if e.get("kind") == "keep" and e["state"]["run"].get("course")]
    if not kept:
        return None
    run, header = kept[-1], lines[0]
    began = _began(run, header)
    ended = max((float(e["at"]) for e in lines if "at" in e), default=began)
    course, ran_s = run["course"], max(0.0, (ended - began) * float(header.get("speed", 1.0)))
    number = line_format.number(path)
    return Glance(
        path, number, line_format.begun(run)["id"], course["program"], course["title"], _state(lines), began, ran_s
    )


def _began(run: Mapping[str, Any], header: Mapping[str, Any]) -> float:
    """When did it begin, by the wall clock, s? Else when its file did."""
    return float(line_format.begun(run).get("wall_s") or header.get("at", 0.0))


def _state(lines: Sequence[Mapping[str, Any]]) -> str:
    """The newest state that any line tells."""
    for entry in reversed(lines):
        if entry.get("kind") == "sample":
            return str(entry.get("state", ""))
        if entry.get("kind") == "state":
            return str(entry["id"])
        if entry.get("kind") == "keep":
            return str(entry["state"]["run"]["state"])
    return ""


def _ends(path: Path) -> Iterator[dict[str, Any]]:
    with path.open("rb") as file:
        head = file.read(GLANCE_BYTES)
        end = line_format.written_end(file)
        begin = max(len(head), end - GLANCE_BYTES)
        file.seek(begin)
        tail = file.read(max(0, end - begin))
    for raw in (*head.split(b"\n"), *tail.split(b"\n")):
        if (values := line_format.parse(raw)) is not None:
            yield values


def find(folder: Path, wanted: str) -> list[Glance]:
    """The files of the run that is meant: `last`, a file's number, or the run's name. Empty where there is none."""
    known = runs(folder)
    number = int(wanted) if wanted.isdigit() else None
    named = [seen for seen in known if (seen.run == wanted if number is None else seen.number == number)]
    chosen = known[-1:] if wanted == "last" else named
    return [seen for seen in known if chosen and seen.run == chosen[0].run]


def read(paths: Sequence[Path], power_w: float | None = None, added: Sequence[Mapping[str, Any]] = ()) -> RunRecord:
    """The record of one run from its files, oldest first. `power_w`: of the heater, for the energy.

    Raises OSError where a file cannot be read, ValueError where none of them holds a run.
    """
    records = [line_format.read(path) for path in paths]
    when = RunTime()
    lines = [(when.of(entry), entry) for one in records for entry in one.lines]
    kept = [e["state"]["run"] for _, e in lines if e.get("kind") == "keep" and e["state"]["run"].get("course")]
    if not kept:
        raise ValueError(f"{paths[0].name if paths else 'the record'} holds no run")
    first, last = kept[0], kept[-1]
    course, header = first["course"], records[0].header
    planned = tuple(_planned(leg) for leg in course["legs"])
    rows = [_row(t_s, e) for t_s, e in lines if e.get("kind") == "sample"]
    estimate, mash = wort.follow(rows, course), wort.mashed(rows, course)
    # each sample counts until the next, at most two seconds
    full_power_s = sum((row.duty * min(2.0, after.t_s - row.t_s) for row, after in pairwise(rows)), 0.0)
    return RunRecord(
        title=course["title"],
        tun=str(header.get("tun", course["tun"])),
        program=course["program"],
        run=line_format.begun(first)["id"],
        state=last["state"],
        rows=rows,
        planned=planned,
        steps=_steps(rows, [_planned(leg) for leg in last["course"]["legs"]], planned, lines),
        events=tuple(_happening(t_s, e) for t_s, e in lines if "seq" in e and e.get("kind") not in OURS),
        enzymes=estimate.columns,
        prediction=estimate.prediction,
        profile=mash.profile,
        marks=mash.marks,
        malt=course.get("malt"),
        meta=_meta(course, header, first),
        began_s=_began(first, header),
        energy_kwh=None if power_w is None else round(full_power_s * power_w / 3.6e6, 3),
        speed=float(header.get("speed", 1.0)),
        grist_kg=float(course.get("grist_kg") or 0.0),
        liquor_kg=course.get("liquor_kg"),
        landing_c=course.get("landing_c"),
        planned_s=course.get("planned_s"),
        added=tuple(added),
        damage="; ".join(one.damage for one in records if one.damage),
    )


def _planned(leg: Mapping[str, Any]) -> PlanEntry:
    known = {key: leg[key] for key in PlanEntry._fields if key in leg}
    mixing_s = float(leg.get("mixing_s", 0.0)) if leg["kind"] in GOES_IN else 0.0
    comes = line_format.comes(leg)
    return PlanEntry(**{**known, "addition_kg": comes["kg"], "addition_c": comes["hot_c"], "mixing_s": mixing_s})


def _row(t_s: float, entry: Mapping[str, Any]) -> Second:
    mash_c, setpoint_c, target_c = (entry.get(key) for key in ("mash_c", "setpoint_c", "target_c"))
    duty, step = float(entry.get("duty") or 0.0), int(entry.get("leg", -1))
    phase, state = str(entry.get("phase", "")), str(entry.get("state", ""))
    return Second(round(t_s, 2), mash_c, setpoint_c, target_c, duty, step, phase, state)


def _happening(t_s: float, entry: Mapping[str, Any]) -> EventRecord:
    kind, key, text, unit = (str(entry.get(name, "")) for name in ("kind", "id", "text", "unit"))
    value, limit, priority = entry.get("value"), entry.get("limit"), int(entry.get("priority") or 3)
    return EventRecord(round(t_s, 2), kind, key, text, value, limit, unit, priority, entry.get("data") or {})


def _steps(
    rows: Sequence[Second], ended: Sequence[PlanEntry], planned: Sequence[PlanEntry], lines: Sequence[tuple[float, Any]]
) -> tuple[StepRecord, ...]:
    """Each step by its samples against the target that it had in the end; planned time is that of the plan."""
    credited: dict[int, float] = {}
    for _, entry in lines:
        if entry.get("kind") == "sample" and "credited_s" in entry:
            index = int(entry["leg"])
            credited[index] = max(credited.get(index, 0.0), float(entry["credited_s"]))
        elif entry.get("kind") == "step done":
            credited[int(entry["data"]["index"])] = float(entry["data"]["credited_s"])
    return tuple(
        step._replace(
            planned_s=plan.hold_s,
            credited_s=credited.get(index, 0.0),
            asked_s=None if abs(step.planned_s - plan.hold_s) < 0.5 else step.planned_s,
        )
        for index, (step, plan) in enumerate(zip(measured(rows, ended), planned, strict=True))
    )


def _meta(course: Mapping[str, Any], header: Mapping[str, Any], first: Mapping[str, Any]) -> dict[str, str]:
    found = {"Started by": str(line_format.begun(first).get("by") or "–"), "Liquor": f"{course['liquor_kg']:.1f} kg"}
    if course["grist_kg"]:
        found["Grist"] = f"{course['grist_kg']:.1f} kg ({course['liquor_kg'] / course['grist_kg']:.2f} L/kg)"
    return {
        **found,
        "Program digest": str(course["digest"]),
        "Configuration": str(header.get("config", ""))[:16],
        "Version": str(header.get("version", "")),
    }
