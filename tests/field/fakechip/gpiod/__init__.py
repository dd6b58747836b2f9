"""A GPIO chip made of files, with the few calls of gpiod 2 that the nodes use: one file a pin, holding its level.

The folder is the chip's path. A pin keeps its level when its process dies, as on a Raspberry Pi without strict_gpiod.
`test_gpio_output.py` holds these signatures against the real library where that is installed.
"""

from __future__ import annotations

import errno
import fcntl
import os
from pathlib import Path
from typing import Any

from . import line

__version__ = "2.fake"


class LineSettings:
    """What is asked of a line."""

    def __init__(
        self,
        direction: line.Direction = line.Direction.AS_IS,
        bias: line.Bias = line.Bias.AS_IS,
        active_low: bool = False,
        output_value: line.Value = line.Value.INACTIVE,
    ) -> None:
        self.direction, self.bias, self.active_low, self.output_value = direction, bias, active_low, output_value


class LineRequest:
    """Lines that are ours alone."""

    def __init__(self, folder: Path, config: dict[int, LineSettings]) -> None:
        self._folder, self._config = folder, config
        self._locks = [self._lock(number) for number in config]
        for number, settings in config.items():
            if settings.direction is line.Direction.OUTPUT:
                self.set_value(number, settings.output_value)

    def _lock(self, number: int) -> int:
        fd = os.open(self._folder / f"{number}.lock", os.O_RDWR | os.O_CREAT)
        try:
            fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            os.close(fd)
            raise OSError(errno.EBUSY, os.strerror(errno.EBUSY)) from None
        return fd

    def set_value(self, number: int, value: line.Value) -> None:
        high = (value is line.Value.ACTIVE) != self._config[number].active_low
        (self._folder / str(number)).write_text("1" if high else "0", encoding="ascii")

    def get_value(self, number: int) -> line.Value:
        settings, path = self._config[number], self._folder / str(number)
        pulled = "1" if settings.bias is line.Bias.PULL_UP else "0"
        high = (path.read_text(encoding="ascii") if path.exists() else pulled) == "1"
        return line.Value.ACTIVE if high != settings.active_low else line.Value.INACTIVE

    def release(self) -> None:
        for fd in self._locks:
            os.close(fd)
        self._locks = []


def request_lines(path: str, config: dict[int, Any], consumer: str | None = None) -> LineRequest:
    """Take lines of the chip."""
    folder = Path(path)
    if not folder.is_dir():
        raise FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT), path)
    if any(number > 53 for number in config):
        raise ValueError("no such line on this chip")
    return LineRequest(folder, config)
