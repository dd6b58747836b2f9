"""Which commands are there, and what does each take?"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from typing import Any, NoReturn

from controller.commands.shared.exit_codes import WRONG

COMMANDS: dict[str, tuple[str, str]] = {
    "init": ("init", "lay out a starter configuration, to be changed"),
    "check": ("check", "validate programs, show the plan, give advice"),
    "program": ("program", "write a program from five answers: tun, malts, aim, rests, liquor"),
    "day": ("day", "several batches by one clock, a shared tank of hot liquor, and what clashes"),
    "reckon": ("reckon.command", "work out one thing: strike, blending, a pull, run-off, and more; any unit"),
    "dryrun": ("dryrun.command", "run a program against the simulated tun on a counted clock, no broker"),
    "demo": ("demo.command", "everything on this machine over real MQTT, with simulated nodes and a live view"),
    "serve": ("serve", "the daemon"),
    "standin": ("standin", "the simulated tun as probe node and heater node on a real broker"),
    "rehearse": ("rehearse", "a rehearsal on your own broker: simulated nodes with their rights, and the daemon"),
    "order": ("order.command", "send an order to a running daemon and print its answer"),
    "status": ("status", "the daemon's status, once"),
    "watch": ("watch", "the daemon's status, live"),
    "learn": ("learn", "measure the tun with plain water and write learned/NAME.toml"),
    "tryout": ("tryout", "commissioning with plain water and a person present: the proof test"),
    "calibrate": ("calibrate", "two-point check of a probe: ice and boiling water"),
    "compose": ("compose.command", "find a rest program for a wanted wort within limits"),
    "compare": ("compare", "two programs or two past runs over each other"),
    "runs": ("runs", "past runs"),
    "report": ("report", "a run's report"),
    "swarm": ("swarm", "many seeded mashes with random faults"),
    "doctor": ("doctor", "check this machine and its broker"),
    "manual": ("manual.command", "man pages and shell completion"),
    "node": ("node", "the field nodes for a Raspberry Pi; `check` of any node on the broker; `board` for small boards"),
    "output-off": ("output_off", "send OFF to the heater on a connection of its own (for systemd's ExecStopPost)"),
}


def _reader(make: Callable[[str], float], wanted: str) -> Callable[[str], float]:
    def read(text: str) -> float:
        try:
            return make(text)
        except ValueError:
            raise argparse.ArgumentTypeError(f'found "{text[:60]}", wanted {wanted}') from None

    return read


class Parser(argparse.ArgumentParser):
    """argparse, with the reason first and the usage after it, and numbers refused in our own words."""

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        self.register("type", int, _reader(int, "a whole number"))
        self.register("type", float, _reader(float, "a number"))

    def error(self, message: str) -> NoReturn:
        self.exit(WRONG, f"{self.prog}: {message}\n{self.format_usage()}")


def parser_of(name: str, module: Any, part: str = "", config: str | None = None) -> Parser:
    """The parser of a command, or of one part of it, such as one order."""
    parser = Parser(prog=f"underback {name} {part}".rstrip(), description=COMMANDS[name][1])
    parser.add_argument("--config", default=config, metavar="DIR", help="folder with service.toml, tuns/, programs/")
    (module.PARTS[part] if part else module.arguments)(parser)
    return parser
