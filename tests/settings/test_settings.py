"""Tun and service settings: single values, ranges, what must agree, and the guard's limits."""

from __future__ import annotations

import math
from typing import Any

import pytest
from pydantic import ValidationError

from controller.settings import guard_limits as limits
from controller.settings.cross_checks import agree
from controller.settings.faults_in_words import read
from controller.settings.guard_limits import Limits
from controller.settings.service import Broker, Service
from controller.settings.table import key_of, show
from controller.settings.tun import Heater, Learned, Output, Probe, SwitchInput, Tun

STIRRED: dict[str, Any] = {
    "name": "heron",
    "volume": "100 L",
    "min_liquor": "25 L",
    "metal": "12.5 kJ/K",
    "loss": "4 W/K",
    "mixing": "stirrer",
    "heater": {"kind": "proportional", "power": "5 kW", "place": "jacket"},
    "probes": {"mash": {"topic": "t/mash"}},
    "stirrer": {"topic": "t/stirrer", "required_for_heat": True},
}


def told(data: dict[str, Any]) -> list[str]:
    return [str(problem) for problem in read(Tun, data, agree).problems]


def tun(data: dict[str, Any]) -> Tun:
    value, problems = read(Tun, data, agree)
    assert value is not None, problems
    return value


def test_base_units() -> None:
    """A tun file's quantities arrive in base units under names that carry the unit."""
    vessel = tun(STIRRED)
    assert (vessel.volume_l, vessel.metal_j_per_k, vessel.loss_w_per_k, vessel.heater.power_w) == (100, 12500, 4, 5000)
    assert vessel.climb_k_per_s == 1.0 / 60.0
    assert vessel.guard == Limits()


def test_imperial_and_metric_are_the_same_tun() -> None:
    """A tun described in gallons and °F equals the same tun in litres and °C."""
    metric = tun({**STIRRED, "volume": "113.56235352 L", "room": "20 °C", "guard": {"jump": "2 K"}})
    other = tun({**STIRRED, "volume": "30 gal", "room": "68 °F", "guard": {"jump": "3.6 °F"}})
    assert metric == other


def test_numbers_are_base_units_in_python_only() -> None:
    """Built in Python a number is a base unit; read from a file a bare number is refused."""
    assert Heater(kind="gas", power_w=9000.0, place="jacket").power_w == 9000.0
    assert any("found 5000" in line for line in told({**STIRRED, "heater": {**STIRRED["heater"], "power": 5000}}))


def test_attribute_names_are_no_keys() -> None:
    """A key with the unit in its name is unknown in a file, and the right key is offered."""
    lines = told({key: value for key, value in {**STIRRED, "volume_l": "100 L"}.items() if key != "volume"})
    assert any('unknown key "volume_l", wanted "volume"' in line for line in lines)


def test_frozen() -> None:
    """Nobody changes a limit at run time."""
    vessel = tun(STIRRED)
    with pytest.raises(ValidationError):
        vessel.guard.hard_limit_c = 99.0  # type: ignore[misc]


@pytest.mark.parametrize("row", limits.table(), ids=lambda row: row.name)
def test_each_limit_keeps_its_range(row: limits.LimitRow) -> None:
    """Each guard figure takes both ends of its range and its default, and nothing just outside or not finite."""
    for value in (row.low, row.default, row.high):
        whole = int(value) if isinstance(row.default, int) else value
        assert getattr(Limits.model_validate({row.name: whole}), row.name) == value
    for value in (row.low - 0.01 * max(1.0, abs(row.low)), row.high * 1.01 + 1, math.nan, math.inf, -math.inf):
        with pytest.raises(ValidationError):
            Limits.model_validate({row.name: value})


def test_limits_have_each_their_key() -> None:
    """No two limits share a key in the file, each names its interlock or use, and each has a source."""
    rows = limits.table()
    assert len({row.key for row in rows}) == len(rows) == len(Limits.model_fields)
    assert all(row.interlock and row.source for row in rows)
    assert all(row.low <= row.default <= row.high for row in rows)


