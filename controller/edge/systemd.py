"""How does the service manager hear of us?

Datagrams to $NOTIFY_SOCKET as sd_notify(3) describes them; silence where there is none. WATCHDOG=1 follows a tick that
ended with a guard decision, never a free timer.
"""

from __future__ import annotations

import contextlib
import os
import socket
from collections.abc import Mapping
from pathlib import Path


class Notifier:
    """Ready, watchdog and status lines for systemd."""

    def __init__(self, environment: Mapping[str, str] | None = None) -> None:
        path = (os.environ if environment is None else environment).get("NOTIFY_SOCKET", "")
        self._to = "\0" + path[1:] if path.startswith("@") else path
        self._socket: socket.socket | None = None

    def say(self, *lines: str) -> bool:
        """Send lines such as READY=1. True if somebody could hear; never raises, never blocks."""
        if not self._to:
            return False
        with contextlib.suppress(OSError):
            if self._socket is None:
                self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC)
                self._socket.setblocking(False)
            self._socket.sendto("\n".join(lines).encode(), self._to)
            return True
        return False

    def ready(self, status: str) -> bool:
        return self.say("READY=1", f"STATUS={status}")

    def beat(self, status: str | None = None) -> bool:
        return self.say("WATCHDOG=1", *([f"STATUS={status}"] if status else []))

    def stopping(self) -> bool:
        return self.say("STOPPING=1", "STATUS=stopping: heat off")


def credential(name: str, environment: Mapping[str, str] | None = None) -> Path | None:
    """Where has systemd laid a credential (LoadCredential=)? None where it has not."""
    folder = (os.environ if environment is None else environment).get("CREDENTIALS_DIRECTORY")
    path = Path(folder) / name if folder else None
    return path if path is not None and path.is_file() else None
