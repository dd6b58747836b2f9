"""What do the commands take for a daemon's status, and what do they make of the rest?"""

from __future__ import annotations

import json
import time
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
