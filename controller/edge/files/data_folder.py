"""Can the data folder be written? Asked before anything is begun that is to be kept there."""

from __future__ import annotations

import os
from pathlib import Path

from controller.edge.files import config_files
from controller.settings.problems import Problem, Problems

WANTED = "a folder that can be written"


def problems(config: Path) -> tuple[Problem, ...]:
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
    return (config_files.at_line(Problem("data_dir", found, WANTED, ("data_dir",)), path, text),)


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