def test_hard_limit_cannot_leave_its_range() -> None:
    """The hard limit cannot be raised over 85 °C nor lowered under 60 °C, in either scale."""
    for text in ("85.1 °C", "186 °F", "59.9 °C"):
        assert any("hard_limit" in line for line in told({**STIRRED, "guard": {"hard_limit": text}}))
    assert tun({**STIRRED, "guard": {"hard_limit": "185 °F"}}).guard.hard_limit_c == 85.0


LINE: dict[str, Any] = {
    **STIRRED,
    "mixing": "pump",
    "flow_rate": "6 L/min",
    "heater": {"kind": "ssr", "power": "2.4 kW", "place": "line", "window": "2 s"},
    "pump": {"topic": "t/pump", "required_for_heat": True},
    "flow": {"topic": "t/flow"},
}


def without(data: dict[str, Any], key: str) -> dict[str, Any]:
    return {name: value for name, value in data.items() if name != key}


@pytest.mark.parametrize(
    ("data", "place"),
    [
        ({**STIRRED, "min_liquor": "100 L"}, "min_liquor"),
        ({**STIRRED, "mixing": "none"}, "mixing"),
        (without(STIRRED, "stirrer"), "stirrer"),
        (without(LINE, "pump"), "pump"),
        (without(LINE, "flow"), "flow"),
        (without(LINE, "flow_rate"), "flow_rate"),
        ({**LINE, "mixing": "stirrer"}, "mixing"),
        ({**LINE, "heater": {**LINE["heater"], "window": "0 s"}}, "heater: window"),
        ({**LINE, "heater": {**LINE["heater"], "min_on": "2 s", "min_off": "2 s"}}, "heater: min_on"),
        ({**STIRRED, "heater": {**STIRRED["heater"], "min_fire": "30 %"}}, "heater: min_fire"),
        ({**LINE, "heater": {**LINE["heater"], "bath": "20 L"}}, "heater: bath"),
        ({**STIRRED, "heater": {**STIRRED["heater"], "place": "coil"}}, "heater: bath"),
        ({**STIRRED, "guard": {"reading_late": "8 s", "reading_gone": "7 s"}}, "guard: reading_gone"),
        ({**STIRRED, "guard": {"outlet_limit": "90 °C", "outlet_trip": "90 °C"}}, "guard: outlet_trip"),
        ({**STIRRED, "probes": {"mash": {"topic": "a"}, "second": {"topic": "a"}}}, "probes: second: topic"),
        ({**STIRRED, "probes": {"mash": {"topic": "a", "place": "bed outlet"}}}, "probes: mash: place"),
        ({**STIRRED, "probes": {"mash": {"topic": "a", "place": "return"}}}, "probes: mash: place"),
        ({**LINE, "probes": {"mash": {"topic": "a", "place": "mash", "behind_heater": True}}}, "probes: mash: place"),
    ],
)
def test_values_that_disagree(data: dict[str, Any], place: str) -> None:
    """Figures that are right one by one but not together are told, with the key to change; sound tuns are not."""
    assert told(STIRRED) == told(LINE) == []
    assert any(line.startswith(f"{place}: found ") for line in told(data)), told(data)


@pytest.mark.parametrize(
    ("said", "base", "place", "behind"),
    [
        ({}, STIRRED, "mash", False),
        ({}, LINE, "mash", False),  # stirred as well
        ({}, without(LINE, "stirrer"), "bed outlet", False),
        ({"behind_heater": True}, LINE, "heater outlet", True),
        ({"place": "mash"}, LINE, "mash", False),
        ({"place": "return"}, LINE, "return", True),
        ({"place": "heater outlet", "behind_heater": True}, LINE, "heater outlet", True),
    ],
)
def test_where_the_mash_probe_sits(said: dict[str, Any], base: dict[str, Any], place: str, behind: bool) -> None:
    """The file's place counts, and says whether that is behind the heater; an older file's is assumed."""
    read_tun = tun({**base, "probes": {"mash": {"topic": "a", **said}}})
    assert (read_tun.probe_place, read_tun.probes.mash.behind_heater) == (place, behind)


