"""The service: hear, beat, show; and the heater is off on every way out."""

from __future__ import annotations

import asyncio
import itertools
import json
from collections.abc import AsyncIterator, Callable, Mapping
from contextlib import asynccontextmanager
from math import nan
from pathlib import Path
from typing import Any

import pytest

from controller.cli import main
from controller.commands import serve
from controller.commands.shared.exit_codes import BUG
from controller.commissioning.tryout_rig import Look
from controller.core import supply
from controller.core.nouns import Demand, Event, RunState
from controller.core.state import Outcome
from controller.edge.mqtt.transport import Post, ReplyTo
from controller.edge.service import Service
from tests.edge.virtual import GANNET, TRIAL, Rig, site, virtual


class Looker(Look):
    """A watcher that counts ticks and may do mischief in one of them."""

    def __init__(self, mischief: Callable[[int], None] = lambda n: None) -> None:
        super().__init__()
        self.ticks, self.mischief = 0, mischief
        self.events: list[Event] = []

    def seen(self, outcome: Outcome, events: tuple[Event, ...], status: Mapping[str, Any] | None) -> None:
        self.ticks += 1
        self.events.extend(events)
        self.mischief(self.ticks)


def rig(tmp_path: Path, watcher: Looker | None = None) -> Rig:
    return Rig(GANNET, site(GANNET, TRIAL, 3), tmp_path, "boot3", watcher=watcher)


def hot(service: Service) -> bool:
    """Is heat being sent now, well into the first rise?"""
    return service.state.guard.line.duty > 0.0 and service.state.now > 60.0


@asynccontextmanager
async def serving(bench: Rig, heating: bool = True) -> AsyncIterator[asyncio.Task[None]]:
    """The service as a task, from the middle of the first rise on; ended in order unless it has ended before."""
    world = asyncio.create_task(bench.world())
    task = asyncio.create_task(bench.service.run())
    while heating and not hot(bench.service):  # noqa: ASYNC110
        await asyncio.sleep(1.0)
    yield task
    if not task.done():
        bench.service.stop()
        await task
    world.cancel()


def last_command(bench: Rig) -> dict[str, Any]:
    return bench.said(bench.topics.heater_command)[-1]


def put_forward(by_s: float) -> None:
    """The process stood still for so long."""
    asyncio.get_running_loop()._virtual += by_s  # type: ignore[attr-defined]


@pytest.mark.parametrize("way", ["stop", "cancel", "bug in a watcher", "bug in hearing", "the transport ends"])
@virtual
async def test_every_way_out_ends_with_off(way: str, tmp_path: Path) -> None:
    """Orderly stop, cancellation, a bug in the beat, in a callback, the transport's end: the last command is OFF."""
    looker = Looker()
    bench = rig(tmp_path, looker)
    async with serving(bench) as task:
        assert last_command(bench)["duty"] > 0 or hot(bench.service)
        began = bench.clock.now()
        if way == "stop":
            bench.service.stop()
        elif way == "cancel":
            task.cancel()
        elif way == "bug in a watcher":
            looker.mischief = lambda n: 1 // 0  # type: ignore[assignment]
        elif way == "bug in hearing":
            bench.service.inbox.put = None  # type: ignore[method-assign,assignment]
        else:
            bench.transport.end()
        done = (await asyncio.gather(task, return_exceptions=True))[0]
    final = last_command(bench)
    assert (final["duty"], final["reason"]) == (0.0, "the service ends")
    assert bench.clock.now() - began <= 5.0
    assert bench.broker.retained[bench.topics.online] == b"false"
    assert (done is None) == (way == "stop")


