"""Does the simulated world speak as real nodes do, and do its faults do what they say?"""

from __future__ import annotations

import itertools
import json
from typing import Any

import pytest

from controller.core.nouns import Bad, Reading
from controller.messages import incoming
from controller.messages.strict_json import Refused
from controller.plan.plan import Plan
from controller.settings.service import Settings
from sim.world.faults import KINDS, parse
from sim.world.network import Message
from sim.world.world import World

Pair = tuple[Settings, Plan]


def world(pair: Pair, *faults: str, seed: int = 1) -> World:
    return World(pair[0], pair[1].course, seed, [parse(spec) for spec in faults])


def heat(world: World, until: float, duty: float = 1.0, stir: bool = True) -> list[Message]:
    """The world for so long with a lease renewed each second."""
    came = []
    start = max(0.0, world.now)
    for second in range(int(start), int(until)):
        t = second + 0.25
        came += world.until(t)
        said = {"epoch": 1, "seq": second + 1, "duty": duty, "valid_s": 10.0}
        world.receive(world.topics.heater_command, json.dumps(said).encode(), t)
        for topic in (world.topics.stirrer_command, world.topics.pump_command):
            if topic is not None and stir:
                world.receive(topic, b'{"seq": 1, "on": true, "valid_s": 10.0, "reason": ""}', t)
    return came + world.until(until)


def readings(world: World, messages: list[Message], role: str = "mash") -> list[Reading | Bad]:
    probe = getattr(world.settings.tun.probes, role)
    shape = incoming.form(probe.pointer, probe.unit, probe.unit_pointer, probe.seq_pointer, probe.at_pointer)
    return [incoming.reading(shape, m.payload, m.at, 0.0) for m in messages if m.topic == probe.topic]


def values(world: World, messages: list[Message], role: str = "mash") -> list[float]:
    return [r.value_c for r in readings(world, messages, role) if isinstance(r, Reading)]


def reports(world: World, messages: list[Message]) -> list[dict[str, Any]]:
    return [json.loads(m.payload) for m in messages if m.topic == world.topics.heater_report]


@pytest.mark.parametrize("which", ["gannet", "plover"])
def test_every_message_is_read_by_the_services_own_readers(which: str, request: pytest.FixtureRequest) -> None:
    """Ten minutes of a healthy tun: readings, reports and switches pass the strict readers; nothing else comes."""
    made = world(request.getfixturevalue(which))
    came = heat(made, 600.0)
    nodes = made.topics.probe_online, made.topics.heater_online, *made.topics.movers_online
    known = dict.fromkeys(nodes, incoming.online)
    for message in came:
        if message.topic == made.topics.heater_report:
            assert not isinstance(incoming.report(message.payload, message.at), Refused)
        elif message.topic in (made.topics.level, made.topics.flow):
            assert not isinstance(incoming.switch(message.payload, message.at), Refused)
        elif message.topic in known:
            assert known[message.topic](message.payload) is True
        else:
            assert message.topic in dict(made.topics.probes).values()
    got = readings(made, came)
    assert len(got) >= 570
    assert all(isinstance(reading, Reading) for reading in got)
    assert [m.at for m in came] == sorted(m.at for m in came)
    assert all(m.at % 0.5 == 0.0 for m in came)


def test_the_same_seed_speaks_the_same_bytes(gannet: Pair) -> None:
    """Byte for byte, with faults that draw random numbers as well; another seed speaks others."""
    faults = ("lost@60+60=0.5", "reorder@120+60=5", "probe_spike@200+60")
    runs = [heat(world(gannet, *faults, seed=seed), 300.0) for seed in (4, 4, 5)]
    assert runs[0] == runs[1]
    assert runs[0] != runs[2]


