"""What do the brewery's own measured worts say of the model, and where is that kept?

A list of past batches, each with its measured limit attenuation, is read from a file; what the fit finds is recorded in
the data folder, to be read and deleted by hand. The estimate uses it wherever a program is planned.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

from pydantic import Field

from controller.brewing.kinetics import calibration
from controller.brewing.kinetics.calibration import Calibration, Implausible
from controller.edge.files import config_files
from controller.plan.recipe import Text
from controller.settings.faults_in_words import read
from controller.settings.problems import Problem, Problems
from controller.settings.service import Service
from controller.settings.table import Quantity, Table

FILE = "learned-worts.toml"  # beside the folder of learned tuns, so that no tun's name can clash with it
BATCHES_MOST = 200


class Measured(Table):
    """One past batch: where its temperatures stand, and what was measured."""

    run: Text = ""  # a record of this machine: its number or name, or "last"
    program: Text = ""  # or a program, taken as planned
    tun: Text = ""
    limit_attenuation: Annotated[float, Quantity("share", 0.2, 0.95)]  # apparent, of the fermented-out sample
    note: Text = ""


class Batches(Table):
    """The whole list."""

    batch: Annotated[tuple[Measured, ...], Field(min_length=1, max_length=BATCHES_MOST)]


def load(service: Service) -> Calibration | None:
    """What was recorded of the brewery's worts; None where nothing was. Raises Problems."""
    path = record_path(service)
    if not config_files.there(path):
        return None
    data, _ = config_files.table(path)
    try:
        return calibration.from_record(data)
    except Implausible as wrong:
        wanted = "as `underback compose --calibrate` wrote it, or no such file"
        raise Problems([Problem(str(path), problem, wanted) for problem in wrong.problems]) from None


def load_if_sound(service: Service) -> Calibration | None:
    """The same, but None where the record is spoiled: no mash waits for an estimate. `check` says what is wrong."""
    return config_files.tried([], lambda: load(service))


def record_path(service: Service) -> Path:
    """Where does the calibration stand?"""
    return Path(service.data_dir) / FILE


def load_batches(path: Path) -> tuple[Measured, ...]:
    """The past batches of a file. Raises Problems, every one at once."""
    data, text = config_files.table(path)
    value, problems = read(Batches, data, _agree)
    if value is None or problems:
        raise Problems([config_files.at_line(problem, path, text) for problem in problems])
    return value.batch


def _agree(batches: Batches) -> list[Problem]:
    problems = []
    for at, one in enumerate(batches.batch):
        if bool(one.run) == bool(one.program):
            found = "both a run and a program" if one.run else "neither a run nor a program"
            problems.append(Problem(f"batch {at + 1}", found, 'either run = "12" or program = "linnet"', ("batch", at)))
    return problems


def save(service: Service, found: Calibration, batches: Sequence[Measured], on: str) -> Path:
    """Record the calibration with the worts it rests on. `on`: the day. Raises OSError."""
    from controller.edge.files.program_file import toml_value  # only where they are written: few commands write

    path = record_path(service)
    path.parent.mkdir(parents=True, exist_ok=True)
    lines = [
        "# How the estimate of the wort was brought to the brewery's own measured worts. Delete the file to undo it.",
        f"on = {toml_value(on)}",
        *(f"{key} = {toml_value(value)}" for key, value in found.as_record().items()),
    ]
    for one in batches:
        lines += ["", "[[batch]]"]
        figures = {"run": one.run, "program": one.program, "tun": one.tun, "note": one.note}
        named = {key: value for key, value in figures.items() if value}
        named["limit_attenuation"] = f"{100 * one.limit_attenuation:g} %"
        lines += [f"{key} = {toml_value(value)}" for key, value in named.items()]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path
