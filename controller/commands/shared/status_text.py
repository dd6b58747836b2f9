"""How does a status look to a person at a terminal?

Plain text in a few lines; the same for `status`, `watch` and `demo`. No dependency: colours are a few escape codes,
left out where the output is no terminal or NO_COLOR is set.
"""

from __future__ import annotations

import math
import os
import sys
import time
from collections.abc import Mapping, Sequence
from typing import Any, TextIO

BARS = "▁▂▃▄▅▆▇█"
RED, YELLOW, PLAIN = "\x1b[31m", "\x1b[33m", "\x1b[0m"
ENDS = ("complete", "stopped", "aborted")  # states in which a run is over
RISING = ("armed", "heating", "ramping")  # phases on the way to the step's temperature
NOTHING = ("asked   nothing", "alerts  none", NO_MORE := "next    -", "step    none")


def coloured(stream: TextIO) -> bool:
    """May we use colours and move the cursor?"""
    return stream.isatty() and "NO_COLOR" not in os.environ and os.environ.get("TERM") != "dumb"


def span(seconds: float | None) -> str:
    """A duration for a person: 45 s, 12 min, 1 h 05 min."""
    if seconds is None:
        return "-"
    if seconds < 90:
        return f"{seconds:.0f} s"
    minutes = round(seconds / 60)
    return f"{minutes} min" if minutes < 60 else f"{minutes // 60} h {minutes % 60:02d} min"


def degrees(value: float | None) -> str:
    return "no reading" if value is None else f"{value:.1f} °C"


def bar(share: float, width: int = 20) -> str:
    """A share as a bar."""
    full = round(max(0.0, min(1.0, share)) * width)
    return "█" * full + "░" * (width - full)


def curve(values: Sequence[float | None], low: float, high: float) -> str:
    """A row of values as a line of blocks."""
    width = max(high - low, 1e-9)
    return "".join(" " if v is None else BARS[max(0, min(7, int((v - low) / width * 7.999)))] for v in values)


