"""The shipped broker file for the page, as it is and with its TLS lines taken in, on a real Mosquitto."""

from __future__ import annotations

import asyncio
import ssl
import subprocess
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import aiomqtt
import pytest

from tests.field.secured import MOSQUITTO, SHIPPED, free_port, script
from tests.panel.stage import PANEL
from tests.waiting import PATIENCE_S


class Web(NamedTuple):
    """A broker made of the shipped files."""

    port: int
    folder: Path
    context: ssl.SSLContext | None

    @property
    def page(self) -> str:
        return f"{'https' if self.context else 'http'}://127.0.0.1:{self.port}/index.html"


@pytest.fixture(params=["plain", "tls"])
def web(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Web]:
    made = tmp_path / "underback"
    script("make-users.sh", str(made), "gannet")
    script("make-certs.sh", str(made), "127.0.0.1")
    port = free_port()
    text = "\n".join((SHIPPED / name).read_text() for name in ("10-underback.conf", "30-underback-panel.conf"))
    text = text.replace("listener 1883", f"listener {free_port()}").replace("listener 9001", f"listener {port}")
    page = "/opt/underback/current/share/config/panel"
    text = text.replace("/etc/mosquitto/underback", str(made)).replace(page, str(PANEL))
    if request.param == "tls":
        for key in ("cafile", "certfile", "keyfile", "tls_version"):
            assert f"# {key} " in text
            text = text.replace(f"# {key} ", f"{key} ")
    (tmp_path / "conf").write_text(f"user root\n{text}")
    assert MOSQUITTO is not None, "mosquitto is missing: apt-get install mosquitto"
    process = subprocess.Popen([MOSQUITTO, "-c", str(tmp_path / "conf")], stderr=subprocess.DEVNULL)
    context = ssl.create_default_context(cafile=made / "ca.crt") if request.param == "tls" else None
    try:
        yield Web(port, made, context)
    finally:
        process.terminate()
        process.wait(5)


def fetched(web: Web) -> str:
    until = time.monotonic() + PATIENCE_S
    while True:
        try:
            with urllib.request.urlopen(web.page, context=web.context, timeout=2) as answer:
                found: bytes = answer.read()
                return found.decode()
        except OSError:
            assert time.monotonic() < until, "the broker does not serve the page"


async def heard(web: Web, user: str, publish: str, payload: bytes) -> bytes | None:
    """What comes back of an own message over WebSockets within a second? None where nothing does."""
    password = (web.folder / "passwords" / user).read_text().strip()
    async with aiomqtt.Client(
        "127.0.0.1", web.port, username=user, password=password, transport="websockets", tls_context=web.context,
        protocol=aiomqtt.ProtocolVersion.V5,
    ) as client:  # fmt: skip
        await client.subscribe("underback/gannet/#", 1)
        await client.publish(publish, payload, 1)
        try:
            async with asyncio.timeout(1.0):
                found = (await anext(client.messages)).payload
                return found if isinstance(found, bytes) else None
        except TimeoutError:
            return None


async def test_page_and_rights_come_from_the_broker(web: Web) -> None:
    """The broker serves the page; over the same port an operator's order goes through, a panel user's does not."""
    assert await asyncio.to_thread(fetched, web) == (PANEL / "index.html").read_text()
    assert await heard(web, "operator", "underback/gannet/order", b"hold") == b"hold"
    assert await heard(web, "panel", "underback/gannet/order", b"hold") is None
