"""Write a rest program from five answers, so that `check` takes it and a person can go on from there.

The file speaks the units chosen, as everything else does.

underback program new mymash        asks: tun, malts, aim, rests, liquor
underback program new mymash --tun plover --malts "11 lb pale malt, 8 oz crystal" --aim dry --rests 2 --liquor "4 gal"
"""

from __future__ import annotations

import argparse
import re
import textwrap
import tomllib
from pathlib import Path
from typing import Literal, NamedTuple

from controller.brewing import units
from controller.brewing.step_purpose import reason_for_step
from controller.commands.shared import own_streams, terminal
from controller.commands.shared.exit_codes import DONE, Wrong
from controller.edge.files import config_files, grain_names, program_file, writable
from controller.plan import plan, recipe_checks
from controller.plan.recipe import Program
from controller.settings.faults_in_words import read
from controller.settings.own_units import in_own_units
from controller.settings.problems import Problem, Problems
from controller.settings.tun import Tun

AIMS = ("dry", "balanced", "full")
SINGLE_C = {"dry": 65.0, "balanced": 66.0, "full": 68.0}  # 65 to 68 °C for an hour (common practice)
LONG_MIN = {"dry": 45, "balanced": 35, "full": 20}  # at 63 °C, before 72 (common practice)
LOW_C, MALTOSE_C, SUGAR_C, OUT_C = 52.0, 63.0, 72.0, 77.0  # common practice


class Rest(NamedTuple):
    """One rest to write."""

    name: str
    kind: Literal["rest", "mash_out"]
    temperature_c: float
    minutes: int


class Answers(NamedTuple):
    """What the brewer said."""

    tun: Tun
    grist: list[dict[str, object]]
    aim: str
    rests: int
    liquor: str


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("what", choices=("new",), help="new: write a program")
    parser.add_argument("name", metavar="NAME", help="of the file programs/NAME.toml")
    parser.add_argument("--tun", help="a tun below tuns/")
    parser.add_argument("--malts", help='such as "5 kg pale malt, 300 g wheat malt"; a lot below malts/ by its name')
    parser.add_argument("--aim", help=f"one of {', '.join(AIMS)}")
    parser.add_argument("--rests", help="1, 2 or 3 before mash-out")
    parser.add_argument("--liquor", help='such as "15 kg", "4 gal", "3 L/kg" or "1.5 qt/lb"')


def run(args: argparse.Namespace) -> int:
    """0: written; 2: it cannot be, and nothing is."""
    config = config_files.config_dir(args.config)
    path = config / "programs" / f"{args.name}.toml"
    if not args.name.replace("-", "").replace("_", "").isalnum() or path.exists():
        found = "there already" if path.exists() else "no name for a file"
        raise Wrong(f"NAME: found {args.name!r}, which is {found}; wanted a new name of letters and digits")
    answers = _asked(args, config)
    text = in_own_units(written(args.name, answers), own_streams.chosen(args.units, args.config))
    made = plan.make(_read(config, args.name, text), answers.tun)
    if made.problems:
        raise Problems(made.problems)
    if problems := writable.write("NAME", str(path), lambda to: _write(to, text)):
        raise Wrong(*problems)
    print(f"{path} is written: change what you like, then underback check {args.name}, and dryrun {args.name}")
    return DONE


def _read(config: Path, name: str, text: str) -> Program:
    """The program that stands there, its lots' figures with it. Raises Problems."""
    data = config_files.with_malts(config, tomllib.loads(text))
    program, problems = read(Program, {**data, "name": name}, recipe_checks.agree)
    if program is None or problems:
        raise Problems(problems)
    return program


def _write(to: Path, text: str) -> None:
    to.write_text(text, encoding="utf-8")


def _asked(args: argparse.Namespace, config: Path) -> Answers:
    """Each answer from the command line, else from the person. Raises Wrong or Problems with all that is wrong."""
    tuns = config_files.names(config / "tuns")
    questions = {
        "tun": f"Which tun ({', '.join(tuns)})?",
        "malts": 'Which malts, such as "5 kg pale malt, 1 lb wheat malt"?',
        "aim": f"What beer ({', '.join(AIMS)})?",
        "rests": "How many rests before mash-out (1, 2 or 3)?",
        "liquor": 'How much liquor, such as "15 kg", "4 gal" or "3 L/kg"?',
    }
    said = {key: getattr(args, key) for key in questions}
    for key in [key for key in questions if not said[key]]:
        try:
            said[key] = terminal.answered(questions[key])
        except Wrong:
            unsaid = (key for key in questions if not said[key])
            raise Wrong(*(f"--{key}: found nothing, wanted: {questions[key]}" for key in unsaid)) from None
    wrong: list[Problem] = []
    tun = config_files.tried(wrong, lambda: config_files.load_tun(config, said["tun"]))
    grist, kg = _grist(said["malts"], config_files.names(config / "malts"), wrong)
    if said["aim"] not in AIMS:
        wrong.append(Problem("aim", f'"{said["aim"][:40]}"', f"one of {', '.join(AIMS)}"))
    if said["rests"] not in ("1", "2", "3"):
        wrong.append(Problem("rests", f'"{said["rests"][:40]}"', "1, 2 or 3"))
    liquor = _liquor(said["liquor"], kg, wrong)
    if tun is None or wrong:
        raise Problems(wrong)
    return Answers(tun, grist, said["aim"], int(said["rests"]), liquor)