def test_the_probe_lags_and_shows_what_it_feels(gannet: Pair) -> None:
    """While the mash warms steadily the reading is behind by the rate times the probe's lag."""
    made = world(gannet)
    came = heat(made, 1200.0)
    probe = made.probes["mash"]
    rate = (made.tun.spot_c("centre") - 12.0) / 1200.0
    behind = made.tun.spot_c("centre") - values(made, came)[-1]
    assert 0.5 * rate * probe.senses.lag_s < behind < 3.0 * rate * probe.senses.lag_s + 0.15


def test_the_heater_falls_to_off_when_nobody_renews_its_lease(gannet: Pair) -> None:
    """No command after 60 s: power flows until the lease of 10 s is over, and not beyond."""
    made = world(gannet)
    heat(made, 60.0)
    at_end = made.tun.energy().heater
    made.until(69.0)
    assert made.heater.share == 1.0
    made.until(70.5)
    later = made.tun.energy().heater
    assert made.heater.share == 0.0
    made.until(200.0)
    assert made.tun.energy().heater == later > at_end


def test_stirrer_and_pump_need_their_lease_too(plover: Pair) -> None:
    """Told on for 10 s the pump runs and the flow switch says so; then both stop."""
    made = world(plover)
    made.until(5.0)
    assert made.tun.pumping == 0.0
    made.receive(made.topics.pump_command or "", b'{"seq": 1, "on": true, "valid_s": 10.0}', 5.25)
    assert made.until(8.0) and made.tun.pumping == 1.0
    made.until(16.0)
    assert made.tun.pumping == 0.0
    made.receive(made.topics.pump_command or "", b'{"on": 1}', 16.25)  # no proper command moves nothing
    made.receive(made.topics.pump_command or "", b"\xff", 16.25)
    made.until(17.0)
    assert made.tun.pumping == 0.0


# ---------------------------------------------------------------- faults of the readings


@pytest.mark.parametrize("fault", ["probe_unplugged@60+60", "probe_offline@60+60", "mains_cut@60+60"])
def test_a_dead_probe_says_nothing(gannet: Pair, fault: str) -> None:
    """No reading between 60 and 120 s, readings before and after."""
    made = world(gannet, fault)
    came = [m for m in heat(made, 180.0) if m.topic == made.settings.tun.probes.mash.topic]
    assert not [m for m in came if 60.0 <= m.at < 120.0]
    assert [m for m in came if m.at < 60.0] and [m for m in came if m.at >= 121.0]


def test_a_frozen_value_goes_on_counting_and_a_stale_one_does_not(gannet: Pair) -> None:
    """Frozen: one value, rising sequence; stale: one value, one sequence."""
    frozen = world(gannet, "probe_frozen@60")
    late = [r for r in readings(frozen, heat(frozen, 300.0)) if isinstance(r, Reading) and r.at >= 60.0]
    assert len({r.value_c for r in late}) == 1 and len({r.seq for r in late}) == len(late) > 200
    stale = world(gannet, "probe_stale@60")
    late = [r for r in readings(stale, heat(stale, 300.0)) if isinstance(r, Reading) and r.at >= 60.0]
    assert len({(r.value_c, r.seq) for r in late}) == 1


@pytest.mark.parametrize("value", [85.0, -127.0, 127.94, 0.0, 999.0, -273.15])
def test_a_failed_sensors_value_is_sent_as_it_is(gannet: Pair, value: float) -> None:
    """Exactly this number on the wire."""
    made = world(gannet, f"probe_value@60={value}")
    assert values(made, heat(made, 70.0))[-1] == value


@pytest.mark.parametrize("fault", ["probe_nan@60+60", "probe_text@60+60"])
def test_nonsense_is_nonsense_to_the_reader(gannet: Pair, fault: str) -> None:
    """Nothing that comes in that minute is taken for a reading."""
    made = world(gannet, fault)
    during = [m for m in heat(made, 130.0) if 60.0 <= m.at < 120.0]
    got = readings(made, during)
    assert len(got) > 50
    assert all(isinstance(reading, Bad) for reading in got)


