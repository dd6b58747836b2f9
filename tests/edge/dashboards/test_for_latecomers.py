"""What lies on the broker for whoever comes late, by the real service and its real record."""

from __future__ import annotations

import asyncio
import json
import shutil
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from typing import Any

from controller.edge import startable
from controller.edge.dashboards.for_latecomers import ForLatecomers
from controller.edge.dashboards.observers import Outward
from controller.edge.files import plan_by_name
from controller.edge.log import Log
from controller.edge.record import past
from controller.edge.record.disks import RealDisks
from controller.edge.service import Service
from controller.edge.start_orders import compiler
from controller.messages.cautions import CAUTIONS
from controller.messages.history import MOST_BYTES, Past
from controller.messages.topics import topics
from sim.people.manner import Manner
from sim.simulated_site import SimulatedSite
from tests.core.bench import Bench
from tests.edge.virtual import GANNET, TRIAL, Clock, Rig, inline, run, site
from tests.messages.stored import complaints
from tests.places import CONFIG

NAMED = topics(GANNET)
QUIET = Log("error")


async def slow(work: Callable[[], Any]) -> Any:
    """A disk that takes its time."""
    await asyncio.sleep(20.0)
    return work()


async def life(folder: Path, boot: str, tun: SimulatedSite, seconds: float) -> Rig:
    """One process of the daemon, so long, with its screens; the tun and its brewer go on."""
    clock = Clock()
    late = ForLatecomers(NAMED, lambda: past.recall(folder, clock), startable.looker(CONFIG, GANNET), QUIET, slow)
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
    first minute on, with the time away left out and what happened before; what came out so far is not told
    anew, and the run's end is in the last message."""
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
    known = [one for one in before["events"] if one["id"] not in ("idle", "record")]  # from the run's own beginning on
    assert said[0]["events"][: len(known)] == known
    assert after["events"][-1]["text"] == second.said(NAMED.event)[-1]["text"]
    assert any(one["kind"] == "state" and one["id"] == "complete" for one in after["events"])
    at = [document["at"] for document in said]
    assert min(later - sooner for sooner, later in pairwise(at)) >= 30.0
    assert {document["run"] for document in said} == {before["run"]}  # none before the record was read
    third = run(life(tmp_path, "third", tun, 30.0), 2000.25)
    shown = third.said(NAMED.history)[0]
    assert [point["t_s"] for point in shown["points"]] == [point["t_s"] for point in after["points"]]
    assert shown["run"] == after["run"]


def test_a_record_that_cannot_be_read_stops_nothing(tmp_path: Path) -> None:
    """Where the past cannot be read the service runs all the same and tells what it sees itself."""

    def broken() -> Past:
        raise OSError("no such disk")

    async def lived() -> Rig:
        late = ForLatecomers(NAMED, broken, lambda: (), QUIET, inline)
        rig = Rig(GANNET, site(GANNET, TRIAL, 4), tmp_path, "first", watcher=Outward(GANNET, QUIET, late))
        await rig.run(lambda service: False, 120.0)
        return rig

    assert run(lived(), -0.75).said(NAMED.history)[-1]["points"]


ABSENT = Manner(start_at_s=1e9)


def test_it_says_what_could_be_started_and_what_is_missing(tmp_path: Path) -> None:
    """While the tun is idle: each program that was written for it or fits it, with strike, liquor, grist, length and
    cautions; told anew when a file changes, and why one that is wrong cannot run; a screen's start of the first
    one with what is asked of the person is accepted."""
    config = tmp_path / "config"
    shutil.copytree(CONFIG, config)
    wrong = (CONFIG / "programs" / "sandpiper.toml").read_text("utf-8").replace('"78 °C"', '"178 °C"')

    async def lived() -> Rig:
        late = ForLatecomers(NAMED, lambda: Past(None, 0.0, ()), startable.looker(config, GANNET), QUIET, inline)
        rig = Rig(
            GANNET, site(GANNET, TRIAL, 4, ABSENT), tmp_path, "first", watcher=Outward(GANNET, QUIET, late),
            compile_program=compiler(config, GANNET),
        )  # fmt: skip
        lives = asyncio.create_task(rig.run(lambda service: False, 90.0))
        await asyncio.sleep(45.0)
        (config / "programs" / "shrike.toml").write_text(wrong, "utf-8")
        await asyncio.sleep(30.0)
        args = {"program": "sandpiper", "hand_c": rig.status()["temperature_c"], "here": True, "attended": True}
        order = {"id": "screen-1", "order": "start", "args": args, "by": "brewer", "at": rig.clock.wall_s()}
        order |= {"valid_s": 10.0, "nonce": rig.status()["nonce"]}
        rig.broker.publish(rig.topics.order, json.dumps(order).encode())
        await lives
        return rig

    rig = run(lived(), -0.75)
    said = rig.said(NAMED.startable)
    assert [found for document in said for found in complaints("startable", json.dumps(document).encode())] == []
    first, last = said[0], said[-1]
    assert len(said) <= 5
    assert last["missing"] == []
    assert any("a proof test" in words for words in last["unattended"])
    assert any("a proof test" in words for words in last["delayed"])
    assert last["cautions"] == list(CAUTIONS)
    assert [one["name"] for one in first["programs"]] == ["dotterel", "redstart", "sandpiper", "water-trial"]
    sandpiper = next(one for one in last["programs"] if one["name"] == "sandpiper")
    made = plan_by_name.load_plan(CONFIG, "sandpiper", "gannet")
    assert sandpiper["strike_c"] == round(made.strike_c or 0.0, 1)
    assert (sandpiper["liquor_kg"], sandpiper["duration_s"]) == (60.0, round(made.duration_s))
    assert sandpiper["grist"] == [{"name": "Old floor lager malt", "mass_kg": 20.0}]
    assert [one["name"] for one in last["programs"]][-1] == "shrike"
    assert any("178" in words and "shrike.toml" in words for words in last["programs"][-1]["missing"])
    answers = [reply for reply in rig.said(rig.topics.reply) if reply["id"] == "screen-1"]
    assert [reply["accepted"] for reply in answers] == [True], answers


def test_a_tun_that_is_too_hot_and_too_many_programs(tmp_path: Path) -> None:
    """A program whose first step is far below the tun's temperature says so, and a tun without its probe that too;
    where all would be more than a broker lets through, those that cannot run stay away first."""
    shutil.copytree(CONFIG, tmp_path / "config")
    text = (CONFIG / "programs" / "sandpiper.toml").read_text("utf-8")
    for number in range(120):
        (tmp_path / "config" / "programs" / f"copy{number:03d}.toml").write_text(text.replace("why", "wy"), "utf-8")
    bench = Bench(GANNET, mash_c=76.0)
    bench.run(30)
    found = startable.document(startable.read(tmp_path / "config", GANNET), bench.facts)
    hot = [one for one in found["programs"] if any("no hotter than its first step" in why for why in one["missing"])]
    assert [one["name"] for one in hot] == ["dotterel", "redstart", "sandpiper", "water-trial"]
    bench.probe = False
    bench.run(30)
    lost = startable.document([], bench.facts)["missing"]
    assert any("five good mash readings" in words for words in lost)
    payload = startable.payload(found, 1.7e9)
    assert len(payload) <= MOST_BYTES
    kept = json.loads(payload)["programs"]
    assert [one["name"] for one in kept[:4]] == ["dotterel", "redstart", "sandpiper", "water-trial"]
    assert len(kept) < len(found["programs"])
