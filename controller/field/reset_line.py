"""How does somebody at the node's own machine clear what is latched?

A socket of the kernel without a name in any folder (unix(7), abstract): no network reaches it, and it is gone with the
process. Root and the node's own user may, by the kernel's word of who asks (SO_PEERCRED).
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import socket
import struct
from collections.abc import Callable

WAIT_S = 3.0
PEER = struct.Struct("3i")  # process, user, group of who asks
REFUSED = "refused: root and the node's own user alone may"
CLEARED, NOTHING = "cleared: ", "nothing is latched"
STILL = "; it is back at once, for its cause is still there: "


def place(tun: str) -> str:
    """Where does the heater node of this tun listen?"""
    return f"\0underback-heater-{tun}"


def may(user: int) -> bool:
    """May this user of the machine reset a node that runs as we do?"""
    return user in (0, os.getuid())


async def listen(tun: str, reset: Callable[[], str]) -> asyncio.Server:
    """Until it is closed: `reset` is called for whoever may, and its words are the answer. Raises OSError when
    another node of this tun runs on this machine."""

    async def answer(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        with contextlib.suppress(OSError, TimeoutError):
            async with asyncio.timeout(WAIT_S):
                sock: socket.socket = writer.get_extra_info("socket")
                _, user, _ = PEER.unpack(sock.getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, PEER.size))
                said = reset() if may(user) else REFUSED
                writer.write(said.encode())
                await writer.drain()
        writer.close()

    return await asyncio.start_unix_server(answer, place(tun))


def ask(tun: str) -> str:
    """What the node of this tun answers. Raises OSError where none runs on this machine, or it does not answer."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as sock:
        sock.settimeout(WAIT_S)
        sock.connect(place(tun))
        return sock.makefile("rb").read().decode()


def words(before: str, after: str) -> str:
    """What came of a reset? `before`: the fault that was latched; `after`: what is wrong now."""
    if not before:
        return NOTHING + (f": {after}" if after else "")
    return CLEARED + before + (STILL + after if after else "")