@pytest.mark.parametrize(
    ("fault", "low", "high"),
    [
        ("probe_jump@60=20", 19.5, 22.0),
        ("probe_drift@60=5", 4.0, 7.5),
        ("probe_fahrenheit@60", 42.0, 46.0),
        ("probe_celsius@60", -25.0, -21.0),
        ("probe_wash@60=3", 2.9, 5.2),
    ],
)
def test_a_misleading_probe_misleads_by_what_it_says(gannet: Pair, fault: str, low: float, high: float) -> None:
    """A minute later the reading is off by the fault's own amount, give or take what a minute of heat brings."""
    off = values(world(gannet), heat(made := world(gannet, fault), 120.0))[-1]
    honest = values(made, heat(world(gannet), 60.0))[-1]
    assert low <= off - honest <= high


def test_a_spiking_probe_spikes_every_fifth_time(gannet: Pair) -> None:
    """Four samples in five are honest, the fifth is 20 K off."""
    made = world(gannet, "probe_spike@60+60=20")
    late = [r.value_c for r in readings(made, heat(made, 119.0)) if isinstance(r, Reading) and r.at >= 60.0]
    wild = [value for value in late if value > 25.0]
    assert len(late) / 6 < len(wild) < len(late) / 4


def test_a_fallen_probe_goes_to_the_room(gannet: Pair) -> None:
    """After five time constants it reads the room's air, whatever the liquor does."""
    made = world(gannet, "probe_fallen@600=20")
    assert values(made, heat(made, 700.0))[-1] == pytest.approx(made.truth.room_c, abs=0.3)


def test_probes_can_be_swapped(plover: Pair) -> None:
    """Under heat the outlet reads more than the bed; swapped, it is the other way round."""
    made = world(plover, "probe_swapped@300")
    came = heat(made, 299.0)
    assert values(made, came)[-1] < values(made, came, "outlet")[-1] - 2.0
    came = heat(made, 400.0)
    assert values(made, came)[-1] > values(made, came, "outlet")[-1] + 2.0


def test_slow_and_flooding_probes_keep_their_pace(gannet: Pair) -> None:
    """One reading in 15 s, and 200 in one."""
    slow = world(gannet, "probe_slow@60=15")
    assert 3 <= len([m for m in readings(slow, heat(slow, 120.0)) if m.at > 61.0]) <= 5
    flood = world(gannet, "probe_flood@60+10=200")
    assert len([m for m in readings(flood, heat(flood, 80.0)) if 60.0 <= m.at < 70.0]) > 1500


def test_a_probe_node_that_starts_anew_counts_from_one(gannet: Pair) -> None:
    """The sequence falls back once."""
    made = world(gannet, "probe_reboot@60")
    seqs = [r.seq or 0 for r in readings(made, heat(made, 120.0)) if isinstance(r, Reading)]
    assert sum(b < a for a, b in itertools.pairwise(seqs)) == 1


def test_a_strangers_reading_comes_beside_the_true_one(gannet: Pair) -> None:
    """Two senders on one topic."""
    made = world(gannet, "foreign_reading@60+10=30")
    during = [r.value_c for r in readings(made, heat(made, 75.0)) if isinstance(r, Reading) and 60.0 <= r.at < 70.0]
    assert 30.0 in during and min(during) < 20.0


# ---------------------------------------------------------------- faults of heater and plant


@pytest.mark.parametrize(
    ("fault", "duty", "share"),
    [
        ("heater_welded@60", 0.0, 1.0),
        ("heater_welded@60=0.3", 0.0, 0.3),
        ("heater_open@60", 1.0, 0.0),
        ("heater_power@60=0.5", 1.0, 0.5),
        ("mains_cut@60", 1.0, 0.0),
        ("heater_deaf@60+600", 1.0, 0.0),
        ("heater_gone@60+600", 1.0, 0.0),
        ("heater_boots_on@60+600", 0.0, 1.0),
        ("level_lost@60", 1.0, 0.0),
    ],
)
def test_a_heater_fault_changes_what_flows(gannet: Pair, fault: str, duty: float, share: float) -> None:
    """Twenty seconds into the fault this share of the power flows, whatever was commanded."""
    made = world(gannet, fault)
    heat(made, 60.0, duty)
    heat(made, 80.0, duty)
    assert made.heater.share == share


