"""Does this machine's kernel keep a GPIO output on after its program has died?

Raspberry Pi kernels do, on purpose (raspberrypi/linux, pull requests 6117 and 6150), unless `dtparam=strict_gpiod` is
set or the pin controller's parameter says otherwise. A heater must not hang on such a pin.
"""

from __future__ import annotations

from pathlib import Path

CONTROLLERS = ("pinctrl_bcm2835", "pinctrl_rp1")  # up to Pi 4; Pi 5 (its name of the parameter unconfirmed)
PARAMETER = "persist_gpio_outputs"
BOOT_FILES = ("boot/firmware/config.txt", "boot/config.txt")
ADVICE = (
    "this kernel leaves a GPIO output as it was when its program dies: the heater would stay on. Put "
    "dtparam=strict_gpiod into /boot/firmware/config.txt and start the machine anew (config/wiring.md)"
)


def outputs_persist(root: Path = Path("/")) -> bool | None:
    """True, False, or None where it cannot be told (no Raspberry Pi, or nothing readable). `root` is for tests."""
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
