"""A brewer with a script, for runs in bad weather."""

from __future__ import annotations

import json
import secrets
import threading
import time
from typing import Any

from tests.regimes.chaos.field import Field


class Hand:
    """A person who never gives up: clears what is latched once its cause is gone, chooses, restarts."""

    LOOK_S = 70.0  # of the tun's time: longer than the minute for which heat stays off after a trip

    def __init__(self, there: Field) -> None:
        self.there = there
        self._stop = threading.Event()
        self._since: dict[str, float] = {}
        self._thread = threading.Thread(target=self._work, name="hand", daemon=True)
        self._thread.start()

    def close(self) -> None:
        self._stop.set()
        self._thread.join(2.0)

    def _work(self) -> None:
        while not self._stop.wait(5.0 / self.there.speed):
            status = self.there.newest("status")
            if status.get("nonce"):
                self._look(status)

    def _look(self, status: dict[str, Any]) -> None:
        now = time.monotonic()
        names = [trip["id"] for trip in status["trips"]]
        self._since = {name: self._since.get(name, now) for name in names}
        latched = [trip["id"] for trip in status["trips"] if trip["latched"]]
        prompt = status.get("prompt") or {}
        for name in latched:
            if now - self._since[name] > self.LOOK_S / self.there.speed:
                self._order(status, "clear", {"inspected": True, "reason": "looked at it"}, trip=name)
                return
        if prompt.get("id") == "resume":
            self._order(status, "answer", {"prompt": "resume", "answer": "go on here"})
        elif status["state"] == "held" and not names and status.get("held_by") != "trip":
            self._order(status, "restart", {"hand_c": status["temperature_c"]} if status["temperature_c"] else {})

    def _order(self, status: dict[str, Any], name: str, args: dict[str, Any], **more: str) -> None:
        values = {
            "id": secrets.token_hex(6),
            "order": name,
            "args": args,
            "by": "hand",
            "nonce": status["nonce"],
            **more,
        }
        said = json.dumps({**values, "at": time.time(), "valid_s": 30})
        self.there.publish(f"{self.there.base}/order", said.encode())
