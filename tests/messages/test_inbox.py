"""The inbox: newest only, nothing retained, own commands known from foreign ones, orders never lost unanswered."""

from __future__ import annotations

from math import inf

import pytest

from controller.core.heater_command import HeaterCommand
from controller.core.inputs import Clocks, Presences
from controller.core.nouns import Bad, Disk, Foreign, Link, Order, Presence, Reading, Reply, RunState, Switch
from controller.messages import outgoing
from controller.messages.inbox import EACH_STOP, ORDERS, REACH, TAIL, Inbox
from controller.messages.strict_json import STATUS_CAP
from controller.messages.topics import topics
from controller.settings.tun import Output
from tests.messages.inboxes import OFF, inbox, order, put, settings


def test_topics_lie_below_prefix_and_tun_unless_the_file_names_them() -> None:
    """One table: named topics as named, the rest below prefix/tun; shared ones are listened to once."""
    table = topics(settings())
    assert table.heater_command == "brewhouse/testtun/heater/command"
    assert table.order == "brewhouse/testtun/order"
    assert table.probe_online == "p/box/online"
    assert table.stirrer_command == "p/stirrer"
    assert list(table.heard()).count("p/box") == 1
    assert {"p/level", "p/flow", table.heater_command, table.status, table.order} <= set(table.heard())
    assert table.reply not in table.heard()


def test_one_message_may_carry_two_probes() -> None:
    """Two pointers into one topic give two readings of the same instant."""
    box = inbox()
    put(box, "p/box", 1.0, mash=65.0, second=64.5, seq=3, at=99.5)
    got = box.take(1.25)
    assert got.mash == (Reading(65.0, 1.0, 3, -98.5),)
    assert got.second == (Reading(64.5, 1.0, 3, -98.5),)
    assert got.outlet == ()


def test_only_the_newest_readings_are_kept_and_each_is_given_once() -> None:
    """Of a burst the last eight remain; the next take finds none."""
    box = inbox()
    for n in range(1000):
        put(box, "p/box", n / 1000, mash=60.0 + n / 1000, seq=n)
    got = box.take(1.25)
    assert [r.seq for r in got.mash if isinstance(r, Reading)] == list(range(1000 - TAIL, 1000))
    assert box.take(2.25).mash == ()


def test_nonsense_stands_in_the_queue_and_is_counted_by_reason() -> None:
    """What is no reading is seen by the tick as such, and counted."""
    box = inbox()
    box.put("p/outlet", b"NaN", 1.0)
    box.put("p/outlet", b"x" * 2000, 1.1)
    assert box.take(1.25).outlet == (Bad("not a finite number", 1.0), Bad("too long (2000 bytes, at most 1024)", 1.1))
    assert dict(box.counters) == {"not a finite number": 1, "too long": 1}


def test_retained_copies_change_nothing_but_a_counter() -> None:
    """A reading, a report, a switch or a command from an earlier time is no news."""
    box = inbox()
    put(box, "p/box", 1.0, True, mash=64.5, second=64.5)
    put(box, "p/level", 1.0, True, ok=True)
    put(box, box.topics.heater_report, 1.0, True, boot="b", epoch=9, seq=1, duty=0, lease_left_s=0)
    put(box, box.topics.heater_command, 1.0, True, duty=1, epoch=9, seq=1, valid_s=10)
    assert box.take(1.25)._replace(link=Link(False, 0.0)) == type(box.take(1.3))()
    assert box.counters == {"retained": 4}


def test_a_retained_status_tells_the_epoch_and_a_live_one_does_not() -> None:
    """The next owner counts on from the last owner's retained word; our own status coming back is no news."""
    box = inbox(epoch_seen=2)
    put(box, box.topics.status, 0.1, True, epoch=7)
    put(box, box.topics.status, 0.2, False, epoch=9)
    assert box.take(0.25).epoch_seen == 7
    box.sent(HeaterCommand(8, 1, 0.0, 10.0, "off"), 0.25)
    put(box, box.topics.status, 0.3, True, epoch=8)
    assert box.take(1.25).epoch_seen == 7


def test_a_heater_that_obeys_us_raises_no_epoch_and_one_that_obeys_another_does() -> None:
    """Reports of our own commands are no stranger; a sequence beyond ours under our epoch is."""
    box = inbox(epoch_seen=1)
    box.sent(OFF, 0.25)
    put(box, box.topics.heater_report, 0.3, boot="b", epoch=2, seq=1, duty=0, lease_left_s=9)
    assert box.take(1.25).epoch_seen == 1
    put(box, box.topics.heater_report, 1.3, boot="b", epoch=2, seq=500, duty=0, lease_left_s=9)
    got = box.take(2.25)
    assert got.epoch_seen == 2
    assert got.heater is not None
    assert got.heater.seq == 500


