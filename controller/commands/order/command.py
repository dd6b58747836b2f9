"""Send an order to a running daemon and print its answer.

Steps count from 1, as `status` lists them, or go by their names. An order that is refused, or cannot be read, is
answered with the command that would be accepted.
"""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import sys
import time
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import Any, NoReturn

from controller.commands.order import cautions, mend
from controller.commands.order.instead import Known, commands
from controller.commands.order.vocabulary import ENTRIES, ORDERS, Word
from controller.commands.order.words import build
from controller.commands.shared import step_reference, terminal
from controller.commands.shared.connection import reach, to_any
from controller.commands.shared.exit_codes import DONE, NO, Unreachable, Wrong
from controller.core.procedure.orders import envelope
from controller.edge.files import config_files
from controller.edge.mqtt import requests
from controller.edge.user import login
from controller.plan import plan
from controller.settings.problems import Problems
from controller.settings.service import Settings

DAY = "%Y-%m-%d"
LOOK_S = 2.5  # a daemon says its status every 2 s
TUN = "which tun; else the program's own for `start`, else the only one that answers"
ASK = "start: ask here for what only you can tell: the hand reading, and your marks"
QUESTIONS = (  # of --ask: the option, what is asked, whether it is a mark
    ("hand", 'What does a hand thermometer read in the tun now, such as "12 °C"?', False),
    ("here", "Are you at the tun, and have you looked at liquid, lid and hoses? [yes / no]", True),
    ("attended", "Do you stay with it to its end? [yes / no]", True),
)


class _Said(argparse.Action):
    """A word of the order that was written as an option: `--time "10 min"`."""

    def __call__(
        self, parser: argparse.ArgumentParser, namespace: argparse.Namespace, values: Any, option_string: Any = None
    ) -> None:
        namespace.said = [*namespace.said, f"{option_string}={'yes' if self.nargs == 0 else values}"]


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    width = max(map(len, ORDERS))
    orders = "\n".join(f"  {name:<{width}}  {spoken.what}" for name, spoken in ORDERS.items())
    parser.epilog = f"orders:\n{orders}\n\n`underback order NAME --help` tells what an order takes, with examples."
    parser.add_argument("order", metavar="ORDER", help="one of those below")
    parser.add_argument("args", nargs="*", metavar="ARG", help='a name, or key=value, such as temperature="64 °C"')
    _common(parser)
    parser.add_argument("--ask", action="store_true", help=ASK)
    names = {name for spoken in ORDERS.values() for word in spoken.words for name in (word.key, *word.others)}
    marks = {word.key for spoken in ORDERS.values() for word in spoken.words if word.kind == "mark"}
    for name in sorted(names - {"by", "id"} - {word.key for word in ENTRIES}):
        parser.add_argument(f"--{name}", action=_Said, nargs=0 if name in marks else None, help=argparse.SUPPRESS)
    parser.set_defaults(said=[])


