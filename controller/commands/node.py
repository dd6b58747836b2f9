"""`underback node`: the field nodes for a Raspberry Pi, thermometers and heater.

`node probe --once` reads each thermometer once and shows it; `node heater --off` drives the output to off and ends, for
the service manager after the node has ended.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import signal
import sys
from collections.abc import Callable
from typing import TYPE_CHECKING

from controller.commands.shared.exit_codes import DONE, NO, Wrong
from controller.edge.files import config_files
from controller.edge.log import Log
from controller.field import hardware_config
from controller.field.thermometer import Fault
from controller.settings.problems import Problems

if TYPE_CHECKING:
    from controller.field.hardware_config import NodeHardware


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("kind", choices=["probe", "heater"], help="which node")
    parser.add_argument("--tun", metavar="NAME", help="for which tun; not needed where there is only one")
    parser.add_argument("--once", action="store_true", help="probe: read each thermometer once, show it, end")
    parser.add_argument("--off", action="store_true", help="heater: drive the output to off, end")
    parser.add_argument("--json", action="store_true", help="with --once: one JSON object")


def run(args: argparse.Namespace) -> int:
    try:
        fitted = hardware_config.load(config_files.config_dir(args.config), args.tun, args.kind)
    except Problems as wrong:
        raise Wrong(*wrong.problems) from None
    if args.kind == "probe":
        return show(fitted, args.json) if args.once else serve_probe(fitted)
    return serve_heater(fitted, args.off)


def show(fitted: NodeHardware, as_json: bool) -> int:
    """Read each thermometer once. 1 if any has no reading."""
    from controller.field import probe_node

    assert fitted.table.probe is not None
    found = {place.role: place.thermometer.read() for place in probe_node.places(fitted, fitted.table.probe)}
    if as_json:
        values = {r: {"fault": v.why} if isinstance(v, Fault) else {"temperature_c": v} for r, v in found.items()}
        sys.stdout.write(json.dumps(values, ensure_ascii=False) + "\n")
    else:
        for role, value in found.items():
            text = f"no reading: {value.why}" if isinstance(value, Fault) else f"{value:.3f} °C"
            sys.stdout.write(f"{role:<7} {text}\n")
    return NO if any(isinstance(value, Fault) for value in found.values()) else DONE


def serve_probe(fitted: NodeHardware) -> int:
    """Read and publish until told to end."""
    from controller.field import probe_node

    assert fitted.table.probe is not None
    probe = fitted.table.probe

    async def serve() -> None:
        service = probe_node.make(fitted, probe, Log())
        _on_signals(service.stop)
        await service.run()

    asyncio.run(serve())
    return DONE


def serve_heater(fitted: NodeHardware, off_only: bool) -> int:
    """Obey until told to end; everything off on every way out. 1 when it could not go on."""
    from controller.field import gpio_persistence, heater_service
    from controller.field.gpio_output import SwitchProblem

    assert fitted.table.heater is not None
    heater = fitted.table.heater
    try:
        pins = heater_service.open_pins(heater)
    except SwitchProblem as problem:
        Log().error(f"heater: {problem}")
        return NO
    if off_only:
        pins.close()
        return DONE

    log = Log()
    if gpio_persistence.outputs_persist():
        log.error(gpio_persistence.ADVICE)

    async def serve() -> bool:
        service = heater_service.make(fitted, heater, pins, log)
        _on_signals(service.stop)
        return await service.run()

    try:
        return DONE if asyncio.run(serve()) else NO
    finally:
        pins.close()


def _on_signals(stop: Callable[[], None]) -> None:
    loop = asyncio.get_running_loop()
    for number in (signal.SIGTERM, signal.SIGINT):
        loop.add_signal_handler(number, stop)
