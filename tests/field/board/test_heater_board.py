"""The board's heater node and its loop at the pin, on our interpreter: what the live test cannot provoke."""

from __future__ import annotations

import asyncio
import importlib
import json
from collections.abc import Callable
from pathlib import Path
from types import ModuleType, SimpleNamespace
from typing import Any

import pytest

from controller.field.board import settings
from controller.field.board.heater_board import HeaterBoard
from controller.field.board.probe_board import ProbeBoard
from controller.field.board.settings import Unfit
from tests.edge.virtual import run
from tests.field.board.boards import HERE, scratch

HEATER: dict[str, Any] = {
    "NODE": "heater", "HOST": "broker", "BASE": "b/t", "POWER_W": 5000, "OUTPUT": 17, "THERMOMETER": 4,
}  # fmt: skip
PROBE: dict[str, Any] = {"NODE": "probe", "HOST": "b", "THERMOMETER": 4, "PROBES": {"any": "p"}, "FIRST": "p"}


class Bench:
    """A board with a pin that remembers, on counted time."""

    def __init__(self, **changes: Any) -> None:
        self.pin: list[bool] = []
        self.said: list[tuple[str, dict[str, Any]]] = []
        self.broken = False
        self.level = self.flow = True
        found = settings.read(SimpleNamespace(**{**HEATER, **changes}))
        contacts = [
            (lambda: self.level) if found["LEVEL"] is not None else None,
            (lambda: self.flow) if found["FLOW"] is not None else None,
        ]
        self.board = HeaterBoard(settings.node(found, "b1"), "b/t", self.output, self.say, 0.0, *contacts)

    def output(self, on: bool) -> None:
        self.pin.append(on)
        if self.broken and on:
            raise OSError(5, "pin")

    def say(self, topic: str, payload: bytes) -> None:
        self.said.append((topic, json.loads(payload)))

    def heat(self, now: float, seq: int = 1, duty: float = 1.0) -> None:
        self.board.hear(json.dumps({"epoch": 1, "seq": seq, "valid_s": 10, "duty": duty}).encode(), False, now)

    def reports(self) -> list[dict[str, Any]]:
        return [said for topic, said in self.said if topic == "b/t/heater/report"]


def test_the_pin_is_off_before_anything_else() -> None:
    """The first thing that a board does is to switch its output off."""
    assert Bench().pin == [False]


def test_without_a_reading_there_is_no_heat() -> None:
    """Until its own thermometer has spoken it gives none; then it does, and 3 s after the last reading no more."""
    bench = Bench()
    bench.heat(0.5)
    assert not bench.board.beat(0.5)
    assert bench.reports()[-1]["fault_code"] == "own_probe_silent"
    bench.board.warm(40.0, 0.6)
    assert bench.board.beat(0.7) and bench.board.beat(3.6)
    assert bench.board.beat(4.5) and not bench.board.beat(4.7)


def test_a_broken_pin_ends_with_off() -> None:
    """An error of the pin goes on to the loop, and the last word to the pin is off."""
    bench = Bench()
    bench.board.warm(40.0, 0.0)
    bench.heat(0.1)
    bench.broken = True
    with pytest.raises(OSError, match="pin"):
        bench.board.beat(0.2)
    assert bench.pin[-2:] == [True, False]


def test_contacts_speak_each_second_and_at_once_when_they_change() -> None:
    """The level contact's words are numbered, a second apart; a change is told in the beat that saw it, and cuts."""
    bench = Bench(LEVEL=22, FLOW=24)
    bench.board.warm(40.0, 0.0)
    for beat in range(30):
        bench.board.warm(40.0, beat / 10.0)
        bench.board.beat(beat / 10.0)
    words = [said for topic, said in bench.said if topic == "b/t/level"]
    assert words == [{"ok": True, "seq": n} for n in (1, 2, 3)]
    bench.heat(3.0)
    assert bench.board.beat(3.0)
    bench.level = False
    assert not bench.board.beat(3.1)
    assert [said for topic, said in bench.said if topic == "b/t/level"][-1] == {"ok": False, "seq": 5}
    assert bench.reports()[-1]["fault_code"] == "no_liquid"
    bench.level = True
    bench.heat(3.2, 2)
    assert not bench.board.beat(3.2)
    bench.board.press()
    bench.heat(3.3, 3)
    assert bench.board.beat(3.3)


def test_a_contactor_rests_and_a_share_is_on_and_off() -> None:
    """With a contactor nothing goes on in the first 10 s, and half a share of a window of 30 s is 15 s."""
    bench = Bench(KIND="contactor", WINDOW_S=30.0)
    on = []
    for second in range(90):
        bench.heat(float(second), second + 1, 0.5)
        bench.board.warm(40.0, float(second))
        on.append(bench.board.beat(float(second)))
    assert on.index(True) == 10 and sum(on[30:60]) == sum(on[60:90]) == 15


