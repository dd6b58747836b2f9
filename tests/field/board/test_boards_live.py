"""Both nodes of a small board on the real interpreter, with users of their own on a real Mosquitto."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from controller.commands import node_check
from controller.commissioning import probe_check
from controller.commissioning.node_rules import Verdict
from controller.settings.service import Settings
from tests.edge.virtual import GANNET
from tests.field import secured
from tests.field.board.boards import LEVEL, OUTPUT, RESET, SERIAL, Board
from tests.field.secured import Secured

BASE, PROBE = "underback/gannet", "underback/gannet/probe/mash"


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Secured]:
    """A broker with the shipped users and rights."""
    with secured.running(tmp_path) as running:
        yield running


@pytest.fixture
def board(broker: Secured, tmp_path: Path) -> Iterator[Callable[..., Board]]:
    """Makes a board that speaks to this broker as this user; its supply goes off in the end."""
    made: list[Board] = []

    def make(user: str, **config: object) -> Board:
        word = (broker.folder / "passwords" / user).read_text(encoding="ascii").strip()
        folder = tmp_path / "board"
        folder.mkdir()
        made.append(
            Board(folder, HOST="127.0.0.1", PORT=broker.port, USER=user, PASSWORD=word, THERMOMETER=4, **config)
        )
        made[0].start()
        return made[0]

    yield make
    for one in made:
        one.stop()


class Person:
    """Does at the board what is asked, and waits until it has done it."""

    def __init__(self, board: Board) -> None:
        self._deeds: dict[str, Callable[[], None]] = {
            "power off": board.stop,
            "power on": board.start,
            "own limit": lambda: board.warm(81.0),
            "back own limit": lambda: board.warm(40.0),
            "own probe": board.unplug,
            "back own probe": lambda: board.warm(40.0),
            "no liquid": lambda: board.pin(LEVEL, 1),
            "warm": lambda: board.warm(44.0),
            "unplug": board.unplug,
            "plug in": lambda: board.warm(44.0),
            "cut": board.stop,
            "mend": board.start,
        }
        self.board = board
        self.outputs: list[str] = []

    async def do(self, key: str, text: str) -> bool:
        if key == "back no liquid":
            self.board.pin(LEVEL, 0)
            self.board.pin(RESET, 0)
            await asyncio.sleep(0.3)  # a finger on the button
            self.board.pin(RESET, 1)
        else:
            self._deeds[key]()
        return True


def checked(broker: Secured, board: Board, part: str) -> list[Verdict]:
    """What the command finds, as the daemon's user."""
    service = GANNET.service.model_copy(update={"broker": broker.login("daemon")})
    settings: Settings = GANNET._replace(service=service)
    return asyncio.run(node_check._go(settings, Person(board), (part,)))


def not_passed(verdicts: list[Verdict]) -> dict[str, tuple[str, str]]:
    return {v.rule.id: (v.result, v.found) for v in verdicts if v.result != "passed"}


def test_the_heater_board_keeps_every_rule(broker: Secured, board: Callable[..., Board]) -> None:
    """With a person at it none is broken, and none left untried but the stuck switch; its watchdog was set to 5 s."""
    own = board(
        "heater-gannet", NODE="heater", BASE=BASE, POWER_W=5000, OUTPUT=OUTPUT, LEVEL=LEVEL, RESET=RESET,
        LIMIT_C=80.0, TRIP_C=90.0,
    )  # fmt: skip
    verdicts = checked(broker, own, "heater")
    assert set(not_passed(verdicts)) == {"switch stuck"}, (not_passed(verdicts), own.said())
    assert (own.pins / str(OUTPUT)).read_text(encoding="ascii") == "0"
    assert (own.pins / "watchdog").read_text(encoding="ascii") == "5000"


def test_the_probe_board_keeps_every_rule(
    broker: Secured, board: Callable[..., Board], monkeypatch: pytest.MonkeyPatch
) -> None:
    """With a person at it none is broken, and none left untried."""
    monkeypatch.setattr(probe_check, "AWAY_S", 2.0)
    own = board("probe-gannet", NODE="probe", PROBES={SERIAL: PROBE}, FIRST=PROBE)
    verdicts = checked(broker, own, "mash")
    assert not_passed(verdicts) == {}, own.said()
