"""What is asked of `compose`, read strictly: every problem at once, each with its option."""

from __future__ import annotations

import argparse
import difflib
import math
import re
from pathlib import Path
from typing import Annotated, Any, NamedTuple

from pydantic import Field

from controller.brewing import heat, volumes
from controller.brewing.compose import choice
from controller.brewing.kinetics.calibration import Calibration
from controller.commands.compose.scaled import scaled
from controller.commands.shared.exit_codes import Wrong
from controller.core.control.climb import power_w
from controller.edge.files import config_files, measured_worts, plan_by_name
from controller.edge.files.program_file import Base
from controller.plan.feasible import MOST_FILL
from controller.plan.recipe import Grist, Liquor, Program
from controller.plan.stages import liquor_kg, mixing_s
from controller.settings.faults_in_words import read
from controller.settings.problems import Problem, Problems
from controller.settings.service import Settings
from controller.settings.table import Quantity, Table
from controller.settings.tun import Tun

AIMS = ("dry", "balanced", "full")
THICKNESS_L_PER_KG = 3.0  # of a default grist: common practice
FILL = 0.75  # of the tun's volume, by a default grist (own proposal: room for stirring)
SLOWEST_K_PER_S = 0.05 / 60.0  # as in a program file
NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,63}").fullmatch


class Asked(Table):
    """The options that are quantities. Each is called as on the command line."""

    limit: Annotated[float | None, Quantity("share", 0.4, 0.95)] = None
    grist_kg: Annotated[float | None, Quantity("mass", 0.01, 10_000)] = None
    liquor_kg: Annotated[float | None, Quantity("mass", 0.5, 20_000)] = None
    extract: Annotated[float | None, Quantity("share", 0.6, 0.9)] = None
    malt_limit: Annotated[float | None, Quantity("share", 0.4, 0.95)] = None
    most_time_s: Annotated[float, Quantity("duration", 1800, 28_800)] = 9000.0
    most_energy: Annotated[float | None, Quantity("energy", 0.01, 10_000)] = None
    most_rests: Annotated[int, Field(ge=1, le=3)] = 3
    ramp_k_per_s: Annotated[float | None, Quantity("rate", SLOWEST_K_PER_S, 5 / 60)] = None
    low_rest_c: Annotated[float | None, Quantity("temperature", *choice.LOW_REST_C)] = None
    low_rest_time_s: Annotated[float, Quantity("duration", 300, 7200)] = 900.0
    pick: Annotated[int, Field(ge=1)] = 1
    scale_l: Annotated[float | None, Quantity("volume", 0.5, 20_000)] = None


class Given(NamedTuple):
    """All that was asked, ready for the search."""

    settings: Settings
    base: Base
    wish: choice.Wish
    bounds: choice.Bounds
    brewery: Calibration | None
    write: Path | None
    pick: int

    def figures(self) -> choice.TunFigures:
        """What the tun can do with this mash in it."""
        tun, base = self.settings.tun, self.base
        return choice.TunFigures(
            capacity_j_per_k=_capacity_j_per_k(tun, base),
            power_w=power_w(tun),
            loss_w_per_k=tun.loss_w_per_k,
            room_c=tun.room_c,
            climb_c_per_min=60.0 * (base.ramp_k_per_s or tun.climb_k_per_s),
            hottest_c=tun.guard.hard_limit_c - 2.0,
            open_w_per_k=tun.open_w_per_k,
            open_s=tun.mashing_in_s(sum(line.mass_kg for line in base.grist)),
            settles_s=mixing_s("dough_in", tun),
        )


def _capacity_j_per_k(tun: Tun, base: Base) -> float:
    grist = sum(line.mass_kg for line in base.grist)
    return heat.mash_j_per_k(grist, base.liquor_mass_kg, tun.metal_j_per_k + tun.heater.bath_j_per_k)


def _paced(tun: Tun, base: Base, wanted_k_per_s: float | None) -> Base:
    """With a rise that the heater can keep up as far as the mash-out, so that the program promises what it can hold."""
    net_w = power_w(tun) - tun.loss_w_per_k * (choice.MASH_OUT_C - tun.room_c)
    steady = int(6000.0 * net_w / _capacity_j_per_k(tun, base)) / 6000.0  # to a hundredth of a kelvin a minute
    fastest = min(tun.climb_k_per_s, wanted_k_per_s or tun.climb_k_per_s)
    return base._replace(ramp_k_per_s=max(SLOWEST_K_PER_S, min(steady, fastest)))


def given(config: Path, args: argparse.Namespace) -> Given:
    """Everything that was asked. Raises Problems or Wrong."""
    asked = _asked(args)
    source = config_files.load_program(config, args.source) if args.source is not None else None
    if source is not None and not source.grist:
        raise Wrong(Problem("--from", f"{args.source}, a run with water alone", "a program with grist"))
    named = plan_by_name.tun_for(config, source, args.tun, args.source).name if source is not None else args.tun
    settings = config_files.settings(config, named)
    if asked.scale_l is not None:
        source = scaled(_needed(source), settings.tun, asked.scale_l)
    base = _plain(settings.tun, asked) if source is None else _program(source, settings.tun)
    _fits(settings.tun, base, args.source)
    low = None if asked.low_rest_c is None else (asked.low_rest_c, asked.low_rest_time_s)
    return Given(
        settings,
        _paced(settings.tun, base, asked.ramp_k_per_s),
        choice.Wish(_aim(args, asked, source), args.mash_out, low),
        choice.Bounds(asked.most_time_s / 60.0, asked.most_energy, asked.most_rests),
        measured_worts.load(settings.service),
        _target(config, args.write),
        asked.pick,
    )


