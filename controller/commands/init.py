"""Where does one's own configuration begin? With a copy of what ships, laid out to be changed.

Asks for nothing and overwrites nothing; says what to change first.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from controller.commands.shared import terminal
from controller.commands.shared.exit_codes import DONE, Wrong
from controller.edge.files import shipped, writable

FIRST = (
    ("tuns/", "copy gannet.toml or plover.toml, the nearer one, to a name of your own and make it your tun"),
    ("tuns/", "in it: volume, min_liquor, metal, heater and its power, topics; then simulated = false"),
    ("service.toml", "[broker]: host, username, password_file; data_dir: where records are kept"),
    ("mosquitto/README.md", "users and rights on the broker, so that the daemon alone may command the heater"),
    ("wiring.md", "what the nodes at the tun have to do, before anything is connected"),
)
NOT_LAID = ("operator", "passwords", "asyncapi.json")  # a clone that is used may hold secrets
THEN = (
    "to rehearse first, change nothing: {folder}/rehearse.md",
    'then: underback --config "{folder}" check linnet --tun NAME, and underback --config "{folder}" doctor',
)


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folder", nargs="?", default="config", metavar="DIR", help="a new or empty folder; ./config")
    parser.add_argument("--json", action="store_true", help="one JSON object: the folder and its files")


def run(args: argparse.Namespace) -> int:
    """0: laid out; 2: there is something already, or it cannot be written."""
    target, source = Path(args.folder), shipped.folder()
    if source is None:
        raise Wrong("init: found no shipped configuration, wanted an installation from the wheel or a clone")
    if target.exists() and (not target.is_dir() or any(target.iterdir())):
        raise Wrong(f"DIR: found {str(target)!r} with something in it, wanted a new or an empty folder")
    shipped_files = {path.relative_to(source): path for path in source.rglob("*") if path.is_file()}
    laid = {str(name): path for name, path in sorted(shipped_files.items()) if not {*NOT_LAID} & {*name.parts}}
    writable.lay("DIR", target, laid)
    first = (f"  {target / where}: {what}" for where, what in FIRST)
    told = [
        f"{len(laid)} files laid out in {target}. Change first:",
        *first,
        *(line.format(folder=target) for line in THEN),
    ]
    terminal.show(args.json, {"folder": str(target), "files": list(laid)}, told)
    return DONE
