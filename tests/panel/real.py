"""The real daemon and the stand-in of a tun, as processes, on the stage's broker."""

from __future__ import annotations

import contextlib
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

from tests.panel.stage import PASSWORD, Broker
from tests.places import CONFIG


def configured(folder: Path, broker: Broker) -> Path:
    """The shipped tuns and programs, and a service file for this broker."""
    config = folder / "config"
    for part in ("tuns", "programs"):
        shutil.copytree(CONFIG / part, config / part)
    (folder / "password").write_text(PASSWORD)
    (config / "service.toml").write_text(
        f'data_dir = "{folder / "data"}"\n[broker]\nport = {broker.port}\nusername = "daemon"\n'
        f'password_file = "{folder / "password"}"\n'
    )
    return config


@contextlib.contextmanager
def brewhouse(folder: Path, broker: Broker, tun: str, speed: float, *faults: str) -> Iterator[Callable[[], None]]:
    """`serve` and `standin` of one tun until the block ends. Gives what ends the daemon and starts it anew."""
    config = configured(folder, broker)
    shared = ["--tun", tun, "--speed", f"{speed:g}", "--quiet"]
    marks = [word for fault in faults for word in ("--fault", fault)]
    processes = [_started(folder, config, "standin", *shared, *marks), _started(folder, config, "serve", *shared)]

    def again() -> None:
        processes[1].terminate()
        processes[1].wait(10)
        processes[1] = _started(folder, config, "serve", *shared)

    try:
        yield again
    finally:
        for process in processes:
            process.terminate()
        for process in processes:
            try:
                process.wait(10)
            except subprocess.TimeoutExpired:
                process.kill()


def _started(folder: Path, config: Path, command: str, *words: str) -> subprocess.Popen[bytes]:
    with (folder / f"{command}.log").open("wb") as log:
        return subprocess.Popen(
            [sys.executable, "-m", "controller", "--config", str(config), command, *words], stdout=log, stderr=log
        )
