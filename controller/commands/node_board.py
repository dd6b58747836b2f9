"""`underback node board DIR`: what a small board runs, laid out in a folder, its own file filled in from the tun's.

The files are those that run here; pins, Wi-Fi and password are for the person to fill in.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import controller
from controller.commands.shared import terminal
from controller.commands.shared.exit_codes import DONE, Wrong
from controller.edge.files import config_files, writable
from controller.field.hardware_config import MASH_GAP_K, TRIP_K
from controller.field.lease import OUTLET_GAP_K
from controller.messages.topics import topics
from controller.settings.service import Settings
from controller.settings.tun import Tun

FILES = ("__init__.py", "field/__init__.py", "field/contact.py", "field/lease.py", "field/scratchpad.py")
MAIN = "from controller.field.board import start\n\nstart.run()\n"
COMMON = """# What hangs on this board. Read config/board.md before anything is connected.

NODE = "{kind}"
WIFI = ("", "")             # name and password of the network
HOST = "{host}"             # the broker's address as the board sees it
PORT = {port}
USER = "{kind}-{tun}"
PASSWORD = ""
CA = ""                     # the authority's certificate, a file on the board: the connection is encrypted then
THERMOMETER = None          # the pin of the 1-wire line
"""
HEATER = """
BASE = "{base}"
POWER_W = {power:g}              # the heater's plate
KIND = "{relay}"                # "ssr" or "contactor"
WINDOW_S = {window:g}                # a share of power is on and off within it
OUTPUT = None               # the pin of the relay, with a pull-down of 10 kOhm outside
LIMIT_C = {limit:g}                # its own limit at the thermometer on this line
TRIP_C = {trip:g}                 # latched from here on, until somebody presses the reset
GAP_K = {gap:g}                   # so far below the limit heat returns
LEVEL = None                # pins of contacts that close to ground; None where none is wired to this board
FLOW = None
RESET = None                # the pin of a button that closes to ground
"""
PROBE = """
PROBES = {probes}   # topic by the sensor's serial number; "any" where one alone hangs on the line
FIRST = "{first}"   # of which of them does the last will tell?
"""
CONTACTOR_WINDOW_S = 30.0  # at least (common practice: a contactor wears with each closing)


def run(args: argparse.Namespace) -> int:
    """Lay the files out. What is in the way is not overwritten."""
    settings = config_files.settings(config_files.config_dir(args.config), args.tun)
    folder = Path(args.folder or f"board-{settings.tun.name}-{args.board}")
    if folder.exists():
        raise Wrong(f"{folder}: found something, wanted a name that is free")
    own, source = config(settings, args.board), Path(controller.__path__[0])
    names = [*FILES, *(str(path.relative_to(source)) for path in sorted((source / "field" / "board").glob("*.py")))]
    files = {f"controller/{name}": source / name for name in names}
    writable.lay("folder", folder, {**files, "main.py": MAIN, "board_config.py": own})
    said = f"{folder}: fill in board_config.py, then copy all of it onto the board (config/board.md)"
    terminal.show(args.json, {"folder": str(folder), "files": [*names, "main.py", "board_config.py"]}, [said])
    return DONE


def config(settings: Settings, kind: str) -> str:
    """The board's own file, as far as the tun's file tells."""
    broker, tun = settings.service.broker, settings.tun
    text = COMMON.format(kind=kind, host=broker.host, port=broker.port, tun=tun.name)
    return text + (_heater(settings, tun) if kind == "heater" else _probe(tun))


def _heater(settings: Settings, tun: Tun) -> str:
    if tun.heater.kind not in ("ssr", "contactor"):
        raise Wrong(f'{tun.name}: found a heater of the kind "{tun.heater.kind}", wanted "ssr" or "contactor"')
    guard, contactor = tun.guard, tun.heater.kind == "contactor"
    behind = tun.probes.outlet is not None
    return HEATER.format(
        base=topics(settings).heater_command.removesuffix("/heater/command"),
        power=tun.heater.power_w,
        relay=tun.heater.kind,
        window=max(tun.heater.window_s, CONTACTOR_WINDOW_S) if contactor else tun.heater.window_s or 2.0,
        limit=guard.outlet_limit_c if behind else guard.hard_limit_c,
        trip=max(guard.outlet_limit_c, guard.outlet_trip_c) if behind else guard.hard_limit_c + TRIP_K,
        gap=OUTLET_GAP_K if behind else MASH_GAP_K,
    )


def _probe(tun: Tun) -> str:
    fitted = [probe for probe in (tun.probes.mash, tun.probes.second, tun.probes.outlet) if probe is not None]
    odd = [probe.topic for probe in fitted if probe.pointer != "/temperature" or probe.unit != "C"]
    if odd:
        raise Wrong(f'{odd[0]}: found another form, wanted pointer = "/temperature" and unit = "C", as boards say')
    names = ["any"] if len(fitted) == 1 else [f"28-of-sensor-{n}" for n in range(1, len(fitted) + 1)]
    return PROBE.format(probes=dict(zip(names, (p.topic for p in fitted), strict=True)), first=fitted[0].topic)
