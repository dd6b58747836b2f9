"""May the files that a command is to make be written? Asked before the work, and written after it."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from pathlib import Path

WANTED = "a file that can be written, in a folder that exists"


def problems(named: Iterable[tuple[str, str | None]]) -> list[str]:
    """What stands against each option's file, with option and path? Nothing is made or changed."""
    return [
        f"{option}: found {path!r}{why}, wanted {WANTED}" for option, path in named if (why := _unfit(path)) is not None
    ]


def _unfit(path: str | None) -> str | None:
    """Why not, in brackets where a reason need be given? None: it may be written, or is not asked for."""
    if path is None or not path.strip():
        return path
    if "\0" in path:
        return " (no name that a file can have)"
    try:
        place = Path(path)
        folder = place.parent
        if place.is_dir():
            return " (a folder)"
        if not folder.is_dir():
            return f" (no folder {folder})"
        able = os.access(place, os.W_OK) if place.exists() else os.access(folder, os.W_OK | os.X_OK)
    except OSError as error:
        return f" ({error.strerror})"
    return None if able else " (no permission to write)"


def write(option: str, path: str | None, make: Callable[[Path], object]) -> list[str]:
    """Make the file, where one is asked for. What went wrong all the same, with option and path."""
    if path is None:
        return []
    try:
        make(Path(path))
    except OSError as error:
        return [f"{option}: {path} cannot be written: {error.strerror or error}"]
    return []