def test_the_heater_reports_each_command_and_lies_only_by_a_fault(gannet: Pair) -> None:
    """Every sequence is acknowledged with the present output; under `heater_lies` the duty is the fault's."""
    made = world(gannet, "heater_lies@60=0.7", "heater_silent@90")
    came = heat(made, 120.0, 0.0)
    seqs = [r["seq"] for r in reports(made, [m for m in came if m.at < 60.0])]
    assert sorted(set(seqs))[-58:] == list(range(sorted(set(seqs))[-58], sorted(set(seqs))[-1] + 1))
    assert {r["duty"] for r in reports(made, [m for m in came if m.at < 60.0])} == {0.0}
    assert {r["duty"] for r in reports(made, [m for m in came if 61.0 <= m.at < 90.0])} == {0.7}
    assert not reports(made, [m for m in came if m.at >= 90.0])


def test_a_heater_node_that_starts_anew_says_so(gannet: Pair) -> None:
    """Another boot word, the output off until the next command."""
    made = world(gannet, "heater_reboot@60")
    came = reports(made, heat(made, 70.0))
    assert len({r["boot"] for r in came}) == 2
    gone = world(gannet, "heater_gone@60+30")
    words = [m.payload for m in heat(gone, 120.0) if m.topic == gone.topics.heater_online]
    assert words == [b"true", b"false", b"true"]


@pytest.mark.parametrize(
    ("fault", "flows"), [("pump_stopped@60", 0.0), ("pump_slow@60=0.5", 0.5), ("mains_cut@60", 0.0)]
)
def test_the_pump_can_fail(plover: Pair, fault: str, flows: float) -> None:
    """What is left of the flow; the flow switch opens below a third."""
    made = world(plover, fault)
    came = heat(made, 80.0)
    assert made.tun.pumping == flows
    said = [json.loads(m.payload)["ok"] for m in came if m.topic == made.topics.flow]
    assert said[-1] is (flows > 0.3)


def test_switches_can_lie_and_fall_silent(plover: Pair, gannet: Pair) -> None:
    """flow_lost says false though it flows; level_silent says nothing."""
    made = world(plover, "flow_lost@60")
    assert not json.loads([m for m in heat(made, 80.0) if m.topic == made.topics.flow][-1].payload)["ok"]
    assert made.tun.pumping == 1.0
    silent = world(gannet, "level_silent@60")
    assert max(m.at for m in heat(silent, 120.0) if m.topic == silent.topics.level) < 60.0


def test_liquor_lid_and_mains_act_on_the_tun(gannet: Pair) -> None:
    """Cold liquor cools, hot liquor warms, an open lid loses, low mains heat less."""
    calm = world(gannet)
    heat(calm, 1200.0)
    for fault, cooler in (("cold_liquor@600=10", True), ("hot_liquor@600=5", False), ("mains_power@600=0.5", True)):
        made = world(gannet, fault)
        heat(made, 1200.0)
        assert (made.tun.mash_mean_c < calm.tun.mash_mean_c - 0.3) is cooler
    lid = world(gannet, "lid_open@600")
    heat(lid, 1200.0)
    assert lid.tun.energy().lost > calm.tun.energy().lost + 1e3
    less = world(gannet, "liquor_share@0=0.6")
    assert less.tun.liquor_kg == pytest.approx(0.6 * gannet[1].course.liquor_kg)
    assert world(gannet, "stirrer_stopped@0").until(5.0) and not made.tun.spec.flow_kg_per_s


# ---------------------------------------------------------------- faults of the way


