"""How does a shell complete our words? A function for bash, which zsh takes as well."""

from __future__ import annotations

import argparse
from collections.abc import Iterator

from controller.commands.manual.parsers import actions, commands
from controller.commands.shared.parsers import COMMANDS, Parser

KINDS = {"PROGRAM": "programs", "--tun": "tuns"}  # what is a name below a folder of the configuration?
PATHS = ("FILE", "DIR", "FOLDER")
SCRIPT = """# Completion for underback, written by `underback manual --completion FILE`. bash takes it from its folder,
# such as ~/.local/share/bash-completion/completions/underback; in zsh first: autoload -U bashcompinit && bashcompinit
_underback() {{
    local cur=${{COMP_WORDS[COMP_CWORD]}} prev=${{COMP_WORDS[COMP_CWORD-1]}} config=${{UNDERBACK_CONFIG:-}} named="" i
    for ((i = 1; i < COMP_CWORD; i++)); do
        case ${{COMP_WORDS[i]}} in
            --config) config=${{COMP_WORDS[++i]}} ;;
            -*) ;;
            *) named+=" ${{COMP_WORDS[i]}}" ;;
        esac
    done
    if [ -z "$config" ]; then [ -d config ] && config=config || config=/etc/underback; fi
    local programs tuns words="{commands}"
    programs=$(cd "$config/programs" 2>/dev/null && printf '%s\\n' *.toml | sed 's/\\.toml$//')
    tuns=$(cd "$config/tuns" 2>/dev/null && printf '%s\\n' *.toml | sed 's/\\.toml$//')
    case "$prev" in
        --tun) COMPREPLY=($(compgen -W "$tuns" -- "$cur")); return ;;
        --config) COMPREPLY=($(compgen -d -- "$cur")); return ;;
        {paths}) COMPREPLY=($(compgen -f -- "$cur")); return ;;
    esac
    case "$named " in
{cases}
    esac
    COMPREPLY=($(compgen -W "$words" -- "$cur"))
}}
complete -F _underback underback
"""


def script() -> str:
    """The function, with every command, option and choice."""
    found = list(commands())
    cases = []
    for one in sorted(found, key=lambda one: -len(one.words)):  # `order start` before `order`
        parts = [other.part for other in found if other.name == one.name and other.part and not one.part]
        words = " ".join(dict.fromkeys([*_words(one.parser), *parts]))
        cases.append(f'        " {one.words} "*) words="{words}" ;;')
    files = sorted({flag for one in found for flag in _paths(one.parser)} - {"--config"})
    return SCRIPT.format(commands=" ".join(COMMANDS), cases="\n".join(cases), paths=" | ".join(files))


def _words(parser: Parser) -> Iterator[str]:
    for action in actions(parser):
        yield from action.option_strings
        yield from (str(one) for one in action.choices or ())
        if action.metavar == "PROGRAM" or action.dest == "program":
            yield "$programs"


def _paths(parser: Parser) -> Iterator[str]:
    for action in actions(parser):
        if _is_path(action):
            yield from action.option_strings


def _is_path(action: argparse.Action) -> bool:
    return str(action.metavar).removesuffix(".html") in PATHS
