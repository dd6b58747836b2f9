"""A broker with WebSockets that serves the page, and tuns on it: the real core on the small bench, over real MQTT."""

from __future__ import annotations

import contextlib
import json
import subprocess
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from controller.core.nouns import Course, Order
from controller.messages import incoming, outgoing, status_document
from controller.messages.topics import topics
from tests.core.bench import Bench, course, leg, settings
from tests.field.secured import MOSQUITTO, answers, free_port
from tests.places import CONFIG
from tests.waiting import PATIENCE_S

PANEL = CONFIG / "panel"
PASSWORD = "only-for-this-test"
RIGHTS = """
user daemon
topic readwrite underback/#
topic readwrite homeassistant/#
user operator
topic read underback/#
topic write underback/+/order
user panel
topic read underback/+/status
topic read underback/+/event
topic read underback/+/history
topic read underback/+/startable
topic read underback/+/online
"""


class Broker:
    """A mosquitto of our own on loopback: MQTT on one port, WebSockets and the page on another."""

    def __init__(self, folder: Path) -> None:
        assert MOSQUITTO is not None, "mosquitto is missing: apt-get install mosquitto"
        self.port, self.web = free_port(), free_port()
        users = folder / "passwd"
        users.touch()
        for user in ("daemon", "operator", "panel"):
            subprocess.run(["mosquitto_passwd", "-b", str(users), user, PASSWORD], check=True, capture_output=True)
        (folder / "acl").write_text(RIGHTS)
        (folder / "conf").write_text(
            f"user root\nset_tcp_nodelay true\n"
            f"allow_anonymous false\npassword_file {users}\nacl_file {folder / 'acl'}\n"
            f"listener {self.port} 127.0.0.1\nlistener {self.web} 127.0.0.1\nprotocol websockets\nhttp_dir {PANEL}\n"
        )
        self._command = [MOSQUITTO, "-c", str(folder / "conf")]
        self.start()

    def start(self) -> None:
        self.process = subprocess.Popen(self._command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        until = time.monotonic() + PATIENCE_S
        for port in (self.port, self.web):
            while not answers(port):
                assert self.process.poll() is None, "the broker did not start"
                assert time.monotonic() < until, "the broker does not answer"

    def stop(self) -> None:
        self.process.terminate()
        self.process.wait(5)

    @property
    def page(self) -> str:
        return f"http://127.0.0.1:{self.web}/index.html"


class Tun:
    """One bench as a daemon on the broker."""

    def __init__(self, name: str, speed: float) -> None:
        self.bench = Bench(settings(name=name, title=name.title()), mash_c=48.0)
        self.topics = topics(self.bench.settings)
        self.speed, self.seq, self.shown = speed, 0, -10.0
        self.arrived: list[Order] = []
        self.tripped_at: float | None = None  # real time of the tick in which the guard tripped

    def begin(self, *legs: Any, grist_kg: float = 20.0) -> None:
        """A program under way."""
        self.bench.until("idle")
        self.bench.start(plan(*legs, grist_kg=grist_kg))
        self.bench.run(3)

    def beat(self, client: mqtt.Client) -> None:
        """One second, with orders taken and everything told."""
        mine, self.arrived = self.arrived, []
        for order in mine:
            prepared = order._replace(course=plan()) if order.name == "start" else order
            self.bench.orders.append(prepared)
        wall_s = time.time()
        self.bench.extra = {"wall_s": wall_s}
        ticked = time.monotonic()
        outcome = self.bench.step()
        if not self.bench.state.guard.trips:
            self.tripped_at = None
        elif self.tripped_at is None:
            self.tripped_at = ticked
        for event in outcome.events:
            self.seq += 1
            client.publish(self.topics.event, outgoing.event(self.seq, wall_s, event), 1)
        for reply in outcome.replies:
            client.publish(self.topics.reply, outgoing.reply(reply), 1)
        changed = bool(outcome.events or outcome.replies)
        if changed or self.bench.now - self.shown >= 2.0:
            self.shown = self.bench.now
            client.publish(self.topics.status, outgoing.document(self.status(wall_s)), 1, retain=True)

    def status(self, wall_s: float) -> dict[str, Any]:
        return status_document.status(
            self.bench.settings, self.bench.outcome, wall_s=wall_s, wall_confirmed=True, speed=self.speed,
            journal_seq=self.seq, counters={}, prediction=PREDICTION,
        )  # fmt: skip


def plan(*legs: Any, grist_kg: float = 20.0) -> Course:
    """The given steps, else two rests."""
    return course(*(legs or (leg("low rest", 52.0, 600.0), leg("high rest", 63.0, 1800.0))), grist_kg=grist_kg)


PREDICTION: dict[str, Any] = {
    "set": "calibrated", "basis": "made up for this test", "extract_share": 0.8, "iodine_negative_min": None,
    "apparent_limit_pct": {"low": 70.0, "mid": 74.0, "high": 79.0},
    "real_limit_pct": {"low": 57.0, "mid": 60.0, "high": 64.0},
    "starch_left_pct": 12.0, "beta_left_pct": 55.0, "alpha_left_pct": 91.0, "glucanase_left_pct": 4.0,
    "protease_left_pct": 30.0, "glucanase_min": 12.0, "protease_min": 20.0, "steps": [],
}  # fmt: skip


class Stage:
    """Broker and tuns, running in a thread until closed. `pace_s`: real seconds between two ticks."""

    def __init__(self, folder: Path, *names: str, speed: float = 10.0) -> None:
        self.broker = Broker(folder)
        self.tuns = {name: Tun(name, speed) for name in names}
        self.pace_s = 1.0 / speed
        self.lock = threading.Lock()
        self.silent = False
        self._stop = threading.Event()
        self.client = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
        self.client.username_pw_set("daemon", PASSWORD)
        self.client.reconnect_delay_set(1, 1)
        self.client.on_connect = self._connected
        self.client.on_message = self._message
        self.client.connect("127.0.0.1", self.broker.port)
        self.client.loop_start()
        self._thread = threading.Thread(target=self._run, daemon=True)

    def go(self) -> None:
        """Let time pass."""
        self._thread.start()

    def _connected(self, client: mqtt.Client, *_: Any) -> None:
        for tun in self.tuns.values():
            client.subscribe(tun.topics.order, 1)
            client.publish(tun.topics.online, b"true", 1, retain=True)

    def _message(self, client: mqtt.Client, data: Any, message: mqtt.MQTTMessage) -> None:
        with self.lock:
            tun = self.tuns[message.topic.split("/")[1]]
            tun.arrived.append(incoming.order(bytes(message.payload), tun.bench.now + 0.5, bool(message.retain)))

    def _run(self) -> None:
        due = time.monotonic()
        while not self._stop.is_set():
            due += self.pace_s
            if not self.silent:
                with self.lock:
                    for tun in self.tuns.values():
                        tun.beat(self.client)
            self._stop.wait(max(0.0, due - time.monotonic()))

    def close(self) -> None:
        self._stop.set()
        if self._thread.is_alive():
            self._thread.join(5)
        self.client.loop_stop()
        with contextlib.suppress(Exception):
            self.client.disconnect()
        if self.broker.process.poll() is None:
            self.broker.stop()


@contextlib.contextmanager
def stage(folder: Path, *names: str, speed: float = 10.0) -> Iterator[Stage]:
    """A stage that ends with the block."""
    one = Stage(folder, *names, speed=speed)
    try:
        yield one
    finally:
        one.close()


def door(user: str, name: str = "") -> str:
    """Script that signs in on the page."""
    values = json.dumps({"user": user, "password": PASSWORD})
    pick = f"location.hash = {json.dumps(name)};" if name else ""
    return (
        f"{pick}(() => {{ const f = document.getElementById('door'), v = {values};"
        "for (const k in v) f.elements[k].value = v[k]; f.requestSubmit(); })()"
    )