def test_a_demand_that_is_no_share_says_off_and_ends_with_70(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A bug of ours that asks for a duty of NaN: the guard lets none of it out, the last command is OFF, and the
    command's exit code is that of a bug."""
    benches: list[Rig] = []

    @virtual
    async def served() -> None:
        benches.append(rig(tmp_path))
        async with serving(benches[0]) as task:
            monkeypatch.setattr(supply, "capped", lambda *given: Demand(nan, "a bug"))
            await task

    monkeypatch.setattr(serve, "run", lambda args: served())
    assert main(["serve"]) == BUG == 70
    (bench,) = benches
    assert (last_command(bench)["duty"], last_command(bench)["reason"]) == (0.0, "the service ends")
    assert all(command["duty"] >= 0.0 for command in bench.said(bench.topics.heater_command))
    assert "a duty of nan was asked for (a bug)" in capsys.readouterr().err


@virtual
async def test_a_second_cancellation_does_not_interrupt_the_last_off(tmp_path: Path) -> None:
    """However often somebody cancels, OFF and its acknowledgement are waited for."""
    bench = rig(tmp_path)
    flushed: list[float] = []

    async def slow(within_s: float) -> bool:
        await asyncio.sleep(1.5)
        flushed.append(bench.clock.now())
        return True

    bench.transport.flush = slow  # type: ignore[method-assign]
    async with serving(bench) as task:
        for _ in range(5):
            task.cancel()
            await asyncio.sleep(0.1)
        await asyncio.gather(task, return_exceptions=True)
    assert len(flushed) == 1
    assert last_command(bench)["reason"] == "the service ends"


@virtual
async def test_a_loser_of_the_tun_leaves_in_silence(tmp_path: Path) -> None:
    """Once another controller owns the tun, not even the last OFF is sent: it would cut the owner's heat."""
    bench = rig(tmp_path)
    async with serving(bench):
        stranger = {"epoch": 50, "seq": 1, "duty": 0.5, "valid_s": 10, "owner": "other"}
        bench.broker.publish(bench.topics.heater_command, json.dumps(stranger).encode())
        await asyncio.sleep(5.0)
        assert bench.service.state.guard.lost
    ours = [command for command in bench.said(bench.topics.heater_command) if command.get("owner") == "boot3"]
    assert ours[-1]["reason"] != "the service ends"


@virtual
async def test_a_lost_broker_takes_the_heat_away_and_the_run_completes_once_it_is_back(tmp_path: Path) -> None:
    """Cut for two minutes in a rise: nothing hot is sent meanwhile, nor before the third reading after it."""
    bench, states = rig(tmp_path), list[RunState]()
    async with serving(bench):
        before = len(bench.commands())
        bench.transport.cut("cable out")
        await asyncio.sleep(120.0)
        assert len(bench.commands()) == before
        assert bench.service.state.guard.line.duty == 0.0
        states.append(bench.service.state.run.state)
        bench.transport.mend()
        back = bench.clock.now()
        while bench.service.state.run.state is not RunState.COMPLETE and bench.clock.now() < 3600:
            await asyncio.sleep(10.0)
            states.append(bench.service.state.run.state)
    first_hot = next(c for c in bench.said(bench.topics.heater_command)[before:] if c["duty"] > 0)
    assert first_hot["at"] - bench.clock.wall_zero >= back + 2.0
    assert (states[0], RunState.RUNNING in states, states[-1]) == (RunState.HELD, True, RunState.COMPLETE)
    assert bench.status()["state"] == "complete"


def numbered(bench: Rig) -> list[int]:
    """The sequence of the published events, which is 1, 2, 3, ..."""
    seen = [event["seq"] for event in bench.said(bench.topics.event)]
    assert seen == list(range(1, len(seen) + 1))
    return seen


@virtual
async def test_statuses_are_frequent_and_events_without_gaps_and_on_disk(tmp_path: Path) -> None:
    """Stamps of the statuses are never more than 2 s apart, each event's tick has one; each event is in the synced
    record."""
    bench = rig(tmp_path)
    await bench.run(lambda service: False, 600.0)
    stamps = [status["at"] for status in bench.said(bench.topics.status)]
    assert max(b - a for a, b in itertools.pairwise(stamps)) <= 2.0
    events = {event["at"] for event in bench.said(bench.topics.event)}
    assert events and events <= set(stamps)
    synced = [json.loads(line) for data in bench.disks.synced.values() for line in data.splitlines()]
    assert sorted(e["seq"] for e in synced if e["kind"] == "event" or "seq" in e) == numbered(bench)


@virtual
async def test_a_disk_that_fails_holds_no_event_back(tmp_path: Path) -> None:
    """With a full disk the run goes on, events are told all the same, and the status says what is wrong."""
    bench = rig(tmp_path)

    def full(call: int, what: str) -> None:
        if what in ("write", "create") and bench.clock.now() > 100.0:
            raise OSError(28, "No space left on device")

    bench.disks.fail = full
    await bench.run(lambda service: service.state.run.leg == 1, 3600.0)
    assert bench.service.state.run.leg == 1
    assert any("record" in note.lower() for note in bench.status()["notes"])
    assert numbered(bench)


def order(bench: Rig, **values: Any) -> None:
    whole = {"at": bench.clock.wall_s(), "valid_s": 10.0, "nonce": bench.status()["nonce"], "by": "test", **values}
    bench.broker.publish(bench.topics.order, json.dumps(whole).encode())


async def most(bench: Rig, over_s: float = 5.0) -> float:
    """The greatest duty that is told within a relay's window and a second."""
    told = 0.0
    for _ in range(round(2.0 * over_s)):
        await asyncio.sleep(0.5)
        told = max(told, bench.status()["duty"])
    return told


@virtual
async def test_the_status_tells_what_left_and_a_run_is_keen_on_its_broker(tmp_path: Path) -> None:
    """Its duty is 0 where a command was not sent or was refused, until one of our own is heard again."""
    bench = rig(tmp_path)
    async with serving(bench):
        shown, send = [await most(bench)], bench.transport.heater
        keen = bench.transport.keen
        bench.transport.heater = lambda *_: False  # type: ignore[method-assign]
        await asyncio.sleep(2.6)
        shown.append(await most(bench))
        bench.transport.heater = send  # type: ignore[method-assign]
        shown.append(await most(bench))
        while bench.service._tell(bench.service.outcome or pytest.fail("no tick"))["duty"] <= 0.0:  # noqa: ASYNC110
            await asyncio.sleep(0.25)
        bench.service.refused(bench.topics.heater_command, "not authorized")
        assert bench.service.outcome is not None
        shown.append(bench.service._tell(bench.service.outcome)["duty"])
        shown.append(await most(bench))
    assert keen and [duty > 0.0 for duty in shown] == [True, False, True, False, True]


@virtual
async def test_every_order_is_answered_once_within_a_second(tmp_path: Path) -> None:
    """A start of an unknown program, an unknown order, one that cannot be read, a good one: each gets its reason."""
    bench = rig(tmp_path)
    async with serving(bench, heating=False):
        await asyncio.sleep(15.0)
        order(bench, id="a", order="start", args={"program": "nonsuch"})
        order(bench, id="b", order="boil")
        order(bench, id="c", order="start", args={"program": "x", "hand_c": float("inf")})
        order(bench, id="d", order="hold")
        bench.broker.publish(bench.topics.order, b"\xff")
        await asyncio.sleep(1.1)
        replies = bench.said(bench.topics.reply)
    words = {"a": "no program 'nonsuch'", "b": "boil", "c": "finite number", "d": "nothing is running"}
    for key, why in words.items():
        ((accepted, reason),) = [(reply["accepted"], reply["reason"]) for reply in replies if reply["id"] == key]
        assert accepted is False and why in reason, key
    assert sum("UTF-8" in reply["reason"] for reply in replies) == 1


@virtual
async def test_an_answer_goes_where_its_sender_asked_for_it_too(tmp_path: Path) -> None:
    """MQTT 5's response topic below `reply/` gets the same answer with the sender's mark; no other topic does."""
    bench, posts = rig(tmp_path), list[Post]()
    send = bench.transport.post

    def noted(post: Post) -> None:
        posts.append(post)
        send(post)

    async with serving(bench, heating=False):
        bench.transport.post = noted  # type: ignore[method-assign]
        await asyncio.sleep(3.0)
        below, others = f"{bench.topics.reply}/box", ("my/box", bench.topics.heater_command, f"{bench.topics.reply}/#")
        for n, topic in enumerate((below, *others), 1):
            payload = b'{"order":"stop","id":"s%d"}' % n
            bench.service.heard(bench.topics.order, payload, False, ReplyTo(topic, b"mark"))
        await asyncio.sleep(1.5)
    marked = [(post.topic, post.correlation, json.loads(post.payload)["id"]) for post in posts if post.correlation]
    assert marked == [(below, b"mark", "s1")]
    assert [reply["id"] for reply in bench.said(bench.topics.reply)] == ["s1", "s2", "s3", "s4"]
    assert bench.service.inbox.counters["response topic of others, not used"] == len(others)


@virtual
async def test_a_bug_while_a_program_is_loaded_ends_the_service(tmp_path: Path) -> None:
    """An exception in our own code is a bug: the process ends, heater off, instead of going on in an unknown state."""
    bench = rig(tmp_path)
    bench.service._loader._compile = lambda args: 1 // 0  # type: ignore[assignment,return-value]
    async with serving(bench, heating=False) as task:
        await asyncio.sleep(5.0)
        order(bench, id="a", order="start", args={"program": "warm"})
        with pytest.raises(ExceptionGroup):
            await asyncio.wait_for(task, 10.0)
    assert last_command(bench)["reason"] == "the service ends"


@virtual
async def test_missed_beats_are_not_made_up_for(tmp_path: Path) -> None:
    """After a stall of 7 s there is one late tick, told as late, then the beat goes on in step."""
    bench = rig(tmp_path)
    async with serving(bench):
        seq = bench.service.state.guard.line.seq
        put_forward(7.5)
        await asyncio.sleep(1.1)
        assert bench.service.state.guard.line.seq - seq <= 2
        assert last_command(bench)["duty"] == 0.0
        assert "G17" in [event["id"] for event in bench.said(bench.topics.event)]


@virtual
async def test_a_stall_within_a_tick_s_own_work_is_told_as_late(tmp_path: Path) -> None:
    """The record, the status or a watcher took 3.5 s after the command was sent: the next tick cuts the heat."""
    looker = Looker()
    bench = rig(tmp_path, looker)
    async with serving(bench):
        before = looker.ticks
        looker.mischief = lambda ticks: put_forward(3.5) if ticks == before + 1 else None
        while looker.ticks < before + 2:  # noqa: ASYNC110
            await asyncio.sleep(0.25)
        assert last_command(bench)["duty"] == 0.0
        said = "The controller stalled for 3.0 s"
        assert [note.text[: len(said)] for note in bench.service.state.guard.noted.now] == [said]


@virtual
async def test_a_wall_clock_that_is_set_is_noted_and_nothing_else(tmp_path: Path) -> None:
    """An hour on and an hour back, mid-run: a note each, once; no reading counts as old, no heat is lost."""
    looker = Looker()
    bench = rig(tmp_path, looker)
    async with serving(bench):
        for by_s in (3600.0, -3600.0):
            bench.clock.wall_zero += by_s
            await asyncio.sleep(70.0)
            assert bench.service.state.guard.trips == ()
    notes = [event.text for event in looker.events if (event.kind, event.id) == ("note", "clock")]
    assert [text.partition(" (")[0] for text in notes] == [
        f"The wall clock was set by {by} s" for by in ("+3600", "-3600")
    ]
