"""Nodes that break one rule each, and the rule that must catch them."""

from __future__ import annotations

import json
from typing import Any

from controller.edge.mqtt.transport import MemoryBroker
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


class TrueIsOne(Heater):
    def obey(self, found: dict[str, Any]) -> None:
        super().obey({key: float(value) if value is True and key == "duty" else value for key, value in found.items()})


class TextIsNumber(Heater):
    def obey(self, found: dict[str, Any]) -> None:
        duty = found.get("duty")
        super().obey({**found, "duty": float(duty)} if isinstance(duty, str) else found)


class NoNumberIsFullHeat(Heater):
    def read(self, payload: bytes) -> dict[str, Any] | None:
        return lenient(payload.replace(b"NaN", b"1").replace(b"Infinity", b"1").replace(b"1e999", b"1"))


class SkipsWhatFollows(Heater):
    def read(self, payload: bytes) -> dict[str, Any] | None:
        return super().read(payload[: payload.find(b"}") + 1])


class CutsTheShare(Heater):
    def obey(self, found: dict[str, Any]) -> None:
        duty = found.get("duty")
        super().obey({**found, "duty": min(1.0, duty)} if isinstance(duty, float) else found)


class FillsInWhatIsMissing(Heater):
    def obey(self, found: dict[str, Any]) -> None:
        super().obey({"epoch": self.state.epoch, "valid_s": 5.0, "seq": self.state.seq + 1, **found})


class JudgesByTheClock(Heater):
    def obey(self, found: dict[str, Any]) -> None:
        if found.get("at", 0.0) < 3e9:
            super().obey(found)


class KeepsTheSequenceOfAnOwner(Heater):
    def obey(self, found: dict[str, Any]) -> None:
        if not found.get("duty") or found.get("epoch") == self.state.epoch or found.get("seq", 0) > self.state.seq:
            super().obey(found)


class Mute(Heater):
    every_s = 4.0


class AnswersInItsOwnTime(Heater):
    def beat(self) -> None:
        if round(now() * 10) % 20 == 0:
            super().beat()

    def answer(self) -> None:
        """Not at once."""


class ReportsTheMean(Heater):
    def report(self) -> dict[str, Any]:
        return {**super().report(), "duty": self.state.ordered if self.state.output else 0.0}


class KeepsItsReport(Heater):
    keeps_reports = True


class CountsNothing(Heater):
    def report(self) -> dict[str, Any]:
        return {**super().report(), "n": 7}


class SameBootWord(Heater):
    def boot_word(self) -> str:
        return "node"


class NoWill(Heater):
    has_will = False


class ObeysWhatWaited(Heater):
    waited: bytes | None = None

    def missed(self, topic: str, payload: bytes) -> None:
        self.waited = payload or self.waited

    def back(self) -> None:
        if self.waited is not None:
            self.hear(self.hears[0], self.waited, False)


class NoLimitOfItsOwn(Heater):
    def inputs(self) -> dict[str, Any]:
        return {**super().inputs(), "outlet_c": 40.0 if self.plugged else None}


class KeepsTheLastTemperature(Heater):
    def inputs(self) -> dict[str, Any]:
        return {**super().inputs(), "outlet_c": self.celsius}


class HeatsDry(Heater):
    def inputs(self) -> dict[str, Any]:
        return {**super().inputs(), "level_ok": True}


class WrongCode(Heater):
    def report(self) -> dict[str, Any]:
        said = super().report()
        return {**said, "fault_code": "internal" if said["fault_code"] == "no_liquid" else said["fault_code"]}


class ForgetsItsSwitch(Heater):
    def boot(self) -> None:
        super().boot()
        self.level_s = now() + 1e9


class NeverRests(Heater):
    def boot(self) -> None:
        super().boot()
        self.own = self.own.but(min_off_s=0.0)


class KeepsItsReading(Probe):
    keeps_readings = True


class Slow(Probe):
    every_s = 5.0


class SaysTheOldValue(Probe):
    def failed(self) -> None:
        super().failed()
        self.say(self.topic, self.payload())


class StaysThere(Probe):
    def failed(self) -> None:
        """Nothing is said of it."""


class NeverNumbers(Probe):
    def payload(self) -> bytes:
        return json.dumps({"temperature": self.celsius, "seq": 1}).encode()


class SaysNaN(Probe):
    def payload(self) -> bytes:
        return b'{"temperature": NaN, "seq": %d}' % self.seq


class PowerOnValue(Probe):
    def payload(self) -> bytes:
        return b'{"temperature": 85.0, "seq": %d}' % self.seq


class AnotherSensor(Probe):
    def payload(self) -> bytes:
        return json.dumps({"temperature": 18.0, "seq": self.seq}).encode()


class ProbeWithoutWill(Probe):
    has_will = False


class SendsTheBacklog(Probe):
    def __init__(self, broker: MemoryBroker) -> None:
        self.backlog: list[bytes] = []
        super().__init__(broker)

    def read(self) -> None:
        super().read()
        if not self.connected:
            self.backlog.append(self.payload())

    def back(self) -> None:
        for payload in self.backlog:
            self.say(self.topic, payload)
        self.backlog = []


HEATERS: dict[str, tuple[type[Heater], ...]] = {  # by the rule that must catch them
    "answer": (AnswersInItsOwnTime,),
    "ceiling": (LeaseAsLongAsAsked,),
    "counted": (CountsNothing,),
    "epoch": (TakesAFormerOwner,),
    "kept": (KeepsItsReport,),
    "key twice": (LastKeyWins,),
    "last will": (NoWill,),
    "lease": (ForgetsTheLease,),
    "level word": (ForgetsItsSwitch,),
    "missing": (FillsInWhatIsMissing,),
    "new boot": (SameBootWord,),
    "no liquid": (HeatsDry, WrongCode),
    "no number": (NoNumberIsFullHeat,),
    "off": (OffNeedsANumber,),
    "off from anybody": (OffFromTheOwnerAlone,),
    "out of range": (CutsTheShare,),
    "own limit": (NoLimitOfItsOwn,),
    "own probe": (KeepsTheLastTemperature,),
    "power-up": (BootsOn,),
    "retained": (ObeysTheRetained,),
    "sequence": (TakesASequenceTwice,),
    "strict JSON": (SkipsWhatFollows,),
    "takeover": (KeepsTheSequenceOfAnOwner,),
    "text": (TextIsNumber,),
    "too long": (ReadsAnyLength,),
    "truth value": (TrueIsOne,),
    "unasked": (Mute,),
    "waiting": (ObeysWhatWaited,),
    "wall clock": (JudgesByTheClock,),
}
PROBES: dict[str, tuple[type[Probe], ...]] = {
    "follows": (AnotherSensor,),
    "gone": (StaysThere,),
    "kept": (KeepsItsReading,),
    "last will": (ProbeWithoutWill,),
    "new": (NeverNumbers,),
    "no backlog": (SendsTheBacklog,),
    "pace": (Slow,),
    "possible": (PowerOnValue,),
    "readable": (SaysNaN,),
    "silent": (SaysTheOldValue,),
}
