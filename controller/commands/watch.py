"""The daemon's status, live: drawn again with each message; ends with Ctrl-C, or with --until-end at the run's end."""

from __future__ import annotations

import argparse
import asyncio
import json
import sys

from controller.commands.shared import status_text
from controller.commands.shared.connection import reach
from controller.commands.shared.exit_codes import DONE, NO, Unreachable
from controller.edge import standard_streams
from controller.edge.mqtt import requests
from controller.settings.service import Settings


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--tun", metavar="NAME", help="which tun; not needed where only one daemon answers")
    parser.add_argument("--json", action="store_true", help="print each status document on a line of its own")
    parser.add_argument("--until-end", action="store_true", help="end when the run ends; 0 if it is complete, else 1")


def run(args: argparse.Namespace) -> int:
    _, settings = reach(args.config, args.tun)
    try:
        return asyncio.run(_watch(settings, args.json, args.until_end))
    except requests.NoAnswer as silent:
        raise Unreachable(str(silent)) from None
    except KeyboardInterrupt:
        return DONE


async def _watch(settings: Settings, as_json: bool, until_end: bool) -> int:
    live, began = status_text.Live(sys.stdout), False
    async for status in requests.statuses(settings):
        if as_json:
            print(json.dumps(status, ensure_ascii=False), flush=True)
        else:
            text = status_text.lines(status)
            live.draw([status_text.painted(line, status) for line in text], " | ".join(text[:4]))
        if standard_streams.gone():
            return DONE
        began = began or status["state"] not in status_text.ENDS
        if until_end and began and status["state"] in status_text.ENDS:
            return DONE if status["state"] == "complete" else NO
    return DONE
