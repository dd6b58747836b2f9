"""How is a rest program written as a file that `check` accepts?"""

from __future__ import annotations

import json
import textwrap
import tomllib
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from controller.brewing.compose.proposal import ProposedRest
from controller.plan import recipe_checks
from controller.plan.recipe import DoughIn, Grist, Liquor, Program
from controller.settings.faults_in_words import read
from controller.settings.problems import Problems
from controller.settings.table import Quantity, Table, show

WIDTH = 110
SCHEMA = "#:schema ../schemas/program.json"  # where editors of TOML look for what may stand in a file


class Base(NamedTuple):
    """All of a program but its title, aim and steps."""

    tun: str
    grist: tuple[Grist, ...]
    liquor: Liquor
    liquor_mass_kg: float
    dough_in: DoughIn = DoughIn()
    enzyme: bool = False
    starch_enzyme: bool = False
    people: tuple[str, ...] = ()
    ramp_k_per_s: float | None = None  # upper limit of every rise; None: the tun's own


def text(base: Base, title: str, aim: str | float, steps: Sequence[ProposedRest], remarks: Sequence[str]) -> str:
    """The file. `aim` in words, or an apparent attenuation limit in %; `remarks` stand at its head."""
    lines = [SCHEMA]
    for remark in remarks:
        lines += textwrap.wrap(remark, WIDTH, initial_indent="# ", subsequent_indent="#   ")
    head = {"title": title, "aim": aim if isinstance(aim, str) else f"{aim:g} %", "tun": base.tun}
    lines += ["", *(f"{key} = {toml_value(value)}" for key, value in head.items())]
    lines += ["enzyme = true"] * base.enzyme + ["starch_enzyme = true"] * base.starch_enzyme
    lines += [f"people = {toml_value(list(base.people))}"] if base.people else []
    for line in base.grist:
        lines += ["", "[[grist]]", *_keys(line)]
    lines += ["", "[liquor]", *_keys(base.liquor)]
    dough_in = list(_keys(base.dough_in))
    lines += ["", "[dough_in]", *dough_in] if dough_in else []
    for at, step in enumerate(steps):
        lines += ["", "[[step]]", *_step(step, base.ramp_k_per_s if at else None)]
    return "\n".join(lines) + "\n"


def parsed(name: str, written: str) -> Program:
    """The program that such a file holds, read as any other. Raises Problems."""
    program, problems = read(Program, {**tomllib.loads(written), "name": name}, recipe_checks.agree)
    if program is None or problems:
        raise Problems(problems)
    return program


def _keys(table: Table) -> Iterator[str]:
    """Every key that was set, quantities with their unit."""
    for name in type(table).model_fields:
        field, here = type(table).model_fields[name], getattr(table, name)
        if name not in table.model_fields_set or here is None:
            continue
        mark = next((item for item in field.metadata if isinstance(item, Quantity)), None)
        plain = here if mark is None or mark.kind == "number" else show(mark.kind, here)
        yield f"{field.alias or name} = {toml_value(plain)}"


def _step(step: ProposedRest, ramp_k_per_s: float | None) -> Iterator[str]:
    yield f"name = {toml_value(step.name)}"
    yield f"kind = {toml_value(step.kind)}"
    yield f"temperature = {toml_value(show('temperature', step.temperature_c))}"
    yield f"time = {toml_value(show('duration', step.hold_s))}"
    if ramp_k_per_s is not None and step.kind != "keep":
        yield f"ramp = {toml_value(show('rate', ramp_k_per_s))}"


def toml_value(plain: object) -> str:
    """Text, a number, yes or no, or a list of texts: written in TOML as in JSON, but for the delete character."""
    return json.dumps(plain, ensure_ascii=False, allow_nan=False).replace("\x7f", "\\u007f")
