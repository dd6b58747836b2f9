"""The judges of power cuts and of damaged records, on a small sample, and that they can say no."""

from __future__ import annotations

import json
from pathlib import Path
from random import Random
from types import SimpleNamespace
from typing import Any, cast

import pytest

from controller.core.nouns import Trip
from controller.core.procedure.run import Progress, Run
from controller.edge.record import line_format
from tests.regimes.chaos import cuts, damages

CREDIT_S = 100.0


@pytest.fixture(scope="module")
def records() -> list[damages.Whole]:
    return [damages.whole("rise", damages.MOMENTS["rise"])]


def test_damages_lock_or_leave_a_true_beginning(records: list[damages.Whole], tmp_path: Path) -> None:
    """300 wounds in one record: nothing is believed that was not written, and each damage locks."""
    count, failed = damages.damaged(records, 11, 300, tmp_path)
    assert (failed, count.total()) == (0, 300)
    assert count["locked"] > 250


def test_a_reader_without_checksums_is_found_out(
    records: list[damages.Whole], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Wounds taken for words: the judge of damages names broken promises."""

    def trusting(raw: bytes) -> dict[str, Any] | None:
        try:
            values = json.loads(raw)
        except ValueError:
            return None
        return values if isinstance(values, dict) else None

    monkeypatch.setattr(line_format, "parse", trusting)
    _, failed = damages.damaged(records, 11, 300, tmp_path)
    assert failed > 0


def _life(leg: int, credited_s: float, *trips: str) -> cuts.Life:
    guard = SimpleNamespace(trips=[Trip(i, 0.0, "", None, None, "", 1, True, False) for i in trips])
    pending = SimpleNamespace(run=Run(leg=leg, progress=Progress(credited_s)))
    return cast("cuts.Life", SimpleNamespace(first=SimpleNamespace(guard=guard, pending=pending)))


def _shot(*trips: str) -> cuts.Shot:
    both_s = (CREDIT_S, CREDIT_S + 1.0)
    return cuts.Shot(0.0, cast("Any", None), {}, {}, "run", (2, 2), both_s, frozenset(trips))


@pytest.mark.parametrize(
    ("life", "shot", "says"),
    [
        (_life(2, CREDIT_S - 5.0), _shot(), ""),
        (_life(2, CREDIT_S - 5.1), _shot(), "credit"),
        (_life(2, CREDIT_S + 1.3), _shot(), "credit"),
        (_life(3, CREDIT_S), _shot(), "step 3"),
        (_life(2, CREDIT_S, "G07"), _shot("G07"), ""),
        (_life(2, CREDIT_S), _shot("G07"), "latched trips lost"),
        (_life(9, CREDIT_S, "G20"), _shot("G07"), ""),
    ],
)
def test_what_came_back_is_held_against_what_there_was(life: cuts.Life, shot: cuts.Shot, says: str) -> None:
    """5 s of credit may be lost and none won, the step stays, a latched trip stays; a locked record is right."""
    found = cuts.came_back(life, shot)
    assert bool(found) == bool(says)
    assert not says or found[0].startswith(says)


def test_what_was_synced_survives_a_cut() -> None:
    """Whatever else is lost, the synced beginning is there."""
    shot = _shot()._replace(synced={"a": b"synced"}, written={"a": b"synced and more"})
    for seed in range(50):
        assert cuts.survived(shot, Random(seed))["a"].startswith(b"synced")
