"""Which run on record is meant, and whose is it?"""

from __future__ import annotations

from pathlib import Path

from controller.commands.shared.exit_codes import Wrong
from controller.edge.files import config_files
from controller.edge.record import reader
from controller.report import from_disk
from controller.report.from_disk import Glance
from controller.settings.service import Settings


def tuns(config: str | None, name: str | None) -> list[Settings]:
    """The settings of one tun, or of all. Raises Problems."""
    folder = config_files.config_dir(config)
    names = [name] if name is not None else config_files.names(folder / "tuns")
    return [config_files.settings(folder, one) for one in names]


def run_on_record(config: str | None, tun: str | None, wanted: str) -> tuple[Settings, list[Glance]]:
    """The run that is meant, by number, name or file, and whose it is. Raises Wrong, Problems."""
    if (file := Path(wanted)).is_file():
        return _of_file(config, tun, file.resolve())
    found = []
    for settings in tuns(config, tun):
        folder = reader.record_folder(settings)
        if folder.is_dir() and (glances := from_disk.find(folder, wanted)):
            found.append((settings, glances))
    if not found:
        raise Wrong(f"RUN: found {wanted!r}, wanted a run on record; `underback runs` lists them")
    if len(found) > 1 and wanted != "last":
        names = ", ".join(settings.tun.name for settings, _ in found)
        raise Wrong(f"RUN: found {wanted!r} on several tuns, wanted --tun with one of {names}")
    return max(found, key=lambda one: one[1][0].at)


def _of_file(config: str | None, tun: str | None, file: Path) -> tuple[Settings, list[Glance]]:
    """The run in a file of a record, wherever it lies: that of a demo, or a copy. Raises Wrong, Problems."""
    seen = from_disk.glance(file)
    if seen is None:
        raise Wrong(f"RUN: {file} holds no run")
    settings = config_files.settings(config_files.config_dir(config, simulated=True), tun or file.parent.name)
    there = settings.service.model_copy(update={"data_dir": str(file.parent.parent.parent)})
    return settings._replace(service=there), from_disk.find(file.parent, seen.run)
