"""The own heater command, known again by its bytes."""

from __future__ import annotations

import pytest

from controller.core.heater_command import HeaterCommand
from controller.messages import outgoing
from controller.messages.inbox import Inbox
from tests.core.bench import WALL, settings

OFF = HeaterCommand(1, 7, 0.0, 10.0, "off")
SAID = outgoing.heater_command(OFF, WALL, "us")


@pytest.mark.parametrize(
    ("payload", "retained", "foreign", "delay_s"),
    [
        (SAID, False, False, 0.5),
        (SAID.replace(b"0.0", b"0.00", 1), False, False, 0.5),  # the same in other bytes
        (SAID, True, False, 5.0),
        (SAID.replace(b'"us"', b'"me"'), False, True, 5.0),
    ],
)
def test_own_command_comes_back(payload: bytes, retained: bool, foreign: bool, delay_s: float) -> None:
    """Heard back it is no stranger and its way is timed; retained it is nothing; another's is a stranger's."""
    box = Inbox(settings(), "us")
    box.connected(0.0)
    box.sent(OFF, 1.0, SAID)
    box.put(box.topics.heater_command, payload, 1.5, retained)
    link = box.take(6.0).link
    assert (link.foreign is not None) is foreign
    assert link.delay_s == delay_s


def test_bytes_heard_twice_are_a_stranger_no_more() -> None:
    """The second time the command is no longer waited for; it is counted, not obeyed."""
    box = Inbox(settings(), "us")
    box.connected(0.0)
    box.sent(OFF, 1.0, SAID)
    for at in (1.5, 1.75):
        box.put(box.topics.heater_command, SAID, at)
    link = box.take(2.0).link
    assert (link.foreign, link.echo_at) == (None, 1.5)
    assert box.counters == {"own command heard again": 1}
