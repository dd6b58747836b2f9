"""`underback compose`: which rest program gives the wort I want, on this tun, within my limits?

Every proposal is written as a program file, checked on the tun like any other and run through once on the simulated
tun before it is shown. The same question has the same answer. With `--calibrate` the estimate is brought to the
brewery's own measured worts instead.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable
from concurrent.futures import Executor, ProcessPoolExecutor
from multiprocessing import get_context

from controller.brewing.compose import choice
from controller.brewing.compose.choice import Answer
from controller.brewing.kinetics import malts
from controller.brewing.kinetics.calibration import Implausible
from controller.commands.compose import past_worts, trial
from controller.commands.compose.arguments import THICKNESS_L_PER_KG, Given, given
from controller.commands.compose.trial import Judge
from controller.commands.shared import terminal
from controller.commands.shared.exit_codes import DONE, NO, Wrong
from controller.edge.files import config_files

SEARCH_SHARE = 0.25  # of the whole time; the dry runs take the rest


def arguments(parser: argparse.ArgumentParser) -> None:
    """What is wanted, of which malt, on which tun, within which limits?"""
    parser.add_argument("aim", nargs="?", metavar="AIM", help='dry, balanced, full, or a limit such as "82 %%"')
    parser.add_argument("--limit", metavar="SHARE", help="wanted apparent limit attenuation")
    parser.add_argument("--tun", metavar="NAME", help="a tun below tuns/; else the program's own, else the only one")
    parser.add_argument("--from", dest="source", metavar="PROGRAM", help="take grist, liquor and aim from this program")
    parser.add_argument("--scale", metavar="VOLUME", help="with --from: grist and liquor for so much in the kettle")
    parser.add_argument("--grist", metavar="MASS", help="so much pale malt; else as much as the tun takes well")
    parser.add_argument("--liquor", metavar="MASS", help=f"else {THICKNESS_L_PER_KG:g} L/kg")
    parser.add_argument("--extract", metavar="SHARE", help="of the malt's certificate: fine grind, dry basis")
    parser.add_argument("--malt-limit", metavar="SHARE", help="apparent limit attenuation on the malt's certificate")
    parser.add_argument("--most-time", metavar="TIME", help='from dough-in to the end of mash-out, "2 h 30 min"')
    parser.add_argument("--most-energy", metavar="ENERGY", help='from dough-in on, such as "2 kWh"')
    parser.add_argument("--most-rests", type=int, metavar="N", help="starch rests, 1 to 3")
    parser.add_argument("--ramp", metavar="RATE", help="no rise is faster; else the tun's own limit")
    parser.add_argument("--mash-out", action=argparse.BooleanOptionalAction, default=True, help="end with a mash-out")
    parser.add_argument("--low-rest", metavar='"TEMP, TIME"', help='begin with a rest such as "45 °C, 15 min"')
    parser.add_argument("--write", metavar="NAME", help="write a proposal as a program of this name, or to this file")
    parser.add_argument("--pick", type=int, metavar="N", help="which proposal to write; 1, the closest")
    parser.add_argument("--json", action="store_true", help="one JSON object")
    calibrate = (
        "fit the estimate to measured worts: `records` for every run with limit_pct entered, or a file, each as "
        '[[batch]] with run = "12" (as `runs` lists them; '
        'tun = "NAME" where there are several) or program = "linnet", and limit_attenuation = "80 %%"'
    )
    parser.add_argument("--calibrate", metavar="records|FILE.toml", help=calibrate)


def run(args: argparse.Namespace) -> int:
    """0: proposals, or a calibration; 1: nothing fits; 2: something is wrong with what was given."""
    config = config_files.config_dir(args.config, simulated=True)
    if args.calibrate is not None:
        return past_worts.run(config, args.calibrate, args.json)
    asked = given(config, args)
    sys.stderr.write(f"searching programs for {asked.settings.tun.name}, then running the best through ...\n")
    sys.stderr.flush()
    parts = [malts.GristPart(one.kind, one.mass_kg, one.extract, one.limit_attenuation) for one in asked.base.grist]
    try:
        basis = malts.of_grist(parts, asked.brewery)
        answer, judge = _answered(asked, basis)
    except Implausible as wrong:
        raise Wrong(*wrong.problems) from None
    document = trial.document(answer, judge, basis.remarks)
    terminal.show(args.json, document, trial.page(answer, judge, asked.base, basis.remarks), allow_nan=False)
    if not answer.proposals:
        return NO
    return _write(asked, answer, judge) if asked.write is not None else DONE


def _answered(asked: Given, basis: malts.Basis) -> tuple[Answer, Judge]:
    """The search, each proposal checked and run through; with a bar where somebody looks."""
    bar = terminal.Bar()
    try:
        with cores() as pool:
            return _proven(asked, basis, pool, bar)
    finally:
        bar.clear()


def _proven(asked: Given, basis: malts.Basis, pool: Executor, bar: terminal.Bar) -> tuple[Answer, Judge]:
    """Where a dry run shows a proposal wanting, the next best stands in, and is run through too."""
    judge = Judge(asked.settings, asked.base, asked.wish.aim, asked.brewery)

    def part(begin: float, end: float) -> Callable[[float, str], None]:
        return lambda share, text: bar.tell(begin + (end - begin) * share, text)

    wanted = asked.wish, asked.figures(), asked.bounds, basis.malt, basis.params
    while True:
        answer = choice.compose(*wanted, part(0.0, SEARCH_SHARE), judge, pool.map)
        if judge.prove(pool, answer.proposals, part(SEARCH_SHARE, 1.0)):
            return answer, judge


def cores() -> Executor:
    """A process for each processor: the search takes them all, and so do the dry runs."""
    return ProcessPoolExecutor(len(os.sched_getaffinity(0)), get_context("spawn"))


def _write(asked: Given, answer: Answer, judge: Judge) -> int:
    """The picked proposal as a file. Raises Wrong where that cannot be."""
    if asked.write is None or asked.pick > len(answer.proposals):
        raise Wrong(f"--pick: found {asked.pick}, wanted 1 to {len(answer.proposals)}")
    one = answer.proposals[asked.pick - 1]
    try:
        with asked.write.open("x", encoding="utf-8") as file:
            file.write(judge.text(one.steps, trial.remarks_of(one, one.prediction.basis)))
    except OSError as why:
        raise Wrong(f"--write: {asked.write}: {why.strerror}") from None
    sys.stderr.write(f"written: {asked.write}\n")
    return DONE
