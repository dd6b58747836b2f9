"""Pins through gpiod: on a chip made of files, on the kernel's gpio-sim where the machine has it."""

from __future__ import annotations

import importlib
import inspect
import os
import sys
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import pytest

from controller.field import gpio_output
from controller.field.gpio_output import GpioInput, GpioOutput, SwitchProblem

FAKE = Path(__file__).parent / "fakechip"
CONFIGFS = Path("/sys/kernel/config/gpio-sim")


def forget() -> None:
    for name in [name for name in sys.modules if name.split(".")[0] == "gpiod"]:
        del sys.modules[name]


@pytest.fixture
def chip(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A chip made of files, in place of the library."""
    monkeypatch.syspath_prepend(str(FAKE))
    forget()
    yield tmp_path
    forget()


def level(chip: Path, line: int) -> str:
    return (chip / str(line)).read_text(encoding="ascii")


@pytest.mark.parametrize("active_low", [False, True])
def test_on_off_and_close(chip: Path, active_low: bool) -> None:
    """A pin that was left on goes off when it is taken, before anything is commanded; the level follows; closing sets
    it off first, and closing twice does no harm; turned round, off is high, from the first moment to the last."""
    off, on = ("1", "0") if active_low else ("0", "1")
    (chip / "17").write_text(on, encoding="ascii")
    pin = GpioOutput(str(chip), 17, active_low=active_low)
    assert level(chip, 17) == off
    assert pin.set(True)
    assert level(chip, 17) == on
    for _ in range(2):
        pin.close()
        assert level(chip, 17) == off


def test_a_pin_that_reads_back_wrong_is_seen(chip: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A line that something else drives: `set` says that it did not follow."""
    pin = GpioOutput(str(chip), 17)
    gpiod = importlib.import_module("gpiod")
    monkeypatch.setattr(gpiod.LineRequest, "get_value", lambda self, number: gpiod.line.Value.INACTIVE)
    assert pin.set(False)
    assert not pin.set(True)
    pin.close()


@pytest.mark.parametrize(
    ("active_low", "wire", "closed"),
    [(False, None, False), (False, "1", True), (False, "0", False), (True, None, False), (True, "0", True)],
)
def test_a_contact(chip: Path, active_low: bool, wire: str | None, closed: bool) -> None:
    """A broken wire (None: nothing drives the pin) always reads "not closed", whichever way the contact is wired."""
    if wire is not None:
        (chip / "22").write_text(wire, encoding="ascii")
    pin = GpioInput(str(chip), 22, active_low)
    assert pin.read() is closed
    pin.close()


def test_a_pin_that_cannot_be_had_is_named(chip: Path) -> None:
    """One that another program holds: one sentence with pin and chip; no such chip and no such pin: both are named."""
    first = GpioOutput(str(chip), 17)
    for path, line, words in (
        (chip, 17, r"pin 17 of .* cannot be had .*taken by another"),
        (chip / "gone", 17, "no such GPIO chip"),
        (chip, 99, "pin 99"),
    ):
        with pytest.raises(SwitchProblem, match=words):
            GpioOutput(str(path), line)
    first.close()


def test_an_old_or_missing_library_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """gpiod 1.x has the same name and another interface: told, with what is needed; not installed: how to."""
    old = ModuleType("gpiod")
    old.__dict__["__version__"] = "1.5.4"
    for there, words in ((old, r"1\.5\.4 has the old interface"), (None, "apt install python3-libgpiod")):
        monkeypatch.setitem(sys.modules, "gpiod", there)
        with pytest.raises(SwitchProblem, match=words):
            gpio_output.library()


def test_the_fake_asks_no_more_than_the_real_library_has() -> None:
    """Every call and word of the fake chip exists in gpiod 2 with the same parameter names."""
    forget()
    try:
        real = importlib.import_module("gpiod")
        words = importlib.import_module("gpiod.line")
    except ImportError:
        pytest.skip("gpiod is not installed here (pip install gpiod)")
    if not hasattr(real, "request_lines"):
        pytest.skip(f"gpiod {real.__version__} is of the old interface")
    assert {"path", "config", "consumer"} <= set(inspect.signature(real.request_lines).parameters)
    wanted = {"direction", "bias", "active_low", "output_value"}
    assert wanted <= set(inspect.signature(real.LineSettings).parameters)
    assert all(hasattr(real.LineRequest, name) for name in ("set_value", "get_value", "release"))
    assert all(hasattr(words.Bias, name) for name in ("PULL_UP", "PULL_DOWN"))
    assert all(hasattr(words.Direction, name) for name in ("INPUT", "OUTPUT"))
    assert all(hasattr(words.Value, name) for name in ("ACTIVE", "INACTIVE"))


# ---------------------------------------------------------------- the kernel's own simulated chip


@pytest.fixture
def simulated(request: pytest.FixtureRequest) -> Iterator[tuple[str, Path]]:
    """A chip of gpio-sim with eight lines: its device, and the folder where lines are pulled and looked at."""
    forget()
    try:
        importlib.import_module("gpiod")
    except ImportError:
        pytest.skip("gpiod is not installed here (pip install gpiod)")
    if os.getuid() != 0 or not CONFIGFS.is_dir():
        pytest.skip("this kernel has no gpio-sim loaded (modprobe gpio-sim), or the tests do not run as root")
    device = CONFIGFS / f"underback-{os.getpid()}"
    bank = device / "bank0"
    bank.mkdir(parents=True)
    try:
        (bank / "num_lines").write_text("8", encoding="ascii")
        (device / "live").write_text("1", encoding="ascii")
        chip = (bank / "chip_name").read_text(encoding="ascii").strip()
        place = Path("/sys/devices/platform") / (device / "dev_name").read_text(encoding="ascii").strip() / chip
        yield f"/dev/{chip}", place
        (device / "live").write_text("0", encoding="ascii")
    finally:
        bank.rmdir()
        device.rmdir()


def test_on_the_kernel_s_simulated_chip(simulated: tuple[str, Path]) -> None:
    """The real library on a real character device: off, on, off; a contact follows its pull."""
    chip, place = simulated

    def value(line: int) -> str:
        return (place / f"sim_gpio{line}" / "value").read_text(encoding="ascii").strip()

    pin = GpioOutput(chip, 3)
    assert value(3) == "0"
    assert pin.set(True)
    assert value(3) == "1"
    pin.close()
    assert value(3) == "0"
    contact = GpioInput(chip, 4)
    for pull, closed in (("pull-up", True), ("pull-down", False)):
        (place / "sim_gpio4" / "pull").write_text(pull, encoding="ascii")
        assert contact.read() is closed
    contact.close()
