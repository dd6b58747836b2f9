"""Is liquid over the heater, is flow proven? The one place where that is asked."""

from __future__ import annotations

from controller.core.nouns import Instant, Switch
from controller.settings.tun import Tun


def wet(tun: Tun, level: Switch | None, now: Instant) -> bool:
    """Does the level switch say so, and lately? A tun without one is wet."""
    return tun.level is None or _says_yes(tun, level, now)


def flows(tun: Tun, flow: Switch | None, now: Instant) -> bool:
    """Does the flow switch say so, and lately? A tun without one flows."""
    return tun.flow is None or _says_yes(tun, flow, now)


def _says_yes(tun: Tun, switch: Switch | None, now: Instant) -> bool:
    return switch is not None and switch.ok and now - switch.at <= tun.guard.switch_gone_s
