"""Which figures of its malts does a program take from the lots' own files?"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from controller.edge.files import config_files
from controller.plan.malt_lot import MaltLot
from controller.plan.malt_lot import filled as with_sheet
from controller.settings.faults_in_words import read
from controller.settings.problems import Problems


def filled(config: Path, data: dict[str, Any]) -> dict[str, Any]:
    """The program's table with each grist line completed from `malts/LOT.toml`, where its lot has such a file.

    Where both hold a figure and they differ, the program's counts, and its notes say so. Raises Problems.
    """
    lines, notes = data.get("grist"), data.get("notes", [])
    if not isinstance(lines, list) or not isinstance(notes, list):
        return data
    done, said = [], []
    for line in lines:
        path = _sheet(config, line)
        if path is not None:
            line, differs = _completed(path, line)
            said += differs
        done.append(line)
    return {**data, "grist": done, **({"notes": [*notes, *said]} if said else {})}


def _sheet(config: Path, line: object) -> Path | None:
    """The file of this line's lot, where there is one."""
    lot = line.get("lot") if isinstance(line, dict) else None
    if not isinstance(lot, str) or lot not in config_files.names(config / "malts"):
        return None
    return config / "malts" / f"{lot}.toml"


def _completed(path: Path, line: dict[str, Any]) -> tuple[dict[str, Any], list[str]]:
    sheet, text = config_files.table(path)
    lot, problems = read(MaltLot, sheet, lambda _: ())
    if lot is None or problems:
        raise Problems([config_files.at_line(problem, path, text) for problem in problems])
    return with_sheet(line, lot, sheet)
