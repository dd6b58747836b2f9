"""What does a thermometer on this machine read?

Through files of the Linux kernel only: 1-wire (w1_therm), the IIO or hwmon files of a MAX31865 with a platinum
resistor, and any other hwmon thermometer. A value known to mean "no value" is never passed on: the answer is degrees or
a `Fault` that says why. Reading blocks for a conversion (750 ms at 12 bits, w1_therm.rst of the kernel): use a thread.
"""

from __future__ import annotations

import errno
import re
from pathlib import Path
from typing import NamedTuple, Protocol

from controller.field import platinum_resistor, scratchpad

LONGEST = 4096  # bytes read of a kernel file; they hold a hundred at most


class Fault(NamedTuple):
    """Why there is no temperature, in words for a person."""

    why: str


class Thermometer(Protocol):
    """One sensor, read by blocking."""

    def read(self) -> float | Fault:
        """The temperature, °C, or why there is none."""


def text_of(path: Path) -> str | Fault:
    """What stands in a kernel file? A missing, empty or failing one is a `Fault`."""
    try:
        with path.open("rb") as file:
            text = file.read(LONGEST).decode("ascii", "replace").strip()
    except FileNotFoundError:
        return Fault(f"{path} is not there: sensor unplugged, or its driver not loaded")
    except OSError as error:
        name = errno.errorcode.get(error.errno or 0, "?")
        return Fault(f"{path} cannot be read: {error.strerror} ({name}); check the sensor's cable and supply")
    return text or Fault(f"{path} is empty: a conversion is under way, or the sensor does not answer")


def whole_of(path: Path) -> int | Fault:
    """Which whole number stands in a kernel file?"""
    text = text_of(path)
    if isinstance(text, Fault):
        return text
    if re.fullmatch(r"-?[0-9]{1,9}", text):
        return int(text)
    return Fault(f"{path} holds {text[:40]!r}, no whole number")


# ---------------------------------------------------------------- 1-wire

_LINES = re.compile(
    r"((?:[0-9a-f]{2} ){9}): crc=([0-9a-f]{2}) (YES|NO)\s*\n(?:[0-9a-f]{2} ){9}t=(-?[0-9]{1,6})$", re.ASCII
)
ONE_WIRE_LOWEST_C, ONE_WIRE_HIGHEST_C = -55.0, 125.0  # range of the DS18B20, its data sheet


class OneWire:
    """A 1-wire thermometer: its folder below /sys/bus/w1/devices, named by family and serial number."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def read(self) -> float | Fault:
        text = text_of(self.folder / "w1_slave")
        return text if isinstance(text, Fault) else one_wire(text)


def one_wire(text: str) -> float | Fault:
    """Which temperature does the text of a `w1_slave` file give, °C?"""
    found = _LINES.match(text.strip())
    if found is None:
        return Fault("the 1-wire driver's answer is not of the known form")
    scratch = bytes.fromhex(found[1].replace(" ", ""))
    if refused := scratchpad.fault(scratch):
        return Fault(refused)
    if found[3] != "YES":
        return Fault("the driver does not believe the checksum: noise on the cable, or weak pull-up")
    value = int(found[4]) / 1000.0
    if ONE_WIRE_LOWEST_C <= value <= ONE_WIRE_HIGHEST_C:
        return value
    can = f"{ONE_WIRE_LOWEST_C:g}..{ONE_WIRE_HIGHEST_C:g} °C"
    return Fault(f"{value:g} °C is beyond what the sensor can measure, {can}")


# ---------------------------------------------------------------- MAX31865

FULL_SCALE = 1 << 15  # the converter's 15 bits; ratio to the reference resistor (MAX31865 data sheet)
MILLI_PER_CODE = 31.25  # the driver's scale, drivers/iio/temperature/max31865.c
PLATINUM_LOWEST_C, PLATINUM_HIGHEST_C = -50.0, 200.0  # beyond: no brewhouse, but a wrong resistor (own choice)


class Max31865:
    """A platinum resistor on a MAX31865: the chip's IIO folder, or the hwmon folder that bridges to it."""

    def __init__(self, folder: Path, reference_ohm: float, r0_ohm: float) -> None:
        self.folder, self.reference_ohm, self.r0_ohm = folder, reference_ohm, r0_ohm

    def read(self) -> float | Fault:
        for name in ("fault_ovuv", "temp1_fault"):
            if (self.folder / name).exists() and whole_of(self.folder / name) != 0:
                return Fault("the converter reports over- or under-voltage at its input: check the sensor's wires")
        code = self._code()
        return code if isinstance(code, Fault) else self.celsius(code)

    def _code(self) -> int | Fault:
        bridged = self.folder / "temp1_input"
        if not bridged.exists():
            return whole_of(self.folder / "in_temp_raw")
        milli = whole_of(bridged)
        return milli if isinstance(milli, Fault) else round(milli / MILLI_PER_CODE)

    def celsius(self, code: int) -> float | Fault:
        """Which temperature does the converter's code mean, °C?"""
        if not (0 < code < FULL_SCALE - 1):
            what = "short circuit, or no data from the chip" if code <= 0 else "broken wire"
            return Fault(f"the converter is at the end of its scale (code {code}): {what}")
        ohm = code / FULL_SCALE * self.reference_ohm
        value = platinum_resistor.temperature_c(ohm, self.r0_ohm)
        if value is None or not (PLATINUM_LOWEST_C <= value <= PLATINUM_HIGHEST_C):
            found = f"{ohm:.1f} ohm" if value is None else f"{ohm:.1f} ohm or {value:.1f} °C"
            return Fault(f"{found} is no resistance of this sensor in a brewhouse: check wires, `reference` and `r0`")
        return value


class Hwmon:
    """Any other thermometer of the hwmon kind: a file such as temp1_input, in thousandths of a degree."""

    def __init__(self, file: Path) -> None:
        self.file = file

    def read(self) -> float | Fault:
        fault = self.file.with_name(self.file.name.replace("_input", "_fault"))
        if fault != self.file and fault.exists() and whole_of(fault) != 0:
            return Fault(f"{fault} reports a fault: check the sensor's wires")
        milli = whole_of(self.file)
        if isinstance(milli, Fault):
            return milli
        if milli in KNOWN_BAD_MILLI:
            what = "a value that means no measurement: check the sensor's plug and supply"
            return Fault(f"{milli / 1000:g} °C is {what}")
        value = milli / 1000.0
        lowest, highest = ONE_WIRE_LOWEST_C, ONE_WIRE_HIGHEST_C
        return value if lowest <= value <= highest else Fault(f"{value:g} °C is outside {lowest:g}..{highest:g} °C")


# A bare number carries no scratchpad to tell a true 85.000 from the power-up value: refused (both take heat away).
KNOWN_BAD_MILLI = frozenset({85000, 127937, 127940, -62, -63, 0})
