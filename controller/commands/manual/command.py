"""The paper that goes with the program: man pages and shell completion, made from what each command takes.

underback manual                        the list of commands with what each takes
underback manual order start            one command's page, as text
underback manual --man DIR              man pages, for such as ~/.local/share/man/man1
underback manual --completion           a function for bash and zsh
underback manual --schemas DIR          what an editor knows of our files, a JSON Schema a kind
"""

from __future__ import annotations

import argparse
from pathlib import Path

from controller.commands.manual import completion, man_pages, parsers, schemas
from controller.commands.shared.exit_codes import DONE, Wrong


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("words", nargs="*", metavar="COMMAND", help="the page of this command alone")
    parser.add_argument("--man", metavar="DIR", help="write the man pages there")
    parser.add_argument("--completion", metavar="FILE", help="write there what bash and zsh complete by")
    parser.add_argument("--schemas", metavar="DIR", help="write there the JSON Schemas of our files, for editors")


def run(args: argparse.Namespace) -> int:
    if args.man or args.completion or args.schemas:
        files = {Path(args.man) / name: text for name, text in man_pages.pages().items()} if args.man else {}
        files |= {Path(args.completion): completion.script()} if args.completion else {}
        files |= {Path(args.schemas) / name: text for name, text in schemas.files()} if args.schemas else {}
        return _write(files)
    wanted = " ".join(args.words)
    found = [one for one in parsers.commands() if one.words == wanted or (not wanted and not one.part)]
    if not found:
        raise Wrong(f"manual: found {wanted!r}, wanted a command, such as `underback manual check`")
    print("\n".join(one.parser.format_help() if wanted else one.parser.format_usage().rstrip() for one in found))
    return DONE


def _write(files: dict[Path, str]) -> int:
    """These files, with their folders. Raises Wrong."""
    for path, text in files.items():
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(text, encoding="utf-8")
        except OSError as why:
            raise Wrong(f"manual: {path}: {why.strerror}") from None
    print(f"{len(files)} files written, the first of them {next(iter(files))}")
    return DONE
