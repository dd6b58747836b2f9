"""Which programs of up to three starch rests can this tun run, and what wort would each give?

Every program on a fixed grid of temperatures and times is tried, in steps of a minute. Programs that begin alike share
the mash they have in common, so a thousand of them take a second.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import partial
from math import isfinite
from typing import NamedTuple

from controller.brewing import heat
from controller.brewing.kinetics.model import (
    CALIBRATED_SET,
    DEFAULT_MALT,
    Amounts,
    Malt,
    Parameters,
    apparent_limit_pct,
    fresh,
    potential,
    starch_left,
    step,
)

PIECE_S = 60.0  # own bench: 0.03 points of the limit off at most; the programs chosen are predicted again in finer ones
# Malt starch pastes fully only at 61.4..64.5 degC (Rittenauer et al., Foods 10 (2021) 1733, abstract): no lower.
SINGLE_C = tuple(62.0 + 0.5 * n for n in range(21))  # 62 to 72 degC
FIRST_C = tuple(61.0 + n for n in range(8))
MIDDLE_C = (65.0, 66.0, 67.0, 68.0)
LAST_C = (70.0, 72.0)
SINGLE_MIN = (30, 35, 40, 45, 50, 55, 60, 70, 80, 90, 105, 120)
FIRST_MIN = (10, 15, 20, 25, 30, 35, 40, 45, 50, 60, 75, 90)
SHORT_FIRST_MIN = (10, 20, 30)  # where a middle rest follows
MIDDLE_MIN = (10, 20, 30)
LAST_MIN = (10, 15, 20, 30, 40)
CONVERTED = 0.01  # no more starch than this may be left (own proposal)
RELEASED = 0.95  # and at least this share of the extract is in the liquid


class TunFigures(NamedTuple):
    """What the tun can do with this mash in it."""

    capacity_j_per_k: float  # mash and metal together
    power_w: float
    loss_w_per_k: float
    room_c: float = 18.0
    climb_c_per_min: float = 1.0
    hottest_c: float = 78.0  # no target above
    open_w_per_k: float = 0.0  # lost to the room a kelvin while the grain goes in
    open_s: float = 0.0  # for so long
    settles_s: float = 0.0  # after the grain is in, before heat may come

    def landed_c(self, first_c: float) -> float:
        """Where does the mash of a program with this first rest stand when heat may come, °C? The open lid takes its
        part, and the tun until the grain has settled."""
        lost_j_per_k = self.open_w_per_k * self.open_s + self.loss_w_per_k * self.settles_s
        return first_c - lost_j_per_k * (first_c - self.room_c) / self.capacity_j_per_k


class Bounds(NamedTuple):
    """What the program may take."""

    longest_min: float = 150.0  # from dough-in to the end of the mash-out
    most_kwh: float | None = None  # ramps and losses from dough-in on; strike liquor left out
    most_rests: int = 3  # starch rests; the low rest and the mash-out are not counted


class SearchedRest(NamedTuple):
    """One planned temperature: degC, seconds held, seconds to get there."""

    temperature_c: float
    hold_s: float
    ramp_s: float


class Found(NamedTuple):
    """A program that fits, and what it would give."""

    legs: tuple[SearchedRest, ...]
    limit_pct: float
    iodine_s: float
    duration_s: float
    energy_kwh: float


class Task(NamedTuple):
    """All that the search needs to know."""

    tun: TunFigures
    bounds: Bounds
    malt: Malt = DEFAULT_MALT
    params: Parameters = CALIBRATED_SET
    low_rest: tuple[float, float] | None = None  # degC, s; before the starch rests
    mash_out: tuple[float, float] | None = (77.0, 600.0)
    first_c: tuple[float, float] = (0.0, 100.0)  # the first starch rest lies between


class _Node(NamedTuple):
    """A program so far, with its mash."""

    legs: tuple[SearchedRest, ...]
    state: Amounts
    energy_kwh: float


def ramp_s(tun: TunFigures, from_c: float, to_c: float) -> float:
    """How long does this tun take from one temperature to the other, s? Infinite where it never gets there."""
    return heat.limited_ramp_s(
        tun.capacity_j_per_k, tun.power_w, tun.loss_w_per_k, tun.room_c, from_c, to_c, tun.climb_c_per_min / 60.0
    )


Start = tuple[float, bool]  # the first starch rest, degC, and whether it is the only one
Each = Callable[[Callable[[Start], list[Found]], Sequence[Start]], Iterable[list[Found]]]  # `map`, or that of a pool


def search(task: Task, progress: Callable[[float], None] | None = None, each: Each = map) -> list[Found]:
    """Every program on the grid that fits the bounds, converts the starch and releases the extract, in a fixed order.

    `progress` is told the share done, 0..1; `each` may look at several starts at a time.
    """
    found: list[Found] = []
    starts = [*((celsius, True) for celsius in SINGLE_C), *((celsius, False) for celsius in FIRST_C)]
    for number, those in enumerate(each(partial(_begun, task), starts), start=1):
        found += those
        if progress is not None:
            progress(number / len(starts))
    return found


def _begun(task: Task, start: Start) -> list[Found]:
    """Every program that begins like this."""
    (celsius, single), root = start, _root(task)
    if root is None or not task.first_c[0] <= celsius <= min(task.first_c[1], task.tun.hottest_c):
        return []
    return list(_singles(task, root, celsius) if single else _series(task, root, celsius))


def _root(task: Task) -> _Node | None:
    """The mash after the low rest, where one is wanted. None where that rest alone is too long."""
    begin = _Node((), fresh(task.malt), 0.0)
    if task.low_rest is None:
        return begin
    celsius, hold_s = task.low_rest
    return _held(task, _reached(task, begin, celsius), hold_s)


def _reached(task: Task, node: _Node, celsius: float) -> _Node | None:
    """The mash when it has climbed to a temperature, the first from where dough-in lands it."""
    tun = task.tun
    if node.legs:
        from_c = node.legs[-1].temperature_c
    else:
        from_c = tun.landed_c(celsius)
        node = node._replace(state=step(task.params, node.state, from_c, tun.settles_s, PIECE_S))
    if from_c == celsius:
        return _Node((*node.legs, SearchedRest(celsius, 0.0, 0.0)), node.state, node.energy_kwh)
    length_s = ramp_s(tun, from_c, celsius)
    if not isfinite(length_s) or node.state.time_s + length_s > 60.0 * task.bounds.longest_min:
        return None
    count = max(1, round(length_s / PIECE_S))
    climb = (celsius - from_c) / count
    state = node.state
    for n in range(count):
        state = step(task.params, state, from_c + climb * (n + 0.5), length_s / count, PIECE_S)
    spent = heat.warming_kwh(tun.capacity_j_per_k, from_c, celsius)
    spent += heat.loss_kwh(tun.loss_w_per_k, tun.room_c, 0.5 * (from_c + celsius), length_s)
    return _Node((*node.legs, SearchedRest(celsius, 0.0, length_s)), state, node.energy_kwh + spent)


def _held(task: Task, node: _Node | None, hold_s: float) -> _Node | None:
    """The mash after so much longer at the temperature it has reached, None where that is too long or too dear."""
    if node is None:
        return None
    leg, tun = node.legs[-1], task.tun
    energy = node.energy_kwh + heat.loss_kwh(tun.loss_w_per_k, tun.room_c, leg.temperature_c, hold_s)
    too_dear = task.bounds.most_kwh is not None and energy > task.bounds.most_kwh
    if too_dear or node.state.time_s + hold_s > 60.0 * task.bounds.longest_min + 1e-6:
        return None
    state = step(task.params, node.state, leg.temperature_c, hold_s, PIECE_S)
    return _Node((*node.legs[:-1], leg._replace(hold_s=leg.hold_s + hold_s)), state, energy)


def _rested(task: Task, node: _Node, celsius: float, minutes: tuple[int, ...]) -> Iterator[_Node]:
    """The program with one more rest, once for each length in minutes; the mash is carried on between."""
    at: _Node | None = _reached(task, node, celsius)
    spent = 0
    for length in minutes:
        at = _held(task, at, 60.0 * (length - spent))
        spent = length
        if at is None:
            return
        yield at


def _singles(task: Task, root: _Node, celsius: float) -> Iterator[Found]:
    for node in _rested(task, root, celsius, SINGLE_MIN):
        yield from _finished(task, node)


def _series(task: Task, root: _Node, celsius: float) -> Iterator[Found]:
    if task.bounds.most_rests < 2:
        return
    for first in _rested(task, root, celsius, FIRST_MIN):
        yield from _last(task, first)
        if task.bounds.most_rests < 3 or first.legs[-1].hold_s / 60.0 not in SHORT_FIRST_MIN:
            continue
        for middle_c in (c for c in MIDDLE_C if c >= celsius + 2.0):
            for middle in _rested(task, first, middle_c, MIDDLE_MIN):
                yield from _last(task, middle)


def _last(task: Task, node: _Node) -> Iterator[Found]:
    for celsius in LAST_C:
        if celsius <= task.tun.hottest_c:
            for last in _rested(task, node, celsius, LAST_MIN):
                yield from _finished(task, last)


def _finished(task: Task, node: _Node) -> Iterator[Found]:
    """The program with its mash-out, if by then the starch is converted and the extract released."""
    if starch_left(node.state) > CONVERTED or node.state.iodine_s is None:
        return
    end: _Node | None = node
    if task.mash_out is not None:
        end = _reached(task, node, task.mash_out[0])
        end = _held(task, end, task.mash_out[1])
    if end is None or end.state.iodine_s is None:
        return
    state = end.state
    if state.released / potential(state) >= RELEASED:
        yield Found(end.legs, apparent_limit_pct(state), state.iodine_s or 0.0, state.time_s, end.energy_kwh)
