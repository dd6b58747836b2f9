"""How do pins, clock, watchdog, 1-wire line and Wi-Fi of a board look to the nodes? All that knows MicroPython's own.

The watchdog is started once and can't be stopped; a board on which its time can't be set has none that would do.
"""

import asyncio
import os
from time import ticks_diff, ticks_ms  # type: ignore[attr-defined]

import ds18x20
import machine
import network
import onewire

WATCHDOG_MS = 5000
CONVERSION_S = 0.8  # 750 ms at 12 bits (data sheet of the DS18B20)

MYPY = False  # true for the type checker alone
if MYPY:
    from collections.abc import Callable


def output(pin: int) -> "Callable[[bool], None]":
    """An output, off from the first moment."""
    made = machine.Pin(pin, machine.Pin.OUT, value=0)
    return lambda on: made.value(1 if on else 0)


def contact(pin: int | None) -> "Callable[[], bool] | None":
    """A contact that closes to ground: is it closed? None where there is none."""
    if pin is None:
        return None
    made = machine.Pin(pin, machine.Pin.IN, machine.Pin.PULL_UP)
    return lambda: made.value() == 0


def watchdog() -> "Callable[[], None]":
    """What feeds it. Raises where the board's watchdog takes no time: such a board is not for heaters."""
    return machine.WDT(timeout=WATCHDOG_MS).feed  # type: ignore[no-any-return]


def boot_word() -> str:
    """A new word at each power-up."""
    return word(os.urandom(6))


def word(data: bytes) -> str:
    """These bytes in hex."""
    return "".join([f"{byte:02x}" for byte in data])


def restart() -> None:
    """As if the supply had been switched off and on."""
    machine.reset()


class Clock:
    """Seconds since the board's start; the board's own counter of milliseconds runs over after days."""

    def __init__(self) -> None:
        self._last, self._ms = ticks_ms(), 0

    def now(self) -> float:
        """Called at least once a day."""
        read = ticks_ms()
        self._ms += ticks_diff(read, self._last)
        self._last = read
        return self._ms / 1000


class OneWire:
    """The sensors on one 1-wire line."""

    def __init__(self, pin: int) -> None:
        self._line = ds18x20.DS18X20(onewire.OneWire(machine.Pin(pin)))

    async def read(self) -> dict[str, bytes]:
        """Convert and read them all: nine bytes by serial number. A sensor that does not answer is left out."""
        found: dict[str, bytes] = {}
        try:
            serials = self._line.scan()
            self._line.convert_temp()
        except Exception:  # the driver raises OneWireError, which is no more than an Exception
            serials = []
        await asyncio.sleep(CONVERSION_S)
        for serial in serials:
            try:
                found[word(serial)] = bytes(self._line.read_scratch(serial))
            except Exception:  # its checksum, or nobody there
                continue
        return found


async def wifi(name: str, password: str) -> None:
    """Connected to this network, however long it takes; nothing to do where no name is given."""
    if not name:
        return
    station = network.WLAN(network.STA_IF)
    station.active(True)
    if not station.isconnected():
        station.connect(name, password)
    while not station.isconnected():  # noqa: ASYNC110 - the driver sets no event
        await asyncio.sleep(0.5)


def tls(ca: str) -> object:
    """An encrypted connection that trusts this authority alone; None where no file is named."""
    if not ca:
        return None
    import ssl

    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.verify_mode = ssl.CERT_REQUIRED
    with open(ca, "rb") as file:
        context.load_verify_locations(cadata=file.read())
    return context
