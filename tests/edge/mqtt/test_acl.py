"""Who may say and hear what: the whole matrix of users and topics on a real Mosquitto with the shipped rights."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Iterator
from contextlib import AsyncExitStack, asynccontextmanager
from pathlib import Path
from typing import NamedTuple

import aiomqtt
import pytest

from controller.edge.dashboards import discovery
from controller.edge.dashboards.homie import Homie
from controller.edge.files import config_files
from controller.edge.mqtt import connection
from controller.field import hardware_config, heater_service, probe_node
from controller.messages.topics import topics
from tests.field import secured
from tests.field.secured import TUNS, WITNESS, Secured
from tests.places import CONFIG
from tests.waiting import PATIENCE_S

PROBES = tuple(f"probe/{role}{end}" for role in ("mash", "second", "outlet") for end in ("", "/online"))
NODES = (*PROBES, "level", "flow")
HEATER = ("heater/report", "heater/online")
MOTORS = ("stirrer/online", "pump/online")
TOLD = ("heater/command", "stirrer/command", "pump/command")
SAID = ("reply", "reply/a-client", "status", "event", "online", "horn")
OTHER = ("heater/other", "order/deeper", "secret")
PER_TUN = (*NODES, *HEATER, *MOTORS, *TOLD, *SAID, "order", "doctor", *OTHER)


def of(tun: str, *names: str) -> set[str]:
    """Topics of one tun."""
    return {f"underback/{tun}/{name}" for name in names}


def boards(tun: str) -> set[str]:
    """What dashboards read of one tun."""
    return {f"homeassistant/device/underback_{tun}/config", f"homie/5/underback-{tun}/$state"}


BIRTH = "homeassistant/status"
SUPPLY = {f"underback/supply/shed/{tun}" for tun in TUNS}  # a supply that several tuns draw on
ELSEWHERE = {"homeassistant/device/other/config", "homie/5/other/$state", "underback/status", "other/gannet/order", "x"}
ALL_BOARDS = {t for tun in TUNS for t in boards(tun)}


def all_tuns(*names: str) -> set[str]:
    return {t for tun in TUNS for t in of(tun, *names)}


TOPICS = sorted(ELSEWHERE | {BIRTH, "underback/supply/shed/other"} | SUPPLY | all_tuns(*PER_TUN) | ALL_BOARDS)


class Rights(NamedTuple):
    """Every topic a user may publish, and every topic it may hear; no other."""

    says: set[str]
    hears: set[str]


# Written from the topic table of the interface, not from the list of rights.
MATRIX: dict[str, Rights] = {
    "daemon": Rights(
        all_tuns(*TOLD, *SAID, "doctor") | ALL_BOARDS | SUPPLY,
        all_tuns(*NODES, *HEATER, *MOTORS, "heater/command", "heater/other", "order", "status", "doctor")
        | {BIRTH, "underback/supply/shed/other"}
        | SUPPLY,
    ),
    "probe-gannet": Rights(of("gannet", *PROBES), set()),
    "probe-plover": Rights(of("plover", *PROBES), set()),
    "heater-gannet": Rights(of("gannet", *HEATER, *MOTORS, "level", "flow"), of("gannet", *TOLD, *PROBES)),
    "heater-plover": Rights(of("plover", *HEATER, *MOTORS, "level", "flow"), of("plover", *TOLD, *PROBES)),
    "standin-gannet": Rights(of("gannet", *NODES, *HEATER, "order"), of("gannet", *TOLD, "status", "reply")),
    "operator": Rights(all_tuns("order", "doctor") | {BIRTH}, all_tuns(*PER_TUN) | ALL_BOARDS),
    "panel": Rights({BIRTH}, all_tuns("status", "event", "online") | ALL_BOARDS),
}


@pytest.fixture(scope="module")
def broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Secured]:
    """One broker for all tests of this file."""
    with secured.running(tmp_path_factory.mktemp("acl")) as running:
        yield running


class Client:
    """A user's connection that keeps what it hears."""

    client: aiomqtt.Client

    def __init__(self) -> None:
        self.heard: list[tuple[str, bytes, bool]] = []

    def take(self, message: aiomqtt.Message) -> None:
        assert isinstance(message.payload, bytes)
        self.heard.append((message.topic.value, message.payload, message.retain))

    async def round_trip(self) -> None:
        """Everything the broker sent before is here when its next answer is."""
        await self.client.subscribe("x/nothing/here", timeout=PATIENCE_S)


@asynccontextmanager
async def client(broker: Secured, user: str, version: int = 5) -> AsyncIterator[Client]:
    made = Client()
    made.client = await connection.make(broker.login(user, version=version), f"{user}-{version}-matrix", made.take)
    async with made.client:
        yield made