def chart(points: Sequence[tuple[float, float | None]], columns: int = 64, rows: int = 12) -> list[str]:
    """Temperatures over time (s, °C) as plain text, lowest and highest at the edge; empty where there are none."""
    known = [(at, value) for at, value in points if value is not None]
    if not known:
        return []
    begin, wide_s = points[0][0], max(points[-1][0] - points[0][0], 1.0)
    low, high = (math.floor(min(v for _, v in known) / 5) * 5, math.ceil(max(v for _, v in known) / 5) * 5)
    step = max(high - low, 5) / (rows - 1)
    grid = [[" "] * columns for _ in range(rows)]
    for at, value in known:
        column = min(columns - 1, int((at - begin) / wide_s * columns))
        grid[min(rows - 1, round((value - low) / step))][column] = "*"
    edge = {row: f"{low + row * step:.0f} °C" for row in (0, rows // 2, rows - 1)}
    drawn = [f"{edge.get(row, ''):>6} |{''.join(grid[row]).rstrip()}" for row in reversed(range(rows))]
    return [*drawn, f"{'':>6} +{'-' * columns}", f"{'':>8}0 min{span(wide_s):>{columns - 5}}"]


def lines(status: Mapping[str, Any]) -> list[str]:
    """Eight lines: state, step, what comes next, temperature, heat, the wort to come, what is asked, what is wrong."""
    return [line(status) for line in (_state, _step, _next, _temperature, _heat, _wort, _asked, _wrong)]


def brief(status: Mapping[str, Any]) -> list[str]:
    """The lines that matter of one tun among several: where it is, and what is asked or wrong."""
    state, *told = (line(status) for line in (_state, _step, _next, _temperature, _asked, _wrong))
    return [state, *(f"  {line}" for line in told if line not in NOTHING)]


def short(status: Mapping[str, Any]) -> str:
    """A status in one line, for where nothing can be drawn again."""
    return " | ".join(line(status) for line in (_state, _step, _temperature, _heat))


def _state(status: Mapping[str, Any]) -> str:
    program = status.get("title") or status.get("program") or "no program"
    finish = status.get("finish_at")
    ends = f", ends about {_clock(finish)}{_span(status, finish)}" if finish else ""
    speed = f", {status['speed']:g} times real time" if status.get("speed", 1) != 1 else ""
    kind = " (simulated)" if status.get("simulated") else ""
    return f"{status['tun']}{kind}: {status['state']}, {program}{ends}{speed}"


def _span(status: Mapping[str, Any], finish: float) -> str:
    """Between which times do nine days of ten end, where days were simulated?"""
    left = status.get("finish_span_s")
    if not left:
        return ""
    early, late = (_clock(finish + (end_s - status["finish_in_s"]) / _speed(status)) for end_s in left)
    return f" ({early} to {late} on nine days of ten)"


def _step(status: Mapping[str, Any]) -> str:
    step = status.get("step")
    if not step:
        return "step    none"
    count = f"{step['index'] + 1} of {len(status.get('steps', [])) or '?'}"
    return f"step    {count} {step['name']}, {step['target_c']:.1f} °C: {', '.join((step['phase'], *_left(status)))}"


def _left(status: Mapping[str, Any]) -> list[str]:
    """How much of the rest is left, and when is its temperature reached?"""
    step, ends = status["step"], _step_ends_at(status)
    planned_s, left_s = step["planned_s"], step["planned_s"] - step["credited_s"]
    said = [f"{span(max(0.0, left_s))} of {span(planned_s)} left"] if planned_s else []
    if ends is None or step["phase"] not in RISING:
        return said
    return [*said, f"ready about {_clock(ends - (left_s if step['kind'] != 'keep' else 0.0) / _speed(status))}"]


def _next(status: Mapping[str, Any]) -> str:
    """Which step comes then, and when about?"""
    step, steps = status.get("step"), status.get("steps", [])
    if not step or step["index"] + 1 >= len(steps):
        return NO_MORE
    then, at = steps[step["index"] + 1], _step_ends_at(status)
    time_ = f" for {span(then['planned_s'])}" if then["planned_s"] else ""
    return f"next    {then['name']}, {then['target_c']:.1f} °C{time_}{f', about {_clock(at)}' if at else ''}"


def _step_ends_at(status: Mapping[str, Any]) -> float | None:
    """When does the present step end by the plan, unix s? None where no end is planned, as in a hold."""
    finish = status.get("finish_at")
    if not finish:
        return None
    later = status["steps"][status["step"]["index"] + 1 :]
    hold = sum(one["planned_s"] for one in later if one["kind"] != "keep")
    return float(finish - (hold + sum(one["ramp_s"] + one["mixing_s"] for one in later)) / _speed(status))


def _speed(status: Mapping[str, Any]) -> float:
    return float(status.get("speed") or 1.0)


def _clock(unix_s: float) -> str:
    return time.strftime("%H:%M", time.localtime(unix_s))


def _temperature(status: Mapping[str, Any]) -> str:
    age = status.get("reading_age_s")
    aged = f" ({age:.0f} s old)" if age is not None and age >= 2 else ""
    wanted = status.get("setpoint_c")
    others = [name for name in ("second", "outlet") if status.get(f"{name}_c") is not None]
    more = "".join(f", {name} {degrees(status[f'{name}_c'])}" for name in others)
    goal = f", wanted {degrees(wanted)}" if wanted is not None else ""
    return f"mash    {degrees(status.get('temperature_c'))}{aged}{goal}{more}"


def _heat(status: Mapping[str, Any]) -> str:
    heater = status.get("heater") or {}
    said = "the heater has not answered yet" if heater.get("duty") is None else f"heater says {heater['duty']:.0%}"
    fault = f", fault: {heater['fault']}" if heater.get("fault") else ""
    return f"heat    {status['duty']:4.0%} {bar(status['duty'])} {said}{fault}"


def _wort(status: Mapping[str, Any]) -> str:
    """Where the wort would end if the rest of the program runs as planned."""
    ahead = (status.get("prediction") or {}).get("ahead")
    if not ahead:
        return "wort    no estimate yet"
    band = ahead["apparent_limit_pct"]
    if not band:
        return "wort    the estimate has no figure for this mash"
    limit = f"apparent attenuation {band['mid']:.0f} % ({band['low']:.0f} to {band['high']:.0f} %)"
    return f"wort    estimate for the end, in {span(ahead['in_s'])}: {limit}"


def _asked(status: Mapping[str, Any]) -> str:
    prompt = status.get("prompt")
    if not prompt:
        return NOTHING[0]
    return f"asked   {prompt['text']} [{' / '.join(prompt['answers'])}] ({span(prompt.get('waiting_s'))})"


def _wrong(status: Mapping[str, Any]) -> str:
    trips = [f"{t['id']} {t['text']}{' (clear it)' if t['latched'] else ''}" for t in status.get("trips", [])]
    meanwhile = status.get("meanwhile")  # an older daemon says nothing of it
    said = trips + ([meanwhile] if meanwhile else []) + list(status.get("notes", []))
    return f"alerts  {'; '.join(said)}" if said else NOTHING[1]


def painted(text: str, status: Mapping[str, Any]) -> str:
    """Red while tripped, yellow while a person is asked."""
    if status.get("trips"):
        return f"{RED}{text}{PLAIN}"
    return f"{YELLOW}{text}{PLAIN}" if status.get("prompt") else text


class Live:
    """A few lines of a terminal that are drawn again and again; plain lines now and then where there is no terminal."""

    def __init__(self, stream: TextIO | None = None, every_s: float = 5.0) -> None:
        self._stream = stream or sys.stderr
        self._moving = coloured(self._stream)
        self._drawn, self._every_s, self._at = 0, every_s, 0.0

    def draw(self, text: Sequence[str], short: str) -> None:
        """The lines where the cursor can be moved, else `short` every few seconds."""
        now = time.monotonic()
        if not self._moving:
            if now - self._at >= self._every_s:
                self._at = now
                print(short, file=self._stream, flush=True)
            return
        if now - self._at < 0.1:
            return
        self._at = now
        width, high = os.get_terminal_size(self._stream.fileno()) if self._stream.isatty() else (100, 50)
        up = f"\x1b[{self._drawn}A" if self._drawn else ""
        fits = text[: high - 1]
        body = "".join(f"\x1b[2K{line[: width - 1]}\n" for line in fits)
        print(f"{up}{body}\x1b[J", end="", file=self._stream, flush=True)
        self._drawn = len(fits)

    def say(self, text: str) -> None:
        """A line that stays, above the moving ones."""
        up = f"\x1b[{self._drawn}A\x1b[J" if self._moving and self._drawn else ""
        self._drawn = 0
        print(up + text, file=self._stream, flush=True)
