"""Which digest have all messages of a run?"""

from __future__ import annotations

from sim.message_digest import HASHED_AT_ONCE, MessageDigest


def digest(count: int, look_every: int | None = None) -> MessageDigest:
    made = MessageDigest()
    for n in range(count):
        made.add(0.5 * n, f"topic/{n % 3}", str(n).encode(), n % 7 == 0, n % 2 == 0)
        if look_every is not None and n % look_every == 0:
            made.now()
    return made


def test_it_does_not_matter_when_somebody_looks() -> None:
    """Messages hashed one by one and in blocks give one digest, and all are counted."""
    often, seldom = digest(3 * HASHED_AT_ONCE + 5, 2), digest(3 * HASHED_AT_ONCE + 5)
    assert often.now() == seldom.now()
    assert often.messages == seldom.messages == 3 * HASHED_AT_ONCE + 5


def test_each_part_of_a_message_counts() -> None:
    """Another time, topic, payload, retained flag or sender is another digest."""
    parts = [
        (1.0, "a", b"x", False, False),
        (2.0, "a", b"x", False, False),
        (1.0, "b", b"x", False, False),
        (1.0, "a", b"y", False, False),
        (1.0, "a", b"x", True, False),
        (1.0, "a", b"x", False, True),
    ]
    found = set()
    for part in parts:
        made = MessageDigest()
        made.add(*part)
        found.add(made.now())
    assert len(found) == len(parts)
