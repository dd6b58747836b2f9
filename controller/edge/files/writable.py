"""Can the data folder and the files that a command is to make be written? Asked before the work, written after it."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from pathlib import Path

from controller.edge.files import config_files
from controller.settings.problems import Problem, Problems

FILE_WANTED = "a file that can be written, in a folder that exists"


def file_problems(named: Iterable[tuple[str, str | None]]) -> list[str]:
    """What stands against each option's file, with option and path? Nothing is made or changed."""
    return [
        f"{option}: found {path!r}{why}, wanted {FILE_WANTED}"
        for option, path in named
        if (why := _unfit(path)) is not None
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


FOLDER_WANTED = "a folder that can be written"


def folder_problems(config: Path) -> tuple[Problem, ...]:
    """What is wrong with the data folder of service.toml, placed there? Makes the folder where it is missing."""
    try:
        service = config_files.load_service(config, "data_dir")
    except Problems as wrong:
        return wrong.problems
    why = unusable(service.data_dir)
    if not why:
        return ()
    path = config / "service.toml"
    found = f'"{service.data_dir[:200]}"{why}'.rstrip().replace("\0", "\\u0000")
    text = config_files.content(path) if path.exists() else ""
    return (config_files.at_line(Problem("data_dir", found, FOLDER_WANTED, ("data_dir",)), path, text),)


def unusable(folder: str) -> str:
    """Why can nothing be kept in this folder, in brackets? A blank where no reason need be given, nothing when it can.

    A full disk is no reason: the record says that itself, and a run that is on must be taken up.
    """
    if not folder.strip():
        return " "
    try:
        path = Path(folder)
        path.mkdir(parents=True, exist_ok=True)
    except FileExistsError as error:
        return f" ({error.filename} is no folder)"
    except ValueError as error:
        return f" ({error})"
    except OSError as error:
        return f" ({error.strerror})"
    return "" if os.access(path, os.W_OK | os.X_OK) else " (no permission to write)"
