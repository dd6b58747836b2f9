"""Which slip of the pen is behind a file that is no TOML, or whose keys stand in the wrong block?"""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path
from typing import Any, NamedTuple

from controller.plan.recipe import Grist, Program
from controller.settings.faults_in_words import keys, model_at
from controller.settings.problems import Problem

CURLY = "“”„‟‘’‚«»"  # what a text program makes of straight quotes
EXAMPLE = 'key = "66 °C"'
LISTS = ("grist", "step")  # the blocks that may stand more than once
BLOCKS = ("dough_in", "liquor", "hot_liquor")  # those that may stand before a forgotten header


# ---------------------------------------------------------------- no TOML


def syntax(path: Path, text: str, error: str) -> Problem:
    """Where, found, wanted of a fault in the TOML itself, from what its reader said."""
    why, _, place = error.partition(" (at ")
    number = int(next((word for word in place.replace(",", " ").split() if word.isdigit()), "0"))
    lines = text.splitlines()
    where = f"{path}:{number or text.count(chr(10)) + 1}"
    line = lines[number - 1].strip() if 0 < number <= len(lines) else "the end of the file"
    if why.startswith(("Cannot overwrite", "Cannot declare")):
        return _single(path, lines, line) or _twice(where, lines, number, line)
    return Problem(where, f"{line[:60]!r}", _mended(line, why))


def _single(path: Path, lines: list[str], line: str) -> Problem | None:
    """Was an entry of a list opened with single brackets before? That line is the one to mend."""
    header = _header(line)
    for number, other in enumerate(lines, 1):
        name = _header(other)
        if name is not None and name == header and name in LISTS and not other.strip().startswith("[["):
            return Problem(f"{path}:{number}", f"'[{name}]'", f"[[{name}]], with double brackets")
    return None


def _header(line: str) -> str | None:
    match = re.fullmatch(r"\[{1,2}\s*([\w-]+)\s*\]{1,2}\s*(#.*)?", line.strip())
    return match[1] if match else None


def _twice(where: str, lines: list[str], number: int, line: str) -> Problem:
    """A key or a block a second time: likely the header of a new block was forgotten."""
    if (block := _header(line)) is not None:
        return Problem(where, f"[{block}] a second time", f"one block [{block}] with all its keys")
    key = line.split("=")[0].strip()
    block = next((name for other in reversed(lines[: number - 1]) if (name := _header(other)) is not None), None)
    if block not in (*LISTS, *BLOCKS):
        return Problem(where, f'"{key}" a second time', f"{key} once")
    wanted = f"each key once in a block: is {_forgotten(block, key, lines[number - 1 :])} missing above line {number}?"
    return Problem(where, f'"{key}" twice in this block', wanted)


def _forgotten(block: str | None, key: str, lines: list[str]) -> str:
    """Which header was likely meant to stand above these lines?"""
    end = next((at for at, line in enumerate(lines) if _header(line) is not None), len(lines))
    after = {line.split("=")[0].strip() for line in lines[:end]}
    if block == "grist" and key in ("mass", "volume") and "name" not in after:
        return "[liquor]"
    return "[[grist]]" if block == "grist" and "mass" in after else "[[step]]"


def _mended(line: str, why: str) -> str:
    """What should stand there instead?"""
    bare = line.split("#")[0]
    if any(quote in bare for quote in CURLY):
        return f"straight quotes, such as {EXAMPLE}"
    if bare.count('"') % 2 or why.startswith(("Unterminated", 'Expected "\'"')):
        side = "an opening" if re.match(r'[\w-]+\s*=\s*[^"\s]', bare) else "a closing"
        return f"{side} quote as well, such as {EXAMPLE}"
    return f"TOML such as {EXAMPLE} ({why[:1].lower()}{why[1:]})"


# ---------------------------------------------------------------- keys without their block


class Sorted(NamedTuple):
    """A program's table with the keys of a forgotten block in a block of their own, and what was forgotten."""

    data: dict[str, Any]
    block: str = ""  # the block whose header is missing; empty where none is
    table: tuple[str, ...] = ()  # where its keys stand instead
    lost: tuple[str, ...] = ()  # those keys

    def problems(self, found: Iterable[Problem]) -> list[Problem]:
        """The missing header as one problem, and the others with the places where they stand in the file."""
        if not self.block:
            return list(found)
        what = "a malt" if self.block == "grist" else "a step"
        here = f"in [{self.table[0]}]" if self.table else "above all blocks"
        wanted = f"[[{self.block}]] on the line above them, for they belong to {what}"
        first = Problem(", ".join(self.lost), f"these {here}", wanted, (*self.table, self.lost[0]))
        return [first, *map(self._placed, found)]

    def _placed(self, problem: Problem) -> Problem:
        path = problem.path
        if len(path) < 2 or path[0] != self.block or not isinstance(path[1], int):
            return problem
        return problem._replace(
            path=(self.block, path[1] - 1, *path[2:]) if path[1] else (*self.table, *(path[2:] or self.lost[:1]))
        )


def sort(data: dict[str, Any]) -> Sorted:
    """Is a header [[grist]] or [[step]] missing, so that its keys stand in the block before it?"""
    if {"name", "mass"} <= data.keys():
        known = set(keys(Program)) - {"name"}
        return _sorted(data, (), [key for key in data if key in keys(Grist) and key not in known])
    for block in BLOCKS:
        table, model = data.get(block), model_at(Program, (block,))
        if isinstance(table, dict) and model is not None and "name" in table:
            return _sorted(data, (block,), [key for key in table if key not in keys(model)])
    return Sorted(data)


def _sorted(data: dict[str, Any], table: tuple[str, ...], lost: list[str]) -> Sorted:
    block = "grist" if "mass" in lost else "step"
    inside = data[table[0]] if table else data
    rest = {key: value for key, value in inside.items() if key not in lost}
    whole = {**data, table[0]: rest} if table else rest
    others = whole.get(block, [])
    if not isinstance(others, list):
        return Sorted(data)
    return Sorted({**whole, block: [{key: inside[key] for key in lost}, *others]}, block, table, tuple(lost))
