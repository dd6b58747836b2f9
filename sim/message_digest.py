"""Which digest have all messages of a run, both ways?"""

import hashlib
import struct

_STAMP = struct.Struct("<d??").pack  # time, retained, ours: before each message in the digest
HASHED_AT_ONCE = 256  # messages


class MessageDigest:
    """Every message in the order in which it passed."""

    def __init__(self) -> None:
        self.messages = 0  # hashed so far
        self._hash = hashlib.sha256()
        self._waiting: list[tuple[float, str, bytes, bool, bool]] = []

    def add(self, at: float, topic: str, payload: bytes, retained: bool, ours: bool) -> None:
        """One message; `ours`: the daemon sent it."""
        self._waiting.append((at, topic, payload, retained, ours))
        if len(self._waiting) >= HASHED_AT_ONCE:
            self.now()

    def now(self) -> str:
        """The digest of every message so far."""
        said: list[bytes] = []
        for at, topic, payload, retained, ours in self._waiting:
            said += (_STAMP(at, retained, ours), topic.encode(), payload)
        self._hash.update(b"".join(said))
        self.messages += len(self._waiting)
        self._waiting.clear()
        return self._hash.hexdigest()
