"""What lies on the broker for whoever comes late, by the real service and its real record."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path
from typing import Any

from controller.edge.dashboards.for_latecomers import ForLatecomers
from controller.edge.dashboards.observers import Outward
from controller.edge.log import Log
from controller.edge.record import past
from controller.edge.record.disks import RealDisks
from controller.edge.service import Service
from controller.messages.history import Past
from controller.messages.topics import topics
from sim.simulated_site import SimulatedSite
from tests.edge.virtual import GANNET, TRIAL, Clock, Rig, inline, run, site

NAMED = topics(GANNET)
QUIET = Log("error")


async def life(folder: Path, boot: str, tun: SimulatedSite, seconds: float) -> Rig:
    """One process of the daemon, so long, with its screens; the tun and its brewer go on."""
    clock = Clock()
    late = ForLatecomers(NAMED, lambda: past.recall(folder, clock), QUIET, inline)
    watcher = Outward(GANNET, QUIET, late)
    rig = Rig(GANNET, tun, folder, boot, disks=RealDisks(), watcher=watcher, clock=clock)
    began = clock.now()
    await rig.run(lambda service: _ended(service) or clock.now() - began > seconds, seconds)
    return rig


def _ended(service: Service) -> bool:
    return service.state.run.state == "complete" and service.state.now - service.state.run.state_since > 60.0


def places(document: dict[str, Any]) -> list[tuple[float, float | None]]:
    return [(point["t_s"], point["mean_c"]) for point in document["points"]]


def test_a_new_process_tells_what_the_old_one_saw(tmp_path: Path) -> None:
    """The daemon ends in the middle of a run and comes back a minute later: whoever looks then sees the run from its
    first minute on, with the time away left out and what happened before; what came out so far is not told anew, and
    the run's end is in the last message."""
    tun = site(GANNET, TRIAL, 4)
    first = run(life(tmp_path, "first", tun, 400.0), -0.75)
    before = first.said(NAMED.history)[-1]
    assert len(before["points"]) >= 5 and before["run"]
    second = run(life(tmp_path, "second", tun, 900.0), 460.25)
    said = second.said(NAMED.history)
    after = said[-1]
    assert after["run"] == before["run"]
    assert places(after)[: len(before["points"]) - 1] == places(before)[:-1]
    assert after["points"][-1]["t_s"] > before["points"][-1]["t_s"] + 300.0
    known = [one for one in before["events"] if one["id"] != "idle"]  # from the run's own beginning on
    assert said[0]["events"][: len(known)] == known
    assert after["events"][-1]["text"] == second.said(NAMED.event)[-1]["text"]
    assert any(one["kind"] == "state" and one["id"] == "complete" for one in after["events"])
    at = [document["at"] for document in said]
    assert min(later - sooner for sooner, later in pairwise(at)) >= 30.0
    third = run(life(tmp_path, "third", tun, 5.0), 2000.25)
    shown = third.said(NAMED.history)[0]
    assert [point["t_s"] for point in shown["points"]] == [point["t_s"] for point in after["points"]]
    assert shown["run"] == after["run"]


def test_a_record_that_cannot_be_read_stops_nothing(tmp_path: Path) -> None:
    """Where the past cannot be read the service runs all the same and tells what it sees itself."""

    def broken() -> Past:
        raise OSError("no such disk")

    async def lived() -> Rig:
        late = ForLatecomers(NAMED, broken, QUIET, inline)
        rig = Rig(GANNET, site(GANNET, TRIAL, 4), tmp_path, "first", watcher=Outward(GANNET, QUIET, late))
        await rig.run(lambda service: False, 120.0)
        return rig

    assert run(lived(), -0.75).said(NAMED.history)[-1]["points"]
