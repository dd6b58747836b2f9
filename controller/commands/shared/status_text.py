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
    """Seven lines: state, step, temperature, heat, the wort to come, what is asked, what is wrong."""
    return [line(status) for line in (_state, _step, _temperature, _heat, _wort, _asked, _wrong)]


def _state(status: Mapping[str, Any]) -> str:
    program = status.get("title") or status.get("program") or "no program"
    finish = status.get("finish_at")
    ends = f", ends about {time.strftime('%H:%M', time.localtime(finish))}" if finish else ""
    speed = f", {status['speed']:g} times real time" if status.get("speed", 1) != 1 else ""
    kind = " (simulated)" if status.get("simulated") else ""
    return f"{status['tun']}{kind}: {status['state']}, {program}{ends}{speed}"


def _step(status: Mapping[str, Any]) -> str:
    step = status.get("step")
    if not step:
        return "step    none"
    count = f"{step['index'] + 1} of {len(status.get('steps', [])) or '?'}"
    rest = f"{span(step['credited_s'])} of {span(step['planned_s'])} done" if step["planned_s"] else ""
    return f"step    {count} {step['name']}, {step['target_c']:.1f} °C: {step['phase']}{', ' if rest else ''}{rest}"


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
        return "asked   nothing"
    return f"asked   {prompt['text']} [{' / '.join(prompt['answers'])}] ({span(prompt.get('waiting_s'))})"


def _wrong(status: Mapping[str, Any]) -> str:
    trips = [f"{t['id']} {t['text']}{' (clear it)' if t['latched'] else ''}" for t in status.get("trips", [])]
    meanwhile = status.get("meanwhile")  # an older daemon says nothing of it
    said = trips + ([meanwhile] if meanwhile else []) + list(status.get("notes", []))
    return f"alerts  {'; '.join(said) if said else 'none'}"


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
        width = os.get_terminal_size(self._stream.fileno()).columns if self._stream.isatty() else 100
        up = f"\x1b[{self._drawn}A" if self._drawn else ""
        body = "".join(f"\x1b[2K{line[: width - 1]}\n" for line in text)
        print(up + body, end="", file=self._stream, flush=True)
        self._drawn = len(text)

    def say(self, text: str) -> None:
        """A line that stays, above the moving ones."""
        up = f"\x1b[{self._drawn}A\x1b[J" if self._moving and self._drawn else ""
        self._drawn = 0
        print(up + text, file=self._stream, flush=True)
