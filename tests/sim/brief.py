"""Which mash is over in half an hour? Linnet with warm liquor, a short rest, a cooler mash-out and a short keep."""

from __future__ import annotations

from pathlib import Path

from controller.edge.files import config_files
from controller.edge.files.program_file import parsed
from controller.plan import plan
from controller.plan.plan import Plan
from controller.settings.service import Settings
from tests.places import CONFIG

SHORT = (('"12 °C"', '"60 °C"'), ('"77 °C"', '"69 °C"'), ('"10 min"', '"2 min"'), ('"2 h"', '"10 min"'))


def text(rest: str) -> str:
    """The program file."""
    said = (CONFIG / "programs" / "linnet.toml").read_text(encoding="utf-8")
    for old, new in (*SHORT, ('"60 min"', f'"{rest}"')):
        assert old in said, old
        said = said.replace(old, new)
    return said


def laid(config: Path, rest: str = "6 min") -> Path:
    """The same configuration, with `brief` among its programs."""
    (config / "programs" / "brief.toml").write_text(text(rest), encoding="utf-8")
    return config


def mash(rest: str = "6 min") -> tuple[Settings, Plan]:
    """Settings and plan on Plover."""
    settings = config_files.settings(CONFIG, "plover")
    return settings, plan.make(parsed("brief", text(rest)), settings.tun)
