"""Messages at their extremes, through the whole service."""

from __future__ import annotations

import asyncio
import itertools
import json
from pathlib import Path
from typing import Any

from tests.edge.lives import heating, lived
from tests.edge.virtual import Rig

FAR: tuple[object, ...] = (2**40, 2**40 + 1, 2**53, 2**53 + 1, 10**400, -1, 1e308, -1e308, True, None, "1", [], {})
NODES = ("temperature", "seq", "at", "epoch", "duty", "lease_left_s", "valid_s", "power_w", "outlet_c", "ok", "n")
FIELDS = (*NODES, "order", "id", "nonce", "run", "args")
RAW = (b"", b"\xff", b"9" * 5000, b'"\\ud800"', b"NaN", b"[" * 2000)


def test_nothing_that_a_payload_holds_can_end_the_service_or_make_a_publish_raise(tmp_path: Path) -> None:
    """Each field of each message at its extremes, on every topic that is heard: the beat goes on, statuses and answers
    are sound, and no owner's number locks the tun for the next process."""
    good: dict[str, Any] = {"temperature": 60.0, "seq": 5, "epoch": 1, "duty": 0.0, "lease_left_s": 1.0, "boot": "b"}
    ages: list[float] = []

    async def odd(bench: Rig) -> None:
        await heating(bench)
        for topic in bench.topics.heard():
            for field, value in itertools.product(FIELDS, FAR):
                bench.broker.publish(topic, json.dumps({**good, "ok": True, field: value}).encode())
            for raw in RAW:
                bench.broker.publish(topic, raw)
        await asyncio.sleep(5.0)
        ages.append(bench.clock.wall_s() - bench.status()["at"])

    bench = lived(tmp_path, "first", odd)
    assert ages[0] < 3.0
    assert bench.service.inbox.epoch_seen < 2**21
    assert bench.service.inbox.counters["an owner's number out of reach"] > 0
    assert all(reply["reason"] for reply in bench.said(bench.topics.reply))
