"""What does the record tell whoever comes late: the curve of the newest run, and what happened last?

Read line by line beside the beat, for the screens alone; a line that is damaged is left out here and judged elsewhere
(reader.py).
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from controller.edge.clock import Clock, boot_id
from controller.edge.record import line_format, reader
from controller.edge.record.run_time import RunTime
from controller.messages import outgoing
from controller.messages.history import MOST_EVENTS, Curve, Past, Sample


def recall(folder: Path, clock: Clock) -> Past:
    """The newest run, with what happened since it began. Raises OSError."""
    run, paths = _newest(line_format.files(folder))
    curve, when = Curve(run), RunTime()
    events: deque[tuple[int, bytes]] = deque(maxlen=MOST_EVENTS)
    for path in paths:
        for line in _lines(path):
            t_s = when.of(line)
            if line.get("kind") == "sample":
                curve.add(t_s, _sample(line))
            elif isinstance(seq := line.get("seq"), int):
                told = {key: line[key] for key in outgoing.EVENT_KEYS if key in line}
                events.append((seq, outgoing.document(told)))
    began = clock.now() - when.at(reader.stamp(clock), boot_id())
    return Past(curve if run else None, began, tuple(events))


def _newest(files: list[Path]) -> tuple[str, list[Path]]:
    """The newest run, and all files from its first on; a disk that failed has split it into several."""
    run, first = "", max(0, len(files) - line_format.LOOK_BACK)
    for index in range(len(files) - 1, -1, -1):
        if not files[index].stem.endswith("-run"):
            continue
        found = next(filter(None, map(_run_of, _lines(files[index]))), "")
        if run and found != run:
            break
        run, first = found, index
    return run, files[first:]


def _run_of(line: dict[str, Any]) -> str:
    return str(line_format.begun(line["state"]["run"])["id"]) if line.get("kind") == "keep" else ""


def _lines(path: Path) -> Iterator[dict[str, Any]]:
    with path.open("rb") as file:
        yield from filter(None, (line_format.parse(raw.rstrip(b"\n")) for raw in file))


def _sample(line: dict[str, Any]) -> Sample:
    return Sample(line.get("mash_c"), line.get("setpoint_c"), line.get("target_c"), float(line.get("duty") or 0.0))
