"""What goes wrong in the middle of a healthy mash? Disturbances, each laid on the second rest's hold or ramp."""

from __future__ import annotations

from collections.abc import Callable

from tests.regimes.bench.loop import World

Trouble = Callable[[World, float], None]
RAMP_S, HOLD_S = 120.0, 900.0  # s into a rest when something happens


def lid_off(world: World, since_s: float) -> None:
    """The lid is off from the middle of each rest for 10 min."""
    if since_s in (HOLD_S, HOLD_S + 600.0):
        world.tun.lid(since_s == HOLD_S)


def cold_liquor(world: World, since_s: float) -> None:
    """3 % of the liquor, cold, unannounced, in one minute."""
    if since_s == HOLD_S:
        world.tun.add_liquor(0.03 * world.plant.liquor_kg, 12.0, 60.0)


def infusion(world: World, since_s: float) -> None:
    """1 % of the liquor at 90 °C, unannounced, in two minutes."""
    if since_s == HOLD_S:
        world.tun.add_liquor(0.01 * world.plant.liquor_kg, 90.0, 120.0)


def slow_pump(world: World, since_s: float) -> None:
    """The pump's flow falls to 40 % two minutes into each rest and stays there."""
    if since_s == RAMP_S and world.plant.spec.flow_kg_per_s > 0.0:
        world.tun.pump(0.4)


TROUBLES: dict[str, Trouble] = {
    "lid off": lid_off,
    "cold liquor": cold_liquor,
    "hot liquor": infusion,
    "slow pump": slow_pump,
}
