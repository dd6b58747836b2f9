"""How does a command run a daemon beside itself, as a process of its own, and end it with the heater off?"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

from controller.settings.service import Settings

ORDERLY_S = 6.0  # heater off takes five seconds at most


def started(config: Path, settings: Settings, speed: float, log: Path) -> subprocess.Popen[bytes]:
    """A daemon for this tun on these files, its log added to this one."""
    command = [sys.executable, "-m", "controller", "--config", str(config), "serve", "--tun", settings.tun.name]
    with log.open("ab") as said:
        return subprocess.Popen(
            [*command, "--speed", f"{speed:g}", "--quiet"],
            stdout=said,
            stderr=subprocess.STDOUT,
            env={**os.environ, "PYTHONUNBUFFERED": "1", "PYTHONPATH": os.pathsep.join(filter(None, sys.path))},
            start_new_session=True,
        )


def end(daemon: subprocess.Popen[bytes]) -> None:
    """Orderly: SIGTERM, heater off; by force where that takes too long."""
    if daemon.poll() is None:
        daemon.send_signal(signal.SIGTERM)
    try:
        daemon.wait(ORDERLY_S)
    except subprocess.TimeoutExpired:
        daemon.kill()
        daemon.wait()
