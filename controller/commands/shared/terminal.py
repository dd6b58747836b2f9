"""How does a command read a quantity, ask a person, show how far it is, print its answer, and end?"""

from __future__ import annotations

import contextlib
import json
import signal
import sys
from collections.abc import Callable, Iterable, Iterator

from controller.brewing.units import Kind, quantity
from controller.commands.shared.exit_codes import Wrong
from controller.settings.problems import Problems

BAR = 25  # characters
ENDINGS = (signal.SIGTERM, signal.SIGINT)


def asked(kind: Kind, option: str, text: str) -> float:
    """A quantity in base units. Raises Wrong with the option's name."""
    try:
        return quantity(kind, text)
    except ValueError as why:
        raise Wrong(f"{option}: found {text!r}, wanted {why}") from None


@contextlib.contextmanager
def noted(problems: list[object]) -> Iterator[None]:
    """What is wrong in this block joins the list, so that everything is told at once."""
    try:
        yield
    except (Wrong, Problems) as wrong:
        problems.append(wrong)


def answered(text: str) -> str:
    """What does the person at this screen type? Raises Wrong where nobody can."""
    try:
        print(f"{text} ", end="", file=sys.stderr, flush=True)  # stdout is for the answer
        return input().strip()
    except EOFError:
        print(file=sys.stderr)
        raise Wrong("nobody answers here; run it in a terminal, with a person beside the tun") from None


def water(text: str | None, example: str) -> float:
    """How much plain water is it, L; asked for where it was not said? Raises Wrong where nobody can answer."""
    wanted = f'how much plain water is or was in the tun, such as "{example}"'
    if text is None and not (sys.stdin and sys.stdin.isatty()):
        raise Wrong(f"--water: found nothing, wanted {wanted}")
    return asked("volume", "--water", answered(f"{wanted.capitalize()}?") if text is None else text)


def show(as_json: bool, document: object, lines: Iterable[str], *, allow_nan: bool = True) -> None:
    """The answer on stdout: one JSON value, or lines for a person."""
    print(json.dumps(document, ensure_ascii=False, allow_nan=allow_nan) if as_json else "\n".join(lines))


def on_signals(stop: Callable[[], object], numbers: Iterable[signal.Signals] = ENDINGS) -> None:
    """Call this, on the running loop, when the process is told to end."""
    import asyncio  # only here: what ends by itself starts faster without

    for number in numbers:
        asyncio.get_running_loop().add_signal_handler(number, stop)


class Bar:
    """How far a long work is, on stderr; nothing where nobody looks."""

    def __init__(self) -> None:
        self._seen, self._wide = sys.stderr.isatty(), 0

    def tell(self, share: float, text: str) -> None:
        """The share done, 0..1, and what is being done."""
        if self._seen:
            shown = f"{'█' * int(BAR * share):░<{BAR}} {100 * share:3.0f} %, {text}"
            print(f"\r{shown:<{self._wide}}", end="", file=sys.stderr, flush=True)
            self._wide = len(shown)

    def clear(self) -> None:
        """Nothing is left of it."""
        if self._seen:
            print("\r" + " " * self._wide, end="\r", file=sys.stderr)