def test_without_a_broker_nothing_passes_and_retained_words_return(gannet: Pair) -> None:
    """Between 60 and 90 s no message arrives and no command reaches the node; then retained copies come first, and a
    node whose mains were away and came back meanwhile says that it is there."""
    made = world(gannet, "broker_gone@60+30")
    came = heat(made, 120.0)
    assert not [m for m in came if 60.0 <= m.at < 90.0]
    assert made.network.up
    back = [m for m in came if m.at == 90.0]
    assert back[0].retained and back[0].topic in (made.topics.heater_online, made.topics.probe_online)
    came = heat(world(gannet, "broker_gone@60+30", "mains_cut@65+10"), 120.0)
    assert [m.payload for m in came if m.topic == made.topics.heater_online and m.at >= 90.0][-1] == b"true"


def test_messages_can_be_late_double_lost_and_out_of_order(gannet: Pair) -> None:
    """Each trouble does its own."""
    topic = gannet[0].tun.probes.mash.topic
    plain = [m for m in heat(world(gannet), 120.0) if m.topic == topic]
    late = [m for m in heat(world(gannet, "delay@60+600=5"), 120.0) if m.topic == topic]
    assert not [m for m in late if 60.0 <= m.at < 65.0]
    assert [m.payload for m in plain if 60.0 <= m.at < 110.0] == [m.payload for m in late if 65.0 <= m.at < 115.0]
    double = [m for m in heat(world(gannet, "duplicate@60+600=3"), 119.9) if m.topic == topic and m.at >= 60.0]
    assert len(double) == 3 * len([m for m in plain if 60.0 <= m.at < 119.9])
    lost = [m for m in heat(world(gannet, "lost@60+600=0.5"), 119.9) if m.topic == topic and m.at >= 60.0]
    assert 15 < len(lost) < 45
    mixed = [m.payload for m in heat(world(gannet, "reorder@60+600=5"), 120.0) if m.topic == topic and m.at >= 60.0]
    seqs = [json.loads(payload)["seq"] for payload in mixed]
    assert seqs != sorted(seqs)


def test_traps_replays_and_strangers_arrive(gannet: Pair) -> None:
    """Retained copies are marked retained and never heat; replays repeat; strangers speak on the heater's topic."""
    made = world(
        gannet, "retained_replay@60", "replay@70", "foreign_off@80+2", "foreign_epoch@90+2=3", "foreign_heat@100+2"
    )
    made.say(made.topics.order, b'{"order": "start", "id": "a"}', 1.0)
    came = heat(made, 110.0, 0.4)
    traps = [m for m in came if m.retained]
    assert {m.topic for m in traps} == {made.topics.order, made.topics.heater_command}
    orders = [m for m in came if m.topic == made.topics.order and not m.retained]
    assert [m.payload for m in orders] == [b'{"order": "start", "id": "a"}'] * 2
    strange = [json.loads(m.payload) for m in came if m.topic == made.topics.heater_command and not m.retained]
    assert [s["duty"] for s in strange] == [0.4, 0, 0, 0.0, 0.0, 1.0, 1.0]
    assert made.heater.refused >= 2  # the retained trap and the replayed command
    assert made.heater.state.epoch == 4


def test_every_fault_has_been_tried(gannet: Pair, plover: Pair) -> None:
    """Each kind in the table, for a minute on both tuns: the world goes on, and the books close to 0.1 %."""
    for kind in KINDS:
        for pair in (gannet, plover):
            made = world(pair, f"{kind}@30+60")
            heat(made, 120.0)
            energy = made.tun.energy()
            assert abs(energy.gap_j) < 1e-3 * (energy.heater + energy.added + 1.0), kind


@pytest.mark.parametrize("liquor_c", [60.0, 66.0, 80.0])
def test_a_mash_that_lands_too_warm_is_tempered_with_cold_liquor(plover: Pair, liquor_c: float) -> None:
    """However hot the liquor came into the tun, little cold liquor is enough to take off the last 2 K."""
    one = World(plover[0], plover[1].course, 1, [], None, liquor_c)
    one.until(1.0)
    wanted_c = one.tun.mash_mean_c - 2.0
    kg = one.temper(wanted_c)
    assert 0.0 < kg < 2.0