@pytest.mark.parametrize("version", [5, 3])
async def test_what_each_user_may_say(broker: Secured, version: int) -> None:
    """Every user publishes on every topic; a witness hears exactly those that the table allows."""
    async with AsyncExitStack() as stack:
        witness = await stack.enter_async_context(client(broker, WITNESS))
        await witness.client.subscribe("#", qos=1)
        for user in MATRIX:
            speaker = await stack.enter_async_context(client(broker, user, version))
            await asyncio.gather(*(speaker.client.publish(topic, user, qos=1, timeout=PATIENCE_S) for topic in TOPICS))
        await witness.round_trip()
        came = {user: {t for t, payload, _ in witness.heard if payload == user.encode()} for user in MATRIX}
        assert came == {user: rights.says for user, rights in MATRIX.items()}


async def test_what_each_user_may_hear(broker: Secured) -> None:
    """A witness publishes on every topic; each user, asking for everything, hears exactly what the table allows."""
    async with AsyncExitStack() as stack:
        listeners = {user: await stack.enter_async_context(client(broker, user)) for user in MATRIX}
        for listener in listeners.values():
            await listener.client.subscribe([("#", 1), ("$SYS/#", 1)])
        witness = await stack.enter_async_context(client(broker, WITNESS))
        await asyncio.gather(*(witness.client.publish(topic, b"to all", qos=1, timeout=PATIENCE_S) for topic in TOPICS))
        for listener in listeners.values():
            await listener.round_trip()
        came = {user: {t for t, payload, _ in c.heard if payload == b"to all"} for user, c in listeners.items()}
        assert came == {user: rights.hears for user, rights in MATRIX.items()}
        assert not any(t.startswith("$SYS") for c in listeners.values() for t, _, _ in c.heard)


async def test_retained_messages_follow_the_same_rights(broker: Secured) -> None:
    """What was retained before somebody listens is heard by those who may hear it and by nobody else."""
    topics = sorted(of("gannet", "status", "probe/mash/online", "heater/online"))
    async with client(broker, WITNESS) as witness:
        for topic in topics:
            await witness.client.publish(topic, b"kept", qos=1, retain=True, timeout=PATIENCE_S)
    for user, rights in MATRIX.items():
        async with client(broker, user) as listener:
            await listener.client.subscribe("#", qos=1)
            await listener.round_trip()
            kept = {t for t, payload, retained in listener.heard if payload == b"kept" and retained}
            assert kept == rights.hears & set(topics), user
    async with client(broker, WITNESS) as witness:
        for topic in topics:
            await witness.client.publish(topic, b"", qos=1, retain=True, timeout=PATIENCE_S)


def test_every_topic_of_the_table_has_an_owner() -> None:
    """Each topic of the interface may be said by somebody; those that lead to heat by one user alone."""
    speakers = {t: {u for u, r in MATRIX.items() if t in r.says and not u.startswith("standin")} for t in TOPICS}
    named = of("gannet", *NODES, *HEATER, *TOLD, *SAID, "order")
    assert all(speakers[topic] for topic in named)
    assert speakers["underback/gannet/heater/command"] == {"daemon"}
    assert speakers["underback/gannet/probe/mash"] == {"probe-gannet"}
    assert speakers["underback/gannet/order"] == {"operator"}


async def test_a_wrong_list_would_be_seen(tmp_path: Path) -> None:
    """The matrix bites: with one right too many in the shipped list, a user says more than the table allows."""
    folder = secured.prepare(tmp_path)
    with (folder / "acl").open("a", encoding="ascii") as acl:
        acl.write("user panel\ntopic write underback/gannet/heater/command\n")
    with secured.restarted(tmp_path, folder) as wrong:
        async with client(wrong, WITNESS) as witness, client(wrong, "panel") as panel:
            await witness.client.subscribe("#", qos=1)
            await asyncio.gather(
                *(panel.client.publish(topic, b"panel", qos=1, timeout=PATIENCE_S) for topic in TOPICS)
            )
            await witness.round_trip()
            heard = {t for t, payload, _ in witness.heard if payload == b"panel"}
    assert heard - MATRIX["panel"].says == {"underback/gannet/heater/command"}


@pytest.mark.parametrize("tun", TUNS)
def test_the_matrix_knows_every_topic_of_the_code(tun: str) -> None:
    """What daemon, nodes and dashboards say and hear with the shipped files is in the table under their names."""
    settings = config_files.settings(CONFIG, tun)
    table, board = topics(settings), discovery.Board(settings)
    daemon = MATRIX["daemon"]
    assert {*table.heard(), *board.topics()} <= daemon.hears
    said = {table.heater_command, table.stirrer_command, table.pump_command, table.status, table.reply, table.event}
    assert (said | {table.online}) - {None} <= daemon.says
    assert {discovery.announcement(settings).topic, f"{Homie('homie', settings, 1).base}/$state"} == boards(tun)
    fitted = hardware_config.load(CONFIG, tun, "heater")
    assert fitted.table.heater is not None
    assert fitted.table.probe is not None
    heater, node = MATRIX[f"heater-{tun}"], heater_service.named(fitted, fitted.table.heater)
    assert set(node.heard()) <= heater.hears
    assert {node.report, node.online, node.level or node.report, node.flow or node.report} <= heater.says
    places = probe_node.places(fitted, fitted.table.probe)
    assert {f"{place.probe.topic}{end}" for place in places for end in ("", "/online")} <= MATRIX[f"probe-{tun}"].says
