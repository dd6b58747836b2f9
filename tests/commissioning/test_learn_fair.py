"""Is what a water run says of a tun true, on tuns that know nothing of the controller's own picture?"""

from __future__ import annotations

from functools import cache
from statistics import pstdev

import pytest

from controller.commands.learn import page
from controller.commissioning.learn import Identified, Known, Refused, by_file, course_c, identify
from controller.core.control.heat_path import heat_path
from tests.regimes.bench.fair_site import tun_file, water_run
from tests.regimes.bench.fair_tun import WATER, WAYS, FairTun, Made, Way, draw
from tests.regimes.bench.pulse import PulseState

SEED, NUMBERS = 21, range(1)  # of no bench
TUNS = [(way, number) for way in WAYS for number in NUMBERS]


@cache
def ran(way: Way, number: int) -> tuple[Made, Known, PulseState, Identified | Refused]:
    """A water run on this tun, and what was made of it."""
    made = draw(SEED, number, way)
    plate = tun_file(made)
    state = water_run(made, plate)
    known = by_file(plate, made.liquor_kg * WATER + plate.metal_j_per_k)
    return made, known, state, identify(state.trace, known)


def warmed_j_per_k(made: Made) -> float:
    """All that a water run warms in this tun, pipes and the heater's own mass among it, J/K."""
    passed_kg = made.flow_kg_per_s * sum(made.pipe_s)
    heater = made.bath_j_per_k or made.heater_j_per_k + (WATER * made.chamber_kg if made.flow_kg_per_s else 0.0)
    return WATER * (made.liquor_kg + passed_kg) + made.metal_j_per_k + heater


@pytest.mark.parametrize(("way", "number"), TUNS)
def test_power_and_loss_within_their_doubts(way: Way, number: int) -> None:
    """No healthy tun is refused; power and loss, in the heat capacity that the file says, lie within 2.5 deviations."""
    made, known, state, found = ran(way, number)
    assert isinstance(found, Identified)
    tun, end_c = FairTun(made, 50.0, plain=True), state.trace[-1].reading_c
    share = known.capacity_j_per_k / warmed_j_per_k(made)
    loss_w_per_k = share * tun.lost_w(end_c) / (end_c - known.room_c)
    assert abs(found.power_w - share * made.power_w) < 2.5 * found.power_sd
    assert abs(found.loss_w_per_k - loss_w_per_k) < 2.5 * found.loss_sd


@pytest.mark.parametrize(("way", "number"), TUNS)
def test_what_was_learned_foretells_no_worse_than_the_plate(way: Way, number: int) -> None:
    """The readings of the run by what was learned stray no more than by what the file and the rules of thumb say."""
    made, known, state, found = ran(way, number)
    assert isinstance(found, Identified)
    path = heat_path(tun_file(made))
    by_plate = found._replace(
        power_w=known.power_w, loss_w_per_k=known.loss_w_per_k, lag_s=path.lag_s, dead_s=path.dead_s,
        lead_k=path.rise_k if known.in_stream else 0.0,
    )  # fmt: skip

    def strays_k(figures: Identified) -> float:
        modelled = course_c(state.trace, figures, known)
        return pstdev(c - point.reading_c for c, point in zip(modelled, state.trace, strict=True))

    assert strays_k(found) <= strays_k(by_plate)


def test_a_record_without_a_rest_leaves_the_loss_to_the_plate() -> None:
    """Cut off when the heater goes off, the record says so of the loss, which stays within one plate's of the plate's;
    whole, it tells the loss and the page has no such word."""
    made, known, state, found = ran("stirred", 0)
    assert isinstance(found, Identified) and found.loss_told
    last = max(i for i, point in enumerate(state.trace) if point.duty > 0.0)
    short = identify(state.trace[: last + 1], known)
    assert isinstance(short, Identified) and not short.loss_told
    assert abs(short.loss_w_per_k - known.loss_w_per_k) < known.loss_w_per_k
    said = ["not told" in "\n".join(page(tun_file(made), figures, "a pulse")) for figures in (found, short)]
    assert said == [False, True]
