"""Pins that are files in the folder $PINS, a watchdog that bites nobody, and a restart that ends the process."""

import os
import sys

FOLDER = str(os.getenv("PINS")) + "/"


class Pin:
    """A pin: what it drives, or what a contact makes of it, stands in the file of its number."""

    IN, OUT, PULL_UP = 0, 1, 2

    def __init__(self, number: int, mode: int = 0, pull: int | None = None, value: int | None = None) -> None:
        self.path = FOLDER + str(number)
        if value is not None:
            self.value(value)

    def value(self, level: int | None = None) -> int:
        if level is None:
            with open(self.path) as file:
                return 1 if file.read() == "1" else 0
        with open(self.path, "w") as file:
            file.write(str(level))
        return level


class WDT:
    """The hardware watchdog."""

    def __init__(self, timeout: int) -> None:
        with open(FOLDER + "watchdog", "w") as file:
            file.write(str(timeout))
        self.fed = 0

    def feed(self) -> None:
        self.fed += 1


def reset() -> None:
    sys.exit(7)
