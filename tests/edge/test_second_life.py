"""Two lives of the daemon on one record: does the second own the heater by a higher number, for as long as it says?"""

from __future__ import annotations

import json
from pathlib import Path

from controller.edge.record.disks import RealDisks
from tests.edge.virtual import GANNET, TRIAL, Rig, site, virtual


@virtual
async def life(folder: Path, boot: str) -> tuple[set[int], list[tuple[float, float]]]:
    """Half a minute at a broker that remembers nothing. Which epochs did its commands carry, and what was said of how
    long each is good: in it, and to the broker?"""
    said: list[tuple[float, float]] = []
    rig = Rig(GANNET, site(GANNET, TRIAL, 3), folder, boot, disks=RealDisks())
    send = rig.transport.heater

    def heard(topic: str, payload: bytes, hot: bool, lifetime_s: float) -> bool:
        said.append((json.loads(payload)["valid_s"], lifetime_s))
        return send(topic, payload, hot, lifetime_s)

    rig.transport.heater = heard  # type: ignore[method-assign]
    await rig.run(lambda service: False, 30.0)
    return {command["epoch"] for command in rig.said(rig.topics.heater_command)}, said


def test_each_life_has_a_higher_epoch_than_the_one_before(tmp_path: Path) -> None:
    """Three lives on one record, no broker that could tell the last number: 1, 2, 3, each in every command."""
    assert [life(tmp_path, boot)[0] for boot in ("first", "second", "third")] == [{1}, {2}, {3}]


def test_the_broker_is_told_the_same_time_as_the_heater(tmp_path: Path) -> None:
    """Each command goes to the transport with just the lifetime that stands in it."""
    said = life(tmp_path, "first")[1]
    assert len(said) >= 25
    assert {lifetime_s for _, lifetime_s in said} == {10.0}
    assert all(valid_s == lifetime_s for valid_s, lifetime_s in said)