_MASS = re.compile(r"((?:[\d.]+\s*[a-z]+\s+)+)(\S.*)", re.IGNORECASE)  # "11 lb 4 oz pale malt"
NEAREST = 'a mass and a name, such as "5 kg pale malt"'


def _grist(text: str, lots: list[str], wrong: list[Problem]) -> tuple[list[dict[str, object]], float]:
    """The malts: a mass and a name each, or a mass and a lot; with their mass in all, kg."""
    found: list[dict[str, object]] = []
    total_kg = 0.0
    for part in (part.strip() for part in text.split(",")):
        mass, name = match.groups() if (match := _MASS.fullmatch(part)) else ("", part)
        try:
            total_kg += units.quantity("mass", mass)
        except units.NotAQuantity:
            wrong.append(Problem("malts", f'"{part[:60]}"', NEAREST))
            continue
        found.append({**_kind(name, lots, wrong), "mass": mass.strip()})
    return found, total_kg


def _kind(name: str, lots: list[str], wrong: list[Problem]) -> dict[str, object]:
    """A malt by its lot's file, else by a name whose kind is certain."""
    if name in lots:
        return {"lot": name}
    line = grain_names.grain(name, 0.0, {}, "malts", wrong)
    return {key: line[key] for key in ("name", "kind", "flaked") if line[key]}


def _liquor(text: str, grist_kg: float, wrong: list[Problem]) -> str:
    """The line of the file: mass, volume, or so much a kilogram of grist."""
    kinds: tuple[tuple[units.Kind, str], ...] = (("mass", "mass"), ("volume", "volume"), ("thickness", ""))
    for kind, key in kinds:
        try:
            amount = units.quantity(kind, text)
        except units.NotAQuantity:
            continue
        return f'{key} = "{text}"' if key else f'mass = "{amount * grist_kg:.2f} kg"  # {text}'
    wrong.append(Problem("liquor", f'"{text[:40]}"', 'such as "15 kg", "4 gal", "3 L/kg" or "1.5 qt/lb"'))
    return ""


def rests(aim: str, count: int) -> list[Rest]:
    """Which rests make such a wort, in order?"""
    if count == 1:
        found = [Rest("conversion", "rest", SINGLE_C[aim], 60)]
    else:
        found = [Rest("maltose rest", "rest", MALTOSE_C, LONG_MIN[aim]), Rest("saccharification", "rest", SUGAR_C, 20)]
    if count == 3:
        found.insert(0, Rest("low rest", "rest", LOW_C, 10))
    return [*found, Rest("mash-out", "mash_out", OUT_C, 10)]


SHEET = '# moisture = "4 %"          # figures of the malt sheet, or lot = "..." of a file in malts/'


def written(name: str, said: Answers) -> str:
    """The file."""
    value = program_file.toml_value
    written_by = f"# {name}: written by `underback program new` from five answers; every line may be changed."
    lines = [program_file.SCHEMA, written_by, ""]
    lines += [f"title = {value(name)}", f"aim = {value(said.aim)}", f"tun = {value(said.tun.name)}"]
    for line in said.grist:
        lines += ["", "[[grist]]", *(f"{key} = {value(here)}" for key, here in line.items())]
        lines += [] if "lot" in line else [SHEET]
    lines += ["", "[liquor]", said.liquor, 'temperature = "12 °C"       # measure it', "", "[dough_in]"]
    lines += ['strike = "auto"', 'grist_temperature = "18 °C" # measured that morning']
    hottest_c = 0.0
    for rest in rests(said.aim, said.rests):
        lines += ["", *_step(rest, hottest_c)]
        hottest_c = max(hottest_c, rest.temperature_c)
    lines += ["", "# Kept warm until somebody takes over.", "[[step]]", 'name = "keep"', 'kind = "keep"']
    return "\n".join([*lines, 'time = "2 h"']) + "\n"


def _step(rest: Rest, hottest_c: float) -> list[str]:
    """One step, below what it is for."""
    why = reason_for_step(rest.kind, rest.temperature_c, 60.0 * rest.minutes, hottest_c)
    comment = textwrap.wrap(why, program_file.WIDTH, initial_indent="# ", subsequent_indent="# ")
    keys = {"name": rest.name, "kind": rest.kind, "temperature": f"{rest.temperature_c:g} °C"}
    written = [f"{key} = {program_file.toml_value(here)}" for key, here in keys.items()]
    return [*comment, "[[step]]", *written, f'time = "{rest.minutes} min"']
