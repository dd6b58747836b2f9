"""Where is what the tests read, and how does a test get a brewery of its own?"""

from __future__ import annotations

import shutil
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
CONFIG = ROOT / "config"


def own_config(folder: Path, data_dir: str | None = None) -> Path:
    """Where is a copy of the shipped configuration, to spoil, with a data folder of its own beside it?"""
    config = Path(shutil.copytree(CONFIG, folder / "config", ignore=shutil.ignore_patterns("panel")))
    service, own = config / "service.toml", str(folder / "data") if data_dir is None else data_dir
    service.write_text(service.read_text(encoding="utf-8").replace('data_dir = "data"', f'data_dir = "{own}"'))
    return config


def edited(path: Path, *changes: tuple[str, str], to: Path | None = None) -> str:
    """What does a file say (or its copy `to`) once each of these words, which must stand there, is replaced?"""
    text = path.read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text, f"{old!r} does not stand in {path.name}: the change tests nothing"
        text = text.replace(old, new)
    (to or path).write_text(text, encoding="utf-8")
    return text
