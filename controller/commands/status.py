"""The daemon's status, once: seven lines, or the whole document as JSON."""

from __future__ import annotations

import argparse
import asyncio

from controller.commands.shared import status_text, terminal
from controller.commands.shared.connection import reach
from controller.commands.shared.exit_codes import DONE, Unreachable
from controller.edge.mqtt import requests


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--tun", metavar="NAME", help="which tun; not needed where only one daemon answers")
    parser.add_argument("--json", action="store_true", help="print the status document as it is")


def run(args: argparse.Namespace) -> int:
    _, settings = reach(args.config, args.tun)
    try:
        status = asyncio.run(requests.present(settings))
    except requests.NoAnswer as silent:
        away = "nothing listens" in str(silent)  # else it says itself what to do
        more = f"\nNext: start the broker, then `underback serve --tun {settings.tun.name}`." if away else ""
        raise Unreachable(f"{silent}{more}") from None
    terminal.show(args.json, status, status_text.lines(status))
    return DONE
