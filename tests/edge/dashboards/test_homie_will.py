"""Homie's last will on a real broker: lost when the process dies, not when it leaves in order; its rising version."""

from __future__ import annotations

import asyncio
import contextlib
import json
import sys
from collections.abc import AsyncIterator, Callable, Iterator
from pathlib import Path

import aiomqtt
import pytest

from controller.edge.dashboards import homie
from controller.edge.dashboards.discovery import Board
from controller.edge.dashboards.homie import Homie, hold
from controller.edge.mqtt import broker_link
from controller.settings.service import Dashboards, Service
from tests.core.bench import settings
from tests.edge.dashboards.homie_device import device
from tests.edge.mqtt.ear import Ear
from tests.panel.stage import PASSWORD, Broker
from tests.places import ROOT
from tests.waiting import PATIENCE_S

STATE = "underback/5/underback-testtun/$state"  # a prefix that this broker's daemon may write

PROCESS = """
import asyncio, sys
from tests.edge.dashboards.homie_device import device
from controller.edge.dashboards.homie import hold
asyncio.run(hold(*device(int(sys.argv[1]), sys.argv[2])))
"""


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    (tmp_path / "password").write_text(PASSWORD)
    one = Broker(tmp_path)
    yield one
    one.stop()


@contextlib.asynccontextmanager
async def listener(port: int) -> AsyncIterator[Callable[[], asyncio.Future[bytes]]]:
    """Each call waits for the next word on the device's state."""
    async with aiomqtt.Client("127.0.0.1", port, username="operator", password=PASSWORD) as client:
        await client.subscribe(STATE, 1)

        async def following() -> bytes:
            async with asyncio.timeout(PATIENCE_S):
                payload = (await anext(client.messages)).payload
                assert isinstance(payload, bytes)
                return payload

        yield lambda: asyncio.ensure_future(following())


async def test_a_killed_process_is_lost(broker: Broker, tmp_path: Path) -> None:
    """The process that holds the will is killed: the broker says lost."""
    async with listener(broker.port) as word:
        command = [sys.executable, "-c", PROCESS, str(broker.port), str(tmp_path / "password")]
        process = await asyncio.create_subprocess_exec(*command, cwd=ROOT)
        try:
            assert await word() == b"ready"
        finally:
            process.kill()
            await process.wait()
        assert await word() == b"lost"


async def test_an_orderly_end_is_not_lost(broker: Broker, tmp_path: Path) -> None:
    """Cancelled, the connection ends in order and the broker keeps the will to itself."""
    async with listener(broker.port) as word:
        task = asyncio.create_task(hold(*device(broker.port, str(tmp_path / "password"))))
        assert await word() == b"ready"
        task.cancel()
        async with asyncio.timeout(PATIENCE_S):
            with contextlib.suppress(asyncio.CancelledError):
                await task
        async with aiomqtt.Client("127.0.0.1", broker.port, username="daemon", password=PASSWORD) as after:
            await after.publish(STATE, b"disconnected", 1, retain=True)
        assert await word() == b"disconnected"


class Forgetful:
    """A client whose call, cancelled, returns as if nothing were (as `asyncio.wait_for` of Python 3.11 may)."""

    async def __aenter__(self) -> Forgetful:
        return self

    async def __aexit__(self, *_: object) -> None:
        return None

    async def publish(self, *_: object, **__: object) -> None:
        with contextlib.suppress(asyncio.CancelledError):
            await asyncio.Event().wait()

    async def subscribe(self, *_: object, **__: object) -> tuple[int, ...]:
        await self.publish()
        return (0,)

    @property
    async def messages(self) -> AsyncIterator[object]:
        await asyncio.Event().wait()
        yield None


@pytest.mark.parametrize("whose", ["will", "daemon"])
async def test_a_forgotten_cancellation_is_heeded(whose: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The end was asked for while a call of the client was under way, which forgot it: the connection ends."""
    (tmp_path / "password").write_text(PASSWORD)
    words = device(1, str(tmp_path / "password"))

    async def forgetful(*_: object) -> Forgetful:
        return Forgetful()

    module = homie if whose == "will" else broker_link
    monkeypatch.setattr(module, "make", forgetful)
    ending = hold(*words) if whose == "will" else broker_link.BrokerLink(words[0], "one", ["a/b"]).run(Ear())
    task = asyncio.create_task(ending)
    for _ in range(5):  # as far as the call
        await asyncio.sleep(0)
    task.cancel()
    done, _ = await asyncio.wait({task}, timeout=PATIENCE_S)
    task.cancel()
    assert done
    assert task.cancelled()


@pytest.mark.parametrize(
    "said", [b"", b"{}", b"[" * 5000, b'{"version": 1.5}', b'{"version": 7}', b'{"version": 1e99}']
)
def test_a_description_that_is_not_ahead_changes_nothing(said: bytes) -> None:
    """Nonsense on its topic, an own or an older description: nothing is said."""
    assert Homie("homie", settings(), 7).met(said) == []


def test_a_description_rises_although_the_clock_was_set_back() -> None:
    """An earlier life left a later version: ours goes past it, and the device is described anew, init before it."""
    made = Homie("homie", settings(), 7)
    made.stage = "ready"
    state, described = made.met(b'{"version": 1000}')
    assert (state.payload, json.loads(described.payload)["version"], made.stage) == (b"init", 1001, "init")
    assert made.met(described.payload) == []
    board = Board(settings()._replace(service=Service(dashboards=Dashboards(homie=True))))
    (topic,) = board.topics()
    assert topic == "homie/5/underback-testtun/$description"
    assert len(board.heard(topic, b'{"version": 9000000000}')) == 2
