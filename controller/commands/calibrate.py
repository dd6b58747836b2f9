"""Check a probe at two points: melting ice, and boiling water.

    underback calibrate --tun gannet --probe mash --pressure "97.7 kPa"

The daemon need not run; the probe's node and the broker must. The lines for the tun file are printed, the record is
kept in the data folder.
"""

from __future__ import annotations

import argparse
import asyncio
import re
import sys
import time

from controller.brewing.probe_calibration import Refused, Sample
from controller.commands.serve import read
from controller.commands.shared import terminal
from controller.commands.shared.connection import worked_at
from controller.commands.shared.exit_codes import DONE, NO, Unreachable, Wrong
from controller.commissioning import calibrate
from controller.commissioning.calibrate import Checked, Place
from controller.core.nouns import Reading
from controller.edge.mqtt import requests
from controller.edge.user import login
from controller.messages import incoming
from controller.settings.service import Settings
from controller.settings.tun import Probe

DUE = "180 days"
KPA = {"kpa": 1.0, "hpa": 0.1, "mbar": 0.1, "bar": 100.0}
_PRESSURE = re.compile(r"([0-9]+(?:[.][0-9]+)?) ?([A-Za-z]+)").fullmatch
_DAYS = re.compile(r"([0-9]{1,4}) ?d(?:ays)?").fullmatch


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--tun", metavar="NAME", help="which tun; not needed where only one answers, or its nodes do")
    parser.add_argument("--probe", choices=("mash", "second", "outlet"), default="mash", help="which probe of it")
    parser.add_argument("--pressure", metavar="P", help='station pressure of the day, such as "97.7 kPa"; best')
    parser.add_argument("--altitude", metavar="H", help="else the altitude; the tun file's unless said")
    parser.add_argument("--due", metavar="DAYS", default=DUE, help=f"when it is due again; {DUE} unless said")
    parser.add_argument("--by", metavar="WHO", help="who checks it; your login name unless said")
    parser.add_argument("--json", action="store_true", help="print the record as one JSON object")


def run(args: argparse.Namespace) -> int:
    _, settings = read(args.config, worked_at(args.config, args.tun), 1.0)
    probe: Probe | None = getattr(settings.tun.probes, args.probe)
    place, due_days = _place(args, settings)
    if probe is None:
        raise Wrong(f"--probe: tun {settings.tun.name} has no probe {args.probe!r}")
    try:
        checked = asyncio.run(_check(settings, probe, place))
    except requests.NoAnswer as silent:
        raise Unreachable(f"{silent}\nNext: start the broker and the probe's node; the daemon need not run.") from None
    if isinstance(checked, Refused):
        print("not calibrated:\n" + "\n".join(f"  {why}" for why in checked.reasons))
        return NO
    by = args.by or login()
    document = calibrate.record(settings, args.probe, probe, checked, place, by, time.time(), due_days)
    path = calibrate.write(settings, document)
    told = [
        f"At 65 °C the reading moves by {document['moves_65_by_k']:+.2f} K. Put this into the tun file:\n",
        calibrate.lines(args.probe, checked, document["date"]),
        f"\nDue again on {document['due']}. Record: {path}",
    ]
    terminal.show(args.json, document, told)
    return DONE


def _place(args: argparse.Namespace, settings: Settings) -> tuple[Place, float]:
    """Pressure, altitude and due time as they were typed. Raises Wrong with all that cannot be read."""
    wrong: list[object] = []
    altitude_m = settings.tun.altitude_m if "altitude_m" in settings.tun.model_fields_set else None
    pressure_kpa = None
    with terminal.noted(wrong):
        if args.altitude is not None:
            altitude_m = terminal.asked("length", "--altitude", args.altitude)
    if args.pressure is not None:
        found = _PRESSURE(args.pressure.strip())
        share = KPA.get(found[2].lower()) if found else None
        if found is None or share is None:
            wrong.append(f'--pressure: found {args.pressure!r}, wanted such as "97.7 kPa" or "977 hPa"')
        else:
            pressure_kpa = float(found[1]) * share
    days = _DAYS(args.due.strip())
    if days is None or not (1 <= int(days[1]) <= 3650):
        wrong.append(f'--due: found {args.due!r}, wanted from "1 days" to "3650 days"')
    place = Place(altitude_m, pressure_kpa)
    wrong += [] if wrong else [f"--pressure, --altitude: {why}" for why in calibrate.unknown(place)]
    if wrong:
        raise Wrong(*wrong)
    return place, float(days[1]) if days else 0.0


async def _check(settings: Settings, probe: Probe, place: Place) -> Checked | Refused:
    async with requests.line(settings, "calibrate") as link:
        await link.listen(probe.topic)
        return await calibrate.check(probe, Live(link, probe), Terminal(), place)


class Live:
    """Readings from the broker. Retained copies and what is no reading are passed over."""

    def __init__(self, link: requests.DaemonLink, probe: Probe) -> None:
        self._link = link
        self._form = incoming.form(probe.pointer, probe.unit, probe.unit_pointer, probe.seq_pointer, probe.at_pointer)

    def drop(self) -> None:
        self._link.drop()

    async def next(self, within_s: float) -> Sample | None:
        until = time.monotonic() + within_s
        while (left := until - time.monotonic()) > 0:
            message = await self._link.next(left)
            if message is None or message.retain or not isinstance(message.payload, bytes):
                continue
            found = incoming.reading(self._form, message.payload, time.monotonic(), time.time())
            if isinstance(found, Reading):
                return Sample(found.at, found.value_c)
        return None


class Terminal:
    """A person at this screen. The running line is for a terminal only, once a second."""

    def __init__(self) -> None:
        self._shown_at = 0.0

    async def ready(self, text: str) -> None:
        await asyncio.to_thread(terminal.answered, text)

    def shows(self, text: str) -> None:
        now = time.monotonic()
        if not sys.stderr.isatty() or (not text.endswith("\n") and now - self._shown_at < 1.0):
            return
        self._shown_at = now
        print(f"\r{text:<110}", end="", file=sys.stderr, flush=True)
