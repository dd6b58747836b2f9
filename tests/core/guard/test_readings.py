"""Which readings are there to go by, and which raw ones could be true?"""

from __future__ import annotations

from math import inf, nan
from typing import Any

import pytest

from controller.core.guard import readings
from controller.core.guard.senses import Probed
from controller.core.nouns import Bad, Sample
from controller.settings.tun import Probe
from tests.core.bench import tun
from tests.core.guard.looks import HOT, NOW, OPEN, SEEN, TUN, known, read, senses

PLAIN, LOW, HIGH = Probe(topic="a"), Probe(topic="a", raw_boil_c=98.0), Probe(topic="a", raw_boil_c=102.0)
TEXT = (Bad("text", NOW),)


@pytest.mark.parametrize(
    ("changes", "gone", "nonsense"),
    [
        ({}, False, False),
        ({"age_s": 10.0}, False, False),
        ({"age_s": 10.1}, True, False),
        ({"age_s": nan}, True, False),
        ({"refused_run": 2, "refused_since": NOW - 3.9}, False, False),
        ({"refused_run": 3}, False, True),
        ({"refused_run": 1, "refused_since": NOW - 4.0}, False, True),
        ({"refused_run": 0, "refused_since": NOW - 9.0}, False, False),
    ],
)
def test_gone_and_nonsense(changes: dict[str, Any], gone: bool, nonsense: bool) -> None:
    """Each at its limit and just past it."""
    look = senses(seen=SEEN._replace(**changes))
    assert (readings.gone(look), readings.nonsense(look)) == (gone, nonsense)


def test_the_tun_file_has_the_limits() -> None:
    """How old is gone, and how many are nonsense; the mash probe's own word is gone at once."""
    mild = TUN.model_copy(
        update={"guard": TUN.guard.model_copy(update={"reading_gone_s": 20.0, "nonsense_readings": 5})}
    )
    assert not readings.gone(senses(tun=mild, seen=SEEN._replace(age_s=20.0)))
    assert not readings.nonsense(senses(tun=mild, seen=SEEN._replace(refused_run=4)))
    assert readings.gone(senses(gone=["mash"]))
    assert not readings.gone(senses(gone=["second", "outlet"]))


@pytest.mark.parametrize(
    ("changes", "unproven"),
    [({}, False), ({"text": "late"}, True), ({"text": "late", "refused_run": 1}, False),
     ({"text": "late", "jump_since": NOW}, False)],
)  # fmt: skip
def test_unproven(changes: dict[str, Any], unproven: bool) -> None:
    """Sound, and not known to be new: there is a reason, nothing is refused, nothing jumped."""
    assert readings.unproven(SEEN._replace(**changes)) is unproven


@pytest.mark.parametrize(
    ("samples", "probe", "under"),
    [
        ((), PLAIN, True),
        (read(79.9, 79.9), PLAIN, True),
        (read(79.9, 80.0), PLAIN, False),
        (read(80.0, 79.9), PLAIN, False),
        (read(nan), PLAIN, False),
        ((*read(63.0), *TEXT), PLAIN, False),
        (read(78.4), LOW, False),
        (read(78.3), LOW, True),
        (read(80.0), HIGH, False),
        (read(79.9), HIGH, True),
    ],
)
def test_all_under(samples: tuple[Sample, ...], probe: Probe, under: bool) -> None:
    """Every one of them a reading, under the limit raw and corrected."""
    assert readings.all_under(samples, probe, 80.0) is under


@pytest.mark.parametrize(("limit_c", "under"), [(100.5, True), (100.0, False)])
def test_just_at_the_limit_as_corrected_is_not_under(limit_c: float, under: bool) -> None:
    """98 of a probe that reads 98 in boiling water is 100."""
    assert readings.all_under(read(98.0), LOW, limit_c) is under


@pytest.mark.parametrize(
    ("samples", "over"),
    [((), False), (read(79.9), False), (read(63.0, 80.0), True), (read(nan), True), (read(inf), True), (TEXT, False)],
)
def test_any_over(samples: tuple[Sample, ...], over: bool) -> None:
    """True or not, a number or not; what is no reading is nothing."""
    assert readings.any_over(samples, 80.0) is over


