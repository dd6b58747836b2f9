"""Orders as they are typed: a delayed start, a start in the middle of a mash, an adjustment."""

from __future__ import annotations

import time
from datetime import UTC, datetime

import pytest

from controller.commands.order import _quantity, build
from controller.commands.shared.exit_codes import Wrong


def test_a_start_in_the_middle_of_a_mash() -> None:
    """Step and credited time go over the wire in base units."""
    said = build("start", ["sandpiper", "from_step=3", "credited=12 min"], "me")
    assert said["args"] == {"program": "sandpiper", "from_step": 2, "credited_s": 720.0}


def test_a_time_of_day_is_the_next_one() -> None:
    """06:00 lies within the next day, on the minute, local time."""
    at = build("start", ["linnet", "ready_at=06:00"], "me")["args"]["ready_at"]
    assert 0.0 < at - time.time() <= 86_400.0
    assert datetime.fromtimestamp(at, UTC).astimezone().strftime("%H:%M:%S") == "06:00:00"


def test_an_adjustment_in_any_unit() -> None:
    """°F and minutes come out as °C and seconds; the ramp in K/s."""
    args = build("adjust", ["step=3", "target=147.2 °F", "time=40 min", "ramp=0.6 K/min"], "me")["args"]
    assert args == {"step": 2, "target_c": pytest.approx(64.0), "hold_s": 2400.0, "climb_k_per_s": pytest.approx(0.01)}


@pytest.mark.parametrize("word", ["ready_at=6", "from_step=-1", "from_step=0", "step=1.5"])
def test_what_cannot_be_read_is_refused_with_what_is_wanted(word: str) -> None:
    """Each names what was found."""
    with pytest.raises(Wrong, match=word.split("=")[0]):
        build("start", ["linnet", word], "me")


def test_a_bare_number_says_what_is_wanted() -> None:
    """A temperature without its unit is answered with found and wanted, under the name it was typed by."""
    with pytest.raises(Wrong, match=r"^--hand: found '12', wanted a number with a unit such as \"12 °C\"$"):
        _quantity("--hand", "12")
    with pytest.raises(Wrong, match=r"^target: found '64', wanted a number with a unit"):
        build("adjust", ["step=2", "target=64"], "me")
