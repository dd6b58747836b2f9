"""Which command was asked for? Finds the command's module, runs it, turns its end into an exit code.

Exit codes: 0 done; 1 an answer of no; 2 input that is wrong; 3 broker or daemon out of reach; 70 a bug.
"""

from __future__ import annotations

import gc
import importlib
import importlib.util
import sys
import traceback
from collections.abc import Sequence
from typing import Any

import controller
from controller.commands.shared.exit_codes import BUG, DONE, NO, UNREACHABLE, WRONG, Unreachable, Wrong
from controller.commands.shared.parsers import COMMANDS, parser_of
from controller.edge import standard_streams
from controller.settings.problems import Problems

NOT_OURS = """underback: the package "controller" in {folder} is not underback's: another distribution has
laid its own over it. Install underback in an environment of its own (python3 -m venv) with nothing else in it."""

USAGE = """underback {version}: rest programs for a heated mash tun, unattended and on record

usage: underback [--config DIR] COMMAND [...]       underback COMMAND --help

{commands}

Files are read from --config DIR, else $UNDERBACK_CONFIG, else ./config, else /etc/underback.
check, dryrun, compose and demo run on the shipped files where there is none."""


def usage() -> str:
    width = max(map(len, COMMANDS))
    lines = [f"  {name:<{width}}  {text}" for name, (_, text) in COMMANDS.items() if _available(name)]
    return USAGE.format(version=controller.__version__, commands="\n".join(lines))


def _near(name: str, rest: Sequence[str]) -> str:
    """After a slip of the pen: which command was meant? An order may have been, without its command."""
    import difflib  # only here: loading these takes time that every other start can do without
    import shlex

    from controller.core.procedure.orders import envelope

    if name in envelope.ALLOWED:
        return f"; it is an order\nNext: underback order {shlex.join([name, *rest])}"
    near = difflib.get_close_matches(name, COMMANDS, n=1, cutoff=0.5)
    return f"; did you mean {near[0]!r}?\nNext: underback {shlex.join([near[0], *rest])}" if near else f"\n\n{usage()}"


def _available(name: str) -> bool:
    return importlib.util.find_spec(f"controller.commands.{COMMANDS[name][0]}") is not None


def _split(argv: Sequence[str]) -> tuple[str | None, str | None, list[str]]:
    """Which config folder and command, and what is left for the command? `--config` and `--units` may stand on either
    side."""
    given: dict[str, str] = {}
    rest = list(argv)
    while rest and (option := rest[0].partition("=")[0]) in ("--config", "--units"):
        if "=" in rest[0]:
            given[option] = rest.pop(0).split("=", 1)[1]
        elif len(rest) > 1:
            given[option], rest = rest[1], rest[2:]
        else:
            raise Wrong(f"{option}: {'a folder' if option == '--config' else 'a name of units'} is missing after it")
    units = ["--units", given["--units"]] if "--units" in given else []
    return given.get("--config"), (rest[0] if rest else None), [*rest[1:], *(units if rest else [])]


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command. Returns the exit code; never lets a traceback out but for a bug (70)."""
    standard_streams.make_ready()
    if getattr(controller, "DISTRIBUTION", None) != "underback":
        return _told(NOT_OURS.format(folder=controller.__path__[0]), WRONG)
    streams = sys.stdout, sys.stderr
    try:
        code = _code(sys.argv[1:] if argv is None else argv)
    finally:
        sys.stdout, sys.stderr = streams  # a command may have put its own there
    if why := standard_streams.settle():
        print(f"standard output: {why}; the answer is not complete", file=sys.stderr)
        return code or NO
    return code


def _code(argv: Sequence[str]) -> int:
    try:
        return _run(argv)
    except (Wrong, Problems) as wrong:
        return _told(wrong, WRONG)
    except Unreachable as away:
        return _told(away, UNREACHABLE)
    except KeyboardInterrupt:
        return 130
    except SystemExit as end:
        return end.code if isinstance(end.code, int) else WRONG
    except Exception:
        traceback.print_exc()
        return _told("underback: this is a bug in underback, not in your files. Any heater lease has run out.", BUG)


def _told(text: object, code: int) -> int:
    print(text, file=sys.stderr)
    return code


def _part(module: Any, rest: Sequence[str]) -> str:
    """Of which part of the command is the help wanted? Empty where it is the whole command's, or none is."""
    wanted = {"-h", "--help"} & set(rest)
    return next((word for word in rest if word in getattr(module, "PARTS", ())), "") if wanted else ""


def _run(argv: Sequence[str]) -> int:
    config, name, rest = _split(argv)
    if name in (None, "help", "-h", "--help"):
        print(usage())
        return DONE
    if name in ("--version", "-V"):
        print(f"underback {controller.__version__}")
        return DONE
    if name not in COMMANDS or not _available(name):
        print(f"underback: no command {name!r}{_near(name, rest)}", file=sys.stderr)
        return WRONG
    from controller.commands.shared import own_streams  # only here: the list of commands does without

    gc.disable()  # nothing of what is loaded now is ever garbage: 14 ms of looking for it (measured)
    try:
        module = importlib.import_module(f"controller.commands.{COMMANDS[name][0]}")
    finally:
        gc.freeze()
        gc.enable()
    parser = parser_of(name, module, _part(module, rest), config)
    if name not in own_streams.FOR_MACHINES:
        own_streams.argument(parser)
    args = parser.parse_intermixed_args(rest)
    if name not in own_streams.FOR_MACHINES and not getattr(args, "json", False):
        own_streams.tell(own_streams.chosen(args.units, args.config))
    code: int = module.run(args)
    return code


if __name__ == "__main__":
    sys.exit(main())
