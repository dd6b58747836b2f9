"""Nodes that break one rule each, and the rule that must catch them."""

from __future__ import annotations

import json
from typing import Any

from controller.messages.strict_json import READING_CAP
from tests.commissioning.bench_nodes import Heater, Probe, now


class BootsOn(Heater):
    def boot(self) -> None:
        super().boot()
        self.state = self.state.but(ordered=1.0, until=now() + 5.0)


class ObeysTheRetained(Heater):
    def hear(self, topic: str, payload: bytes, retained: bool) -> None:
        super().hear(topic, payload, False)


class ForgetsTheLease(Heater):
    def obey(self, found: dict[str, Any]) -> None:
        super().obey(found)
        self.state = self.state.but(until=now() + 1e9)


class LeaseAsLongAsAsked(Heater):
    def obey(self, found: dict[str, Any]) -> None:
        super().obey(found)
        if self.state.ordered:
            self.state = self.state.but(until=now() + found["valid_s"])


class TakesAFormerOwner(Heater):
    def obey(self, found: dict[str, Any]) -> None:
        super().obey({**found, "epoch": self.state.epoch} if found.get("duty") else found)


class TakesASequenceTwice(Heater):
    def obey(self, found: dict[str, Any]) -> None:
        again = found.get("duty") and found.get("seq") == self.state.seq and found.get("epoch") == self.state.epoch
        super().obey({**found, "seq": found["seq"] + 1} if again else found)


class OffNeedsANumber(Heater):
    def obey(self, found: dict[str, Any]) -> None:
        if found.get("duty") != 0 or "seq" in found:
            super().obey(found)


class OffFromTheOwnerAlone(Heater):
    def obey(self, found: dict[str, Any]) -> None:
        if found.get("duty") != 0 or found.get("epoch", self.state.epoch) >= self.state.epoch:
            super().obey(found)


class LastKeyWins(Heater):
    def read(self, payload: bytes) -> dict[str, Any] | None:
        return lenient(payload) if payload.count(b'"duty"') == 2 else super().read(payload)


class ReadsAnyLength(Heater):
    def read(self, payload: bytes) -> dict[str, Any] | None:
        return lenient(payload) if len(payload) > READING_CAP else super().read(payload)


def lenient(payload: bytes) -> dict[str, Any] | None:
    """As Python's own parser reads it."""
    try:
        found = json.loads(payload)
    except ValueError:
        return None
    return found if isinstance(found, dict) else None


HEATERS: dict[str, type[Heater]] = {
    "power-up": BootsOn,
    "retained": ObeysTheRetained,
    "lease": ForgetsTheLease,
    "ceiling": LeaseAsLongAsAsked,
    "epoch": TakesAFormerOwner,
    "sequence": TakesASequenceTwice,
    "off": OffNeedsANumber,
    "off from anybody": OffFromTheOwnerAlone,
    "key twice": LastKeyWins,
    "too long": ReadsAnyLength,
}
PROBES: dict[str, type[Probe]] = {}
