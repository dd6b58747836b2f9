"""What does a recipe in one of the open exchange formats mean as a rest program?

The open JSON recipe standard (BeerJSON, MIT licence, read at version 1.0.2) and the open XML one (BeerXML 1.0, 2004;
facts only). Mashes map, with the grain that belongs to them; what does not map is said by name in the program's notes.
A standard's mash is a list of setpoints: limits, tolerances and cut-offs stay in our own files.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from controller.edge.files import recipe_json, recipe_xml
from controller.edge.files.recipe_mash import RecipeStep, Sheet
from controller.plan import recipe_checks
from controller.plan.recipe import Program
from controller.settings.faults_in_words import read
from controller.settings.problems import Problem, Problems

MOST_BYTES = 1024 * 1024

_TAKEN = ("infusion", "temperature", "decoction")


def load(path: Path) -> Program:
    """The file as a program. Raises Problems, every one at once."""
    raw = _bytes(path)
    sheet, problems = (recipe_xml if path.suffix.lower() == ".xml" else recipe_json).sheet(raw)
    if sheet is None:
        raise Problems(_placed(path, problems))
    data = _program(path, sheet)
    value, more = read(Program, data, recipe_checks.agree)
    if problems or more or value is None:
        raise Problems(_placed(path, [*problems, *more]))
    return value


def _bytes(path: Path) -> bytes:
    try:
        size = path.stat().st_size
        if size > MOST_BYTES:
            raise Problems([Problem(str(path), f"{size / 1e6:.1f} MB", f"at most {MOST_BYTES // 1024} kB")])
        return path.read_bytes()
    except OSError as error:
        raise Problems([Problem(str(path), str(error.strerror), "a file that can be read")]) from None


def _placed(path: Path, problems: list[Problem]) -> list[Problem]:
    return [p._replace(where=f"{path}: {p.where}" if p.where else str(path)) for p in problems]


def _program(path: Path, sheet: Sheet) -> dict[str, Any]:
    """The sheet as our own table, in text with units, so that it is checked like any other file."""
    grist_kg = sum(line["kg"] for line in sheet.grist)
    data: dict[str, Any] = {
        "name": "".join(c if c.isalnum() or c in "-_" else "-" for c in path.stem.lower())[:60] or "recipe",
        "title": sheet.title[:200] or path.stem[:200],
        "grist": [
            {
                "name": line["name"],
                "mass": f"{line['kg']:.6f} kg",
                "kind": line["kind"],
                "flaked": line["flaked"],
                **line["sheet"],
            }
            for line in sheet.grist
        ],
        "step": [],
        "notes": sheet.notes,
    }
    if sheet.grain_c is not None and sheet.grist:
        data["dough_in"] = {"grist_temperature": _c(sheet.grain_c)}
    data["liquor"] = _liquor(sheet, grist_kg)
    used: set[str] = set()
    before_c: float | None = None
    for line in sheet.lines:
        if line.kind not in _TAKEN:
            sheet.notes.append(f"{line.place} {line.name!r} of type {line.kind!r} is not run: this tun only mashes")
            continue
        data["step"] += _steps(line, before_c, used, sheet.notes)
        before_c = line.temperature_c if line.temperature_c is not None else before_c
    data["notes"] = [note[:200] for note in sheet.notes[:40]]
    return data


def _c(value_c: float) -> str:
    return f"{value_c:.4f}".rstrip("0").rstrip(".") + " °C"


def _liquor(sheet: Sheet, grist_kg: float) -> dict[str, str]:
    """The liquor of the first step: its amount, else its thickness times the grain."""
    first = sheet.lines[0] if sheet.lines else None
    if first is not None and first.amount_l is not None and first.amount_l > 0:
        return {"volume": f"{first.amount_l:.3f} L"}
    if first is not None and first.ratio_l_per_kg is not None and grist_kg > 0:
        return {"volume": f"{first.ratio_l_per_kg * grist_kg:.3f} L"}
    return {}


def _steps(line: RecipeStep, before_c: float | None, used: set[str], notes: list[str]) -> list[dict[str, Any]]:
    """One step of the standard: a rest, after an addition where the liquor or the decoction brings the heat."""
    name = _unused(line.name, used)
    step: dict[str, Any] = {"name": name, "kind": "rest"}
    if line.temperature_c is not None:
        step["temperature"] = _c(line.temperature_c)
    if line.time_s is not None:
        step["time"] = f"{line.time_s:.0f} s"
    if line.ramp_s and before_c is not None and line.temperature_c is not None and line.temperature_c > before_c:
        step["ramp"] = f"{(line.temperature_c - before_c) / line.ramp_s * 60:.6f} K/min"
    notes += [f"{line.place} {line.name!r}: {key} does not map and is left out" for key in line.extra]
    if line.kind == "temperature" or before_c is None:
        return [step]
    notes.append(f"{line.place} {line.name!r}: the amount of the {line.kind} is worked out for this tun")
    addition = {"name": _unused(f"{line.kind} for {line.name}", used), "kind": line.kind}
    if "temperature" in step:
        addition["temperature"] = step["temperature"]
    step.pop("ramp", None)
    return [addition, step]


def _unused(name: str, used: set[str]) -> str:
    base, count = (name.strip() or "step")[:60], 1
    wanted = base
    while wanted.casefold() in used:
        count += 1
        wanted = f"{base} {count}"
    used.add(wanted.casefold())
    return wanted
