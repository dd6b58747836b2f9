"""A headless Chromium for tests, steered over its own pipe: no driver, no port, no further package.

The DevTools protocol (chromedevtools.github.io/devtools-protocol) over `--remote-debugging-pipe`: JSON messages, each
ended by a zero byte. A missing browser fails the test with the name of the Debian package; it never skips.
"""

from __future__ import annotations

import base64
import contextlib
import fcntl
import json
import os
import select
import shutil
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from tests.waiting import PATIENCE_S

FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--hide-scrollbars",
    "--disable-dev-shm-usage",
    "--remote-debugging-pipe",
)
AXE = Path(__file__).parent / "vendor" / "axe" / "axe.min.js"
PROGRAMS = ("chromium-headless-shell", "chromium", "chromium-browser")  # the smallest first


class Missing(AssertionError):
    """The browser that the test needs is not on this machine."""


class PageError(AssertionError):
    """The page threw, or a question to it could not be answered."""


class Browser:
    """One page of one browser."""

    def __init__(self, folder: Path) -> None:
        program = next(filter(None, map(shutil.which, PROGRAMS)), None)
        if program is None:
            raise Missing(f"none of {', '.join(PROGRAMS)} is there: apt-get install {PROGRAMS[0]}")
        (hear, tell), (listen, speak) = os.pipe(), os.pipe()
        theirs = [fcntl.fcntl(fd, fcntl.F_DUPFD, 20) for fd in (hear, speak)]
        self._tell, self._listen = tell, listen
        command = f'exec "$0" "$@" 3<&{theirs[0]} 4>&{theirs[1]}'
        arguments = ["bash", "-c", command, program, *FLAGS, f"--user-data-dir={folder}", "about:blank"]
        self.process = subprocess.Popen(
            arguments, pass_fds=theirs, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        for fd in (hear, speak, *theirs):
            os.close(fd)
        self._number, self._rest, self.session = 0, b"", ""
        self.asked: list[str] = []  # addresses that the page asked for
        self.thrown: list[str] = []  # errors of the page
        target = next(t for t in self.call("Target.getTargets")["targetInfos"] if t["type"] == "page")
        attached = self.call("Target.attachToTarget", targetId=target["targetId"], flatten=True)
        self.session = attached["sessionId"]
        for domain in ("Page", "Runtime", "Network"):
            self.call(f"{domain}.enable")

    def call(self, method: str, **params: Any) -> dict[str, Any]:
        """One command and its answer."""
        self._number += 1
        number = self._number
        message = {"id": number, "method": method, "params": params}
        if self.session:
            message["sessionId"] = self.session
        os.write(self._tell, json.dumps(message).encode() + b"\0")
        answer = self._until(lambda m: m.get("id") == number, method)
        if "error" in answer:
            raise PageError(f"{method}: {answer['error']}")
        result: dict[str, Any] = answer["result"]
        return result

    def _until(self, wanted: Callable[[dict[str, Any]], bool], what: str) -> dict[str, Any]:
        deadline = time.monotonic() + PATIENCE_S
        while True:
            while b"\0" in self._rest:
                raw, self._rest = self._rest.split(b"\0", 1)
                message = json.loads(raw)
                self._note(message)
                if wanted(message):
                    found: dict[str, Any] = message
                    return found
            ready, _, _ = select.select([self._listen], [], [], max(0.0, deadline - time.monotonic()))
            if not ready:
                raise PageError(f"{what}: no answer within {PATIENCE_S:g} s")
            data = os.read(self._listen, 1 << 20)
            if not data:
                raise PageError(f"{what}: the browser has ended")
            self._rest += data

    def _note(self, message: dict[str, Any]) -> None:
        params = message.get("params", {})
        if message.get("method") == "Network.requestWillBeSent":
            self.asked.append(params["request"]["url"])
        if message.get("method") == "Runtime.exceptionThrown":
            details = params["exceptionDetails"]
            self.thrown.append(str(details.get("exception", {}).get("description") or details["text"]))

    def open(self, address: str) -> None:
        """Load a page and wait for it."""
        self.call("Page.navigate", url=address)
        self._until(lambda m: m.get("method") == "Page.loadEventFired", address)

    def eval(self, code: str) -> Any:
        """The value of an expression in the page; a promise is awaited."""
        answer = self.call("Runtime.evaluate", expression=code, returnByValue=True, awaitPromise=True)
        if "exceptionDetails" in answer:
            raise PageError(f"{code}: {answer['exceptionDetails']}")
        return answer["result"].get("value")

    def wait(self, code: str, within_s: float = PATIENCE_S) -> float:
        """Wait until an expression is true; after how many seconds was it?"""
        began = time.monotonic()
        while not self.eval(f"!!({code})"):
            if time.monotonic() - began > within_s:
                raise PageError(f"not within {within_s:g} s: {code}")
            self.eval("new Promise(done => setTimeout(done, 50))")
        return time.monotonic() - began

    def look(self, width: int = 1100, height: int = 800, dark: bool = False, phone: bool = False) -> None:
        """Size and colour scheme of the screen."""
        self.call("Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=phone)
        scheme = {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
        self.call("Emulation.setEmulatedMedia", features=[scheme])

    def key(self, name: str, text: str = "", code: int = 0) -> None:
        """Press and release a key."""
        for kind in ("keyDown", "keyUp"):
            extra = {"text": text} if text and kind == "keyDown" else {}
            self.call("Input.dispatchKeyEvent", type=kind, key=name, code=name, windowsVirtualKeyCode=code, **extra)

    def picture(self, path: Path, whole: bool = False) -> None:
        """A screenshot as PNG."""
        answer = self.call("Page.captureScreenshot", format="png", captureBeyondViewport=whole)
        path.write_bytes(base64.b64decode(answer["data"]))

    def pdf(self) -> bytes:
        """The page as it would be printed, by its own @page rules."""
        answer = self.call("Page.printToPDF", preferCSSPageSize=True, printBackground=True)
        return base64.b64decode(answer["data"])

    def complaints(self, all_of_them: bool = False, window: str = "window") -> list[str]:
        """What does axe find that is serious or critical, or at all? `window`: a frame that has axe already."""
        if not self.eval(f"Boolean({window}.axe)"):
            self.eval(AXE.read_text(encoding="utf-8") + ";0")
        run = f"{window}.axe.run({window}.document, {{resultTypes: ['violations']}})"
        found = self.eval(f"{run}.then(r => r.violations)")
        return [
            f"{v['id']} ({v['impact']}): {v['help']}: {v['nodes'][0]['html'][:150]}"
            for v in found
            if all_of_them or v["impact"] in ("serious", "critical")
        ]

    def close(self) -> None:
        """End the browser."""
        with contextlib.suppress(OSError):
            os.close(self._tell)
        with contextlib.suppress(subprocess.TimeoutExpired):
            self.process.wait(5)
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait(5)
        os.close(self._listen)


@contextlib.contextmanager
def browser() -> Iterator[Browser]:
    """A fresh browser with an empty profile, ended afterwards."""
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        one = Browser(Path(folder))
        try:
            yield one
        finally:
            one.close()
