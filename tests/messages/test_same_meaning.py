"""Programs in °F and in °C that mean the same are the same: same plan, same digest, same commands."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.edge.files import config_files
from controller.plan import plan
from controller.plan.plan import Plan
from sim import dryrun
from tests.places import CONFIG

PLOVER = config_files.settings(CONFIG, "plover")

BODY = """title = "Two scales"
tun = "plover"
[[grist]]
name = "Pale malt"
mass = "5 kg"
[liquor]
mass = "15 kg"
temperature = "{liquor}"
[dough_in]
grist_temperature = "{grist}"
[[step]]
name = "first"
temperature = "{first}"
time = "{minutes} min"
tolerance = "{tolerance}"
[[step]]
name = "second"
temperature = "{second}"
time = "20 min"
ramp = "{ramp}"
[[step]]
name = "keep"
kind = "keep"
"""


def fahrenheit(c: Fraction) -> str:
    return f"{float(c * 9 / 5 + 32):g} °F"


def celsius(c: Fraction) -> str:
    return f"{float(c):g} °C"


def texts(first: Fraction, second: Fraction, minutes: int, ramp: Fraction) -> tuple[str, str]:
    """The same program twice."""
    liquor, grist, tolerance = Fraction(15), Fraction(20), Fraction(1)
    times = {"minutes": minutes}
    in_c = BODY.format(
        liquor=celsius(liquor), grist=celsius(grist), first=celsius(first), second=celsius(second),
        tolerance=f"{float(tolerance):g} K", ramp=f"{float(ramp):g} K/min", **times,
    )  # fmt: skip
    in_f = BODY.format(
        liquor=fahrenheit(liquor), grist=fahrenheit(grist), first=fahrenheit(first), second=fahrenheit(second),
        tolerance=f"{float(tolerance * 9 / 5):g} °F", ramp=f"{float(ramp * 9 / 5):g} °F/min", **times,
    )  # fmt: skip
    return in_c, in_f


def read(folder: Path, text: str) -> Plan:
    path = folder / "scales.toml"
    path.write_text(text)
    return plan.make(config_files.load_program(CONFIG, str(path)), PLOVER.tun)


TENTHS = st.integers(600, 680).map(lambda n: Fraction(n, 10))


@settings(max_examples=60)
@given(TENTHS, st.integers(700, 760).map(lambda n: Fraction(n, 10)), st.integers(5, 90), st.integers(2, 10))
def test_the_same_meaning_makes_the_same_plan(
    tmp_path_factory: pytest.TempPathFactory, first: Fraction, second: Fraction, minutes: int, tenths: int
) -> None:
    """Every figure of the course is the same number, to the last bit, and so is the digest."""
    folder = tmp_path_factory.mktemp("scales")
    in_c, in_f = texts(first, second, minutes, Fraction(tenths, 10))
    assert "°F" in in_f and "°F" not in in_c
    one, two = read(folder, in_c), read(folder, in_f)
    assert not one.problems
    assert one.course == two.course
    assert one.course.digest == two.course.digest


def test_another_meaning_makes_another_plan(tmp_path: Path) -> None:
    """A tenth of a kelvin apart is not the same."""
    one, _ = texts(Fraction(65), Fraction(72), 30, Fraction(1))
    _, two = texts(Fraction(651, 10), Fraction(72), 30, Fraction(1))
    assert read(tmp_path, one).course.digest != read(tmp_path, two).course.digest


def test_the_same_meaning_runs_the_same(tmp_path: Path) -> None:
    """Two dry runs of twenty minutes: every message both ways is the same, byte for byte."""
    digests = []
    for text in texts(Fraction(65), Fraction(72), 10, Fraction(1)):
        ran = dryrun.DryRun(PLOVER, read(tmp_path, text), 4).go(1200.0)
        assert ran.commands > 1000
        digests.append(ran.digest)
    assert digests[0] == digests[1]
