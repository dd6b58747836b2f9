"""What has the mash done, and how much heat was put in?

A line of temperature and energy every ten seconds, and the questions that several interlocks ask of it. An addition
begins it anew (`era`). A gap without readings does not: it is bridged by a straight line, for an interruption of a link
says nothing of the mash; nor do a trip and a hold.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import accumulate, pairwise
from math import inf
from typing import NamedTuple

from controller.core.guard.plate import Plate
from controller.core.guard.senses import Senses
from controller.core.nouns import ALONE_K, JUMP_RATE_K_PER_S, Fleeting, Instant
from controller.quick_records import quick

STEP_S = 10.0  # one line of history
RISE_WINDOW_S = 300.0  # a rise without heat is looked at over so long (own trial on random tuns)
PARTS, EVEN_PART = 5, 0.05  # an even rise: so many parts, each warmer by so much of the whole (own proposal)
FALL_S = 180.0  # a fall is looked at over so long, and a step of the level counts as recent
FULL_SHARE = 0.95  # of the duty that the tun file allows, that is full heat
EVEN_S, EVEN_SHARE = 60.0, 0.1  # behind the heater: mean duty of so long, its change
KEPT_EVERY = 6  # over a restart of the process one line of so many is kept; the others are straight between them
KEEP = 240  # lines: the longest window, dead time, bath, bed and three lags that a file may ask for
MIXING_S = 600.0  # after an addition a pumped bed is uneven for so long (own trial on random tuns up to 2,000 L) ...
UNEVEN = 2.0  # ... and temperatures may lie so many times as far apart as else (own proposal)


class Line(NamedTuple):
    """One line."""

    at: Instant
    temperature_c: float
    energy_j: float  # put in since the history began


@quick
class History(NamedTuple):
    """Since the last addition or change of contents."""

    lines: tuple[Line, ...] = ()
    fresh: Fleeting[bool] = False  # the last line was written in this tick: the slow interlocks look
    era: int = 0  # how often it has begun anew: verdicts in a row count within one era
    energy_j: float = 0.0
    next_at: Fleeting[Instant] = 0.0
    off_since: Instant | None = None  # duty 0 since
    heat_since: Instant | None = None  # heat began
    full_since: Instant | None = None  # full heat, since; an interruption does not end it
    full_s: float = 0.0  # and for so long in all
    full_c: float = 0.0  # what the mash was then
    added_at: Instant | None = None  # something was being added then, the newest time
    moves: Fleeting[tuple[tuple[Instant, float], ...]] = ()  # when, and by how much, history went to another level, K
    moved_all_k: float = 0.0  # by how much in all

    # ------------------------------------------------------------ questions

    def ago(self, seconds: float) -> Line | None:
        """The line of so long ago, None when history does not reach that far."""
        steps = round(seconds / STEP_S)
        return self.lines[-1 - steps] if len(self.lines) > steps else None

    def windows(self, window_s: float, lag_s: float) -> tuple[float, float]:
        """Least and most energy of any window of this length that ends between so long ago and now, J. Before the
        history began, nothing is known to have gone out."""
        steps, back, lines = round(window_s / STEP_S), round(lag_s / STEP_S), self.lines
        last = len(lines) - 1
        ends = range(max(0, last - back), last + 1)
        energies = [lines[end].energy_j - lines[max(0, end - steps)].energy_j for end in ends]
        return min(energies), max(energies)

    def levels_k(self, most_k: float) -> tuple[float, ...]:
        """What did the last five minutes read, from 0 on, where a line is at most `most_k` from the one before, up or
        down? Nothing while not known."""
        span = round(RISE_WINDOW_S / STEP_S)
        if len(self.lines) <= span:
            return ()
        lines = pairwise(self.lines[-1 - span :])
        steps = (min(most_k, max(-most_k, b.temperature_c - a.temperature_c)) for a, b in lines)
        return tuple(accumulate(steps, initial=0.0))

    def warmed_k(self, most_k: float) -> float:
        """By how much has the mash warmed in the last five minutes, K? By the least-squares line of those levels. A
        single step counts at most one and a half times, 0.75 K where a probe shows steps of 0.5. Infinite while not
        known."""
        levels = self.levels_k(most_k)
        if not levels:
            return inf
        span, middle = len(levels) - 1, (len(levels) - 1) / 2.0
        moment = sum((at - middle) * level_k for at, level_k in enumerate(levels))
        return moment * span / sum((at - middle) ** 2 for at in range(span + 1))

    def warms_evenly(self, rise_k: float) -> bool:
        """Is each fifth of those five minutes warmer than the one before, as a heater would make it?"""
        part = round(RISE_WINDOW_S / STEP_S) // PARTS
        window = [line.temperature_c for line in self.lines[-PARTS * part :]]
        means = [sum(window[at : at + part]) / part for at in range(0, PARTS * part, part)]
        return min(after - before for before, after in pairwise(means)) >= EVEN_PART * rise_k

    def fallen_k(self) -> float:
        """By how much is the reading now under its highest of the last three minutes, K?"""
        lines = self.lines[-1 - round(FALL_S / STEP_S) :]
        return max(line.temperature_c for line in lines) - lines[-1].temperature_c if lines else 0.0

    def fell_k(self, seconds: float) -> float:
        """By how much did the reading fall at the most within so many seconds, K?"""
        read = [line.temperature_c for line in self.lines[-1 - round(seconds / STEP_S) :]]
        return max((high_c - c for high_c, c in zip(accumulate(read, max), read, strict=True)), default=0.0)

    def highest_share(self, seconds: float, power_w: float) -> float:
        """The highest mean duty of any ten of the last so many seconds, by what was put into the mash."""
        lines = self.lines[-2 - round(seconds / STEP_S) :]
        shares = ((b.energy_j - a.energy_j) / (power_w * max(STEP_S, b.at - a.at)) for a, b in pairwise(lines))
        return max(shares, default=0.0)

    def moved_k(self, now: Instant) -> float:
        """By how much did history go to another level within the last three minutes, K?"""
        return sum(step_k for _, step_k in self._recent(now))

    def even(self, power_w: float, window_s: float) -> bool:
        """Was as much heat let out in the last minute as in the minute before the window?"""
        lines, steps = self.lines, round(EVEN_S / STEP_S)
        start = len(lines) - 1 - round(window_s / STEP_S)
        if start < steps:
            return False
        late_j, early_j = (lines[at].energy_j - lines[at - steps].energy_j for at in (len(lines) - 1, start))
        return abs(late_j - early_j) <= EVEN_SHARE * power_w * EVEN_S

    # ------------------------------------------------------------ what becomes of it

    def begun_anew(self) -> History:
        """After an addition, or between two runs, every window starts anew."""
        return History(era=self.era + 1, off_since=self.off_since, added_at=self.added_at)

    def kept(self) -> History:
        """What of it is worth a place in the record: a line a minute, the newest included."""
        lines = (Line(at, round(value_c, 3), round(energy_j)) for at, value_c, energy_j in self.lines[::-KEPT_EVERY])
        return self._replace(lines=tuple(lines)[::-1])

    def recalled(self, unrecorded_j: float) -> History:
        """As an earlier process kept it, straight from line to line; so much heat may have gone out since."""
        filled = [line for pair in pairwise(self.lines) for line in (*_between(*pair), pair[1])]
        return self._replace(lines=(*self.lines[:1], *filled)[-KEEP:], energy_j=self.energy_j + unrecorded_j)

    def follow(self, senses: Senses, duty: float, plate: Plate) -> History:
        """One tick further. `duty` is what was let out since the last one."""
        return self._heated(senses, duty, plate)._read(senses, plate)

    def _heated(self, senses: Senses, duty: float, plate: Plate) -> History:
        """With the tick's energy."""
        if duty <= 0.0:
            return self if self.off_since is not None else self._replace(off_since=senses.now)
        past = self
        if past.heat_since is None and past.lines:
            past = past.begun_anew()  # the tun may just have been filled: what was before says nothing of it
        past = past._replace(
            energy_j=past.energy_j + duty * plate.power_w * min(senses.dt, senses.tun.heater.lease_s),
            off_since=None,
            heat_since=past.heat_since if past.heat_since is not None else senses.now,
        )
        return past._full(senses, duty)

    def _full(self, senses: Senses, duty: float) -> History:
        """With the time at full heat, far from the target. Less heat begins it anew, and so does a target that is near;
        an interruption by a link, a trip or a hold does not."""
        value_c, target_c, limits = senses.mash.seen.value_c, senses.run.target.target_c, senses.tun.guard
        less = duty < FULL_SHARE * senses.tun.heater.duty_cap
        if less or value_c is None or target_c is None or target_c - value_c <= limits.cannot_keep_up_k:
            return self if self.full_since is None else self._replace(full_since=None)
        if self.full_since is not None:
            return self._replace(full_s=self.full_s + senses.dt)
        return self._replace(full_since=senses.now, full_s=0.0, full_c=value_c)

    def _read(self, senses: Senses, plate: Plate) -> History:
        """With a line more, once in ten seconds."""
        value, past = senses.mash.seen.value_c, self._replace(fresh=False) if self.fresh else self
        if senses.blocked:
            past = past._replace(added_at=senses.now)
            return past.begun_anew() if past.lines else past
        if senses.now < past.next_at or value is None:
            return past
        if past.lines and past._another_level(value, senses, plate):
            past = past._moved(value - past.lines[-1].temperature_c, senses.now)
        line = Line(senses.now, value, past.energy_j)
        lines = (*past.lines, *(_between(past.lines[-1], line) if past.lines else ()), line)
        return past._replace(lines=lines[-KEEP:], fresh=True, next_at=senses.now + STEP_S)

    def _another_level(self, value_c: float, senses: Senses, plate: Plate) -> bool:
        """Has the probe gone over to another level since, faster than a mash may change? A probe behind the heater
        moves with the heat, too. A doubtful reading alone is none: what was believed last is seconds old at most."""
        last = self.lines[-1]
        most_k = senses.tun.guard.jump_k + JUMP_RATE_K_PER_S * (senses.now - last.at)
        most_k += ALONE_K if plate.behind_heater else 0.0
        return abs(value_c - last.temperature_c) > most_k

    def _moved(self, step_k: float, now: Instant) -> History:
        """What was before, moved to the new level: the step is neither a rise nor a fall, be it liquor poured in
        without a word or a probe that slips out; the heat that was given still counts."""
        return self._replace(
            lines=tuple(line._replace(temperature_c=line.temperature_c + step_k) for line in self.lines),
            full_c=self.full_c + step_k,
            moves=(*self._recent(now), (now, step_k)),
            moved_all_k=self.moved_all_k + step_k,
        )

    def _recent(self, now: Instant) -> tuple[tuple[Instant, float], ...]:
        return tuple((at, step_k) for at, step_k in self.moves if now - at < FALL_S)


def apart_k(limit_k: float, added_at: Instant | None, now: Instant) -> float:
    """How far may temperatures lie apart now, K, where `limit_k` holds in a mixed mash?"""
    return limit_k if added_at is None or now - added_at > MIXING_S else UNEVEN * limit_k


def _between(last: Line, line: Line) -> Iterator[Line]:
    """The lines that are missing from one to the other, straight from there to here."""
    steps = min(round((line.at - last.at) / STEP_S), KEEP)
    for step in range(1, steps):
        share = step / steps
        yield Line(*(then + share * (now - then) for then, now in zip(last, line, strict=True)))
