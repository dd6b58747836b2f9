"""A real Mosquitto, the stand-in and the daemon as processes, and everything that went over the broker on record."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, NamedTuple

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from tests.field import secured
from tests.places import ROOT

REPO = ROOT
MOSQUITTO = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin")
BROKER = "listener {port} 127.0.0.1\nallow_anonymous true\npersistence false\nset_tcp_nodelay true\nuser root\n"
SHORT = """title = "Two short rests"
[liquor]
mass = "60 kg"
temperature = "12 °C"
[[step]]
name = "one"
kind = "rest"
temperature = "20 °C"
time = "3 min"
[[step]]
name = "two"
kind = "rest"
temperature = "24 °C"
time = "2 min"
[[step]]
name = "keep"
kind = "keep"
temperature = "24 °C"
time = "1 h"
"""
BRIEF = SHORT  # for the ordinary tests: less far to go, and shorter there
for old, new in (("12 °C", "17 °C"), ("24 °C", "22 °C"), ("2 min", "1 min"), ("3 min", "2 min")):
    BRIEF = BRIEF.replace(old, new)
needs_mosquitto = pytest.mark.skipif(MOSQUITTO is None, reason="mosquitto is not installed; tests/run installs it")


class Heard(NamedTuple):
    """One message as an observer on the broker saw it."""

    at: float  # real monotonic seconds
    topic: str
    payload: bytes
    retained: bool

    def values(self) -> dict[str, Any]:
        found: dict[str, Any] = json.loads(self.payload)
        return found


class Field:
    """Starts and ends processes; each is ended by its own id."""

    def __init__(
        self, folder: Path, tun: str, program: str, speed: float, via: int | None = None, version: int = 5
    ) -> None:
        self.folder, self.tun, self.program, self.speed = folder, tun, program, speed
        self.port, self.version = secured.free_port(), version
        self.heard: list[Heard] = []
        self.processes: dict[str, subprocess.Popen[bytes]] = {}
        self.base = f"underback/{tun}"
        self.config = self._configured("config", via or self.port)
        self.nodes_config = self._configured("nodes", self.port)
        self._observer: paho.Client | None = None
        self.watched = ["#"]
        self.login: tuple[str, str] | None = None  # the observer's
        self.skew: Path | None = None  # the daemon's wall clock is off by the seconds in this file

    def _configured(self, name: str, port: int) -> Path:
        config = self.folder / name
        shutil.copytree(REPO / "config" / "tuns", config / "tuns")
        shutil.copytree(REPO / "config" / "programs", config / "programs")
        for name, text in (("short", SHORT), ("brief", BRIEF)):
            (config / "programs" / f"{name}.toml").write_text(text)
        self.reach(config, port)
        return config

    def reach(self, config: Path, port: int, more: str = "") -> None:
        """Who reads this folder reaches the broker through this port: the broker's, or a proxy's."""
        lines = f'data_dir = "{self.folder / "data"}"\n[broker]\nport = {port}\nversion = {self.version}\n{more}'
        (config / "service.toml").write_text(lines)

    def mark(self, what: str) -> None:
        """A remark in the record, for whoever reads a failed one."""
        self.heard.append(Heard(time.monotonic(), "remark", what.encode(), False))

    # ------------------------------------------------------------ processes

    def start(self, name: str, command: list[str], **more: str) -> None:
        log = (self.folder / f"{name}.log").open("ab")
        with log:
            environment = {**os.environ, "PYTHONPATH": str(REPO), "PYTHONUNBUFFERED": "1", **more}
            self.processes[name] = subprocess.Popen(command, stdout=log, stderr=log, env=environment, cwd=self.folder)

    def python(self, name: str, *arguments: str, config: Path | None = None) -> None:
        folder = str(config or self.config)
        self.start(name, [sys.executable, "-m", "controller", "--config", folder, *arguments])

    def broker(self) -> None:
        config = self.folder / "mosquitto.conf"
        config.write_text(BROKER.format(port=self.port))
        assert MOSQUITTO is not None
        self.start("broker", [MOSQUITTO, "-c", str(config)])
        self.wait(self._listens, 10.0, "mosquitto listens")

    def _listens(self) -> bool:
        with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", self.port), 0.2):
            return True
        return False

    def begin(self) -> None:
        """Broker, observer, stand-in and daemon, until the run goes on."""
        self.broker()
        self.observe()
        self.go_on()

    def go_on(self) -> None:
        """Stand-in and daemon on the broker that is there, until the run goes on."""
        self.site()
        self.serve()
        self.wait(lambda: self.state() == "running", 60, "the run begins")

    def serve(self, name: str = "serve") -> None:
        words = ["--config", str(self.config), "serve", "--tun", self.tun, "--speed", f"{self.speed:g}"]
        module = ["controller"] if self.skew is None else ["tests.regimes.chaos.skewed", str(self.skew)]
        self.start(name, [sys.executable, "-m", *module, *words])

    def set_clock(self, off_s: float) -> None:
        """Set the daemon's wall clock so far off."""
        assert self.skew is not None
        self.skew.write_text(repr(off_s))

    def site(self, *more: str) -> None:
        speed = f"{self.speed:g}"
        arguments = ("standin", "--tun", self.tun, "--program", self.program, "--speed", speed, "--brewer", *more)
        self.python("standin", *arguments, config=self.nodes_config)

    def kill(self, name: str, how: signal.Signals = signal.SIGKILL) -> None:
        self.processes[name].send_signal(how)
        if how in (signal.SIGKILL, signal.SIGTERM):
            self.processes.pop(name).wait(10)

    def end(self) -> None:
        if self._observer is not None:
            self._observer.loop_stop()
        for process in self.processes.values():
            if process.poll() is None:
                process.send_signal(signal.SIGCONT)
                process.terminate()
        for process in self.processes.values():
            try:
                process.wait(6)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()

    def said_by(self, name: str) -> str:
        """A process' own log."""
        return (self.folder / f"{name}.log").read_text()

    # ------------------------------------------------------------ the observer

    def observe(self) -> None:
        """Record everything from now on; reconnects by itself."""
        client = paho.Client(CallbackAPIVersion.VERSION2, client_id="observer")
        client.on_message = lambda c, u, m: self.heard.append(
            Heard(time.monotonic(), m.topic, bytes(m.payload), bool(m.retain))
        )
        client.on_connect = lambda c, *rest: c.subscribe([(topic, 1) for topic in self.watched])
        if self.login is not None:
            client.username_pw_set(*self.login)
        client.reconnect_delay_set(1, 1)
        client.connect("127.0.0.1", self.port, 5)
        client.loop_start()
        self._observer = client

    def observe_only(self, *names: str) -> None:
        """Record these topics only (a flood is not kept)."""
        assert self._observer is not None
        self._observer.unsubscribe("#")
        self.watched = [f"{self.base}/{name}" for name in names]
        self._observer.subscribe([(topic, 1) for topic in self.watched])

    def publish(self, topic: str, payload: bytes, retain: bool = False) -> None:
        assert self._observer is not None
        self._observer.publish(topic, payload, 1, retain)

    def of(self, name: str, since: int = 0) -> list[Heard]:
        """What was heard live on one of the tun's topics, from an index on."""
        topic = f"{self.base}/{name}"
        return [h for h in self.heard[since:] if h.topic == topic and not h.retained]

    def newest(self, name: str) -> dict[str, Any]:
        found = next((h for h in reversed(self.heard) if h.topic == f"{self.base}/{name}"), None)
        return {} if found is None or not found.payload else found.values()

    def wait(self, condition: Callable[[], bool], within_s: float, what: str) -> None:
        """Until it is so, looked at often; a failure tells what was waited for and the newest status."""
        until = time.monotonic() + within_s
        while time.monotonic() < until:
            if condition():
                return
            time.sleep(0.01)
        status = {k: v for k, v in self.newest("status").items() if k not in ("steps", "limits")}
        remarks = [h.payload.decode() for h in self.heard if h.topic == "remark"]
        logs = {name: self.said_by(name)[-1500:] for name in self.processes}
        raise AssertionError(f"not within {within_s:g} s: {what}\nstatus: {status}\nfaults: {remarks}\nlogs: {logs}")

    def came(self, condition: Callable[[], bool], within_s: float, what: str) -> bool:
        """As `wait`; a failure is told and is no end."""
        try:
            self.wait(condition, within_s, what)
        except AssertionError as why:
            print(why, file=sys.stderr)
            return False
        return True

    def state(self) -> str:
        return str(self.newest("status").get("state"))

    def step(self) -> dict[str, Any]:
        return self.newest("status").get("step") or {}


@contextlib.contextmanager
def field(folder: Path, tun: str, program: str, speed: float, via: int | None = None) -> Iterator[Field]:
    """A broker and an observer, and whatever the block starts; all of it ended afterwards."""
    there = Field(folder, tun, program, speed, via)
    try:
        there.broker()
        there.observe()
        yield there
    finally:
        there.end()
