"""What was added to a run's record after it: signatures, corrections, remarks, figures measured late?

A file of its own beside the records, one line each, only ever appended. Each line carries a checksum, the hash of the
line before it, and the hash of the run's record as it was then, so that a later change of either shows.
"""

from __future__ import annotations

import fcntl
import hashlib
import os
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Literal, NamedTuple

from controller.edge.record import line_format

Kind = Literal["signature", "correction", "remark", "entry"]
FIRST = "0" * 64


class Amendments(NamedTuple):
    """The lines, and what does not fit."""

    lines: tuple[dict[str, Any], ...]
    problems: tuple[str, ...] = ()


def place(folder: Path, number: int) -> Path:
    """Where do the lines to the run in file `number` stand? Below the records, so that none takes them for one."""
    return folder / "added" / f"{number:08d}.jsonl"


def read(path: Path, runs: Sequence[Path]) -> Amendments:
    """Every line with sound checksum, and each place where chain or record no longer fit. Never raises for content."""
    if not path.is_file():
        return Amendments(())
    lines, problems, before = [], [], FIRST
    for number, raw in enumerate(path.read_bytes().splitlines(), start=1):
        values = line_format.parse(raw)
        if values is None:
            problems.append(f"line {number} of {path.name} is damaged or was changed")
            continue
        if values.get("before") != before:
            problems.append(f"a line before line {number} of {path.name} was changed or taken out")
        if not _still(values, runs):
            problems.append(f"the run's record has changed since {values.get('by')} wrote line {number}")
        before = hashlib.sha256(raw).hexdigest()
        lines.append(values)
    return Amendments(tuple(lines), tuple(problems))


def _still(values: Mapping[str, Any], runs: Sequence[Path]) -> bool:
    """Is the record, as far as it went then, still the same?"""
    try:
        return _hash(runs, int(values["record_bytes"]))[1] == str(values["record_sha256"])
    except (KeyError, TypeError, ValueError):
        return False


def _hash(runs: Sequence[Path], most_bytes: int | None = None) -> tuple[int, str]:
    """Length and SHA-256 of the run's files one after the other, up to so many bytes."""
    data = b"".join(path.read_bytes() for path in runs)
    data = data if most_bytes is None else data[:most_bytes]
    return len(data), hashlib.sha256(data).hexdigest()


def add(
    path: Path,
    runs: Sequence[Path],
    *,
    kind: Kind,
    by: str,
    text: str,
    at_s: float,
    about: str = "",
    data: Mapping[str, Any] | None = None,
) -> dict[str, Any]:
    """Append one line and wait for the disk. Raises OSError. Nothing that stands there is touched."""
    path.parent.mkdir(parents=True, exist_ok=True, mode=0o750)
    fd = os.open(path, os.O_RDWR | os.O_CREAT | os.O_APPEND | os.O_CLOEXEC, 0o640)
    try:
        fcntl.flock(fd, fcntl.LOCK_EX)
        there = path.read_bytes().splitlines()
        length, digest = _hash(runs)
        before = hashlib.sha256(there[-1]).hexdigest() if there else FIRST
        values: dict[str, Any] = {
            "n": len(there),
            "kind": kind,
            "at": round(at_s, 3),
            "by": by,
            "about": about,
            "text": text,
        }
        values |= {"data": dict(data)} if data else {}
        values |= {"record_bytes": length, "record_sha256": digest, "before": before}
        os.write(fd, line_format.line(values))
        os.fsync(fd)
        return values
    finally:
        os.close(fd)
