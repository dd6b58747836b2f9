"""Send an order to a running daemon and print its answer.

underback order start linnet --hand "12 °C" --here
underback order start linnet --hand "12 °C" --here --ready-at 06:00
underback order start sandpiper --hand "63 °C" --here --attended from_step=2 credited="12 min"
underback order answer begin
underback order answer first_wort_p=19.3 first_wort_volume_l=41
underback order extend "10 min"
underback order adjust step=2 target="64 °C" time="40 min"
underback order clear G02
"""

from __future__ import annotations

import argparse
import asyncio
import getpass
import json
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

from controller.brewing.units import Kind, quantity
from controller.cli import DONE, NO, Unreachable, Wrong
from controller.commands.serve import read
from controller.core import answers, entries, orders
from controller.edge import asking

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
    parser.add_argument("order", metavar="ORDER", help=f"one of {', '.join(orders.ALLOWED)}")
    parser.add_argument("args", nargs="*", metavar="ARG", help='a name, or key=value, such as target="64 °C"')
    parser.add_argument("--tun", metavar="NAME", help="which tun; not needed where there is only one")
    parser.add_argument("--hand", metavar="TEMPERATURE", help="start: what a hand thermometer reads in the tun now")
    parser.add_argument("--here", action="store_true", help="start: you are at the tun and have looked at it")
    parser.add_argument("--attended", action="store_true", help="start: you stay with it (no proof test needed)")
    parser.add_argument(
        "--ready-at", metavar="TIME", help="start: delayed, so that liquor is ready then, such as 06:00"
    )
    parser.add_argument("--by", metavar="WHO", default=None, help="who orders; your login name unless said")
    parser.add_argument("--json", action="store_true", help="print the answer as one JSON object")


def run(args: argparse.Namespace) -> int:
    _, settings = read(args.config, args.tun, 1.0)
    late = [f"ready_at={args.ready_at}"] if args.ready_at is not None else []
    values = build(args.order, [*args.args, *late], args.by or _login())
    extra = {"here": args.here, "attended": args.attended}
    values["args"].update({key: True for key, said in extra.items() if said})
    if args.hand is not None:
        values["args"]["hand_c"] = _quantity("--hand", args.hand)
    try:
        answer = asyncio.run(asking.order(settings, values))
    except asking.NoAnswer as silent:
        raise Unreachable(str(silent)) from None
    if args.json:
        print(json.dumps(answer._asdict(), ensure_ascii=False))
    else:
        print(answer.reason if answer.accepted else f"refused: {answer.reason}")
    return DONE if answer.accepted else NO


def build(name: str, given: list[str], by: str) -> dict[str, Any]:
    """The order's keys and arguments as they go over the wire. Raises Wrong with everything that cannot be read."""
    if name not in orders.ALLOWED:
        raise Wrong(f"order: found {name!r}, wanted one of {', '.join(orders.ALLOWED)}")
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
        args[key] = _whole(text)
    elif key in TEXTS:
        args[key] = text
    else:
        args[key] = WORDS.get(text.lower(), _number(text))


def _quantity(key: str, text: str) -> float:
    kind = QUANTITIES[key.lstrip("-")][0]
    return _wrong(lambda: quantity(kind, text), key, text)


def _wrong(read_it: Callable[[], float], key: str, text: str) -> float:
    try:
        return read_it()
    except ValueError as why:
        raise Wrong(f"{key}: found {text!r}, wanted {why}") from None


def _whole(text: str) -> int:
    if not text.isdigit():
        raise ValueError("a whole number is wanted, counted from 0 as in `underback status`")
    return int(text)


def _number(text: str) -> float | str:
    try:
        return float(text) if any(c.isdigit() for c in text) else text
    except ValueError:
        return text


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


def _login() -> str:
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return "somebody"
