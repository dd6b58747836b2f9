"""Whether a dead program's pin stays on, told from the files of the machine."""

from __future__ import annotations

from pathlib import Path

import pytest

from controller.field.gpio_output import outputs_persist

MODEL = {"proc/device-tree/model": "Raspberry Pi 4 Model B Rev 1.4\0"}
PARAMETER = "sys/module/pinctrl_bcm2835/parameters/persist_gpio_outputs"


@pytest.mark.parametrize(
    ("files", "persist"),
    [
        ({}, None),
        ({"proc/cmdline": "quiet splash"}, None),
        (MODEL, True),
        ({**MODEL, "boot/firmware/config.txt": "dtparam=strict_gpiod\n"}, False),
        ({**MODEL, "boot/config.txt": "[all]\n dtparam=i2c_arm=on,strict_gpiod=on\n"}, False),
        ({**MODEL, "boot/firmware/config.txt": "#dtparam=strict_gpiod\n"}, True),
        ({**MODEL, "boot/firmware/config.txt": "dtparam=strict_gpiod\ndtparam=strict_gpiod=off\n"}, True),
        ({**MODEL, "boot/firmware/config.txt": "dtoverlay=strict_gpiod\n"}, True),
        ({**MODEL, "proc/cmdline": "console=tty1 pinctrl_bcm2835.persist_gpio_outputs=n"}, False),
        ({**MODEL, PARAMETER: "N\n"}, False),
        ({**MODEL, PARAMETER: "Y\n", "boot/firmware/config.txt": "dtparam=strict_gpiod\n"}, True),
    ],
)
def test_what_the_machine_says(tmp_path: Path, files: dict[str, str], persist: bool | None) -> None:
    """The running kernel's own parameter wins; then its command line, then config.txt; another machine cannot tell."""
    for name, text in files.items():
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    assert outputs_persist(tmp_path) is persist