def _needed(source: Program | None) -> Program:
    """The program that is to be scaled. Raises Wrong where none is named."""
    if source is None:
        raise Wrong(Problem("--scale", "no program", "--from PROGRAM, which says in [wanted] how strong it is"))
    return source


def _asked(args: argparse.Namespace) -> Asked:
    """The options, checked against each other too. Raises Problems."""
    keys = [field.alias or name for name, field in Asked.model_fields.items()]
    options: dict[str, Any] = {key: here for key in keys if (here := getattr(args, key, None)) is not None}
    problems: list[Problem] = []
    if args.low_rest is not None and "," in args.low_rest:
        options["low_rest"], options["low_rest_time"] = (part.strip() for part in args.low_rest.split(",", 1))
    elif args.low_rest is not None and len(re.findall(r"[0-9]+(?:[.][0-9]+)?", args.low_rest)) > 1:
        wanted = 'a comma between temperature and time, such as "45 °C, 15 min"'
        problems.append(Problem("--low-rest", f'"{options.pop("low_rest")[:60]}"', wanted))
    plain = args.aim is not None and args.aim not in AIMS  # a limit without its option
    if plain and any(sign.isdigit() for sign in args.aim):
        options["limit"] = args.aim
    elif plain:
        problems.append(Problem("aim", f'"{args.aim[:60]}"', _aim_wanted(args.aim)))
    value, found = read(Asked, options, lambda asked: ())
    named = {"limit": "aim"} if plain else {}
    problems += [p._replace(where=named.get(p.where, f"--{p.where.replace('_', '-')}")) for p in found]
    if args.aim is not None and args.limit is not None:
        problems.append(Problem("aim", f'both "{args.aim}" and --limit "{args.limit}"', "one of them"))
    if args.aim is None and args.limit is None and args.source is None:
        problems.append(Problem("aim", "nothing", 'dry, balanced, full, or a limit such as "82 %"'))
    mash = [key for key in ("grist", "liquor", "extract", "malt_limit") if key in options]
    if args.source is not None and mash:
        option = ", ".join(f"--{key.replace('_', '-')}" for key in mash)
        problems.append(Problem("--from", f"together with {option}", "grist and liquor from one place"))
    if value is None or problems:
        raise Problems(problems)
    return value


def _aim_wanted(typed: str) -> str:
    near = difflib.get_close_matches(typed, AIMS, n=1, cutoff=0.6)
    return 'dry, balanced, full, or a limit such as "82 %"' + (f'; did you mean "{near[0]}"?' if near else "")


def _aim(args: argparse.Namespace, asked: Asked, source: Program | None) -> str | float:
    """An aim in words, or an apparent limit in %."""
    if asked.limit is not None:
        return 100.0 * asked.limit
    if args.aim is not None:
        return str(args.aim)
    aim = source.aim if source is not None else "balanced"
    return 100.0 * aim if isinstance(aim, float) else aim


def _program(source: Program, tun: Tun) -> Base:
    """Grist, liquor and people of a program."""
    return Base(
        tun=tun.name,
        grist=source.grist,
        liquor=source.liquor,
        liquor_mass_kg=liquor_kg(source),
        dough_in=source.dough_in.model_copy(update={"strike_c": None}),
        enzyme=source.adds("beta-glucan"),
        starch_enzyme=source.adds("starch"),
        people=source.people,
    )


def _plain(tun: Tun, asked: Asked) -> Base:
    """Pale malt: as much as was asked, or as the tun takes well."""
    usual_kg = FILL * tun.volume_l / volumes.mash_volume_l(THICKNESS_L_PER_KG, 1.0)
    mass_kg = asked.grist_kg or max(0.5, int(2.0 * usual_kg) / 2.0)
    sheet = {"extract": asked.extract, "limit_attenuation": asked.malt_limit}
    grist = Grist(name="Pale malt", mass_kg=mass_kg, **{key: here for key, here in sheet.items() if here is not None})
    liquor = asked.liquor_kg or THICKNESS_L_PER_KG * mass_kg
    return Base(tun.name, (grist,), Liquor(mass_kg=liquor), liquor)


def _fits(tun: Tun, base: Base, source: str | None) -> None:
    """Is there room for grist and liquor? Said once, not by every program that is judged. Raises Wrong."""
    grist_kg, most_l = sum(line.mass_kg for line in base.grist), MOST_FILL * tun.volume_l
    volume_l = volumes.mash_volume_l(base.liquor_mass_kg, grist_kg)
    if volume_l <= most_l:
        return
    ratio = base.liquor_mass_kg / grist_kg
    most_kg = math.floor(10.0 * grist_kg * most_l / volume_l) / 10.0
    found = f"{grist_kg:.4g} kg at {ratio:.1f} L/kg, {volume_l:.0f} L of mash, which does not fit {tun.name}"
    wanted = f"at most about {most_kg:g} kg, for {most_l:.1f} L of mash (95 % of {tun.volume_l:g} L)"
    raise Wrong(Problem("--grist" if source is None else f"--from {source}", found, wanted))


def _target(config: Path, named: str | None) -> Path | None:
    """Where a proposal is to be written: a name below `programs/`, or a path to a TOML file. Raises Problems."""
    if named is None:
        return None
    path = Path(named) if named.endswith(".toml") else config / "programs" / f"{named}.toml"
    if NAME(path.stem) is None:
        found, wanted = f'"{named[:80]}"', "a name of letters, digits, - and _, or a file NAME.toml"
    elif path.exists():
        found, wanted = f"{path}, which exists", "a name that is free"
    elif not path.parent.is_dir():
        found, wanted = f"no folder {path.parent}", "a folder that exists"
    else:
        return path
    raise Problems([Problem("--write", found, wanted)])
