"""Which tun's daemon does a command speak to, and as which of the broker's users?

The tun that is named, else the only one, else the one wished for (a program's own), else the only one whose daemon
says on the broker that it is there. People speak as the broker's operator: where `operator/service.toml` stands in the
configuration and may be read, its [broker] is used in place of the daemon's.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
from collections.abc import Mapping, Sequence
from pathlib import Path

from controller.edge.files import config_files, writable
from controller.edge.mqtt import requests
from controller.messages.topics import topics
from controller.settings.problems import Problem, Problems, gathered
from controller.settings.service import Service, Settings


def reach(config: str | None, tun: str | None, wished: str = "", *, data: bool = False) -> tuple[Path, Settings]:
    """The files, checked, for a command that speaks to a running daemon. Raises Problems, all at once.

    `data`: the data folder is needed too, to be written.
    """
    folder = config_files.config_dir(config)
    problems = [*writable.folder_problems(folder)] if data else []
    settings = gathered(problems, lambda: _settings(folder, tun, wished))
    if problems or settings is None:
        raise Problems(dict.fromkeys(problems))
    return folder, settings


def meant(config: str | None, tun: str | None) -> list[str]:
    """Which tuns does a command look at: the one named, else all there are? Raises Problems where there is none."""
    folder = config_files.config_dir(config)
    known = config_files.names(folder / "tuns")
    return [tun] if tun else known if len(known) > 1 else [config_files.only_tun(folder)]


def people(config: str | None) -> Service:
    """The broker as people reach it. Raises Problems."""
    return _service(config_files.config_dir(config))


def served(config: str | None, tun: str | None) -> list[str]:
    """As `meant`, but the only one whose daemon answers where only one does; a broker that is ill does not matter."""
    names = meant(config, tun)
    there = list[str]()
    if len(names) > 1:
        with contextlib.suppress(requests.NoAnswer, Problems):
            service = people(config)
            there = asyncio.run(requests.answering(service, requests.daemons(service, names)))
    return there if len(there) == 1 else names


def worked_at(config: str | None, tun: str | None) -> str:
    """The tun that is named, else the only one, else the only one whose daemon or nodes answer. Raises Problems."""
    if len(names := meant(config, tun)) == 1:
        return names[0]
    folder, service = config_files.config_dir(config), people(config)
    said_on = requests.daemons(service, names)
    for name in names:
        with contextlib.suppress(Problems):  # told by whoever reads it: the tun that is meant may be another
            known = topics(config_files.settings(folder, name, learned=False))
            said_on |= dict.fromkeys((known.probes[0][1], known.probe_online, known.heater_online), name)
    return _only(service, said_on, names)


def _only(service: Service, said_on: Mapping[str, str], known: Sequence[str]) -> str:
    try:
        there = asyncio.run(requests.answering(service, said_on))
        why = f"{' and '.join(there)} answer" if there else "no daemon answers"
    except requests.NoAnswer as silent:
        there, why = [], str(silent)
    if len(there) == 1:
        return there[0]
    wanted = f"one of {', '.join(known)}: add --tun {(there or known)[0]}"
    raise Problems([Problem("--tun", f"nothing ({why})", wanted)])


def _settings(folder: Path, tun: str | None, wished: str) -> Settings:
    if tun or wished in config_files.names(folder / "tuns"):
        config_files.settings(folder, tun or wished, learned=False)  # what is wrong with tun and service, in one answer
    service = _service(folder)
    settings = config_files.settings(folder, tun or _tun(folder, service, wished), learned=False)
    return settings._replace(service=service)


def to_any(config: str | None, tun: str | None) -> tuple[Path, Service, str]:
    """Folder, broker and name of the tun, whatever else is wrong with the files. Raises Problems."""
    folder = config_files.config_dir(config)
    service = _service(folder, "broker", "prefix")
    return folder, service, tun or _tun(folder, service, "")


def _service(folder: Path, *keys: str) -> Service:
    """The service, or these keys of it, with the operator's access to the broker where there is one."""
    service, people = config_files.load_service(folder, *keys), folder / "operator"
    if not os.access(people / "service.toml", os.R_OK):
        return service
    return service.model_copy(update={"broker": config_files.load_service(people, "broker").broker})


def _tun(folder: Path, service: Service, wished: str) -> str:
    """Which tun, where none is named? Raises Problems when that cannot be told."""
    known = config_files.names(folder / "tuns")
    if len(known) <= 1 or wished in known:
        return wished if wished in known else config_files.only_tun(folder)
    return _only(service, requests.daemons(service, known), known)
