"""How does everything that a command says come out in the units chosen?

Streams that rewrite each text on its way out. What is for machines, `--json` and a daemon's lines, does not pass here.
"""

from __future__ import annotations

import argparse
import contextlib
import sys
import tomllib
from typing import Any

from controller.commands.shared.exit_codes import Wrong
from controller.edge.files import config_files
from controller.settings.own_units import WANTED, Own, in_own_units, own
from controller.settings.problems import Problems

__all__ = ["FOR_MACHINES", "WANTED", "argument", "chosen", "tell"]

FOR_MACHINES = frozenset({"serve", "standin", "node", "output-off"})


def argument(parser: argparse.ArgumentParser) -> None:
    """`--units`, for each command that people read."""
    parser.add_argument("--units", metavar="UNITS", help=f"what quantities are told in: {WANTED}")


class _Told:
    """A stream whose text is rewritten; all else is the stream's own."""

    def __init__(self, stream: Any, units: Own) -> None:
        self._stream, self._units = stream, units

    def write(self, text: str) -> int:
        self._stream.write(in_own_units(text, self._units))
        return len(text)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


def tell(units: Own) -> None:
    """From now on what is printed is told in these units."""
    if units:
        sys.stdout, sys.stderr = _Told(sys.stdout, units), _Told(sys.stderr, units)


def chosen(given: str | None, config: str | None) -> Own:
    """Which units: `--units`, else those of service.toml, else metric? Raises Wrong."""
    text = _written(config) if given is None else given
    try:
        return own(text)
    except ValueError as wanted:
        if given is None:
            return {}  # told with all else that is wrong with the file by whoever reads it
        raise Wrong(f"--units: found {text!r}, wanted {wanted}") from None


def _written(config: str | None) -> str:
    """What does service.toml say? Metric where there is none, or none that can be read."""
    with contextlib.suppress(Problems, OSError, ValueError):
        written = tomllib.loads((config_files.config_dir(config) / "service.toml").read_text("utf-8")).get("units")
        return written if isinstance(written, str) else "metric"
    return "metric"