def test_two_pointers_into_one_topic_are_two_probes() -> None:
    """Two probes may share a topic when each reads its own place in the payload."""
    probes = {"mash": {"topic": "a", "pointer": "/1"}, "second": {"topic": "a", "pointer": "/2"}}
    assert tun({**STIRRED, "probes": probes}).probes.second is not None


def test_a_slip_does_not_hide_another() -> None:
    """A wrong unit, an unknown key and figures that disagree are told together."""
    data = {**STIRRED, "room": "18", "colour": "red", "min_liquor": "200 L"}
    places = [line.split(": found")[0] for line in told(data)]
    assert {"room", "the file", "min_liquor"} <= set(places)


def test_two_point_calibration() -> None:
    """Raw 65.4 becomes 64.97 °C with 0.4 in ice and 97.1 in water that boils at 96.65 °C (worked example W17); without
    figures a reading stays what it is, to the last bit."""
    for raw in (0.0, 65.0625, 78.0, 100.0):
        assert Probe(topic="t").calibrated(raw) == pytest.approx(raw, abs=1e-12)
    probe = Probe(topic="t", raw_ice_c=0.4, raw_boil_c=97.1, boil_c=96.65)
    for raw, wanted in ((65.4, 64.97), (62.0, 61.57), (78.0, 77.56)):
        assert probe.calibrated(raw) == pytest.approx(wanted, abs=0.01)


@pytest.mark.parametrize("topic", ["", "a/#", "a/+/b", "$SYS/x", "a\0b", "x" * 300])
def test_topics(topic: str) -> None:
    """Wildcards, system topics and NUL are no topics."""
    for part in (Output, SwitchInput, Probe):
        with pytest.raises(ValidationError):
            part(topic=topic)


def test_service_defaults() -> None:
    """An empty service file is a whole service: loopback, no TLS."""
    service, problems = read(Service, {}, lambda _: ())
    assert problems == ()
    assert service == Service()
    assert (Service().broker, Service().resume_minutes) == (Broker(), 30.0)


def test_resume_can_be_tightened_and_not_widened() -> None:
    """The outage after which a run resumes by itself is at most an hour, and may be none at all."""
    assert read(Service, {"resume_minutes": 0}, lambda _: ()).problems == ()
    assert read(Service, {"resume_minutes": 61}, lambda _: ()).problems != ()


def test_learned_is_bounded() -> None:
    """Learned figures are plain numbers within reason; a day is asked for."""
    good = {"power_w": 4800.0, "lag_s": 70.0, "dead_s": 12.0, "on": "2026-10-03"}
    assert read(Learned, good, lambda _: ()).problems == ()
    for key, value in (("power_w", -1.0), ("power_w", math.nan), ("lag_s", 1e6), ("on", "yesterday")):
        assert read(Learned, {**good, key: value}, lambda _: ()).problems != ()


def test_keys_lose_their_unit() -> None:
    """The key in a file is the attribute without its unit."""
    names = ("volume_l", "loss_w_per_k", "climb_k_per_s", "topic", "raw_ice_c")
    assert [key_of(name) for name in names] == ["volume", "loss", "climb", "topic", "raw_ice"]


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(0, "0 s"), (59.5, "59.5 s"), (60, "1 min"), (4200, "1 h 10 min"), (3601, "1 h 1 s"), (math.inf, "inf")],
)
def test_durations_are_shown(seconds: float, text: str) -> None:
    """Durations are shown as a person writes them."""
    assert show("duration", seconds) == text
