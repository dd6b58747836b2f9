"""The record on disk: every line proves itself, a torn end is dropped, a hole locks."""

from __future__ import annotations

import itertools
import json
import zlib
from pathlib import Path
from random import Random
from typing import Any

import pytest

from controller.edge.record import line_format


def lines(count: int = 12) -> list[bytes]:
    values: list[dict[str, Any]] = [{"n": 0, "kind": "header", "at": 1.0, "up": 1.0, "boot_id": "b", "epoch": 4}]
    values += [
        {"n": n, "kind": "event", "seq": n, "text": f"Ereignis {n} °C", "at": n, "up": n} for n in range(1, count)
    ]
    return [line_format.line(v) for v in values]


WHOLE = b"".join(lines())
PATH = Path("00000001-run.jsonl")


def test_a_line_is_plain_json_and_carries_its_checksum() -> None:
    """Any JSON reader can read it; the CRC-32 (as in zlib and gzip) is that of everything before it."""
    line = line_format.line({"n": 3, "text": "63 °C"})
    values = json.loads(line)
    assert values["text"] == "63 °C"
    body = line.split(line_format.MARK)[0]
    assert values["crc"] == f"{zlib.crc32(body):08x}"
    assert line_format.parse(line[:-1]) == values
    # CRC-32/ISO-HDLC of the nine digits (catalogue of parametrised CRC algorithms)
    assert f"{zlib.crc32(b'123456789'):08x}" == "cbf43926"


def test_a_whole_file_is_read_whole() -> None:
    """All lines, nothing torn, nothing damaged."""
    got = line_format.scan(PATH, WHOLE)
    assert (len(got.lines), got.torn, got.damage, got.good_bytes) == (12, 0, "", len(WHOLE))
    assert got.header["epoch"] == 4


def test_cut_at_any_byte_loses_the_torn_line_only() -> None:
    """Whatever length is left, the lines that are whole are read and the rest is dropped and said, never damage."""
    ends = [0, *itertools.accumulate(map(len, lines()))]
    for cut in range(len(WHOLE) + 1):
        got = line_format.scan(PATH, WHOLE[:cut])
        whole = sum(end <= cut for end in ends[1:])
        without_newline = cut + 1 in ends
        torn = 0 if without_newline else cut - ends[whole]
        assert (len(got.lines), got.damage, got.torn) == (whole + without_newline, "", torn), cut


def test_any_flipped_bit_is_damage_or_leaves_every_line_as_it_was() -> None:
    """Every bit of the file flipped in turn: never another content, and no line is dropped in silence."""
    clean = line_format.scan(PATH, WHOLE).lines
    for byte in range(len(WHOLE)):
        for bit in range(8):
            data = bytearray(WHOLE)
            data[byte] ^= 1 << bit
            got = line_format.scan(PATH, bytes(data))
            assert got.lines == clean[: len(got.lines)]
            assert got.damage or len(got.lines) == len(clean), (byte, bit)


def test_room_that_was_never_filled_is_a_torn_end() -> None:
    """Zeros after the last line are room, nothing lost; a line cut short before them is; a line after is damage."""
    zeros = line_format.scan(PATH, WHOLE + b"\0" * 4096)
    assert (len(zeros.lines), zeros.torn, zeros.damage) == (12, 0, "")
    short = line_format.scan(PATH, WHOLE[:-5] + b"\0" * 4096)
    assert (len(short.lines), short.torn, short.damage) == (11, len(lines()[-1]) - 5, "")
    first, rest = WHOLE[:200], WHOLE[200:]
    hole = line_format.scan(PATH, first + b"\0" * 50 + rest[50:])
    assert hole.damage


@pytest.mark.parametrize("room", [0, 1, 70_000, 200_000])
def test_the_end_of_what_was_written_is_found_before_any_room(room: int, tmp_path: Path) -> None:
    """Zeros of any length behind the lines are passed over; a file of zeros alone has its end at its beginning."""
    (tmp_path / "lines").write_bytes(WHOLE + bytes(room))
    with (tmp_path / "lines").open("rb") as file:
        assert line_format.written_end(file) == len(WHOLE)
    (tmp_path / "zeros").write_bytes(bytes(room))
    with (tmp_path / "zeros").open("rb") as file:
        assert line_format.written_end(file) == 0


