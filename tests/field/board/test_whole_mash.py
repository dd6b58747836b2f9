"""A whole mash in the simulated world with the small board's program as its heater node."""

from __future__ import annotations

import json
from typing import Any

import pytest

from controller.field.board.heater_board import HeaterBoard
from controller.field.lease import NodeSettings
from sim import dryrun
from sim.world import world
from sim.world.instruments import Heater
from sim.world.own_probe import OwnProbe
from tests.sim.conftest import ran, shipped


class BoardHeater(Heater):
    """The element of the simulated tun, behind the board's payload reader, rules and pin."""

    def __init__(self, settings: NodeSettings, measures_power: bool, boot: str, now: float, own: OwnProbe) -> None:
        super().__init__(settings, measures_power, boot, now, own)
        self.reports: list[bytes] = []
        self.level_ok = self.flow_ok = True
        level, flow = lambda: self.level_ok, lambda: self.flow_ok
        contacts = (level if settings.level else None, flow if settings.flow else None)
        self.board = HeaterBoard(self.settings, "b", lambda on: None, self.say, now, *contacts)

    def say(self, topic: str, payload: bytes) -> None:
        if topic == "b/heater/report":
            self.reports.append(payload)

    def hear(self, payload: bytes, now: float, retained: bool = False) -> None:
        self.board.hear(payload, retained, now)
        self.state = self.board.state

    def beat(self, now: float, live: Any, level_ok: bool, flow_ok: bool) -> float:
        if (own_c := self.own.celsius(now)) is not None:
            self.board.warm(own_c, now)
        self.level_ok, self.flow_ok = level_ok, flow_ok
        self.board.beat(now)
        self.state = self.board.state
        self.share = self.state.output
        return self.share

    def speak(self, now: float, live: Any) -> bytes | None:
        said, self.reports = self.reports[-1:], []
        return said[0] if said else None


@pytest.mark.parametrize(("tun", "program"), [("gannet", "sandpiper")])
def test_a_mash_with_the_board_as_heater_is_the_same_mash(
    tun: str, program: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With rests of a quarter of their time it completes without a trip, and every figure of its steps is that of the
    run with the shipped node."""
    monkeypatch.setattr(world, "Heater", BoardHeater)
    settings, plan = shipped(tun, program, 0.25)
    board, node = dryrun.DryRun(settings, plan, 1).go(), ran(tun, program, 0.25)
    assert isinstance(board.world.heater, BoardHeater) and board.world.heater.board.refused == 0
    assert (board.result, board.trace.trips, board.heat_without_evidence) == ("complete", [], 0)
    assert json.dumps(board.trace.steps(plan.course)) == json.dumps(node.trace.steps(plan.course))
