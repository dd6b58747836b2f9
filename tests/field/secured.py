"""A real Mosquitto with the shipped configuration: its files, users and certificates, on free loopback ports."""

from __future__ import annotations

import contextlib
import os
import shutil
import socket
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import pytest

from controller.settings.service import Broker
from tests.places import CONFIG
from tests.waiting import PATIENCE_S

SHIPPED = CONFIG / "mosquitto"
TUNS = ("gannet", "plover")
MOSQUITTO = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin")
WITNESS = "witness"  # a user of the tests alone that hears and says everything


class Secured(NamedTuple):
    """A broker that runs, and where its secrets are."""

    port: int
    tls_port: int
    folder: Path

    def login(self, user: str, *, tls: bool = False, version: int = 5) -> Broker:
        """How this user reaches the broker."""
        return Broker.model_validate(
            {
                "host": "127.0.0.1",
                "port": self.tls_port if tls else self.port,
                "username": user,
                "password_file": str(self.folder / "passwords" / user),
                "tls": tls,
                "ca_file": str(self.folder / "ca.crt") if tls else "",
                "version": version,
            }
        )


def free_port() -> int:
    """A port that was free a moment ago."""
    with socket.socket() as sock:
        sock.bind(("127.0.0.1", 0))
        return int(sock.getsockname()[1])


def script(name: str, *words: str) -> str:
    """What does one of the shipped scripts print? It must end well."""
    path = os.environ["PATH"] + ":/usr/sbin"
    done = subprocess.run(
        [str(SHIPPED / name), *words], capture_output=True, text=True, check=False, env={**os.environ, "PATH": path}
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def prepare(base: Path) -> Path:
    """Users, rights and certificates, made with the shipped scripts, plus the witness."""
    folder = base / "underback"
    script("make-users.sh", "--standin", str(folder), *TUNS)
    script("make-certs.sh", str(folder), "localhost", "127.0.0.1")
    (folder / "passwords" / WITNESS).write_text("for the tests alone\n", encoding="ascii")
    script("make-users.sh", "--standin", str(folder), *TUNS)
    with (folder / "acl").open("a", encoding="ascii") as acl:
        acl.write(f"user {WITNESS}\ntopic readwrite #\ntopic readwrite $SYS/#\n")
    return folder


def configure(base: Path, folder: Path, port: int, tls_port: int) -> Path:
    """Debian's main file as far as it matters, and the shipped files with other ports and folder."""
    extra = base / "conf.d"
    extra.mkdir(exist_ok=True)
    for name in ("10-underback.conf", "20-underback-tls.conf"):
        text = (SHIPPED / name).read_text(encoding="utf-8")
        text = text.replace("/etc/mosquitto/underback", str(folder)).replace("listener 1883 ", f"listener {port} ")
        text = text.replace("listener 8883", f"listener {tls_port} 127.0.0.1")
        (extra / name).write_text(text, encoding="utf-8")
    user = "user root\n" if os.getuid() == 0 else ""
    main = base / "mosquitto.conf"
    main.write_text(
        f"{user}persistence true\npersistence_location {base}/\nlog_dest file {base}/log\ninclude_dir {extra}\n",
        encoding="utf-8",
    )
    return main


def answers(port: int) -> bool:
    with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), 0.2):
        return True
    return False


@contextlib.contextmanager
def running(base: Path) -> Iterator[Secured]:
    """The broker, for as long as the block lasts. Skips where Mosquitto is not installed."""
    if MOSQUITTO is None:
        pytest.skip("mosquitto is not installed (Debian: apt install mosquitto)")
    with restarted(base, prepare(base)) as secured:
        yield secured


@contextlib.contextmanager
def restarted(base: Path, folder: Path) -> Iterator[Secured]:
    """A broker on users and rights that are there already."""
    assert MOSQUITTO is not None
    for _ in range(5):  # a free port may be taken by another in the meantime
        secured = Secured(free_port(), free_port(), folder)
        main = configure(base, folder, secured.port, secured.tls_port)
        process = subprocess.Popen([MOSQUITTO, "-c", str(main)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        until = time.monotonic() + PATIENCE_S
        while process.poll() is None and time.monotonic() < until:
            if answers(secured.port) and answers(secured.tls_port):
                try:
                    yield secured
                finally:
                    process.kill()
                    process.wait()
                return
        process.kill()
        process.wait()
    pytest.fail("mosquitto did not start: " + (base / "log").read_text(encoding="utf-8", errors="replace"))