def test_lines_that_are_whole_but_out_of_order_are_damage() -> None:
    """A hole is found by the line numbers even when every checksum fits: a line missing, twice, two swapped, no
    header; a power cut leaves one line cut short; a newline lost between the last two is a hole, not a torn end."""
    parts = lines()
    for changed in (
        parts[:5] + parts[6:],
        parts[:5] + parts[4:],
        [*parts[:5], parts[6], parts[5], *parts[7:]],
        parts[1:],
        [*parts[:-2], parts[-2][:-1], parts[-1][:-1]],
    ):
        assert line_format.scan(PATH, b"".join(changed)).damage


def test_a_thousand_random_damages_never_raise_and_never_invent(tmp_path: Path) -> None:
    """Several wounds at once: what is read is always a beginning of what was written."""
    clean, rng = line_format.scan(PATH, WHOLE).lines, Random(5)
    for _ in range(1000):
        data = bytearray(WHOLE)
        for _ in range(rng.randint(1, 4)):
            at = rng.randrange(len(data))
            wound = rng.choice(("flip", "zero", "cut", "insert"))
            if wound == "flip":
                data[at] ^= 1 << rng.randrange(8)
            elif wound == "zero":
                data[at : at + 64] = b"\0" * len(data[at : at + 64])
            elif wound == "cut":
                del data[at : at + rng.randint(1, 80)]
            else:
                data[at:at] = bytes(rng.randrange(256) for _ in range(rng.randint(1, 20)))
            data = data or bytearray(b"x")
        got = line_format.scan(PATH, bytes(data))
        assert got.lines == clean[: len(got.lines)]


def write(folder: Path, name: str, *values: dict[str, Any]) -> Path:
    path = folder / name
    path.write_bytes(b"".join(line_format.line({"n": n, **v}) for n, v in enumerate(values)))
    return path


HEAD = {"kind": "header", "at": 100.0, "up": 50.0, "boot_id": "b1", "epoch": 2}
KEEP = {
    "kind": "keep",
    "at": 110.0,
    "up": 60.0,
    "state": {"last_c": 50.0, "run": {"leg": 1, "progress": {"credited_s": 30.0}}},
}


def test_the_newest_file_tells_and_older_ones_add_sequence_and_epoch(tmp_path: Path) -> None:
    """Last event sequence and highest epoch are the highest of the last files; the state is the newest file's."""
    write(tmp_path, "00000001-run.jsonl", HEAD | {"epoch": 9}, {"kind": "event", "seq": 70, "at": 1, "up": 1})
    path = write(tmp_path, "00000002-run.jsonl", HEAD, KEEP, {"kind": "event", "seq": 12, "at": 111.0, "up": 61.0})
    found = line_format.find(tmp_path)
    assert (found.seq, found.epoch, found.path, found.lines) == (70, 9, path, 3)
    assert found.end == line_format.Stamp(111.0, 61.0, "b1", False)


def test_samples_after_the_kept_state_bring_it_up_to_date(tmp_path: Path) -> None:
    """Credit and temperature follow the samples of the same step; credit never falls."""
    told = ((1, 34.0, 51.0), (1, 33.0, 52.0), (2, 99.0, 52.5))
    samples = [{"kind": "sample", "leg": leg, "credited_s": s, "mash_c": c, "at": 1, "up": 1} for leg, s, c in told]
    write(tmp_path, "00000001-run.jsonl", HEAD, KEEP, *samples)
    found = line_format.find(tmp_path)
    assert found.kept is not None
    assert (found.kept["run"]["progress"]["credited_s"], found.kept["last_c"]) == (34.0, 52.5)


def test_a_file_cut_off_while_it_was_created_is_passed_over(tmp_path: Path) -> None:
    """Power went before the new file had a line: the file before it tells; an empty folder, or none, says nothing and
    is no damage."""
    for nothing in (tmp_path, tmp_path / "none"):
        assert line_format.find(nothing) == line_format.Found()
    path = write(tmp_path, "00000001-run.jsonl", HEAD, KEEP)
    (tmp_path / "00000002-idle.jsonl").write_bytes(b"")
    assert line_format.find(tmp_path).path == path


def test_starts_into_the_run_are_counted_from_its_own_file(tmp_path: Path) -> None:
    """Each process that went on in the file left a line."""
    process = {"kind": "process", "at": 120.0, "up": 70.0, "boot_id": "b2"}
    write(tmp_path, "00000001-run.jsonl", HEAD, KEEP, process, process)
    found = line_format.find(tmp_path)
    assert found.starts == (line_format.Stamp(120.0, 70.0, "b2"),) * 2
