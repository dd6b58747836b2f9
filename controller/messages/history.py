"""What of a run does somebody see who comes late?

The whole curve, a point a minute, and the last events: one retained message for panels and dashboards of others. Past
so many points two minutes become one, then four, so that the curve stays whole and the message small however long the
run. A tick adds a sample; text is made only when the message is due.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable
from math import inf, isfinite
from typing import Any, NamedTuple

from controller.core.nouns import Instant
from controller.messages import outgoing

POINT_S = 60.0
MOST_POINTS = 360  # six hours of minutes; beyond them pairs become one (own proposal)
MOST_EVENTS = 50
MOST_BYTES = 60 * 1024  # the shipped broker files let 64 KiB through
EVERY_S = 30.0  # no more often than that
EVERY_REAL_S = 2.0  # nor than that in real time, however fast the tun's clock runs


class Sample(NamedTuple):
    """One second of a run, as it goes on record too."""

    mash_c: float | None
    setpoint_c: float | None
    target_c: float | None
    duty: float


class Point(NamedTuple):
    """A minute of the run, or more. Temperatures are null where there was no reading."""

    t_s: float  # its beginning, s since the start of the run
    seconds: int = 0
    readings: int = 0
    min_c: float | None = None
    mean_c: float | None = None
    max_c: float | None = None
    setpoint_c: float | None = None  # at its end
    target_c: float | None = None  # at its end; null where none was held
    duty: float = 0.0  # mean

    def with_one(self, sample: Sample) -> Point:
        """The point with one second more."""
        value_c = sample.mash_c if sample.mash_c is not None and isfinite(sample.mash_c) else None
        one = Point(
            self.t_s, 1, value_c is not None, value_c, value_c, value_c, sample.setpoint_c, sample.target_c, sample.duty
        )
        return self.joined(one)

    def joined(self, later: Point) -> Point:
        """This point and the one after it as one."""
        seconds, readings = self.seconds + later.seconds, self.readings + later.readings
        return Point(
            t_s=self.t_s,
            seconds=seconds,
            readings=readings,
            min_c=_of(min, self.min_c, later.min_c),
            mean_c=_mean(self, later, readings),
            max_c=_of(max, self.max_c, later.max_c),
            setpoint_c=later.setpoint_c,
            target_c=later.target_c,
            duty=(self.duty * self.seconds + later.duty * later.seconds) / max(seconds, 1),
        )

    def told(self) -> dict[str, float | None]:
        """The point as it goes out."""
        temperatures = ("min_c", "mean_c", "max_c", "setpoint_c", "target_c")
        values = {key: None if (c := getattr(self, key)) is None else round(c, 2) for key in temperatures}
        return {"t_s": round(self.t_s), **values, "duty": round(self.duty, 3)}


def _of(choose: Callable[..., float], *values: float | None) -> float | None:
    known = [value for value in values if value is not None]
    return choose(known) if known else None


def _mean(one: Point, other: Point, readings: int) -> float | None:
    if not readings:
        return None
    return ((one.mean_c or 0.0) * one.readings + (other.mean_c or 0.0) * other.readings) / readings


class Curve:
    """The points of one run, as many seconds each as keep them few enough."""

    def __init__(self, run: str) -> None:
        self.run, self.points, self.point_s = run, list[Point](), POINT_S

    def add(self, t_s: float, sample: Sample) -> bool:
        """One second more. Has another point begun with it?"""
        begin_s = t_s - t_s % self.point_s
        begins = not self.points or begin_s > self.points[-1].t_s
        if begins:
            self.points.append(Point(begin_s))
            if len(self.points) > MOST_POINTS:
                self._halve()
        self.points[-1] = self.points[-1].with_one(sample)
        return begins

    def follow(self, later: Iterable[Point], shift_s: float) -> None:
        """Points of the same run, made by another count of its seconds."""
        for point in later:
            begin_s = point.t_s + shift_s
            begin_s -= begin_s % self.point_s
            if self.points and begin_s <= self.points[-1].t_s:
                self.points[-1] = self.points[-1].joined(point)
            else:
                self.points.append(point._replace(t_s=begin_s))

    def _halve(self) -> None:
        """Twice as many seconds a point; a stretch of which nothing is known stays one."""
        self.point_s *= 2.0
        fewer: list[Point] = []
        for point in self.points:
            begin_s = point.t_s - point.t_s % self.point_s
            if fewer and fewer[-1].t_s == begin_s:
                fewer[-1] = fewer[-1].joined(point)
            else:
                fewer.append(point._replace(t_s=begin_s))
        self.points = fewer


class Past(NamedTuple):
    """What the record tells of the newest run and of what happened last."""

    curve: Curve | None
    began: Instant  # when run time was 0, on the clock of this process
    events: tuple[tuple[int, bytes], ...]  # sequence and what was told


class History:
    """The run so far, and what happened last."""

    def __init__(self) -> None:
        self.curve = Curve("")
        self._began: Instant = 0.0
        self._events: deque[tuple[int, bytes]] = deque(maxlen=MOST_EVENTS)
        self._changed, self._told_at = False, -inf

    def recalled(self, past: Past) -> None:
        """What was before this process; what it has seen itself since comes after it."""
        ours, known = list(self._events), {seq for seq, _ in self._events}
        self._events.clear()
        self._events.extend(sorted([*(one for one in past.events if one[0] not in known), *ours]))
        self._changed = True
        if past.curve is None or self.curve.run not in ("", past.curve.run):
            return
        later, shift_s = self.curve.points, self._began - past.began
        self.curve, self._began = past.curve, past.began
        self.curve.follow(later, shift_s)

    def happened(self, seq: int, told: bytes) -> None:
        """An event, as it was told: when it was on disk."""
        self._events.append((seq, told))
        self._changed = True

    def ran(self, run: str, now: Instant, sample: Sample) -> None:
        """One tick of a run that is under way."""
        if run != self.curve.run:
            self.curve, self._began = Curve(run), now
        self._changed |= self.curve.add(now - self._began, sample)

    def due(self, now: Instant, wall_s: float, speed: float) -> bytes | None:
        """The message, where something is new and the last one long enough ago."""
        if not self._changed or now - self._told_at < max(EVERY_S, EVERY_REAL_S * speed):
            return None
        self._changed, self._told_at = False, now
        return self.document(now, wall_s, speed)

    def document(self, now: Instant, wall_s: float, speed: float) -> bytes:
        """The message. Where it would be too long the oldest events stay away."""
        curve, events = self.curve, [told for _, told in self._events]
        head: dict[str, Any] = {"at": round(wall_s, 3), "run": curve.run or None, "t_s": round(now - self._began, 1)}
        head |= {"speed": speed, "point_s": curve.point_s, "points": [point.told() for point in curve.points]}
        begin = outgoing.document(head)[:-1] + b',"events":['
        room = MOST_BYTES - len(begin) - 2
        while events and sum(map(len, events)) + len(events) - 1 > room:
            del events[0]
        return begin + b",".join(events) + b"]}"
