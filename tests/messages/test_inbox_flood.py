"""Too many messages on a topic."""

from __future__ import annotations

import pytest

from controller.messages.inbox import Inbox
from tests.core.bench import settings


@pytest.mark.parametrize(("a_second", "flood"), [(20, None), (21, "p/mash")])
def test_the_tun_file_says_what_a_flood_is(a_second: int, flood: str | None) -> None:
    """With its limit at 20 a second, 20 are none and 21 are."""
    box = Inbox(settings(guard={"flood_per_s": 20}), "me")
    named = None
    for second in range(12):
        for _ in range(a_second):
            box.put("p/mash", b"63.0", float(second))
        named = box.take(second + 1.0).link.flooding
    assert named == flood