@pytest.mark.parametrize(
    ("base", "changes", "said"),
    [
        (HEATER, {"NODE": "oven"}, "NODE"),
        (HEATER, {"HOST": ""}, "HOST"),
        (HEATER, {"BASE": ""}, "BASE"),
        (HEATER, {"POWER_W": 0}, "POWER_W"),
        (HEATER, {"KIND": "gas"}, "KIND"),
        (HEATER, {"OUTPUT": None}, "OUTPUT"),
        (HEATER, {"THERMOMETER": None}, "THERMOMETER"),
        (HEATER, {"LEVEL": 17}, "named twice"),
        (HEATER, {"LIMIT_C": 92.0}, "LIMIT_C"),
        (HEATER, {"LIMIT_C": 20.0}, "LIMIT_C"),
        (HEATER, {"TRIP_C": 120.0}, "TRIP_C"),
        (HEATER, {"KIND": "contactor"}, "WINDOW_S"),
        (HEATER, {"WINDOW": 2.0}, "WINDOW: no such setting"),
        (PROBE, {"PROBES": {}}, "PROBES"),
        (PROBE, {"PROBES": {"any": "p", "28ff": "q"}}, "single sensor"),
        (PROBE, {"FIRST": "q"}, "FIRST"),
    ],
)
def test_a_wrong_file_is_refused(base: dict[str, Any], changes: dict[str, Any], said: str) -> None:
    """Each setting that cannot be is named, and nothing begins."""
    settings.read(SimpleNamespace(**base))
    with pytest.raises(Unfit, match=said):
        settings.read(SimpleNamespace(**{**base, **changes}))


@pytest.mark.parametrize(
    "nine",
    [
        None,
        "00" * 9,
        "ff" * 9,
        scratch(40.0)[:-2] + "00",
        "5005" + scratch(85.0)[4:],
        scratch(127.9375),
        scratch(-0.0625),
    ],
)
def test_a_probe_is_silent_without_a_reading_and_says_so_once(nine: str | None) -> None:
    """Of values that mean none, nothing is said; after three `false` once, and `true` with the next reading."""
    said: list[tuple[str, bytes, bool]] = []
    probe = ProbeBoard("p", lambda *word: said.append(word))
    probe.got(bytes.fromhex(scratch(18.0)))
    for _ in range(5):
        probe.got(None if nine is None else bytes.fromhex(nine))
    probe.got(bytes.fromhex(scratch(-1.5)))
    assert [word for word in said if word[0] == "p/online"] == [
        ("p/online", b"false", True),
        ("p/online", b"true", True),
    ]
    readings = [json.loads(payload) for topic, payload, _ in said if topic == "p"]
    assert readings == [{"temperature": t, "seq": n, "unit": "C"} for n, t in ((1, 18.0), (2, -1.5))]


# ---------------------------------------------------------------- the loop at the pin


@pytest.fixture
def start(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """The board's own program, with a board's modules in place."""
    monkeypatch.syspath_prepend(HERE / "fakes")
    monkeypatch.setenv("PINS", str(tmp_path))
    import time

    monkeypatch.setattr(time, "ticks_ms", lambda: 0, raising=False)
    monkeypatch.setattr(time, "ticks_diff", lambda new, old: new - old, raising=False)
    return importlib.import_module("controller.field.board.start")


class Loop:
    """What the loop at the pin works with, and in which order."""

    def __init__(self, at: Callable[[], float]) -> None:
        self.did: list[str] = []
        self.now = at
        self.state = SimpleNamespace(ordered=0.0, output=0.0)
        self.fails = False

    def beat(self, now: float) -> None:
        if self.fails:
            raise OSError(5, "pin")
        self.did.append("pin")

    def press(self) -> None:
        self.did.append("press")

    def feed(self) -> None:
        self.did.append("feed")


def test_the_watchdog_is_fed_after_the_pin_and_by_nothing_else(start: ModuleType) -> None:
    """Pin, food, pin, food; when the pin fails, or another task has ended, no more of either."""

    async def hands(end: str) -> list[str]:
        loop = Loop(asyncio.get_running_loop().time)
        other = asyncio.create_task(asyncio.sleep(1e9))
        hand = asyncio.create_task(start._hand(loop, loop, loop.feed, lambda: False, [other]))
        await asyncio.sleep(0.99)
        if end == "task":
            other.cancel()
        loop.fails = end == "pin"
        await asyncio.sleep(10.0)
        assert hand.done() and (hand.exception() is not None) == loop.fails
        return loop.did

    for end in ("pin", "task"):
        assert run(hands(end)) == ["pin", "feed"] * 20


def test_a_board_starts_anew_after_a_week_once_it_is_idle(start: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    """Not while heat is asked for, nor in the hour after; then it does, so that its seconds stay exact."""

    async def hands() -> float:
        loop = Loop(lambda: asyncio.get_running_loop().time() * 100.0)
        monkeypatch.setattr(start.hardware, "restart", lambda: loop.did.append(str(loop.now())))
        loop.state.ordered = 1.0
        hand = asyncio.create_task(start._hand(loop, loop, loop.feed, None, []))
        await asyncio.sleep(start.TIRED_S / 100.0 + 50.0)
        assert not [did for did in loop.did if did not in ("pin", "feed")]
        loop.state.ordered = 0.0
        await asyncio.sleep(40.0)
        hand.cancel()
        return float(next(did for did in loop.did if did not in ("pin", "feed")))

    assert run(hands()) - (start.TIRED_S + 5000.0) == pytest.approx(start.IDLE_S, abs=20.0)
