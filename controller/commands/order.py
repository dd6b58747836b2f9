"""Send an order to a running daemon and print its answer.

underback order start linnet --hand "12 °C" --here
underback order start linnet --hand "12 °C" --here --ready-at 06:00
underback order start sandpiper --hand "63 °C" --here --attended from_step="maltose rest" credited="12 min"
underback order answer                      (where there is one answer only, such as begin, yes, taken over)
underback order answer "no starch"          (what you saw or chose is always said)
underback order answer first_wort_p=19.3 first_wort_volume_l=41     (or first_wort="1.080 SG", each in its unit)
underback order extend "10 min"
underback order adjust step=3 target="64 °C" time="40 min"
underback order adjust step="maltose rest" time="50 min"
underback order clear G02

Steps count from 1, as `status` lists them, or go by their names.
"""

from __future__ import annotations

import argparse
import asyncio
import sys
from datetime import datetime, timedelta
from typing import Any

from controller.brewing.units import Kind
from controller.commands.shared import step_reference, terminal, typed_entries
from controller.commands.shared.connection import reach, to_any
from controller.commands.shared.exit_codes import DONE, NO, Unreachable, Wrong
from controller.core.procedure import answers, entries
from controller.core.procedure.orders import envelope
from controller.edge.files import config_files
from controller.edge.mqtt import requests
from controller.edge.user import login
from controller.messages.cautions import CAUTIONS
from controller.settings.problems import Problems

QUANTITIES: dict[str, tuple[Kind, str]] = {  # word on the command line: kind of quantity, key on the wire
    "hand": ("temperature", "hand_c"),
    "target": ("temperature", "target_c"),
    "time": ("duration", "hold_s"),
    "hold": ("duration", "hold_s"),
    "ramp": ("rate", "climb_k_per_s"),
    "credited": ("duration", "credited_s"),
    "by": ("duration", "by_s"),
}
PLAIN: dict[str, str] = {"start": "program", "answer": "answer", "extend": "by", "clear": "trip", "acknowledge": "trip"}
TEXTS = ("program", "answer", "prompt", *entries.TEXTS)
WORDS = {"yes": True, "true": True, "no": False, "false": False}


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("order", metavar="ORDER", help=f"one of {', '.join(envelope.ALLOWED)}")
    parser.add_argument("args", nargs="*", metavar="ARG", help='a name, or key=value, such as target="64 °C"')
    tun = "which tun; else the program's own for `start`, else the only one that answers"
    parser.add_argument("--tun", metavar="NAME", help=tun)
    parser.add_argument("--hand", metavar="TEMPERATURE", help="start: what a hand thermometer reads in the tun now")
    parser.add_argument("--here", action="store_true", help="start: you are at the tun and have looked at it")
    parser.add_argument("--attended", action="store_true", help="start: you stay with it (no proof test needed)")
    ready_at = "start: delayed, so that liquor is ready then, such as 06:00"
    parser.add_argument("--ready-at", metavar="TIME", help=ready_at)
    parser.add_argument("--by", metavar="WHO", help="who orders; your login name unless said")
    parser.add_argument("--json", action="store_true", help="print the answer as one JSON object")


def run(args: argparse.Namespace) -> int:
    values = _read(args)
    send = _heat_off if args.order in envelope.HEAT_OFF_ORDERS else _sent
    try:
        answer = send(args, values)
    except requests.NoAnswer as silent:
        raise Unreachable(str(silent)) from None
    terminal.show(args.json, answer._asdict(), [answer.reason if answer.accepted else f"refused: {answer.reason}"])
    return DONE if answer.accepted else NO


def _read(args: argparse.Namespace) -> dict[str, Any]:
    """The order. Raises Wrong with what is wrong with any of it."""
    problems: list[object] = []
    values: dict[str, Any] = {"args": {}}
    late = [f"ready_at={args.ready_at}"] if args.ready_at is not None else []
    with terminal.noted(problems):
        values = build(args.order, [*args.args, *late], args.by or login())
    values["args"].update({key: True for key in ("here", "attended") if getattr(args, key)})
    with terminal.noted(problems):
        if args.hand is not None:
            values["args"]["hand_c"] = _quantity("--hand", args.hand)
    if problems:
        with terminal.noted(problems):  # what is wrong with the files as well
            reach(args.config, args.tun, _own_tun(args.config, values))
        raise Wrong(*problems)
    return values


def _sent(args: argparse.Namespace, values: dict[str, Any]) -> requests.Answer:
    _, settings = reach(args.config, args.tun, _own_tun(args.config, values))
    step_reference.in_program(args.config, settings, values["args"])
    if args.order == "start":
        print("Before heat:", file=sys.stderr)
        print(
            *(f"{number:3}. {line}" for number, line in enumerate(CAUTIONS, 1)), sep="\n", file=sys.stderr, flush=True
        )
    return asyncio.run(requests.order(settings, values, step_reference.completed))


def _heat_off(args: argparse.Namespace, values: dict[str, Any]) -> requests.Answer:
    """`hold`, `stop`, `abort` go out although a tun file or a record is wrong. Raises Wrong, or NoAnswer."""
    folder, service, name = to_any(args.config, args.tun)
    if not name.strip() or set(name) & set("/+#\0"):
        raise Wrong(f"--tun: found {name!r}, wanted the name of a tun")
    try:
        return asyncio.run(requests.heat_off(service, name, values))
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


def build(name: str, given: list[str], by: str) -> dict[str, Any]:
    """The order's keys and arguments as they go over the wire. Raises Wrong with everything that cannot be read."""
    if name not in envelope.ALLOWED:
        raise Wrong(f"order: found {name!r}, wanted one of {', '.join(envelope.ALLOWED)}")
    values: dict[str, Any] = {"order": name, "by": by, "args": {}}
    problems: list[str] = []
    for word in given:
        key, sign, text = word.partition("=")
        if not sign:
            key, text = PLAIN.get(name, ""), word
        try:
            _put(values, key, text)
        except ValueError as wrong:
            problems.append(f"{word}: {wrong}")
    if name == "answer":
        problems += entries.problems(values["args"], answers.WORDS)
    if problems:
        raise Wrong(*problems)
    return values


def _put(values: dict[str, Any], key: str, text: str) -> None:
    """One argument into the order; ValueError with the reason."""
    args = values["args"]
    if not key:
        raise ValueError(f"`{values['order']}` takes no plain argument; write key=value")
    if key == "trip":
        values["trip"] = text
    elif key == "ready_at":
        args[key] = _moment(text)
    elif key in QUANTITIES:
        args[QUANTITIES[key][1]] = _quantity(key, text)
    elif key in ("step", "from_step"):
        args[key] = step_reference.typed(text)
    elif key in TEXTS:
        args[key] = text
    else:
        key, value = typed_entries.entry(key, text)
        args[key] = WORDS.get(text.lower(), value)


def _quantity(key: str, text: str) -> float:
    return terminal.asked(QUANTITIES[key.lstrip("-")][0], key, text)


def _moment(text: str) -> float:
    """06:00 (the next time it is so) or 2026-11-25T06:00, local time, as unix seconds."""
    try:
        if "T" in text or "-" in text:
            return datetime.fromisoformat(text).astimezone().timestamp()
        now = datetime.now().astimezone()
        clock = datetime.strptime(text, "%H:%M").astimezone()
    except ValueError:
        raise ValueError("a time is wanted, such as 06:00 or 2026-11-25T06:00") from None
    at = now.replace(hour=clock.hour, minute=clock.minute, second=0, microsecond=0)
    return (at if at > now else at + timedelta(days=1)).timestamp()
