"""The probe node: a reading is sent once and fresh, a failing thermometer is silent and said to be gone."""

from __future__ import annotations

import asyncio
import json
import threading
from collections import deque

import pytest

from controller.core.nouns import Reading
from controller.edge.clock import MachineClock
from controller.edge.mqtt.transport import MemoryBroker, MemoryTransport, Post
from controller.edge.systemd import Notifier
from controller.field import probe_node
from controller.field.probe_node import Place, ProbeService
from controller.field.thermometer import Fault
from controller.messages import incoming
from controller.settings.tun import Probe
from tests.waiting import PATIENCE_S

TOPIC = "underback/gannet/probe/mash"
PROBE = Probe(topic=TOPIC, pointer="/temperature", seq_pointer="/seq")


@pytest.mark.parametrize(
    "probe",
    [
        PROBE,
        Probe(topic=TOPIC),
        Probe(topic=TOPIC, unit="F"),
        Probe(topic=TOPIC, pointer="/DS18B20/Temperature", unit_pointer="/TempUnit", at_pointer="/Time"),
        Probe(topic=TOPIC, pointer="/a/b/c", seq_pointer="/a/b/n", unit="F"),
        Probe(topic=TOPIC, pointer="/x~1y", seq_pointer="/~0"),
        Probe(topic=TOPIC, pointer="/seq", seq_pointer="/number"),
    ],
)
def test_what_is_sent_is_what_the_daemon_reads(probe: Probe) -> None:
    """Whatever form the tun's file describes, the daemon's strict reader gets temperature, sequence and stamp back."""
    data = probe_node.payload(probe, 66.062, 41, 1_000.5)
    shape = incoming.form(probe.pointer, probe.unit, probe.unit_pointer, probe.seq_pointer, probe.at_pointer)
    read = incoming.reading(shape, data, 5.0, 1_001.0)
    assert isinstance(read, Reading)
    assert read.value_c == pytest.approx(66.062, abs=0.0006)
    assert (read.seq, read.lag_s) == ((41, 0.5) if probe.pointer else (None, None))


def test_the_plain_form() -> None:
    """With the shipped pointers: temperature, sequence, stamp and unit in one flat object."""
    data = json.loads(probe_node.payload(PROBE, 66.0625, 7, 12.0))
    assert data == {"temperature": 66.062, "seq": 7, "at": 12.0, "unit": "C"}


class Line:
    """A transport that only remembers."""

    keen = False

    def __init__(self) -> None:
        self.readings: list[bytes] = []
        self.posts: list[Post] = []
        self.five = asyncio.Event()

    async def run(self, ear: object) -> None:
        await asyncio.get_running_loop().create_future()

    def heater(self, topic: str, payload: bytes, hot: bool, lifetime_s: float) -> bool:
        assert topic == TOPIC
        assert not hot
        self.readings.append(payload)
        if len(self.readings) == 5:
            self.five.set()
        return True

    def post(self, post: Post) -> None:
        self.posts.append(post)

    async def flush(self, within_s: float) -> bool:
        return True


class Beats(Notifier):
    """Counts the signs of life."""

    def __init__(self) -> None:
        super().__init__({})
        self.count = 0
        self.some = asyncio.Event()

    def beat(self, status: str | None = None) -> bool:
        self.count += 1
        self.some.set()
        return True


class Fixed:
    """A thermometer that says what it is given, in turn; the last for ever."""

    def __init__(self, *values: float | Fault) -> None:
        self._values = deque(values)

    def read(self) -> float | Fault:
        return self._values.popleft() if len(self._values) > 1 else self._values[0]


def service(line: Line, *thermometers: Fixed, beats: Beats | None = None) -> ProbeService:
    places = [Place("mash", PROBE, thermometer) for thermometer in thermometers]
    return ProbeService(places, 0.01, line, MachineClock(), beats)


def told(*found: float | Fault) -> Line:
    """What was sent and said after these readings and faults?"""
    line = Line()
    node = service(line, Fixed(66.0))
    for each in found:
        node.got(node.voices[0], each, 10.0)
    return line


def test_one_reading_one_message() -> None:
    """Each reading goes out once, with the next sequence number, and the probe is said to be there once."""
    line = told(66.0, 66.1, 66.1)
    sent = [json.loads(data) for data in line.readings]
    assert [s["temperature"] for s in sent] == [66.0, 66.1, 66.1]
    assert [s["seq"] - sent[0]["seq"] for s in sent] == [0, 1, 2]
    assert [(p.topic, p.payload, p.retain) for p in line.posts] == [(f"{TOPIC}/online", b"true", True)]


NO = Fault("checksum")


@pytest.mark.parametrize(
    ("found", "said"),
    [
        ([66.0, NO, NO], [b"true"]),
        ([66.0, NO, NO, 66.0, NO, NO], [b"true"]),
        ([66.0, *[NO] * 7, 66.0], [b"true", b"false", b"true"]),
    ],
)
def test_three_failures_make_it_gone(found: list[float | Fault], said: list[bytes]) -> None:
    """Faults send nothing; the third in a row says false on the online topic, the next reading true; single ones do not
    add up."""
    line = told(*found)
    assert [p.payload for p in line.posts] == said
    assert len(line.readings) == found.count(66.0)


def test_the_same_fault_is_logged_once_a_minute() -> None:
    """Sixty seconds of one fault at one a second: two lines; another fault: a line at once."""
    voice = probe_node.Voice(Place("mash", PROBE, Fixed(66.0)), 1)
    assert sum(voice.worth_logging("checksum", float(t)) for t in range(61)) == 2
    assert voice.worth_logging("no supply", 61.5)


def test_sequence_goes_on_over_a_restart() -> None:
    """A node started later begins above where the former can have come at its fastest pace."""
    first = service(Line(), Fixed(66.0)).voices[0].seq

    class Later(MachineClock):
        def wall_s(self) -> float:
            return super().wall_s() + 3600.0

    later = ProbeService([Place("mash", PROBE, Fixed(66.0))], 0.5, Line(), Later()).voices[0].seq
    assert later > first + 3600 / 0.5


async def test_threads_read_at_their_pace_and_stop() -> None:
    """On a broker in memory: readings come with rising sequence; at the end the probe is said to be gone."""
    broker = MemoryBroker()
    enough = asyncio.Event()
    came: list[int] = []

    def hear(topic: str, payload: bytes, retained: bool) -> None:
        came.append(json.loads(payload)["seq"])
        if len(came) == 5:
            enough.set()

    broker.listen([TOPIC], hear)
    transport = MemoryTransport(broker, [f"{TOPIC}/online"])
    node = ProbeService([Place("mash", PROBE, Fixed(66.0))], 0.01, transport, MachineClock())
    async with asyncio.timeout(PATIENCE_S):
        task = asyncio.create_task(node.run())
        await enough.wait()
        node.stop()
        await task
    assert came[:5] == list(range(came[0], came[0] + 5))
    assert broker.retained[f"{TOPIC}/online"] == b"false"


async def test_a_hung_thermometer_gives_no_sign_of_life() -> None:
    """One of two thermometers hangs in its read: the other is read on, and the service manager is told nothing."""
    released = threading.Event()

    class Hung(Fixed):
        def read(self) -> float | Fault:
            released.wait(PATIENCE_S)
            return 66.0

    line, beats = Line(), Beats()
    node = service(line, Fixed(66.0), Hung(66.0), beats=beats)
    async with asyncio.timeout(PATIENCE_S):
        task = asyncio.create_task(node.run())
        await line.five.wait()
        assert beats.count == 0
        released.set()
        await beats.some.wait()
        node.stop()
        await task
