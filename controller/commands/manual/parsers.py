"""What does each command take? Walked from the parsers themselves, for man pages and completion."""

from __future__ import annotations

import argparse
import importlib
from collections.abc import Iterator
from typing import Any, NamedTuple

from controller.commands.shared import own_streams
from controller.commands.shared.parsers import COMMANDS, Parser, parser_of


class Command(NamedTuple):
    """A command, or one part of it, such as one order."""

    name: str
    part: str
    what: str
    about: str
    parser: Parser

    @property
    def words(self) -> str:
        return f"{self.name} {self.part}".rstrip()


def commands() -> Iterator[Command]:
    """Every command, each followed by its parts."""
    for name, (path, what) in COMMANDS.items():
        module: Any = importlib.import_module(f"controller.commands.{path}")
        for part in ("", *getattr(module, "PARTS", ())):
            parser = parser_of(name, module, part)
            if name not in own_streams.FOR_MACHINES:
                own_streams.argument(parser)
            about = str(parser.description) if part else str(module.__doc__ or "")
            yield Command(name, part, str(parser.description) if part else what, about, parser)


def actions(parser: Parser) -> list[argparse.Action]:
    """The arguments and options that a person is told of."""
    return [action for action in parser._actions if action.help != argparse.SUPPRESS]


def helped(action: argparse.Action, parser: Parser) -> str:
    """The help of an argument, with its figures filled in."""
    return (action.help or "") % {**vars(action), "prog": parser.prog}
