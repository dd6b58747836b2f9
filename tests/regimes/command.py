"""How does each of these commands take its options?"""

from __future__ import annotations

from argparse import ArgumentParser, Namespace, RawDescriptionHelpFormatter


def options(doc: str | None, words: list[str] | None = None, **defaults: object) -> Namespace:
    """`name=default` gives `--name` of the default's type: with False a switch, with a list one of its values, given
    again for more. The module's docstring is the help, the words of the command line are taken where none are given."""
    parser = ArgumentParser(description=doc, formatter_class=RawDescriptionHelpFormatter)
    for name, default in defaults.items():
        flag = "--" + name.replace("_", "-")
        if default is False:
            parser.add_argument(flag, action="store_true")
        elif isinstance(default, list):
            parser.add_argument(flag, action="append", choices=default)
        else:
            parser.add_argument(flag, type=type(default), default=default)
    found = parser.parse_args(words)
    for name, default in defaults.items():
        if isinstance(default, list) and getattr(found, name) is None:
            setattr(found, name, default)
    return found
