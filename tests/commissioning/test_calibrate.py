"""Two-point calibration, guided: which streams make points, which are refused, and what is written down."""

from __future__ import annotations

import asyncio
import json
import tomllib
from collections.abc import Iterable, Iterator
from pathlib import Path

import pytest

from controller.brewing.probe_calibration import Refused, Sample
from controller.commissioning import calibrate
from controller.commissioning.calibrate import Checked, Place
from controller.edge.files import config_files
from controller.edge.record import run_header
from controller.settings.service import Settings
from sim.world.world import WALL_S
from tests.places import CONFIG

GANNET: Settings = config_files.settings(CONFIG, "gannet")
PROBE = GANNET.tun.probes.mash
HERE = Place(1000.0, None)  # boils at 96.65 °C


class Fake:
    """Readings every two seconds, one list for each point; None ends a point's readings."""

    def __init__(self, *points: Iterable[float]) -> None:
        self._points = iter(points)
        self._now: Iterator[float] = iter(())
        self._at = 0.0
        self.said: list[str] = []

    def drop(self) -> None:
        self._now = iter(next(self._points))

    async def next(self, within_s: float) -> Sample | None:
        value = next(self._now, None)
        self._at += 2.0
        return None if value is None else Sample(self._at, value)

    async def ready(self, text: str) -> None:
        self.said.append(text)

    def shows(self, text: str) -> None:
        self.said.append(text)


def checked(fake: Fake, place: Place = HERE) -> Checked | Refused:
    return asyncio.run(calibrate.check(PROBE, fake, fake, place))


def falling(to_c: float) -> list[float]:
    """From room temperature to a plateau, with the lag of a probe."""
    return [to_c + (18.0 - to_c) * 0.8**n for n in range(40)] + [to_c] * 100


def test_two_steady_points_give_the_worked_correction() -> None:
    """Reads 0.4 in ice and 97.1 at the boil at 1000 m: a raw 65.4 is 64.97 °C (worked example W17, formula 16)."""
    fake = Fake(falling(0.4), falling(97.1))
    found = checked(fake)
    assert isinstance(found, Checked)
    assert found.line.raw_ice_c == pytest.approx(0.4, abs=0.02)
    assert found.line.boil_c == pytest.approx(96.65, abs=0.05)
    shape = PROBE.model_copy(
        update={"raw_ice_c": found.line.raw_ice_c, "raw_boil_c": found.line.raw_boil_c, "boil_c": found.line.boil_c}
    )
    assert shape.calibrated(65.4) == pytest.approx(64.97, abs=0.03)
    assert any("corrected so far" in line for line in fake.said)


def test_the_pressure_of_the_day_goes_before_the_altitude() -> None:
    """At 95 kPa water boils at 98.18 °C (IAPWS-IF97)."""
    found = checked(Fake([0.0] * 80, [98.0] * 80), Place(500.0, 95.0))
    assert isinstance(found, Checked)
    assert found.boil.true_c == pytest.approx(98.18, abs=0.05)


@pytest.mark.parametrize(
    ("ice", "boil", "word"),
    [
        ([3.6] * 80, [97.0] * 80, "ice point: reads 3.60 °C where it is 0.00 °C"),
        ([0.0] * 80, [92.0] * 80, "boil point: reads 92.00 °C where it is 96.65 °C"),
        ([0.0, 0.3] * 600, [97.0] * 80, "ice point: moved by 0.30 K"),
        ([0.0] * 20, [97.0] * 80, "ice point: no reading for 30 s"),
    ],
)
def test_a_point_that_is_absurd_unsteady_or_silent_is_refused(ice: list[float], boil: list[float], word: str) -> None:
    """Just over 3 K off, never within 0.1 K, or cut short: no correction is made of it."""
    found = checked(Fake(ice, boil))
    assert isinstance(found, Refused)
    assert word in found.reasons[0]


def test_just_within_three_kelvin_is_still_a_calibration() -> None:
    """2.9 K off in ice is taken: far off, but a matter of calibration."""
    assert isinstance(checked(Fake([2.9] * 80, [97.0] * 80)), Checked)


@pytest.mark.parametrize("place", [Place(None, None), Place(1000.0, 101.3), Place(None, 20.0), Place(9000.0, None)])
def test_an_unknown_or_impossible_place_is_said_before_anybody_boils_water(place: Place) -> None:
    """No pressure and no altitude, or a pair that does not fit: nothing is asked of the person."""
    fake = Fake([0.0] * 80, [97.0] * 80)
    assert isinstance(checked(fake, place), Refused)
    assert fake.said == []


def test_the_record_holds_old_and_new_and_the_lines_read_back_as_a_tun_file(tmp_path: Path) -> None:
    """What is printed, put in the place of the old lines, makes a tun whose probe corrects as the record says."""
    found = checked(Fake([0.4] * 80, [97.1] * 80))
    assert isinstance(found, Checked)
    settings = GANNET._replace(service=GANNET.service.model_copy(update={"data_dir": str(tmp_path)}))
    document = calibrate.record(settings, "mash", PROBE, found, HERE, "test", WALL_S, 180.0)
    assert (document["date"], document["due"]) == ("2026-09-21", "2027-03-20")
    assert document["old"] == {"raw_ice_c": 0.0, "raw_boil_c": 98.94, "boil_c": 98.94}
    assert document["moves_65_by_k"] == pytest.approx(-0.43, abs=0.02)
    for _ in range(2):
        path = calibrate.write(settings, document)
    assert [json.loads(line)["by"] for line in path.read_text().splitlines()] == ["test", "test"]
    fresh = tomllib.loads(calibrate.lines("mash", found, document["date"]))["probes"]["mash"]
    text = (CONFIG / "tuns" / "gannet.toml").read_text()
    for key in ("raw_ice", "raw_boil", "boil"):
        line = next(line for line in text.splitlines() if line.startswith(f"{key} "))
        text = text.replace(line, f'{key} = "{fresh[key]}"')
    (tmp_path / "tuns").mkdir()
    (tmp_path / "tuns" / "gannet.toml").write_text(text)
    probe = config_files.load_tun(tmp_path, "gannet").probes.mash
    assert (probe.raw_ice_c, probe.raw_boil_c, probe.boil_c) == (0.4, 97.1, 96.65)


def test_the_age_of_a_calibration_is_counted_from_its_day() -> None:
    """Of 1 September 2026: twenty days before the simulated world begins; none where no day, or a later one, stands."""
    september = PROBE.model_copy(update={"calibrated_on": "2026-09-01"})
    assert run_header.age_days(september, WALL_S) == pytest.approx(20.6, abs=0.1)
    assert run_header.age_days(PROBE.model_copy(update={"calibrated_on": None}), WALL_S) is None
    assert run_header.age_days(PROBE.model_copy(update={"calibrated_on": "2027-01-01"}), WALL_S) is None


def test_a_simulated_probe_is_never_overdue() -> None:
    """The shipped tuns' date says nothing of a probe that is none; a real one's age counts in days."""
    tun = config_files.load_tun(CONFIG, "gannet")
    real = tun.model_copy(update={"simulated": False})
    assert run_header.advised_days(tun, WALL_S + 400 * 86400.0) == 0.0
    assert run_header.advised_days(real, WALL_S + 400 * 86400.0) == run_header.age_days(
        tun.probes.mash, WALL_S + 400 * 86400.0
    )
