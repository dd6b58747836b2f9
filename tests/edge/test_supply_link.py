"""Two daemons, two tuns, one broker, one supply of 6.5 kW: what the elements really draw."""

from __future__ import annotations

import asyncio
import itertools
from pathlib import Path

from controller.core.nouns import RunState
from controller.edge import supply_link
from controller.edge.files import config_files
from controller.plan import plan
from controller.settings.service import Settings, Supply
from sim.people.manner import Manner
from tests.edge.virtual import WARM, Rig, site, virtual
from tests.places import CONFIG

LIMIT_W = 6500.0


def shared(name: str) -> Settings:
    settings = config_files.settings(CONFIG, name)
    service = settings.service.model_copy(update={"supply": Supply(group="shed", limit_w=LIMIT_W)})
    return settings._replace(service=service)


def rig(name: str, folder: Path, first: Rig | None = None) -> Rig:
    settings = shared(name)
    made = plan.make(WARM, settings.tun)
    assert not made.problems
    bench = Rig(settings, site(settings, made, 3, Manner(start_at_s=20.0)), folder / name, name)
    if first is not None:
        bench.broker = bench.transport._broker = first.broker
        bench.clock = first.clock
        bench.service.clock = first.clock
    place = supply_link.of(settings, -0.75)
    assert place is not None
    bench.service._supply = place
    bench.transport.topics = (*bench.transport.topics, place.topic)
    return bench


def draws_w(bench: Rig) -> float:
    return bench.site.world.heater.share * bench.service.settings.tun.heater.power_w


@virtual
async def both(folder: Path, seconds: int) -> tuple[list[tuple[float, float]], list[Rig]]:
    """What both elements draw, twice a second; ends when both runs are complete."""
    gannet = rig("gannet", folder)
    rigs = [gannet, rig("plover", folder, gannet)]
    tasks = [asyncio.create_task(bench.world()) for bench in rigs]
    serving = [asyncio.create_task(bench.service.run()) for bench in rigs]
    drawn: list[tuple[float, float]] = []
    for _ in range(2 * seconds):
        await asyncio.sleep(0.5)
        drawn.append((draws_w(rigs[0]), draws_w(rigs[1])))
        if all(bench.service.state.run.state is RunState.COMPLETE for bench in rigs):
            break
    for bench in rigs:
        bench.service.stop()
    await asyncio.gather(*serving)
    for task in tasks:
        task.cancel()
    return drawn, rigs


def notes(bench: Rig) -> list[str]:
    return [event["text"] for event in bench.said(bench.topics.event) if event["id"] == "supply"]


def test_two_mashes_on_one_supply_never_draw_more_than_it_gives_and_both_complete(tmp_path: Path) -> None:
    """Both rise at once: 5.0 + 2.4 kW would be too much, so the second waits; no trip, and both runs end complete."""
    drawn, rigs = both(tmp_path, 3600)
    assert max(a + b for a, b in drawn) <= LIMIT_W
    assert max(a for a, _ in drawn) == 5000.0
    assert max(b for _, b in drawn) == 2400.0
    assert [bench.service.state.run.state for bench in rigs] == [RunState.COMPLETE, RunState.COMPLETE]
    assert any("waits for its share" in text for text in notes(rigs[1]))
    assert all(not bench.service.state.guard.trips for bench in rigs)


def test_a_word_goes_out_every_two_seconds_and_at_once_on_news() -> None:
    """Steady wishes: no more than one word in 2 s; the first comes at once; without a group nothing is shared."""
    assert supply_link.of(config_files.settings(CONFIG, "gannet"), 0.0) is None
    place = supply_link.of(shared("gannet"), 0.0)
    assert place is not None
    at = [now for now in range(20) if place.watts(None, float(now))[1] is not None]
    assert at[0] == 0
    assert all(b - a == 2 for a, b in itertools.pairwise(at[:5]))
