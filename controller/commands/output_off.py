"""Send OFF to the heater on a connection of its own.

For systemd's ExecStopPost: it runs after a crash too, when nothing of the daemon is alive. Any well-formed OFF is
obeyed by a heater node, whoever sends it; it needs no epoch and no clock.
"""

from __future__ import annotations

import argparse
import asyncio
import time

from controller.commands.serve import read
from controller.commands.shared.exit_codes import DONE, Unreachable
from controller.edge.mqtt import requests
from controller.messages import outgoing
from controller.settings.service import Settings

WITHIN_S = 8.0


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--tun", metavar="NAME", help="which tun; not needed where there is only one")


def run(args: argparse.Namespace) -> int:
    _, settings = read(args.config, args.tun, 1.0, data=False)
    try:
        asyncio.run(asyncio.wait_for(_off(settings), WITHIN_S))
    except (requests.NoAnswer, TimeoutError) as silent:
        raise Unreachable(f"OFF was not delivered ({silent or 'no answer in time'}); the lease runs out") from None
    print(f"{settings.tun.name}: OFF sent to the heater")
    return DONE


async def _off(settings: Settings) -> None:
    values = {"duty": 0.0, "valid_s": 10.0, "at": round(time.time(), 3), "reason": "output-off: the daemon has ended"}
    async with requests.line(settings, "off") as link:
        await link.say(link.topics.heater_command, outgoing.document(values))
        await link.say(link.topics.online, outgoing.online(False), retain=True)
