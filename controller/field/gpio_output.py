"""How is a pin switched, and read, and does it outlive its program?

A small interface over gpiod 2 (the kernel's character device), so that tests need no pins. An output starts off, is
read back after each change, and is set off before it is let go. What happens to a pin after the process has died is the
kernel's doing: those of a Raspberry Pi keep it as it was, on purpose (raspberrypi/linux, pull requests 6117 and 6150),
unless `dtparam=strict_gpiod` is set or the pin controller's parameter says otherwise (config/wiring.md). A heater must
not hang on such a pin.
"""

from __future__ import annotations

import contextlib
import importlib
from pathlib import Path
from types import ModuleType
from typing import Any, Protocol

NAME = "underback"
WANTED = (2, 0)  # version of gpiod; 1.x has another interface under the same name
CONTROLLERS = ("pinctrl_bcm2835", "pinctrl_rp1")  # up to Pi 4; Pi 5 (its name of the parameter unconfirmed)
PARAMETER = "persist_gpio_outputs"
BOOT_FILES = ("boot/firmware/config.txt", "boot/config.txt")
ADVICE = (
    "this kernel leaves a GPIO output as it was when its program dies: the heater would stay on. Put "
    "dtparam=strict_gpiod into /boot/firmware/config.txt and start the machine anew (config/wiring.md)"
)


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


# ---------------------------------------------------------------- after the process has died


def outputs_persist(root: Path = Path("/")) -> bool | None:
    """Does this machine's kernel keep an output on after its program has died?

    None where it cannot be told (no Raspberry Pi, or nothing readable). `root` is for tests.
    """
    for controller in CONTROLLERS:
        said = _text(root / "sys/module" / controller / "parameters" / PARAMETER).strip()
        if said:
            return said in ("Y", "1")
    words = _text(root / "proc/cmdline").split()
    if any(f"{controller}.{PARAMETER}={no}" in words for controller in CONTROLLERS for no in ("n", "N", "0")):
        return False
    if any(_strict(_text(root / name)) for name in BOOT_FILES):
        return False
    return True if _text(root / "proc/device-tree/model").startswith("Raspberry Pi") else None


def _strict(config: str) -> bool:
    """Does a config.txt set strict_gpiod? The last word on it counts."""
    strict = False
    for line in config.splitlines():
        key, _, values = line.strip().partition("=")
        for value in values.split(",") if key == "dtparam" else ():
            name, _, state = value.strip().partition("=")
            if name == "strict_gpiod":
                strict = state.lower() not in ("off", "false", "0", "no")
    return strict


def _text(path: Path) -> str:
    try:
        return path.read_bytes()[:65536].decode("utf-8", "replace")
    except OSError:
        return ""
