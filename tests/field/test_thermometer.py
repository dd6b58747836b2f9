"""Thermometers on files as the kernel shows them: a true value comes through, a false one never does."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from controller.field import scratchpad, thermometer
from controller.field.thermometer import Fault, Hwmon, Max31865, OneWire, Thermometer

SYSFS = Path(__file__).parent / "sysfs"


def test_checksum_of_published_scratchpads() -> None:
    """The checksum agrees with bytes printed elsewhere and with the example of Maxim's application note 27."""
    assert scratchpad.crc8(bytes.fromhex("72014b467fff0e10")) == 0x57
    assert scratchpad.crc8(bytes.fromhex("50054b467fff0c10")) == 0x1C
    assert scratchpad.crc8(bytes.fromhex("021cb801000000")) == 0xA2


@pytest.mark.parametrize(
    ("probe", "celsius"),
    [
        *((OneWire(SYSFS / "w1" / case), celsius)
          for case, celsius in (("28-000003287ef1", 23.125), ("mash-66", 66.062), ("true-85", 85.0),
                                ("below-zero", -10.0), ("ice", 0.0))),
        (Hwmon(SYSFS / "hwmon" / "plain" / "temp1_input"), 66.062),
    ],
)  # fmt: skip
def test_true_values(probe: Thermometer, celsius: float) -> None:
    """A measured value comes through, 85 °C and 0 °C included when the scratchpad shows that they were measured."""
    assert probe.read() == celsius


def platinum(*case: str) -> Max31865:
    return Max31865(SYSFS.joinpath(*case), 430.0, 100.0)


@pytest.mark.parametrize(
    ("probe", "words"),
    [
        (OneWire(SYSFS / "w1" / "power-on"), "power-up"),
        (OneWire(SYSFS / "w1" / "no-power"), "no supply"),
        (OneWire(SYSFS / "w1" / "pulled-high-raw"), "pulled high"),
        (OneWire(SYSFS / "w1" / "held-low"), "held low"),
        (OneWire(SYSFS / "w1" / "nobody"), "nobody answers"),
        (OneWire(SYSFS / "w1" / "checksum-no"), "checksum"),
        (OneWire(SYSFS / "w1" / "empty"), "is empty"),
        (OneWire(SYSFS / "w1" / "cut-short"), "known form"),
        (OneWire(SYSFS / "w1" / "not-there"), "is not there"),
        (platinum("iio", "short"), "short circuit"),
        (platinum("iio", "open"), "broken wire"),
        (platinum("iio", "overvoltage"), "over- or under-voltage"),
        (platinum("iio", "wrong-resistor"), "no resistance of this sensor"),
        (platinum("iio", "not-there"), "is not there"),
        (Hwmon(SYSFS / "hwmon" / "plain-85" / "temp1_input"), "85 °C"),
        (Hwmon(SYSFS / "hwmon" / "plain-fault" / "temp1_input"), "fault"),
        (Hwmon(SYSFS / "hwmon" / "text" / "temp1_input"), "no whole number"),
    ],
)
def test_false_values(probe: Thermometer, words: str) -> None:
    """Each value that means "no value" is a fault whose text says what to look at: the power-up value, a reported
    fault, short, open, a resistance of another sensor, text."""
    found = probe.read()
    assert isinstance(found, Fault)
    assert words in found.why


def one_wire_text(scratch: bytes, verdict: str = "YES") -> str:
    """A `w1_slave` text as the driver prints it."""
    data = scratch if len(scratch) == 9 else scratch + bytes([scratchpad.crc8(scratch)])
    shown = data.hex(" ")
    milli = int(int.from_bytes(data[:2], "little", signed=True) * 1000 / 16)
    return f"{shown} : crc={scratchpad.crc8(data[:8]):02x} {verdict}\n{shown} t={milli}"


