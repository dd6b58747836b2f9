"""Can the data folder and the files that a command is to make be written? Asked before the work, written after it."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path

from controller.edge.files import config_files
from controller.settings.problems import Problem, Problems

FILE_WANTED = "a file that can be written, in a folder that exists"
FOLDER_WANTED = "a folder that can be written"


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
        _whole(Path(path), make)
    except OSError as error:
        return [f"{option}: {path} cannot be written: {error.strerror or error}"]
    return []


def _whole(place: Path, make: Callable[[Path], object]) -> None:
    """Make it beside its place and put it there once it is whole: on a full disk the old file is still the old one.

    A device, a pipe, a link, and what lies in a folder that takes no new file, are written as they are.
    """
    odd = place.is_symlink() or (place.exists() and not place.is_file())
    if odd or not os.access(place.parent, os.W_OK | os.X_OK):
        make(place)
        return
    fresh = place.with_name(f".{place.name[:200]}.{os.getpid()}")
    try:
        make(fresh)
        if place.exists():
            shutil.copymode(place, fresh)
        fresh.replace(place)
    finally:
        fresh.unlink(missing_ok=True)


def lay(what: str, folder: Path, files: Mapping[str, Path | str]) -> None:
    """Fill a new or empty folder with these files, copies or texts: all of them, or none. Raises Problems."""
    new = not folder.exists()
    try:
        for name, content in files.items():
            place = folder / name
            place.parent.mkdir(parents=True, exist_ok=True)
            place.write_text(content, encoding="utf-8") if isinstance(content, str) else shutil.copy(content, place)
    except OSError as error:
        begun = [folder] if new else list(folder.iterdir())
        for path in filter(Path.exists, begun):
            shutil.rmtree(path) if path.is_dir() else path.unlink()
        reason = error.strerror or error
        raise Problems([Problem(what, f"{str(folder)!r} ({reason})", FOLDER_WANTED)]) from None


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
