"""What was sent to the heater, and what has it answered?"""

from __future__ import annotations

import pytest

from controller.core.guard.heater_line import SENT_KEPT, HeaterLine, looks_at_mash, node_says
from controller.core.nouns import HeaterReport
from controller.settings.tun import Output, Probe, Probes
from tests.core.guard.looks import HOT, NOW, OFF, SENT, TUN, check, duty, report

NEVER = HeaterLine(sent=SENT)
AT_30 = OFF._replace(acked_seq=30, acked_at=NOW - 21.0)
OLD = OFF._replace(acked_seq=50, acked_at=NOW - 10.0)

HEARD: dict[str, tuple[HeaterLine, HeaterReport | None, HeaterLine]] = {
    "nothing": (AT_30, None, AT_30),
    "the first": (NEVER, report(20), NEVER._replace(acked_seq=20, acked_at=NOW - 31.0, acked_duty=0.0)),
    "a newer one": (
        AT_30, report(41, 0.4), AT_30._replace(acked_seq=41, acked_at=NOW - 10.0, acked_duty=0.4, on_until=NOW - 0.5),
    ),
    "the newest": (AT_30, report(50), AT_30._replace(acked_seq=50, acked_at=NOW - 1.0)),
    "never sent": (AT_30, report(51), AT_30),
    "never sent, by far": (AT_30, report(10**9), AT_30),
    "sent long ago": (AT_30._replace(acked_seq=10), report(19), AT_30._replace(acked_seq=10)),
    "the same": (OLD, report(50), OLD),
    "the same, with another duty": (OLD, report(50, 0.7), OLD._replace(acked_duty=0.7, on_until=NOW - 0.5)),
    "an older one": (OLD, report(49, 0.7), OLD._replace(on_until=NOW - 0.5)),
    "off, before its lease ends": (OLD._replace(on_until=NOW + 9.0), report(50), OLD._replace(on_until=NOW - 0.5)),
    "off for long": (OLD._replace(on_until=NOW - 9.0), report(50), OLD._replace(on_until=NOW - 9.0)),
    "off between two pulses": (HOT._replace(on_until=NOW + 9.0), report(49), HOT._replace(on_until=NOW + 9.0)),
    "off by an older command": (
        OLD._replace(off_seq=60, on_until=NOW + 9.0), report(50), OLD._replace(off_seq=60, on_until=NOW + 9.0),
    ),
    "off by the first of its row": (
        OLD._replace(off_seq=50, on_until=NOW + 9.0), report(50), OLD._replace(off_seq=50, on_until=NOW - 0.5),
    ),
    "of another epoch": (OLD, report(50, 0.7, epoch=2), OLD),
    "of another epoch, newer": (AT_30, report(50, 0.7, epoch=2), AT_30),
    "a fault": (OLD, report(50, fault="E12"), OLD._replace(fault="E12")),
    "a fault of another epoch": (OLD, report(50, fault="E12", epoch=2), OLD._replace(fault="E12")),
    "a fault that is over": (OLD._replace(fault="E12"), report(50, fault=""), OLD),
    "no fault any more": (OLD._replace(fault="E12"), report(50), OLD),
    "its own thermometer is silent": (
        OLD, report(50, fault="E12", fault_code="own_probe_silent"), OLD._replace(fault="E12", blind=True),
    ),
    "it speaks again": (OLD._replace(fault="E12", blind=True), report(50), OLD),
    "another fault in the same words": (
        OLD._replace(fault="E12", blind=True), report(50, fault="E12"), OLD._replace(fault="E12"),
    ),
    "a fault that stays": (OLD._replace(fault="E12"), report(50, fault="E12"), OLD._replace(fault="E12")),
}  # fmt: skip


@pytest.mark.parametrize(("before", "said", "after"), HEARD.values(), ids=HEARD)
def test_heard(before: HeaterLine, said: HeaterReport | None, after: HeaterLine) -> None:
    """An answer is as old as the command it answers; what was never sent, or long ago, is none."""
    assert before.heard(said, 1) == after


def test_an_answer_to_what_was_never_sent_opens_nothing() -> None:
    """The guard goes on as before, by what was really answered."""
    gate = check(report=report(10**9))
    assert (duty(gate), gate.state.line.acked_seq) == (0.5, 49)


@pytest.mark.parametrize(
    ("before", "off_seq", "asked", "after", "since"),
    [(0.0, 0, 0.5, -1, 0.0), (0.0, 0, 0.0, 0, 0.0), (0.5, 1, 0.0, 61, NOW), (0.5, -1, 0.0, 61, NOW),
     (0.0, -1, 0.0, 61, NOW), (0.0, 5, 0.0, 5, 0.0)],
)  # fmt: skip
def test_which_off_was_the_first_of_its_row(
    before: float, off_seq: int, asked: float, after: int, since: float
) -> None:
    """Heat ends the row of OFFs, number 0 included; the first OFF after heat begins a new one; more of them do not."""
    line = OFF._replace(duty=before, off_seq=off_seq).gave(asked, NOW, 10.0)
    assert (line.off_seq, line.off_since, line.heats, line.seq, line.duty) == (after, since, after < 0, 61, asked)
    assert line.on_until == (NOW + 10.0 if asked else 0.0)
    assert [line.rested(NOW + 14.0, rest_s) for rest_s in (4.0, 4.1)] == ([True, False] if asked else [True, True])


def test_so_many_commands_are_remembered() -> None:
    """The last thirty-two, longer ago than any limit may be."""
    line = HeaterLine()
    for n in range(100):
        line = line.gave(0.0, float(n), 10.0)
    assert line.sent == tuple((n + 1, float(n)) for n in range(100 - SENT_KEPT - 1, 100))
    assert len(line.sent) == 32


def test_before_anything_was_sent() -> None:
    """A line that has just been opened is off, in the row of OFFs that begins with its first command."""
    line = HeaterLine()
    assert (line.seq, line.duty, line.acked_seq, line.off_seq, line.off_since, line.fault) == (0, 0.0, -1, 0, 0.0, "")
    assert not line.heats and not line.off and not line.blind and line.rested(5.0, 5.0)


def test_how_long_it_was_silent() -> None:
    """As old as the command that was answered; a day where none ever was."""
    assert (OLD.silent_s(NOW), HeaterLine().silent_s(NOW)) == (10.0, 86_400.0)


@pytest.mark.parametrize(
    ("line", "says"),
    [(OLD, True), (OLD._replace(acked_at=NOW - 10.125), False), (OLD._replace(acked_at=None), False),
     (OLD._replace(acked_duty=0.1), False), (OLD._replace(acked_duty=None), False),
     (OLD._replace(acked_duty=-0.1), True)],
)  # fmt: skip
def test_says_off(line: HeaterLine, says: bool) -> None:
    """It answered within so long that nothing is let out."""
    assert line.says_off(NOW, 10.0) is says


def test_the_nodes_words_are_told_as_they_are() -> None:
    """Braces in them take no part in the sentence."""
    assert node_says("E{12}").format(value=1.0) == "The heater node's own fault: E(12). Heat is off."


@pytest.mark.parametrize("pump", [None, Output(topic="u")])
@pytest.mark.parametrize("outlet", [None, Probe(topic="c")])
def test_where_the_nodes_own_thermometer_is(outlet: Probe | None, pump: Output | None) -> None:
    """At the outlet, where the tun has a probe there or a pump; else at the mash."""
    tun = TUN.model_copy(update={"probes": Probes(mash=Probe(topic="a"), outlet=outlet), "pump": pump})
    assert looks_at_mash(tun) is (outlet is None and pump is None)
