"""The daemon's status, once: eight lines, or the whole document as JSON; of several tuns the chief lines of each."""

from __future__ import annotations

import argparse
import asyncio
import json

from controller.commands.shared import all_tuns, status_text, terminal
from controller.commands.shared.connection import meant, people, reach
from controller.commands.shared.exit_codes import DONE, Unreachable
from controller.edge.mqtt import requests


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--tun", metavar="NAME", help="which tun; without it all whose daemons answer")
    parser.add_argument("--json", action="store_true", help="print the status document as it is, one a line")


def run(args: argparse.Namespace) -> int:
    names = meant(args.config, args.tun)
    try:
        return _one(args, names[0]) if len(names) == 1 else _all(args, names)
    except requests.NoAnswer as silent:
        away = "nothing listens" in str(silent)  # else it says itself what to do
        more = f"\nNext: start the broker, then `underback serve --tun {names[0]}`." if away else ""
        raise Unreachable(f"{silent}{more}") from None


def _one(args: argparse.Namespace, tun: str, within_s: float = requests.STATUS_S) -> int:
    _, settings = reach(args.config, tun)
    status = asyncio.run(requests.present(settings, within_s))
    terminal.show(args.json, status, status_text.lines(status))
    return DONE


def _all(args: argparse.Namespace, tuns: list[str]) -> int:
    """Every tun whose daemon answers; where none does, why not."""
    heard = asyncio.run(all_tuns.once(people(args.config), tuns))
    live = heard.live()
    if not live and not heard.lines():
        return _one(args, tuns[0], requests.FIND_S)
    print(*([json.dumps(one, ensure_ascii=False) for one in live] if args.json else heard.lines()), sep="\n")
    if not live:
        raise requests.NoAnswer(f"no daemon answers for any of {', '.join(tuns)}")
    return DONE
