"""The check of a field node: honest ones keep every rule, and each saboteur is caught by the rule that it breaks."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable, Sequence

import pytest

from controller.commissioning import node_check
from controller.commissioning.heater_hands import POWER
from controller.commissioning.node_bench import Bench, Stranger
from controller.commissioning.node_rules import HEATER, UNTRIED, Hands, Nobody, Verdict, as_json, lines
from controller.edge.mqtt.transport import MemoryBroker
from controller.settings.tun import Tun
from tests.commissioning import saboteurs
from tests.commissioning.bench_nodes import OWN, TOPICS, Cabled, Heater, NodeHands, Probe, now
from tests.commissioning.shipped_nodes import ShippedHeater, ShippedProbe, StandIn
from tests.edge.virtual import GANNET, run

TUN = GANNET.tun
Node = Callable[[MemoryBroker], Cabled]
ALONE: dict[str, set[str]] = {  # what the broker shows of any node
    "heater": {rule.id for rule in HEATER[: [rule.id for rule in HEATER].index("rest")]} - {"counted"},
    "mash": {"readings", "readable", "pace", "new", "kept", "possible"},
    "second": {"readings", "readable", "pace", "new", "kept", "possible"},
}


class Rig:
    """A node that lives, on a broker in memory, and the check's ear on it."""

    def __init__(self, node: Node) -> None:
        self.broker = MemoryBroker()
        self.node = node(self.broker)
        self.living = asyncio.create_task(self.node.live())
        self.bench = Bench(self.send, self.ask, now, TOPICS)
        self.broker.listen(None, self.bench.hear)

    async def ask(self, topics: Sequence[str]) -> None:
        for topic in {*topics} & self.broker.retained.keys():
            self.bench.hear(topic, self.broker.retained[topic], True)

    async def send(self, topic: str, payload: bytes, retain: bool) -> None:
        self.broker.publish(topic, payload, retain)


def checked(node: Node, part: str, hands: Hands | None = None, tun: Tun = TUN) -> list[Verdict]:
    """What the check says of this node."""

    async def whole() -> list[Verdict]:
        rig = Rig(node)
        await asyncio.sleep(3.0)  # the node was there before the check
        try:
            return await node_check.check(rig.bench, tun, hands or NodeHands(rig.node), (part,))
        finally:
            rig.living.cancel()

    return run(whole())


def failed(verdicts: list[Verdict]) -> dict[str, str]:
    return {verdict.rule.id: verdict.found for verdict in verdicts if verdict.result == "failed"}


def untried(verdicts: list[Verdict]) -> set[str]:
    return {verdict.rule.id for verdict in verdicts if verdict.result == "not tried"}


@pytest.mark.parametrize(
    ("node", "part", "left"),
    [
        (Heater, "heater", {"switch stuck"}),
        (ShippedHeater, "heater", {"switch stuck"}),
        (Probe, "mash", set()),
        (ShippedProbe, "mash", set()),
    ],
)
def test_a_node_that_keeps_every_rule_passes(node: Node, part: str, left: set[str]) -> None:
    """With a person beside it every rule is tried but the stuck switch, and none is broken."""
    verdicts = checked(node, part)
    assert (failed(verdicts), untried(verdicts)) == ({}, left)


@pytest.mark.parametrize("part", ["heater", "mash", "second"])
def test_the_stand_in_passes_what_the_broker_shows(part: str) -> None:
    """The simulated tun's nodes break no rule that can be tried without a person."""
    verdicts = checked(StandIn, part, Nobody())
    assert failed(verdicts) == {}
    assert {verdict.rule.id for verdict in verdicts if verdict.result == "passed"} >= ALONE[part]


@pytest.mark.parametrize("rule", sorted(saboteurs.HEATERS))
def test_each_heater_saboteur_is_caught(rule: str) -> None:
    """A node that breaks one rule of a heater's fails by that rule."""
    for node in saboteurs.HEATERS[rule]:
        assert rule in failed(checked(node, "heater"))


