"""Several batches by one clock, and what clashes."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from tests.commands.called import called

SANDPIPER = '[[batch]]\nprogram = "sandpiper"\n'


def day(tmp_path: Path, text: str) -> tuple[int, dict[str, Any]]:
    path = tmp_path / "day.toml"
    path.write_text(text, encoding="utf-8")
    code, out, err = called("day", str(path), "--json")
    assert out, err
    return code, json.loads(out)


def minutes(hours: int, past: float) -> float:
    return 60.0 * hours + past


@pytest.mark.parametrize(
    ("second", "grain", "mashed", "clean"),
    [
        ("", minutes(10, 38.8), minutes(12, 39.7), minutes(14, 39.7)),  # W60; 38 min until it is ready for grain
        ('liquor = "tank"\n[liquor_tank]\nvolume = "105 L"\npower = "5 kW"\n', minutes(10, 10.9), minutes(12, 11.7),
         minutes(14, 11.7)),  # W60b
    ],
)  # fmt: skip
def test_two_batches_one_after_the_other(
    tmp_path: Path, second: str, grain: float, mashed: float, clean: float
) -> None:
    """Worked examples W60 and W60b: grain at 06:00, 10 min to mash in, 103.8 of rises and rests, 3 to mix in, 4 until
    the probe shows the rises, 90 of run-off, 30 of cleaning; the second batch begins when the tun is clean, with liquor
    heated in it or from a tank."""
    code, found = day(tmp_path, f'{SANDPIPER}grain = "06:00"\n{SANDPIPER}{second}')
    first, later = found["batches"]
    assert code == 0 and found["conflicts"] == []
    wanted = (minutes(8, 0.9), minutes(9, 30.9), minutes(10, 0.9))
    assert [first[key] / 60 for key in ("mashed", "run_off", "clean")] == pytest.approx(wanted, abs=0.1)
    assert [later[key] / 60 for key in ("grain", "mashed", "clean")] == pytest.approx((grain, mashed, clean), abs=0.1)


CLASHES = (
    (f'{SANDPIPER}grain = "06:00"\n{SANDPIPER}grain = "08:00"\n', "want gannet: it is clean at 10:01, wanted 07:22"),
    (f'{SANDPIPER}grain = "06:00"\n[[batch]]\nprogram = "linnet"\ngrain = "06:05"\n', "both mash in about 06:05"),
    (f'{SANDPIPER}grain = "06:00"\n[[batch]]\nprogram = "linnet"\ngrain = "06:05"\n', "may draw 7.4 kW"),
    (f'{SANDPIPER}liquor = "tank"\ngrain = "06:00"\n', "there is no [liquor_tank]"),
    (
        f'{SANDPIPER}liquor = "tank"\ngrain = "06:00"\n[liquor_tank]\nvolume = "50 L"\npower = "5 kW"\n',
        "too little is left; filled again it is hot at",
    ),
    (f'{SANDPIPER}ready_by = "01:00"\n', "before midnight"),
)


@pytest.mark.parametrize(("text", "said"), CLASHES)
def test_what_clashes_is_said_with_clock_times(tmp_path: Path, text: str, said: str) -> None:
    """One tun, one person, one supply, one tank: two that want it are told, and the answer is no."""
    code, found = day(tmp_path, text)
    assert code == 1
    assert any(said in sentence for sentence in found["conflicts"]), found["conflicts"]


def test_a_long_mashing_in_is_said(config: Path, tmp_path: Path) -> None:
    """Half a kilogram a minute takes 40 min: the first grain waits."""
    tun = config / "tuns" / "gannet.toml"
    tun.write_text(f"mash_in_rate = 0.5\n{tun.read_text('utf-8')}", encoding="utf-8")
    path = tmp_path / "day.toml"
    path.write_text(f'{SANDPIPER}grain = "06:00"\n', encoding="utf-8")
    assert "mashing in takes 40 min" in called("day", str(path), config=config)[1]


def test_ready_by_is_worked_backwards(tmp_path: Path) -> None:
    """Mashed out just then; 15 min to spare before the heat-up."""
    code, found = day(tmp_path, f'{SANDPIPER}ready_by = "12:00"\n')
    (batch,) = found["batches"]
    assert code == 0 and batch["mashed"] == 43_200
    assert (batch["grain"] - batch["begin"]) / 60 == pytest.approx(37.9 + 15, abs=0.1)


def test_wrong_days_and_the_page(tmp_path: Path) -> None:
    """No time of day, two times for one batch and a program that is none are told; the page shows one line a batch."""
    path = tmp_path / "day.toml"
    path.write_text(f'{SANDPIPER}grain = "6"\n[[batch]]\nprogram = "linnet"\nstart = "05:00"\nready_by = "09:00"\n')
    assert 'a time of day, such as "06:00"' in called("day", str(path))[2]
    path.write_text('[[batch]]\nprogram = "linnet"\nstart = "05:00"\nready_by = "09:00"\n')
    assert "found start and ready_by, wanted one of them" in called("day", str(path))[2]
    path.write_text('[[batch]]\nprogram = "lynnet"\n')
    assert '"linnet"?' in called("day", str(path))[2]
    path.write_text(f'{SANDPIPER}grain = "06:00"\n')
    assert "08:01" in called("day", str(path))[1]
