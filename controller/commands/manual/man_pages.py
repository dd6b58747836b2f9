"""How does a command look as a man page?"""

from __future__ import annotations

import argparse
import re
from collections.abc import Iterator

import controller
from controller.commands.manual.parsers import Command, actions, commands, helped
from controller.commands.shared.parsers import COMMANDS

ENDS = (
    ("0", "done"),
    ("1", "an answer of no"),
    ("2", "input that is wrong; every problem at once"),
    ("3", "broker or daemon out of reach"),
    ("70", "a bug"),
)
ABOUT = """An unattended mash: a program of rests in, heater leases out, over MQTT, on record. It is no safety device:
fit a separate over-temperature cut-out with manual reset."""
FILES = (
    (
        "./config, /etc/underback",
        "programs/, tuns/, nodes/, malts/, service.toml; UNDERBACK_CONFIG or --config before them",
    ),
    (
        "data, /var/lib/underback",
        "records of runs, what was learned, calibrations, proof tests: data_dir in service.toml",
    ),
    ("~/.local/share/underback", "records of demos where no data folder is there"),
)


def pages() -> dict[str, str]:
    """Every man page by its file's name."""
    found = {f"underback-{one.words.replace(' ', '-')}.1": page(one) for one in commands()}
    return {"underback.1": _whole(), **found}


def page(one: Command) -> str:
    """The man page of one command."""
    title = f"underback-{one.words.replace(' ', '-')}"
    usage = " ".join(one.parser.format_usage().removeprefix("usage: ").split())
    parts = [*_top(title, one.what), ".SH SYNOPSIS", _roff(usage), ".SH DESCRIPTION", *_prose(one.about)]
    parts += [".SH OPTIONS", *(line for action in actions(one.parser) for line in _option(action, one))]
    if one.parser.epilog:
        parts += [".SH MORE", ".nf", *map(_roff, one.parser.epilog.splitlines()), ".fi"]
    return "\n".join([*parts, *_ends(), ".SH SEE ALSO", ".BR underback (1)"]) + "\n"


def _whole() -> str:
    """The page of them all."""
    listed = [line for name, (_, what) in COMMANDS.items() for line in (".TP", f".B {_roff(name)}", _roff(what))]
    files = [line for path, what in FILES for line in (".TP", f".I {_roff(path)}", _roff(what))]
    parts = [*_top("underback", "rest programs for a heated mash tun"), ".SH SYNOPSIS"]
    parts += ["underback [\\-\\-config DIR] COMMAND [...]", ".SH DESCRIPTION", *_prose(ABOUT)]
    return "\n".join([*parts, ".SH COMMANDS", *listed, ".SH FILES", *files, *_ends()]) + "\n"


def _top(title: str, what: str) -> list[str]:
    head = f'.TH {_roff(title.upper())} 1 "" "underback {controller.__version__}"'
    return [head, ".SH NAME", f"{_roff(title)} \\- {_roff(what)}"]


def _ends() -> list[str]:
    return [".SH EXIT STATUS", *(line for code, what in ENDS for line in (".TP", f".B {code}", what))]


def _option(action: argparse.Action, one: Command) -> Iterator[str]:
    shown = ", ".join(action.option_strings) or str(action.metavar or action.dest)
    if action.option_strings and action.nargs != 0:
        shown += f" {action.metavar or '|'.join(map(str, action.choices or ())) or action.dest.upper()}"
    yield from (".TP", f".B {_roff(shown)}", _roff(helped(action, one.parser)))


def _prose(text: str) -> Iterator[str]:
    """Paragraphs; what is indented stays as it is."""
    for block in re.split(r"\n\s*\n", text.strip()):
        if block.startswith("    "):
            yield from (".PP", ".nf", *(_roff(line) for line in block.splitlines()), ".fi")
        else:
            yield from (".PP", _roff(" ".join(block.split())))


def _roff(text: str) -> str:
    """A line that the formatter does not take for one of its own."""
    safe = text.replace("\\", "\\e").replace("-", "\\-").replace("`", "")
    return f"\\&{safe}" if safe.startswith((".", "'")) else safe