def _common(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--tun", metavar="NAME", help=TUN)
    parser.add_argument("--by", metavar="WHO", help="who orders; your login name unless said")
    parser.add_argument("--json", action="store_true", help="print the answer as one JSON object")


def _one(name: str, parser: argparse.ArgumentParser) -> None:
    """What does this order take? For its help and its man page."""
    spoken = ORDERS[name]
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.description = spoken.what
    for word in spoken.words:
        _described(parser, word, word.key == spoken.plain)
    _common(parser)
    if name == "start":
        parser.add_argument("--ask", action="store_true", help=ASK)
    shown = "\n".join(f"  underback order {name} {example}".rstrip() for example in spoken.examples or ("",))
    more = "\n\n" + "\n".join(cautions.lines()) if name == "start" else ""
    parser.epilog = f"such as:\n{shown}{more}"


def _described(parser: argparse.ArgumentParser, word: Word, plain: bool) -> None:
    what = word.what.replace("%", "%%")
    if word.option and word.kind == "mark":
        parser.add_argument(f"--{word.key}", action="store_true", help=what)
    elif word.option:
        parser.add_argument(f"--{word.key}", metavar=word.example, help=what)
    else:
        shown = f"{word.example} | {word.key}={word.example}" if plain else f"{word.key}={word.example}"
        parser.add_argument(word.wire, nargs="?", metavar=shown, help=what)


PARTS: dict[str, Callable[[argparse.ArgumentParser], None]] = {name: partial(_one, name) for name in ORDERS}


def run(args: argparse.Namespace) -> int:
    given = [*args.args, *args.said]
    if args.order == "start" and args.ask:
        given += _asked(args, given)
    try:
        values = _read(args, given)
    except Wrong as wrong:
        _ends(wrong, *_next(args, given, _status(args, given)))
    send = _heat_off if args.order in envelope.HEAT_OFF_ORDERS else _sent
    try:
        answer, status = send(args, values)
    except requests.NoAnswer as silent:
        raise Unreachable(str(silent)) from None
    following = [] if answer.accepted else _next(args, given, status, refused=True)
    said = answer.reason if answer.accepted else f"refused: {answer.reason}"
    more = {"next": following} if following else {}
    terminal.show(args.json, answer._asdict() | more, [said, *_shown(following)])
    return DONE if answer.accepted else NO


def _asked(args: argparse.Namespace, given: Sequence[str]) -> list[str]:
    """What only the person at the tun can tell, asked for where it was not said. Raises Wrong where nobody answers."""
    print(*cautions.due(args.by or login(), time.strftime(DAY)), sep="\n", file=sys.stderr)
    said, _ = mend.said("start", given)
    found = [(key, terminal.answered(text), mark) for key, text, mark in QUESTIONS if key not in said]
    return [f"--{key}={text}" for key, text, mark in found if not mark or text.casefold() in ("y", "yes")]


def _read(args: argparse.Namespace, given: list[str]) -> dict[str, Any]:
    """The order. Raises Wrong with what is wrong with any of it."""
    problems: list[object] = []
    values: dict[str, Any] = {"args": {}}
    with terminal.noted(problems):
        values = build(args.order, given, args.by or login())
    if problems and args.order not in envelope.ALLOWED:
        raise Wrong(*problems)
    if problems:
        with terminal.noted(problems):  # what is wrong with the files as well
            reach(args.config, args.tun, _own_tun(args.config, values))
        raise Wrong(*problems)
    return values


def _sent(args: argparse.Namespace, values: dict[str, Any]) -> tuple[requests.Answer, dict[str, Any]]:
    """The daemon's answer, and the status that the order was given on."""
    _, settings = reach(args.config, args.tun, _own_tun(args.config, values))
    step_reference.in_program(args.config, settings, values["args"])
    if args.order == "start" and not args.ask:
        print(*cautions.due(values["by"], time.strftime(DAY)), sep="\n", file=sys.stderr, flush=True)
    seen: dict[str, Any] = {}

    def completed(order: dict[str, Any], status: dict[str, Any]) -> None:
        seen.update(status)
        try:
            step_reference.completed(order, status)
        except Wrong as wrong:
            _ends(wrong, *_next(args, [*args.args, *args.said], status))

    return asyncio.run(requests.order(settings, values, completed)), seen


def _heat_off(args: argparse.Namespace, values: dict[str, Any]) -> tuple[requests.Answer, dict[str, Any]]:
    """`hold`, `stop`, `abort` go out although a tun file or a record is wrong. Raises Wrong, or NoAnswer."""
    folder, service, name = to_any(args.config, args.tun)
    if not name.strip() or set(name) & set("/+#\0"):
        raise Wrong(f"--tun: found {name!r}, wanted the name of a tun")
    try:
        answer = asyncio.run(requests.heat_off(service, name, values))
        return answer, {"state": answer.state}
    except requests.NoAnswer as silent:
        known = config_files.names(folder / "tuns")
        hint = "" if name in known else f"; there is no {folder}/tuns/{name}.toml, only {', '.join(known) or 'none'}"
        raise requests.NoAnswer(f"{silent}{hint}") from None


def _own_tun(config: str | None, values: dict[str, Any]) -> str:
    """For which tun was the program written that is to start? Empty where that is not known here."""
    program = values["args"].get("program") if values.get("order") == "start" else None
    if not isinstance(program, str):
        return ""
    try:
        return config_files.written_tun(config_files.config_dir(config), program)
    except Problems:
        return ""  # `reach` tells what is wrong with the folder


# ---------------------------------------------------------------- what would be accepted


def _ends(wrong: Wrong, *following: str) -> NoReturn:
    """Input that is wrong, with what would be right."""
    raise Wrong(wrong, *_shown(following)) from None


def _shown(following: Sequence[str]) -> list[str]:
    """The commands for a person: one behind its word, several below each other."""
    if len(following) == 1:
        return [f"Next: {following[0]}"]
    return ["Next, one of:", *(f"  {line}" for line in following)] if following else []


def _next(
    args: argparse.Namespace, given: Sequence[str], status: dict[str, Any], *, refused: bool = False
) -> list[str]:
    """The commands that would be accepted, with the options that were typed."""
    config = Path()
    with contextlib.suppress(Problems):
        config = config_files.config_dir(args.config)
    programs = config_files.names(config / "programs")
    tun = str(status.get("tun") or args.tun or "")
    own = [name for name in programs if config_files.written_tun(config, name) == tun] if tun else []
    known = Known(status, programs, own, partial(_legs, config, tun))
    typed = [("--config", args.config), ("--tun", args.tun), ("--by", args.by)]
    more = "".join(f" {option} {mend.quoted(value)}" for option, value in typed[1:] if value)
    before = f"underback --config {mend.quoted(args.config)}" if args.config else "underback"
    found = commands(args.order, given, known, refused=refused)
    return [f"{before} {line}" + ("" if line.endswith("--help") else more) for line in found]


def _legs(config: Path, tun: str, program: str) -> list[tuple[str, float]]:
    """The program's steps with their temperatures; none where its plan cannot be made."""
    with contextlib.suppress(Problems):
        read = config_files.load_program(config, program)
        settings: Settings = config_files.settings(config, tun or read.tun or None, learned=False)
        return [(leg.name, leg.target_c) for leg in plan.make(read, settings.tun).course.legs]
    return []


def _status(args: argparse.Namespace, given: Sequence[str]) -> dict[str, Any]:
    """What the daemon says of itself; nothing where none can be asked."""
    named = next((word for word in given if "=" not in word), "")
    with contextlib.suppress(Problems, Wrong, requests.NoAnswer):
        _, settings = reach(
            args.config, args.tun, _own_tun(args.config, {"order": "start", "args": {"program": named}})
        )
        return asyncio.run(requests.present(settings, LOOK_S))
    return {}
