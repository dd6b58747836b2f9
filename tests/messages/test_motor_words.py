"""When is a word due to a stirrer or pump?"""

from __future__ import annotations

import json
from itertools import pairwise

from controller.core.nouns import Motor
from controller.core.procedure.who_moves import SAY_S, VALID_S
from controller.messages.outgoing import MotorWords

ON, OFF = Motor(True, "heating"), Motor(False, "idle")


def test_a_change_is_said_at_once_and_the_same_only_in_time() -> None:
    """On, off and on again leave at once; what stays the same waits until its renewal is due."""
    words = MotorWords()
    said = [
        words.due("stirrer", motor, now) is not None for now, motor in ((0.0, ON), (0.4, ON), (2.0, OFF), (3.0, ON))
    ]
    assert said == [True, False, True, True]
    assert words.due("stirrer", ON, 3.0 + SAY_S - 0.6) is None
    assert words.due("stirrer", ON, 3.0 + SAY_S) is not None


def test_a_word_is_renewed_before_its_lease_is_over() -> None:
    """With a tick a second the longest silence is shorter than the time for which a word is valid."""
    words = MotorWords()
    at = [float(now) for now in range(60) if words.due("pump", ON, float(now)) is not None]
    assert max(after - before for before, after in pairwise(at)) < VALID_S


def test_two_motors_have_one_count_and_words_of_their_own() -> None:
    """The sequence rises over both; what one motor was told says nothing of the other."""
    words = MotorWords()
    said = [words.due("stirrer", ON, 0.0), words.due("pump", ON, 0.0), words.due("stirrer", OFF, 1.0)]
    assert [json.loads(word or b"{}")["seq"] for word in said] == [1, 2, 3]