@pytest.mark.parametrize("rule", sorted(saboteurs.PROBES))
def test_each_probe_saboteur_is_caught(rule: str) -> None:
    """A node that breaks one rule of a probe's fails by that rule."""
    for node in saboteurs.PROBES[rule]:
        assert rule in failed(checked(node, "mash"))


@pytest.mark.parametrize(
    ("node", "broken"),
    [(Heater, set()), (saboteurs.NeverRests, {"rest"}), (saboteurs.ReportsTheMean, {"present duty"})],
)
def test_a_contactor_must_rest_and_is_on_or_off(node: type[Heater], broken: set[str]) -> None:
    """On a tun with a contactor one that closes at once fails, and one that reports a mean; one that rests passes."""
    contactor = TUN.model_copy(update={"heater": TUN.heater.model_copy(update={"kind": "contactor"})})
    own = OWN.but(min_off_s=10.0)
    assert set(failed(checked(lambda broker: node(broker, own), "heater", tun=contactor))) == broken


def test_without_a_person_nothing_is_passed_that_needs_one() -> None:
    """Alone, the rules of supply, thermometer and contacts are not tried, and the table says why."""
    verdicts = checked(Heater, "heater", Nobody())
    assert failed(verdicts) == {}
    assert untried(verdicts) == {*POWER, "own limit", "own probe", "no liquid", "switch stuck"}
    assert {v.found for v in verdicts if v.rule.id in POWER} == {UNTRIED}


def test_a_node_that_is_not_there_fails_by_one_rule_alone() -> None:
    """Without a report nothing else is judged."""
    verdicts = checked(Probe, "heater")
    assert set(failed(verdicts)) == {"reports"}
    assert len(untried(verdicts)) == len(verdicts) - 1


def test_a_stranger_ends_the_check_with_off() -> None:
    """A command that is not the check's own ends it, and the last word to the heater is OFF."""

    async def whole() -> tuple[str, list[bytes]]:
        rig = Rig(Heater)
        checking = asyncio.create_task(node_check.check(rig.bench, TUN, Nobody(), ("heater",)))
        await asyncio.sleep(10.0)
        rig.broker.publish(TOPICS.heater_command, b'{"epoch":9,"seq":1,"valid_s":10,"duty":1}')
        with pytest.raises(Stranger) as stranger:
            await checking
        rig.living.cancel()
        return str(stranger.value), [p for t, p, _ in rig.broker.history if t == TOPICS.heater_command]

    who, said = run(whole())
    assert '"epoch":9' in who
    assert [json.loads(payload)["duty"] for payload in said[-2:]] == [0, 0]


def test_a_daemon_is_seen_before_the_check_begins() -> None:
    """Whoever says a status or commands the heater owns the tun; a status from before, and silence, own nothing."""

    async def owner(topic: str, payload: bytes, retain: bool) -> str | None:
        rig = Rig(Heater)
        if retain:
            rig.broker.publish(topic, payload, True)
        asking = asyncio.create_task(rig.bench.owner())
        await asyncio.sleep(1.0)
        if not retain:
            rig.broker.publish(topic, payload)
        found = await asking
        rig.living.cancel()
        return found

    status = b'{"state": "idle"}'
    assert run(owner(TOPICS.status, status, False)) == "a daemon says its status (idle)"
    assert "commands its heater" in str(run(owner(TOPICS.heater_command, b'{"duty": 0}', False)))
    assert run(owner(TOPICS.status, status, True)) is None


def test_the_table_says_what_to_do_about_a_broken_rule() -> None:
    """In the table and as JSON a broken rule has its remedy, and no other has one."""
    verdicts = checked(saboteurs.HEATERS["sequence"][0], "heater", Nobody())
    broken = [line for line in lines(verdicts) if line.startswith("FAILED")]
    assert len(broken) == 1 and "sequence" in broken[0]
    assert sum(line.strip().startswith("->") for line in lines(verdicts)) == 1
    assert [one["rule"] for one in as_json(verdicts) if one["do"]] == ["sequence"]
