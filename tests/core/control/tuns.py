"""Tuns of every heat path, for the tests of the loop."""

from __future__ import annotations

from typing import Literal

from controller.core.nouns import Target
from controller.settings.tun import Heater, Learned, Output, Probe, Probes, Spot, Tun

Place = Literal["jacket", "element", "line", "coil"]


STRIKE = Target("hold", 55.0, 1.0 / 60.0, 1, 250_000.0, strike=True)


MASH = Target("hold", 63.0, 1.0 / 60.0, 2, 300_000.0)


def tun(
    place: Place = "jacket", behind: bool = False, pumped: bool = False, efficiency: float = 1.0,
    probe: Spot | None = None,
) -> Tun:  # fmt: skip
    """A tun of 100 L with 5 kW."""
    return Tun.model_construct(
        name="gannet",
        volume_l=100.0,
        min_liquor_l=25.0,
        metal_j_per_k=12_500.0,
        loss_w_per_k=4.0,
        room_c=18.0,
        mixing="pump" if pumped else "stirrer",
        flow_l_per_min=20.0 if pumped else None,
        climb_k_per_s=1.0 / 60.0,
        heater=Heater.model_construct(
            kind="ssr", power_w=5000.0, place=place, efficiency=efficiency, window_s=2.0, min_on_s=0.2, min_off_s=0.2,
            min_fire=0.0, duty_cap=0.9, bath_l=20.0 if place == "coil" else 0.0,
        ),
        probes=Probes.model_construct(
            mash=Probe.model_construct(topic="probe/mash", lag_s=15.0, behind_heater=behind, place=probe)
        ),
        stirrer=None if pumped else Output.model_construct(topic="stirrer/command"),
    )  # fmt: skip


def learned(power_w: float) -> Learned:
    """What a water run showed."""
    return Learned(power_w=power_w, lag_s=50.0, dead_s=10.0, on="2026-01-01")