def test_the_newest_report_stays_and_a_wrong_one_is_counted() -> None:
    """A broken report does not wipe out the last good one."""
    box = inbox()
    put(box, box.topics.heater_report, 0.3, boot="b", epoch=2, seq=1, duty=0.25, lease_left_s=9)
    put(box, box.topics.heater_report, 0.4, boot="b", epoch=2, seq=2, duty=25, lease_left_s=9)
    for now in (1.25, 2.25):
        report = box.take(now).heater
        assert report is not None
        assert (report.duty, report.at) == (0.25, 0.3)
    assert box.counters == {"a share outside 0..1": 1}


def test_a_switch_that_repeats_itself_proves_nothing_but_a_bad_word_counts() -> None:
    """The same sequence again is an old word: it does not renew `ok`, it may take it away."""
    box = inbox()
    put(box, "p/level", 1.0, ok=True, seq=5)
    put(box, "p/level", 2.0, ok=True, seq=5)
    assert box.take(2.25).level == Switch(True, 1.0)
    put(box, "p/level", 3.0, ok=False, seq=5)
    assert box.take(3.25).level == Switch(False, 3.0, 3.0)
    put(box, "p/flow", 4.0, ok=True)
    put(box, "p/flow", 5.0, ok="yes")
    assert box.take(5.25).flow == Switch(True, 4.0)
    assert box.counters == {"sequence repeated": 1, "no truth value under `ok`": 1}


def test_presence_is_remembered_retained_or_not() -> None:
    """A last will counts for those who come later; what is no truth value does not."""
    box = inbox()
    assert box.take(0.25).there == Presences()
    box.put(box.topics.heater_online, b"false", 1.0, True)
    box.put(box.topics.probe_online, b"true", 1.0)
    box.put(box.topics.probe_online, b"perhaps", 1.0)
    there = Presence(True, 1.0)  # of both probes on the box
    assert box.take(1.25).there == Presences(heater=Presence(False, 1.0, True), mash=there, second=there)


@pytest.mark.parametrize(("needed", "words", "heard"), [
    (True, {}, None), (True, {"pump": b"true"}, True), (True, {"pump": b"true", "stirrer": b"false"}, False),
    (True, {"pump": b"false", "stirrer": b"true"}, False), (False, {"pump": b"false"}, None),
])  # fmt: skip
def test_the_worse_word_of_what_must_move_counts(needed: bool, words: dict[str, bytes], heard: bool | None) -> None:
    """Below the tun's own topics, where stirrer and pump must run for heat; what need not run is not asked."""
    made = settings()
    motor = Output(topic="p/motor", required_for_heat=needed)
    made = made._replace(tun=made.tun.model_copy(update={"pump": motor, "stirrer": motor}))
    box = Inbox(made, "b1")
    for name, word in words.items():
        if f"brewhouse/testtun/{name}/online" in box.topics.heard():
            box.put(f"brewhouse/testtun/{name}/online", word, 1.0, True)
    found = box.take(1.25).there.movers
    assert found == (None if heard is None else Presence(heard, 1.0, True))


def test_the_presence_of_the_other_probes_is_remembered() -> None:
    """Each by the topic beside its own readings."""
    box = inbox()
    box.put("p/outlet/online", b"false", 1.0)
    outlet, box_gone = Presence(False, 1.0), Presence(False, 2.0)
    assert box.take(1.25).there == Presences(outlet=outlet)
    box.put("p/box/online", b"false", 2.0)
    assert box.take(2.25).there == Presences(mash=box_gone, second=box_gone, outlet=outlet)


def test_an_own_command_heard_back_gives_the_round_trip() -> None:
    """The echo's delay is known; until it comes the delay grows with the time waited; messages keep their order; what
    was sent before an echoed command is no longer waited for."""
    box = inbox()
    box.sent(OFF, 1.25)
    assert box.take(4.25).link.delay_s == 3.0
    box.put(box.topics.heater_command, outgoing.heater_command(OFF, 0.0, "me"), 4.75)
    link = box.take(5.25).link
    assert (link.delay_s, link.echo_at, link.foreign) == (3.5, 4.75, None)
    for seq in range(2, 200):
        box.sent(last := HeaterCommand(2, seq, 0.0, 10.0, "off"), 5.0 + seq)
    box.put(box.topics.heater_command, outgoing.heater_command(last, 0.0, "me"), 204.5)
    assert box.take(215.0).link.delay_s == 0.5


