"""Do two tuns of one configuration listen or speak on one topic?

A tun file that was copied and not changed throughout would have two controllers command one heater, or one probe speak
for two tuns.
"""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

from controller.edge.files import config_files
from controller.messages.topics import topics
from controller.settings.problems import Problem, Problems
from controller.settings.service import Service, Settings
from controller.settings.tun import Tun


class Shared(NamedTuple):
    """A topic that another tun of the same folder has too."""

    key: str  # where it stands in the tun file
    topic: str
    other: str
    hot: bool  # the heater's commands


def shared(config: Path, tun: Tun) -> tuple[Shared, ...]:
    """Which topics of this tun are another's too? A tun file that is wrong tells nothing. Raises
    Problems where the service file is wrong."""
    found: list[Shared] = []
    service = config_files.load_service(config)
    mine = _of(service, tun)
    for name in config_files.names(config / "tuns"):
        if name == tun.name:
            continue
        try:
            theirs = set(_of(service, config_files.load_tun(config, name)).values())
        except Problems:
            continue
        found += [Shared(key, t, name, key == "heater: command_topic") for key, t in mine.items() if t in theirs]
    return tuple(found)


def refused(config: Path, tun: Tun) -> tuple[Problem, ...]:
    """The shared topics as problems where two controllers would command one heater."""
    path = config / "tuns" / f"{tun.name}.toml"
    wanted = "a heater of its own: two would command it"
    hot = [one for one in shared(config, tun) if one.hot]
    return tuple(Problem(f"{path}: {one.key}", f'"{one.topic}", as for tun {one.other}', wanted) for one in hot)


def _of(service: Service, tun: Tun) -> dict[str, str]:
    """The topics that lead to things at the tun, by their keys."""
    all_of = topics(Settings(tun, service, ""))
    outputs = {
        "heater: command_topic": all_of.heater_command,
        "heater: report_topic": all_of.heater_report,
        "level: topic": all_of.level,
        "flow: topic": all_of.flow,
        "stirrer: topic": all_of.stirrer_command,
        "pump: topic": all_of.pump_command,
    }
    probes = {f"probes: {role}: topic": topic for role, topic in all_of.probes}
    return {key: topic for key, topic in {**probes, **outputs}.items() if topic}
