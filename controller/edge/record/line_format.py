"""What does a run's record on disk say?

One file a run, one JSON object a line; each line ends with a CRC-32 of what stands before it and carries its number `n`
within the file. A line cut short at the very end was being written when the power went: it is dropped and said. Zeros
after the last line are room that the writer keeps ahead of itself. Any other damage locks: nothing is guessed over a
hole.
"""

from __future__ import annotations

import json
import zlib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, BinaryIO, NamedTuple

MARK = b',"crc":"'
TAIL = len(MARK) + 8 + 2  # the mark, eight hex digits, `"}`
LOOK_BYTES = 64 * 1024
LOOK_BACK = 6  # files searched for the last event and the highest owner epoch


def line(values: Mapping[str, Any]) -> bytes:
    """A record as one line, checksum last. Values must be plain JSON."""
    body = json.dumps(values, ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode()[:-1]
    return b'%s%s%08x"}\n' % (body, MARK, zlib.crc32(body))


def begun(run: Mapping[str, Any]) -> Mapping[str, Any]:
    """What is kept of a run's beginning? Records of before checkpoint's FORMAT 9 have it among the run's own fields."""
    older = {"id": run.get("run_id", ""), "by": run.get("by"), "wall_s": run.get("started_wall_s")}
    return run.get("begun") or older


def comes(leg: Mapping[str, Any]) -> Mapping[str, Any]:
    """What came in at a step, or was drawn off? Records of before FORMAT 10 have it among the step's own fields."""
    same = {key: leg[key] for key in ("pull_kg_per_kg", "boil_off_kg", "thin_p") if key in leg}
    return leg.get("comes") or {"kg": leg.get("addition_kg", 0.0), "hot_c": leg.get("addition_c"), **same}


def parse(raw: bytes) -> dict[str, Any] | None:
    """The values of a line without its newline; None when the checksum does not fit."""
    body, mark = raw[:-TAIL], raw[-TAIL : -TAIL + len(MARK)]
    if mark != MARK or raw[-2:] != b'"}' or raw[-10:-2] != b"%08x" % zlib.crc32(body):
        return None
    try:
        values = json.loads(raw)
    except ValueError:
        return None
    return values if isinstance(values, dict) else None


class Record(NamedTuple):
    """One file read back."""

    path: Path
    header: dict[str, Any]
    lines: list[dict[str, Any]]  # the header is the first
    good_bytes: int  # up to here the file is sound
    torn: int  # bytes of a line cut short that were dropped after it; zeros are room kept for more, nothing lost
    damage: str  # why the file cannot be trusted; empty when it can

    def of(self, *kinds: str) -> Iterator[dict[str, Any]]:
        """The lines of these kinds."""
        return (entry for entry in self.lines if entry.get("kind") in kinds)


def read(path: Path) -> Record:
    """The whole record of one file. Never raises for what stands in it; OSError when it cannot be read at all."""
    return scan(path, path.read_bytes())


def scan(path: Path, data: bytes) -> Record:
    """The same from bytes."""
    lines: list[dict[str, Any]] = []
    good, at, damage = 0, 0, ""
    while at < len(data) and not damage:
        end = data.find(b"\n", at)
        raw = data[at : end if end >= 0 else len(data)]
        values, sound = parse(raw), len(raw)
        if values is None and end < 0:
            values, sound = parse(raw[:-1]), len(raw) - 1  # only the newline itself was hurt
        if values is not None and values.get("n") == len(lines):
            lines.append(values)
            good = end + 1 if end >= 0 else at + sound
            at = end + 1 if end >= 0 else len(data)
        elif _torn(data[at:]):
            break
        else:
            damage = f"record {len(lines)} of {path.name} is damaged"
    if not damage and (not lines or lines[0].get("kind") != "header"):
        damage = "" if len(lines) == 0 else f"{path.name} does not begin with its header"
    return Record(path, lines[0] if lines else {}, lines, good, len(data[good:].rstrip(b"\0")), damage)


def _torn(rest: bytes) -> bool:
    """Is this what a power cut leaves: one last line without its end, or room that was never filled?"""
    body = rest.rstrip(b"\0")
    return b"\n" not in body and MARK not in body[:-TAIL]


def written_end(file: BinaryIO) -> int:
    """Where does what was written end, before the room that is kept? Looks from the end, block by block."""
    at = file.seek(0, 2)
    while at > 0:
        begin = max(0, at - LOOK_BYTES)
        file.seek(begin)
        if found := file.read(at - begin).rstrip(b"\0"):
            return begin + len(found)
        at = begin
    return 0


def files(folder: Path) -> list[Path]:
    """All record files of a tun, oldest first."""
    return sorted(p for p in folder.glob("*-*.jsonl") if p.name.split("-")[0].isdigit())


def number(path: Path) -> int:
    """The file's running number."""
    return int(path.name.split("-")[0])


class Stamp(NamedTuple):
    """When was a line written, on the clocks that can tell how long ago?"""

    at: float  # unix s
    up_s: float  # since boot
    boot_id: str
    confirmed: bool = False  # was the wall clock in step?


class Found(NamedTuple):
    """What the record tells a process that starts."""

    seq: int = 0  # last event
    epoch: int = 0  # highest owner epoch
    kept: dict[str, Any] | None = None  # what must survive, brought up to the last sample
    kept_at: Stamp | None = None
    header: Mapping[str, Any] = {}
    starts: tuple[Stamp, ...] = ()  # of processes that went on with the run
    end: Stamp | None = None  # of the last line from when a process was in charge of the run
    torn: int = 0
    damage: str = ""
    path: Path | None = None  # the file that tells
    good_bytes: int = 0
    lines: int = 0


def find(folder: Path) -> Found:
    """What does the record of this tun say? Damage in what tells is said, never skipped.

    The newest file with a kept state tells. A newer one without, in which the power went between header and state or
    which is damaged, adds its damage.
    """
    looked: list[Record] = []
    for path in reversed(files(folder)):
        if len(looked) >= LOOK_BACK and any(_keeps(record) for record in looked):
            break
        looked.append(read(path))
    return _found(looked) if looked else Found()


def _keeps(record: Record) -> bool:
    return any(True for _ in record.of("keep"))


def _found(looked: list[Record]) -> Found:
    """`looked`: newest first."""
    index = next((n for n, record in enumerate(looked) if _keeps(record)), None)
    newer = looked if index is None else looked[: index + 1]
    last = newer[-1] if index is not None else next((r for r in looked if r.lines or r.damage), looked[0])
    every = [entry for record in looked for entry in record.lines]
    stamps = list(_stamps(last))
    kept_at = next((stamp for entry, stamp, _ in reversed(stamps) if entry.get("kind") == "keep"), None)
    return Found(
        seq=max((int(e["seq"]) for e in every if isinstance(e.get("seq"), int)), default=0),
        epoch=max((int(e["epoch"]) for e in every if isinstance(e.get("epoch"), int)), default=0),
        kept=_kept(last),
        kept_at=kept_at,
        header=last.header,
        starts=tuple(stamp for entry, stamp, _ in stamps if entry.get("kind") == "process"),
        end=next((stamp for _, stamp, in_charge in reversed(stamps) if in_charge), None),
        torn=sum(record.torn for record in newer),
        damage=next((record.damage for record in newer if record.damage), ""),
        path=last.path,
        good_bytes=last.good_bytes,
        lines=len(last.lines),
    )


def _stamps(record: Record) -> Iterator[tuple[dict[str, Any], Stamp, bool]]:
    """Each stamped line, when it was written, and was a process in charge of the run then?

    Not from its first line in the file until it keeps a state that is no more pending.
    """
    boot, in_charge = "", False
    for entry in record.lines:
        kind = entry.get("kind")
        if kind in ("header", "process"):
            boot, in_charge = str(entry.get("boot_id", "")), False
        elif kind == "keep":
            in_charge = entry["state"].get("pending") is not True
        if "at" in entry and "up" in entry:
            yield entry, Stamp(float(entry["at"]), float(entry["up"]), boot, bool(entry.get("confirmed"))), in_charge


def _kept(record: Record) -> dict[str, Any] | None:
    """The last kept state, with step, credit and temperature of the samples that came after it."""
    index = next((i for i in range(len(record.lines) - 1, -1, -1) if record.lines[i].get("kind") == "keep"), None)
    if index is None:
        return None
    kept: dict[str, Any] = record.lines[index]["state"]
    run = kept.get("run")
    progress = run.get("progress") if isinstance(run, dict) else None
    for sample in record.lines[index + 1 :]:
        if sample.get("kind") != "sample" or not isinstance(run, dict) or not isinstance(progress, dict):
            continue
        kept["last_c"] = sample.get("mash_c", kept.get("last_c"))
        if sample.get("leg") == run.get("leg"):
            progress["credited_s"] = max(progress.get("credited_s", 0.0), sample.get("credited_s", 0.0))
    return kept