def test_so_many_own_commands_are_waited_for() -> None:
    """The newest sixty-four; one heard back ends the wait for itself and for older ones, not for those after it."""
    box = inbox()
    sent = [HeaterCommand(2, seq, 0.0, 10.0, "off") for seq in range(71)]
    for command in sent[1:]:
        box.sent(command, float(command.seq))
    assert box.take(100.0).link.delay_s == 100.0 - 7.0  # seven to seventy
    for seq, waits_s in ((67, 32.0), (68, 31.0), (69, 30.0), (70, 0.5)):
        box.put(box.topics.heater_command, outgoing.heater_command(sent[seq], 0.0, "me"), seq + 0.5)
        assert box.take(100.0).link.delay_s == waits_s


def test_has_the_broker_brought_a_command_back_since_it_refused_one() -> None:
    """One that never refused any has; else only an echo after that refusal says so."""
    box = inbox()
    assert [box.echoed_since(at) for at in (-inf, 0.0)] == [True, False]
    box.sent(OFF, 1.0)
    box.put(box.topics.heater_command, outgoing.heater_command(OFF, 0.0, "me"), 4.75)
    assert [box.echoed_since(at) for at in (-inf, 4.5, 4.75, 5.0)] == [True, True, False, False]


def test_before_anything_was_heard_or_sent() -> None:
    """The link is down; the lowest number of an owner is one; a command under our name that tells no number is taken
    for an old one, any other for a stranger's; no number is none."""
    assert Inbox(settings(), "me").take(1.0).link == Link(False, 0.0, 0.0)
    box = inbox()
    put(box, box.topics.heater_command, 1.0, duty=0, owner="me")
    assert (box.take(1.25).link.foreign, box.counters) == (None, {"own command heard again": 1})
    put(box, box.topics.heater_command, 2.0, duty=0, owner="me", epoch=0, seq=1)
    put(box, box.topics.heater_command, 2.0, duty=0.5, owner="other")
    got = box.take(2.25)
    assert (got.link.foreign, got.epoch_seen) == (Foreign(0.5, 0, 2.0), 0)
    put(box, box.topics.heater_report, 3.0, boot="b", epoch=1, seq=0, duty=0, lease_left_s=0)
    assert box.take(3.25).epoch_seen == 1


@pytest.mark.parametrize(("seen", "sent"), [(1000, None), (0, 1000), (1000, 5), (5, 1000)])
def test_an_owners_number_out_of_reach_counts_for_nothing(seen: int, sent: int | None) -> None:
    """A million over the highest known is a slip, or would lock the tun for good; just under it, it counts."""
    box = inbox(epoch_seen=seen)
    if sent is not None:
        box.sent(HeaterCommand(sent, 5000, 0.0, 10.0, "off"), 0.5)
    for epoch, counts in ((1000 + REACH + 1, False), (1000 + REACH, True)):
        put(box, box.topics.heater_command, 1.0, duty=0, epoch=epoch, seq=1, owner="other")
        assert (box.take(1.25).epoch_seen == epoch) is counts
    assert (REACH, box.counters) == (1_048_576, {"an owner's number out of reach": 1})


def test_foreign_commands_are_told_worst_first_and_once() -> None:
    """Of several foreign commands the highest duty and the highest epoch are told, for one tick; the heater node may be
    deaf and never report it: another's OFF, too, counts as word of its epoch, and for good."""
    box = inbox()
    put(box, box.topics.heater_command, 1.0, duty=0.7, epoch=2, seq=1, owner="other")
    put(box, box.topics.heater_command, 1.1, duty=0, epoch=9, seq=1, owner="other")
    put(box, box.topics.heater_command, 1.1, duty=0, owner="no epoch at all")
    first, second = box.take(1.25), box.take(2.25)
    assert (first.link.foreign, second.link.foreign) == (Foreign(0.7, 9, 1.1), None)
    assert (first.epoch_seen, second.epoch_seen) == (9, 9)


@pytest.mark.parametrize(
    ("sent", "seq", "duty", "foreign"), [([1], 1, 0.4, True), ([1], 2, 0.0, True), ([5, 3], 4, 0.0, False)]
)
def test_our_name_on_a_command_that_we_did_not_send_is_foreign(
    sent: list[int], seq: int, duty: float, foreign: bool
) -> None:
    """Another duty under our sequence, or a sequence we have not reached, is somebody else; an own 4 heard after 5 and
    3 were sent is an old one of ours."""
    box = inbox()
    for mine in sent:
        box.sent(HeaterCommand(2, mine, 0.0, 10.0, "off"), 1.0)
    put(box, box.topics.heater_command, 1.1, duty=duty, epoch=2, seq=seq, owner="me")
    assert box.take(1.25).link.foreign == (Foreign(duty, 2, 1.1) if foreign else None)
    assert box.counters["own command heard again"] == (not foreign)


