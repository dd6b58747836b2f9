"""What we say: strict JSON, and no heater command outside its bounds ever becomes bytes."""

from __future__ import annotations

import json
import math
from typing import Any

import pytest

from controller.core.heater_command import _GUARD_SEAL, HeaterCommand
from controller.core.nouns import Event, Motor, Reply, RunState
from controller.messages import outgoing


def command(**changes: Any) -> HeaterCommand:
    values: dict[str, Any] = {"epoch": 3, "seq": 8, "duty": 0.5, "valid_s": 7.25, "reason": "climbing"}
    return HeaterCommand(**{**values, **changes}, seal=_GUARD_SEAL)


def test_a_heater_command_has_the_fields_of_the_contract() -> None:
    """All of them, the reading it is based on included, and the owner's word beside them."""
    said = json.loads(outgoing.heater_command(command(reading_seq=44, reading_age_s=0.7512), 1000.0004, "me"))
    own = {"epoch": 3, "seq": 8, "at": 1000.0, "valid_s": 7.25, "duty": 0.5, "reason": "climbing", "owner": "me"}
    assert said == {**own, "reading_seq": 44, "reading_age_s": 0.751}
    assert json.loads(outgoing.heater_command(command(), 1.0, "me"))["reading_age_s"] is None


@pytest.mark.parametrize(
    "changes",
    [
        *({"duty": duty} for duty in (math.nan, math.inf, -math.inf, -1e-9, 1.0 + 1e-9)),
        *({"valid_s": valid_s} for valid_s in (math.nan, 0.0, -1.0, 10.01, math.inf)),
    ],
)
def test_no_duty_and_no_lease_outside_its_range_becomes_bytes(changes: dict[str, float]) -> None:
    """The last line before the wire: a bug ends the process instead; a duty of 0 to 1, a lease above 0 and at most
    10 s; off, full, and the longest lease pass."""
    with pytest.raises(outgoing.Unfit):
        outgoing.heater_command(command(**changes), 0.0, "me")
    for duty in (0.0, 1.0):
        assert json.loads(outgoing.heater_command(command(duty=duty, valid_s=10.0), 0.0, "me"))["duty"] == duty


def test_a_number_that_is_not_finite_becomes_null_everywhere() -> None:
    """In documents, lists and objects within; the rest stays as it was; nothing raises."""
    said = json.loads(
        outgoing.document({"a": math.nan, "b": [1.0, math.inf], "c": {"d": -math.inf, 5: "x"}, "e": (1,)})
    )
    assert said == {"a": None, "b": [1.0, None], "c": {"d": None, "5": "x"}, "e": [1]}
    assert outgoing.document({"text": "63 °C"}) == '{"text":"63 °C"}'.encode()
    assert outgoing.document({"text": "\ud800"}) == b'{"text":"?"}'


def test_motors_replies_and_presence() -> None:
    """Stirrer and pump, the answer to an order, our own presence."""
    motor = json.loads(outgoing.motor_command(4, Motor(True, "mixing"), 10.0))
    assert motor == {"seq": 4, "on": True, "valid_s": 10.0, "reason": "mixing"}
    answer = json.loads(outgoing.reply(Reply("a", False, "because", RunState.HELD, "resume")))
    assert answer == {"id": "a", "order": "resume", "accepted": False, "reason": "because", "state": "held"}
    assert (outgoing.online(True), outgoing.online(False)) == (b"true", b"false")


def test_an_event_leaves_out_what_it_does_not_have() -> None:
    """Sequence, time, kind, id and text always; figures, unit and latch only where there are any."""
    said = json.loads(outgoing.event(7, 5.0, Event("note", "x", "said")))
    assert said == {"seq": 7, "at": 5.0, "kind": "note", "id": "x", "text": "said"}
    trip = Event("trip", "G07", "hot", 80.5, 80.0, "°C", True, True, 1, True, {"by": "raw"})
    figures = {
        "value": 80.5,
        "limit": 80.0,
        "first_out": True,
        "latched": True,
        "priority": 1,
        "unit": "°C",
        "class": "link",
    }
    always = {"seq": 8, "at": 5.0, "kind": "trip", "id": "G07", "text": "hot"}
    assert json.loads(outgoing.event(8, 5.0, trip)) == {**always, **figures, "data": {"by": "raw"}}


def test_a_status_is_the_document_with_its_parts_at_the_end() -> None:
    """The same values as `document` gives; a part that is another one than before is encoded anew."""
    steps: list[Any] = [{"name": "rest", "target_c": 63.0}]
    for prediction in (None, {"limit": 81.0}, {"limit": math.nan}, {"limit": 82.0}):
        values = {"state": "running", "steps": steps, "prediction": prediction, "duty": 0.5}
        for _ in range(2):
            assert json.loads(outgoing.status(values)) == json.loads(outgoing.document(values))
    values = {"state": "running", "steps": [*steps, *steps], "prediction": None, "duty": math.inf}
    assert json.loads(outgoing.status(values)) == {**values, "duty": None}
