"""What do the commands take for a daemon's status, and what do they make of the rest?"""

from __future__ import annotations

import asyncio
import json
import time
from types import SimpleNamespace
from typing import Any

import aiomqtt
import pytest

from controller.commands.shared.all_tuns import Heard
from controller.edge.mqtt import requests
from tests.edge import statuses


def message(payload: bytes, retain: bool = False) -> aiomqtt.Message:
    return aiomqtt.Message(aiomqtt.Topic("underback/gannet/status"), payload, 1, retain, 1, None)


def said(**changes: Any) -> bytes:
    """The status of a mash, with these keys otherwise."""
    return json.dumps({**statuses.a_mash(), **changes}).encode()


JUNK = {
    "nothing": b"",
    "a number": b"66",
    "an object with nothing in it": b"{}",
    "a time in words": said(at="x"),
    "a time alone": b'{"at": "x"}',
    "trips that are none": said(trips=[1]),
    "a state that is none": said(state=3),
    "no UTF-8": b"\xff",
    "lists without end": b"[" * 50_000,
}


@pytest.mark.parametrize("retain", [False, True])
@pytest.mark.parametrize("payload", JUNK.values(), ids=JUNK)
def test_what_is_no_status_is_none(payload: bytes, retain: bool) -> None:
    """Whatever a stranger writes on the topic, kept or fresh, no command takes it for a daemon's word, or shows it."""
    junk = message(payload, retain)
    heard = Heard(["gannet"])
    assert (requests.status_in(junk), requests.presence(junk)) == ({}, False)
    assert heard.hear(junk) is None and heard.lines() == []


def test_a_status_with_a_key_more_is_still_one() -> None:
    """A daemon of a later version says more: that is shown as ever; kept by the broker it counts while it is fresh."""
    later = said(at=time.time(), more=1)
    assert requests.status_in(message(later))["more"] == 1
    assert requests.presence(message(later, retain=True)) and not requests.presence(message(said(at=5.0), retain=True))


def test_a_cancellation_beside_a_message_is_not_lost() -> None:
    """Ctrl-C in the turn of the loop in which a message comes ends the command, and the message is still there."""

    async def cancelled() -> tuple[bool, int]:
        inbox: asyncio.Queue[aiomqtt.Message] = asyncio.Queue()
        link = requests.Link(SimpleNamespace(_client=SimpleNamespace(on_publish=None)), inbox)  # type: ignore[arg-type]
        asks = asyncio.create_task(link.next(5.0))
        await asyncio.sleep(0)
        inbox.put_nowait(message(b"1"))
        asks.cancel()
        await asyncio.wait({asks})
        return asks.cancelled(), inbox.qsize()

    assert asyncio.run(cancelled()) == (True, 1)