def test_every_raw_value_is_read_or_refused() -> None:
    """All 65,536 register values: those within the sensor's range are read to the millidegree, the others refused."""
    refused = (0x0550, 0x07FF, 0xFFFF)
    for raw in range(0x10000):
        celsius = (raw - 0x10000 if raw & 0x8000 else raw) / 16
        scratch = raw.to_bytes(2, "little") + bytes.fromhex("4b467fff0c10")
        found = thermometer.one_wire(one_wire_text(scratch))
        if raw in refused or not (-55.0 <= celsius <= 125.0):
            assert isinstance(found, Fault), hex(raw)
        else:
            assert isinstance(found, float), hex(raw)
            assert abs(found - celsius) < 0.001, hex(raw)


def test_every_flipped_bit_is_seen() -> None:
    """One wrong bit anywhere in the nine bytes is refused by the checksum, whatever the driver's own verdict says."""
    good = bytes.fromhex("21044b467fff0f1082")
    for bit in range(72):
        flipped = bytearray(good)
        flipped[bit // 8] ^= 1 << bit % 8
        assert isinstance(thermometer.one_wire(one_wire_text(bytes(flipped))), Fault), bit


@pytest.mark.parametrize("text", ["", "\0", "t=85000", "YES\nt=65000", "72 " * 9, "é" * 50])
def test_other_text_is_refused(text: str, tmp_path: Path) -> None:
    """Text of another form is a fault, never an exception; an error of the system (here: a folder in place of the file)
    is told by its name."""
    assert isinstance(thermometer.one_wire(text), Fault)
    (tmp_path / "w1_slave").mkdir()
    found = OneWire(tmp_path).read()
    assert isinstance(found, Fault)
    assert "EISDIR" in found.why


# ---------------------------------------------------------------- MAX31865


def test_platinum_code_to_degrees() -> None:
    """Code 9550 at a 430 ohm reference is 125.32 ohm, which is 65.419 °C by IEC 60751 (interpolated in its table); the
    bridge to hwmon shows the code times 31.25; the temperature from it is the same."""
    found = platinum("iio", "mash").read()
    assert isinstance(found, float)
    # table: 65 °C 125.160 ohm, 66 °C 125.543 ohm; 9550 / 32768 x 430 = 125.3204 ohm
    assert abs(found - (65 + (125.3204 - 125.160) / (125.543 - 125.160))) < 0.005
    assert platinum("hwmon", "bridge").read() == found


def test_own_conversion_beats_the_chip_s_straight_line() -> None:
    """The chip's own approximation (code / 32 - 256) is off by over a degree at mash temperature; ours is not."""
    code = round(125.160 / 400 * 32768)  # 65 °C at the 400 ohm reference that the approximation is made for
    own = Max31865(Path(), 400.0, 100.0).celsius(code)
    assert isinstance(own, float)
    assert abs(own - 65.0) < 0.02
    assert abs(code / 32 - 256 - 65.0) > 0.5


def test_every_code_gives_a_brewhouse_temperature_or_a_fault() -> None:
    """All codes of the converter and some beyond: within -50..200 °C, rising, or a fault."""
    chip, last = Max31865(Path(), 430.0, 100.0), -1000.0
    for code in range(-5, 32775):
        found = chip.celsius(code)
        if isinstance(found, Fault):
            continue
        assert last < found
        assert -50.0 <= found <= 200.0
        last = found
    assert last > 199.9


# ---------------------------------------------------------------- hwmon


@pytest.mark.parametrize("milli", [85000, 127937, -62, 0, 200000, -60000])
def test_hwmon_values_that_mean_nothing(tmp_path: Path, milli: int) -> None:
    """Sentinels and values out of range are refused."""
    folder = shutil.copytree(SYSFS / "hwmon" / "plain", tmp_path / "hwmon")
    (folder / "temp1_input").write_text(f"{milli}\n", encoding="ascii")
    assert isinstance(Hwmon(folder / "temp1_input").read(), Fault)
