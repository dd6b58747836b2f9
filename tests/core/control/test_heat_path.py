"""Which way does heat take: one object for loop, plan and water run, and nobody else asks how the tun is built."""

from __future__ import annotations

import ast
from typing import get_args

import pytest

from controller.brewing import water
from controller.core.control.heat_path import HeatPath, heat_path
from controller.core.control.observer import layers, over
from controller.settings.tun import Spot, Tun
from tests.core.control.tuns import tun
from tests.places import ROOT

RISE_K = 5000.0 / (20.0 / 60.0 * water.J_PER_L_K)  # 5 kW over 20 L/min
BATH_S = 83_800.0 * 260_000.0 / 343_800.0 * 14.0 / 5000.0  # 20 L of bath and 100 L of mash, 14 K apart at full power
ASKS = (
    "place",
    "behind_heater",
    "probe_place",
    "bath_l",
    "plate_rise_k",
)  # how a tun is built, in the words of its file
ROOMS = ("core/control", "core/tick.py", "plan", "commissioning")


def burner() -> Tun:
    made = tun("jacket")
    return made.model_copy(update={"heater": made.heater.model_copy(update={"kind": "gas", "min_fire": 0.3})})


@pytest.mark.parametrize(
    ("made", "lag_s", "dead_s"),
    [
        (tun("jacket"), 45.0, 35.0),  # 45 s of jacket; probe 15, stirrer 20
        (tun("element"), 20.0, 30.0),
        (burner(), 60.0, 35.0),  # 15 s more for the pot
        (tun("line", pumped=True), 25.0, 30.0),
        (tun("coil", pumped=True), BATH_S, 40.0),
    ],
)
def test_each_way_has_its_lags(made: Tun, lag_s: float, dead_s: float) -> None:
    """The longest of heater, probe and mixing is the lag, the others look like a dead time."""
    path = heat_path(made)
    assert (path.lag_s, path.dead_s) == pytest.approx((lag_s, dead_s))
    assert path.near_s == pytest.approx(path.heater_s + 15.0)


def test_only_a_probe_in_the_stream_reads_what_the_heater_adds() -> None:
    """Behind the heater the rise, a tenth more with grist in; before it nothing."""
    behind, before = (heat_path(tun("line", behind=b, pumped=True)) for b in (True, False))
    assert (behind.probe_rise_k(strike=True), before.probe_rise_k(strike=True)) == pytest.approx((RISE_K, 0.0))
    assert behind.probe_rise_k(strike=False) == pytest.approx(1.1 * RISE_K)


def test_the_place_of_the_probe_decides_what_is_reckoned() -> None:
    """With grist in the layers of a bed, for a probe in it, at its outlet, behind the heater; none in a coil's tun."""
    line = {probe: heat_path(tun("line", pumped=True, probe=probe)) for probe in get_args(Spot)}
    assert {probe: path.sits for probe, path in line.items()} == {
        "mash": "layered", "bed outlet": "end", "return": "stream", "heater outlet": "stream"
    }  # fmt: skip
    turns_s = 1.1 * 300_000.0 / (20.0 / 60.0 * water.J_PER_L_K)
    assert line["mash"].turnover_s(False, 300_000.0) == pytest.approx(turns_s)
    assert line["mash"].turnover_s(True, 300_000.0) == 0.0
    assert line["bed outlet"].turnover_s(False, 300_000.0) == pytest.approx(turns_s)
    coil = heat_path(tun("coil", pumped=True, probe="mash"))
    assert (coil.sits, coil.turnover_s(False, 300_000.0)) == ("mixed", 0.0)


def test_the_layers_of_a_bed_lie_about_their_mean() -> None:
    """After steady heat for long the first lies as far over the mean as the last under it, together 0.8 of the rise."""
    bed: tuple[float, ...] = ()
    for _ in range(2000):
        bed = layers(bed, 1.0, 240.0, 1.0)
    assert bed == pytest.approx((0.4, 0.2, 0.0, -0.2, -0.4))
    found = [over("layered", bed, 1.0), over("end", bed, 1.0), over("stream", bed, 1.0), over("mixed", (), 1.0)]
    assert found == pytest.approx([0.0, -0.4, 0.6, 0.0])
    assert layers(bed, 1.0, 0.0, 1.0) == ()


def test_a_bath_is_late() -> None:
    """A coil's bath is warmed as well and settles in two of its lags."""
    coil, line = heat_path(tun("coil", pumped=True)), heat_path(tun("line", pumped=True))
    assert coil.bath_settles_s == pytest.approx(2.0 * BATH_S)
    assert line.bath_settles_s == 0.0


def test_wort_past_a_heater_in_the_line_is_warmed() -> None:
    """2.5 kW over 20 L/min are 1.8 K; a jacket has no such outlet."""
    assert heat_path(tun("line", pumped=True)).line_rise_k(2500.0) == pytest.approx(
        2500.0 / (20.0 / 60.0 * water.J_PER_L_K)
    )
    assert heat_path(tun("jacket")).line_rise_k(2500.0) is None


def test_a_window_is_for_relays_and_a_least_fire_for_burners() -> None:
    """The same keys in the file of another kind of heater mean nothing."""
    relay, gas = heat_path(tun()).switching, heat_path(burner()).switching
    assert (relay.window_s, relay.min_fire) == (2.0, 0.0)
    assert (gas.window_s, gas.min_fire) == (0.0, 0.3)


def test_another_file_is_another_path() -> None:
    """The last tun's path is kept for the next second, and never taken for that of another."""
    one, other = tun("line", pumped=True), tun("coil", pumped=True)
    first: HeatPath = heat_path(one)
    assert heat_path(one) is first
    assert heat_path(other) != first
    assert heat_path(one) == first


def asked(source: str) -> set[str]:
    """Which questions about the way of the heat does this code ask of a tun file?"""
    return {node.attr for node in ast.walk(ast.parse(source)) if isinstance(node, ast.Attribute)} & set(ASKS)


def test_nobody_else_asks_how_the_tun_is_built() -> None:
    """In the rooms of loop, plan and water run only heat_path.py reads place, bath and place of the probe."""
    found = {}
    for room in ROOMS:
        top = ROOT / "controller" / room
        for path in [top] if top.is_file() else top.rglob("*.py"):
            found[path.stem] = asked(path.read_text(encoding="utf-8"))
    assert {name: what for name, what in found.items() if what} == {
        "heat_path": set(ASKS) - {"bath_l", "behind_heater"}
    }
    assert asked("if tun.heater.place == 'coil' and tun.heater.bath_l > 0.0: ...") == {"place", "bath_l"}
