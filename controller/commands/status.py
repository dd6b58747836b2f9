"""The daemon's status, once: seven lines, or the whole document as JSON."""

from __future__ import annotations

import argparse
import asyncio
import json
from typing import TYPE_CHECKING, Any

from controller.commands import screen
from controller.commands.exits import DONE, Unreachable
from controller.commands.reach import reach
from controller.edge.mqtt import requests as asking

if TYPE_CHECKING:
    from controller.settings.tun import Settings


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--tun", metavar="NAME", help="which tun; not needed where only one daemon answers")
    parser.add_argument("--json", action="store_true", help="print the status document as it is")


def run(args: argparse.Namespace) -> int:
    _, settings = reach(args.config, args.tun)
    try:
        status = asyncio.run(_once(settings))
    except asking.NoAnswer as silent:
        away = "nothing listens" in str(silent)  # else it says itself what to do
        more = f"\nNext: start the broker, then `underback serve --tun {settings.tun.name}`." if away else ""
        raise Unreachable(f"{silent}{more}") from None
    print(json.dumps(status, ensure_ascii=False) if args.json else "\n".join(screen.lines(status)))
    return DONE


async def _once(settings: Settings) -> dict[str, Any]:
    async with asking.line(settings, "status") as link:
        await link.listen(link.topics.status)
        return await link.status()
