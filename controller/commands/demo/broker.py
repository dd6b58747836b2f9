"""Where does a demonstration get a broker from?

mosquitto where it is on PATH, else the embedded one of the `demo` extra; either on a free port of 127.0.0.1 only, with
nothing of its own kept, and gone when the demonstration ends.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import socket
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path

from controller.commands.shared.exit_codes import Unreachable

UP_S = 10.0
TRIES = 5  # a free port may be taken between looking and listening

MOSQUITTO = """listener {port} 127.0.0.1
allow_anonymous true
persistence false
set_tcp_nodelay true
max_queued_messages 200
user root
"""

EMBEDDED = """id = 0
[router]
id = 0
max_connections = 40
max_outgoing_packet_count = 200
max_segment_size = 10485760
max_segment_count = 10
[v5.1]
name = "demo"
listen = "127.0.0.1:{port}"
next_connection_delay_ms = 1
    [v5.1.connections]
    connection_timeout_ms = 60000
    max_payload_size = 262144
    max_inflight_count = 100
"""


def free_port() -> int:
    """A port of 127.0.0.1 on which nothing listens at this moment."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextlib.contextmanager
def broker(folder: Path, kind: str = "any") -> Iterator[tuple[int, str]]:
    """A broker for as long as the block lasts: its port and its name. Raises Unreachable when none can be had.

    `kind`: `any`, `mosquitto` or `embedded`.
    """
    program = shutil.which("mosquitto") or ("/usr/sbin/mosquitto" if os.path.exists("/usr/sbin/mosquitto") else None)
    if program is None and kind == "mosquitto":
        raise Unreachable("mosquitto is not on PATH")
    own = program if kind != "embedded" else None
    with _embedded(folder) if own is None else _mosquitto(own, folder) as port:
        yield port, "the embedded broker" if own is None else "mosquitto"


@contextlib.contextmanager
def _mosquitto(program: str, folder: Path) -> Iterator[int]:
    for _ in range(TRIES):
        port, config = free_port(), folder / "mosquitto.conf"
        config.write_text(MOSQUITTO.format(port=port))
        child = subprocess.Popen([program, "-c", str(config)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        try:
            if listens(port, child):
                yield port
                return
        finally:
            child.terminate()
            child.wait(5)
    raise Unreachable("mosquitto would not start on any free port of 127.0.0.1")


@contextlib.contextmanager
def _embedded(folder: Path) -> Iterator[int]:
    try:
        from iotcore import Broker
    except ImportError:
        wanted = "pip install 'underback[demo]', or mosquitto on PATH"
        raise Unreachable(f"no broker for the demonstration: {wanted}") from None
    port, config = free_port(), folder / "broker.toml"
    config.write_text(EMBEDDED.format(port=port))
    try:
        with Broker(config_path=str(config)):
            yield port
    except (OSError, RuntimeError) as why:
        raise Unreachable(f"the embedded broker does not start: {why}") from None


def listens(port: int, child: subprocess.Popen[bytes]) -> bool:
    """Does the broker take connections before it ends or the time is over?"""
    until = time.monotonic() + UP_S
    while time.monotonic() < until and child.poll() is None:
        with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), 0.2):
            return True
        time.sleep(0.005)
    return False
