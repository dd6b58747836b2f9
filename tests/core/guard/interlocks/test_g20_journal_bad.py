"""G20: a record that cannot be written."""

from __future__ import annotations

from controller.core.guard.interlocks.g20_journal_bad import WHY, JournalBad
from controller.core.nouns import RunState, Trip
from tests.core.guard.looks import NOW, check, duty, known, senses, told

BAD = JournalBad()


def test_a_sick_disk_is_told_in_every_state() -> None:
    """It is no trip, and what is decided without it goes on; a disk that writes is nothing."""
    for state in RunState:
        gate = check(state=state, disk_ok=False)
        assert (told(gate), gate.state.trips) == ([("G20", 3)], ())
        assert gate.state.noted.now[0].text == f"{BAD.ROW.says} {BAD.ROW.do}"
    assert duty(check(disk_ok=False)) == 0.5
    assert told(check()) == []


def test_it_has_no_cause_to_look_at() -> None:
    """A trip that the reader of the record found at the start may be cleared once a person has looked."""
    trip = Trip("G20", NOW, "disk", None, None, "", 2, True, True)
    assert BAD.still_there(trip, senses(disk_ok=False), known()) is None
    gate = check(check()[0]._replace(trips=(trip,)), disk_ok=False, state=RunState.HELD)
    assert dict(gate.state.gone) == {"G20": NOW}


def test_a_clear_wants_a_reason_in_words() -> None:
    """Nothing, blanks and what is no text are none."""
    assert [BAD.why_not_clear(said) for said in (None, "", "  ", 7, "disk was full")] == [WHY] * 4 + [""]
