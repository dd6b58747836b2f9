"""The daemon's status, live: drawn again with each message; ends with Ctrl-C, or with --until-end at the run's end."""

from __future__ import annotations

import argparse
import asyncio
import json
import sys
from collections.abc import AsyncGenerator
from contextlib import aclosing

from controller.commands.shared import all_tuns, status_text
from controller.commands.shared.all_tuns import Heard, Status
from controller.commands.shared.connection import meant, people, reach
from controller.commands.shared.exit_codes import DONE, NO, Unreachable
from controller.edge import standard_streams
from controller.edge.mqtt import requests
from controller.settings.service import Settings


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--tun", metavar="NAME", help="which tun; without it all whose daemons answer")
    parser.add_argument("--json", action="store_true", help="print each status document on a line of its own")
    until = "end when the run ends, of several tuns the last; 0 if it is complete, else 1"
    parser.add_argument("--until-end", action="store_true", help=until)


def run(args: argparse.Namespace) -> int:
    names = meant(args.config, args.tun)
    try:
        if len(names) == 1:
            return asyncio.run(_watch(_of(reach(args.config, names[0])[1]), args.json, args.until_end))
        return asyncio.run(_watch(all_tuns.statuses(people(args.config), names), args.json, args.until_end))
    except requests.NoAnswer as silent:
        raise Unreachable(str(silent)) from None
    except KeyboardInterrupt:
        return DONE


async def _of(settings: Settings) -> AsyncGenerator[tuple[Status, Heard], None]:
    """One tun's, in the same form as that of several."""
    heard = Heard([settings.tun.name])
    async with aclosing(requests.statuses(settings)) as coming:
        async for status in coming:
            heard.add(settings.tun.name, status)
            yield status, heard


async def _watch(coming: AsyncGenerator[tuple[Status, Heard], None], as_json: bool, until_end: bool) -> int:
    live, begun, running, ends = status_text.Live(sys.stdout), set[str](), set[str](), dict[str, str]()
    async with aclosing(coming):  # left in the middle it would be closed from outside, while its own source is too
        async for status, heard in coming:
            if as_json:
                print(json.dumps(status, ensure_ascii=False), flush=True)
            else:
                _draw(live, status, heard)
            if standard_streams.gone():
                return DONE
            tun, state = status["tun"], status["state"]
            (running.discard if state in ("idle", *status_text.ENDS) else running.add)(tun)
            if state not in status_text.ENDS:
                begun.add(tun)
            elif tun in begun:
                ends[tun] = state
            if until_end and ends and not running:
                return DONE if set(ends.values()) == {"complete"} else NO
    return DONE


def _draw(live: status_text.Live, status: Status, heard: Heard) -> None:
    all_of_them = heard.live()
    alarm = next((one for one in all_of_them if one.get("trips")), status)
    drawn = [status_text.painted(line, alarm) for line in heard.lines()]
    live.draw(drawn, "\n".join(status_text.short(one) for one in all_of_them))