def test_the_link_tells_since_when_and_forgets_what_was_sent_over_the_old_one() -> None:
    """After a reconnect nothing is waited for that the lost connection had taken."""
    box = inbox()
    box.sent(OFF, 1.0)
    box.lost(3.0)
    assert box.take(3.25).link == Link(False, 3.0)
    box.lost(4.0)
    assert box.take(4.25).link.since == 3.0
    box.connected(5.0)
    assert box.take(9.25).link == Link(True, 5.0)


def test_orders_wait_for_the_tick_in_their_order() -> None:
    """All of them, each once; retained ones are passed on as such, so that they get their answer; one that cannot be
    read is turned away with every problem, not handed to the tick."""
    box = inbox()
    order(box, "pause", "1")
    order(box, "start", "2", retained=True)
    box.put(box.topics.order, b"stop", 1.1)
    put(box, box.topics.order, 1.2, order="start", id=7)
    got = [(o.name, o.id, o.retained) for o in box.take(1.25).orders]
    assert got == [("pause", "1", False), ("start", "2", True), ("stop", None, False)]
    turned, why = box.turned_away.popleft()
    assert (turned.name, why) == ("start", "id: no text")
    assert box.take(2.25).orders == ()


def test_a_flood_of_orders_is_turned_away_with_an_answer_and_a_stop_finds_room() -> None:
    """Beyond the room there is, orders get a reason; those that take heat away always get in, the newest of a kind."""
    box = inbox()
    for n in range(ORDERS + 5):
        order(box, "pause", f"p{n}")
    for n in range(10):
        order(box, "stop", f"s{n}")
    got = box.take(1.25).orders
    assert [o.id for o in got if o.name == "pause"] == [f"p{n}" for n in range(ORDERS)]
    assert [o.id for o in got if o.name == "stop"] == [f"s{n}" for n in range(10 - EACH_STOP, 10)]
    away = [f"p{ORDERS + n}" for n in range(5)] + [f"s{n}" for n in range(10 - EACH_STOP)]
    assert [o.id for o, why in box.turned_away if why] == away
    assert box.counters == {"orders turned away": len(away)}
    first = Reply("x", True, "done", RunState.IDLE, "reset")
    replies = box.answered([first], RunState.RUNNING)
    assert replies[0] == first
    assert [(reply.id, reply.accepted, reply.state) for reply in replies[1:]] == [(o, False, "running") for o in away]
    assert box.answered([], RunState.RUNNING) == []
    for n in range(300):
        order(box, "pause", f"p{n}", retained=True)
    assert len(box.turned_away) == 256


def test_the_edge_may_hold_an_order_back_and_bring_it_later() -> None:
    """`prepare` sees each readable order that is not retained; None means that it comes back by itself."""
    box = inbox()
    seen: list[Order] = []
    box.prepare = lambda o: seen.append(o) if o.name == "start" else o
    order(box, "start", "1")
    order(box, "pause", "2")
    order(box, "start", "3", retained=True)
    assert [o.id for o in box.take(1.25).orders] == ["2", "3"]
    box.order(seen[0])
    assert [o.id for o in box.take(2.25).orders] == ["1"]


def test_a_flood_is_named_after_ten_seconds_and_over_when_it_stops() -> None:
    """More than fifty messages a second on one topic for ten seconds; fifty are not a flood."""
    box = inbox()
    named = []
    for second in range(14):
        for _ in range(51 if second < 12 else 50):
            put(box, "p/outlet", float(second), x=1)
        named.append(box.take(second + 1.0).link.flooding)
    assert named == [None] * 9 + ["p/outlet"] * 3 + [None] * 2


def test_what_was_not_asked_for_is_counted() -> None:
    """A topic outside the table changes a counter only; an oversized message is not even parsed; what the edge measures
    reaches the tick unchanged."""
    box, disk = inbox(), Disk(False, 3, 5, 12.0, "full")
    box.put("p/other", b"1", 1.0)
    box.put(box.topics.order, b"x" * 70_000, 1.0)
    assert box.counters == {"a topic not asked for": 1, "too long": 1}
    box.put(box.topics.status, b'{"epoch":7}'.ljust(STATUS_CAP), 1.0, True)
    assert box.epoch_seen == 7
    clocks = Clocks(77.0, True, 0.25, 0.5, 8.0)
    got = box.take(1.25, disk=disk, clocks=clocks)
    assert got.orders == ()
    assert (got.disk, got.clocks) == (disk, clocks)
