"""How is a pin switched, and read?

A small interface over gpiod 2 (the kernel's character device), so that tests need no pins. An output starts off, is
read back after each change, and is set off before it is let go. What happens to a pin after the process has died is the
kernel's doing: on a Raspberry Pi it stays as it was unless `strict_gpiod` is set (config/wiring.md).
"""

from __future__ import annotations

import contextlib
import importlib
from types import ModuleType
from typing import Any, Protocol

NAME = "underback"
WANTED = (2, 0)  # version of gpiod; 1.x has another interface under the same name


class SwitchProblem(Exception):
    """The pin cannot be had, in words for a person."""


class Output(Protocol):
    """Something that is on or off."""

    def set(self, on: bool) -> bool:
        """Switch. False when it was seen not to follow. Raises OSError when the kernel refuses."""

    def close(self) -> None:
        """Off, then let go. Never raises."""


class Input(Protocol):
    """A contact."""

    def read(self) -> bool | None:
        """Is it closed? None when it cannot be read. Never raises."""

    def close(self) -> None: ...


def library() -> ModuleType:
    """The gpiod module. Raises SwitchProblem where it is missing or of the old interface."""
    try:
        gpiod = importlib.import_module("gpiod")
    except ImportError:
        raise SwitchProblem(
            "gpiod is not installed: apt install python3-libgpiod (Debian 13), or pip install gpiod>=2.0.2"
        ) from None
    version = str(getattr(gpiod, "__version__", "0"))
    if not hasattr(gpiod, "request_lines"):
        raise SwitchProblem(f"gpiod {version} has the old interface; {WANTED[0]}.{WANTED[1]}.2 or newer is needed")
    return gpiod


class _Line:
    """One line of a chip, ours alone. Raises SwitchProblem where it cannot be had."""

    def __init__(self, chip: str, line: int, active_low: bool, direction: str) -> None:
        gpiod = library()
        self._line, self._values = line, gpiod.line.Value
        wanted = gpiod.LineSettings(
            direction=getattr(gpiod.line.Direction, direction),
            output_value=gpiod.line.Value.INACTIVE,
            active_low=active_low,
            # While an output is ours it is driven; the pull holds it off in the moments around.
            bias=gpiod.line.Bias.PULL_UP if active_low else gpiod.line.Bias.PULL_DOWN,
        )
        try:
            self._request: Any = gpiod.request_lines(chip, consumer=NAME, config={line: wanted})
        except FileNotFoundError:
            raise SwitchProblem(f"{chip} is not there: found no such GPIO chip; see `ls /dev/gpiochip*`") from None
        except PermissionError:
            raise SwitchProblem(f"{chip} may not be opened: this user is not in the group gpio") from None
        except (OSError, ValueError) as error:
            why = f"cannot be had ({error}): taken by another program, or no such pin"
            raise SwitchProblem(f"pin {line} of {chip} {why}") from None

    def close(self) -> None:
        with contextlib.suppress(Exception):
            self._request.release()


class GpioOutput(_Line):
    """One output line; off from the moment that it is ours."""

    def __init__(self, chip: str, line: int, active_low: bool = False) -> None:
        super().__init__(chip, line, active_low, "OUTPUT")

    def set(self, on: bool) -> bool:
        wanted = self._values.ACTIVE if on else self._values.INACTIVE
        self._request.set_value(self._line, wanted)
        return bool(self._request.get_value(self._line) == wanted)

    def close(self) -> None:
        with contextlib.suppress(Exception):
            self._request.set_value(self._line, self._values.INACTIVE)
        super().close()


class GpioInput(_Line):
    """One input line, a contact that closes to supply (or to ground: `active_low`). An open wire reads "not closed"."""

    def __init__(self, chip: str, line: int, active_low: bool = False) -> None:
        super().__init__(chip, line, active_low, "INPUT")

    def read(self) -> bool | None:
        try:
            return bool(self._request.get_value(self._line) == self._values.ACTIVE)
        except OSError:
            return None
