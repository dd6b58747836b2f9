"""`underback node`: the field nodes for a Raspberry Pi, their reset, the check of any node, the files of a small board.

`node probe --once` reads each thermometer once and shows it; `node heater --off` drives the output to off and ends, for
the service manager after the node has ended.
"""

from __future__ import annotations

import argparse
import asyncio
from collections.abc import Coroutine

from controller.commands import node_board, node_check
from controller.commands.shared import terminal
from controller.commands.shared.exit_codes import DONE, NO, Unreachable
from controller.edge.files import config_files
from controller.edge.log import Log
from controller.field import hardware_config
from controller.field.hardware_config import NodeHardware
from controller.field.node_service import NodeService
from controller.field.thermometer import Fault


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "kind", choices=["probe", "heater", "reset", "check", "board"], help="which node; or what to do"
    )
    parser.add_argument("--tun", metavar="NAME", help="for which tun; not needed where there is only one")
    parser.add_argument("--once", action="store_true", help="probe: read each thermometer once, show it, end")
    parser.add_argument("--off", action="store_true", help="heater: drive the output to off, end")
    parser.add_argument("--json", action="store_true", help="with --once, reset, check or board: one JSON object")
    parser.add_argument("folder", nargs="?", help="board: where its files are laid")
    parser.add_argument("--board", choices=["heater", "probe"], default="heater", help="board: which node it will be")
    node_check.arguments(parser)


def run(args: argparse.Namespace) -> int:
    if args.kind == "check":
        return node_check.run(args)
    if args.kind == "board":
        return node_board.run(args)
    if args.kind == "reset":
        return reset(args.tun or config_files.only_tun(config_files.config_dir(args.config)), args.json)
    fitted = hardware_config.load(config_files.config_dir(args.config), args.tun, args.kind)
    if args.kind == "probe":
        return show(fitted, args.json) if args.once else serve_probe(fitted)
    return serve_heater(fitted, args.off)


def show(fitted: NodeHardware, as_json: bool) -> int:
    """Read each thermometer once. 1 if any has no reading."""
    from controller.field import probe_node

    assert fitted.table.probe is not None
    found = {place.role: place.thermometer.read() for place in probe_node.places(fitted, fitted.table.probe)}
    values = {r: {"fault": v.why} if isinstance(v, Fault) else {"temperature_c": v} for r, v in found.items()}
    texts = {r: f"no reading: {v.why}" if isinstance(v, Fault) else f"{v:.3f} °C" for r, v in found.items()}
    terminal.show(as_json, values, (f"{role:<7} {text}" for role, text in texts.items()))
    return NO if any(isinstance(value, Fault) for value in found.values()) else DONE


def reset(tun: str, as_json: bool) -> int:
    """Clear what is latched in the heater node of this machine. 1 where its cause is still there."""
    from controller.field import reset_line

    try:
        said = reset_line.ask(tun)
    except OSError:
        raise Unreachable(f"no heater node of {tun} runs on this machine; it is reset where it runs") from None
    terminal.show(as_json, {"tun": tun, "answer": said}, [f"{tun}: {said}"])
    return NO if reset_line.STILL in said or said == reset_line.REFUSED else DONE


def serve_probe(fitted: NodeHardware) -> int:
    """Read and publish until told to end."""
    from controller.field import probe_node

    assert fitted.table.probe is not None
    service = probe_node.make(fitted, fitted.table.probe, Log())
    asyncio.run(_served(service, service.run()))
    return DONE


def serve_heater(fitted: NodeHardware, off_only: bool) -> int:
    """Obey until told to end; everything off on every way out. 1 when it could not go on."""
    from controller.field import gpio_output, heater_service

    assert fitted.table.heater is not None
    heater, log = fitted.table.heater, Log()
    try:
        pins = heater_service.open_pins(heater)
    except gpio_output.SwitchProblem as problem:
        log.error(f"heater: {problem}")
        return NO
    try:
        if off_only:
            return DONE
        if gpio_output.outputs_persist():
            log.error(gpio_output.ADVICE)
        service = heater_service.make(fitted, heater, pins, log)
        return DONE if asyncio.run(_served(service, service.reset_until(fitted.tun.name))) else NO
    finally:
        pins.close()


async def _served(service: NodeService, running: Coroutine[None, None, bool]) -> bool:
    terminal.on_signals(service.stop)
    return await running