@pytest.mark.parametrize(
    ("values", "believed_c", "left"),
    [
        ((63.0, 64.0), 63.0, [63.0, 64.0]),
        ((-5.0, -5.1, 105.0, 105.1, nan, inf), 63.0, [-5.0, 105.0]),
        ((85.0, 0.0, 32.0, -0.0625, -0.062), 63.0, []),
        ((85.0,), None, []),
        ((85.0, 32.0), 83.0, [85.0]),
        ((85.0,), 87.0, [85.0]),
        ((85.0,), 82.9, []),
    ],
)
def test_could_be_true(values: tuple[float, ...], believed_c: float | None, left: list[float]) -> None:
    """In range, and no failed sensor's value unless one is believed within 2 K; messages that are none fall out."""
    probed = Probed(seen=SEEN._replace(value_c=believed_c), raw=(*read(*values), *TEXT))
    assert [value_c for _, value_c in readings.could_be_true(probed, PLAIN)] == left


def test_what_could_be_true_is_corrected() -> None:
    """A failed sensor's value is looked for in the raw one; each comes with its arrival."""
    assert readings.could_be_true(Probed(seen=SEEN, raw=read(49.0, 85.0)), LOW) == [(NOW - 1.5, 50.0)]


def test_readings_beyond_a_limit() -> None:
    """Two a second apart are beyond doubt, not two within 0.9 s, nor with one below between."""
    rows = [((0.0, True), (1.0, True)), ((0.0, True), (0.9, True)), ((0.0, True), (0.5, False), (1.0, True)), ()]
    found = []
    for words in rows:
        row = readings.NOT_OVER
        for at, over in words:
            row = row.heard(at, over)
        found.append(row.pair)
    assert found == [True, False, False, False]
    assert readings.NOT_OVER.heard(1.0, False) is readings.NOT_OVER


@pytest.mark.parametrize(
    ("age_s", "known_s", "gone", "said"),
    [
        (60.0, 900.0, False, ""),
        (60.125, 900.0, False, "No good reading of the outlet probe for 60 s (limit 60 s)."),
        (inf, 60.0, False, ""),
        (inf, 75.0, False, "No good reading of the outlet probe for 75 s (limit 60 s)."),
        (0.5, 900.0, True, "The outlet probe's presence topic says that it is gone."),
    ],
)
def test_missing(age_s: float, known_s: float, gone: bool, said: str) -> None:
    """Silent for longer than it may be, as long as this process could know, or gone by its own word."""
    probed = Probed(seen=SEEN._replace(age_s=age_s), gone=gone)
    assert readings.missing(probed, "outlet probe", known_s, 60.0) == said


class Given:
    """A history that knows what it was asked."""

    def __init__(self, share: float) -> None:
        self.share, self.asked = share, (0.0, 0.0)

    def highest_share(self, for_s: float, power_w: float) -> float:
        self.asked = for_s, power_w
        return self.share


@pytest.mark.parametrize(("dead_s", "lag_s", "felt_s"), [(10.0, 20.0, 60.0), (30.0, 30.1, 60.1)])
@pytest.mark.parametrize(("share", "most"), [(0.4, 0.5), (0.7, 0.7)])
def test_what_a_probe_behind_the_heater_reads_over_the_mash(
    share: float, most: float, dead_s: float, lag_s: float, felt_s: float
) -> None:
    """By the duty of now or the highest that it may still feel, a minute back at the least, at 0.7 of the plate's flow;
    nothing where wort does not flow past."""
    plate, past = OPEN.plate._replace(dead_s=dead_s, lag_s=lag_s), Given(share)
    knows = known(line=HOT, past=past, plate=plate)
    assert readings.heater_adds_k(senses(), knows) == most * TUN.plate_rise_k / 0.7 > 5.0
    assert past.asked == (felt_s, plate.power_w)
    assert readings.heater_adds_k(senses(tun=tun()), knows) == 0.0
