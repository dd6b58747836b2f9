"""Discovery, Homie and OpenMetrics against the published field lists and a reference parser.

Field lists restated from: the MQTT integration's published schemas and documentation (device discovery, sensor, binary
sensor, button, event); homieiot/convention version 5 (CC-BY 4.0); OpenMetrics 1.0.
"""

from __future__ import annotations

import asyncio
import json
import re
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import jinja2
import pytest
from prometheus_client.openmetrics.parser import text_string_to_metric_families as parse
from prometheus_client.parser import text_string_to_metric_families as classic

from controller.core.nouns import RunState
from controller.core.procedure.orders import envelope
from controller.edge.dashboards import homie, metrics
from controller.edge.dashboards.discovery import Board, announcement, discovery, fixed_text_orders
from controller.messages import incoming
from controller.settings.service import Dashboards, Service, Settings
from controller.settings.tun import Probe, Probes
from tests.core.bench import settings as plain_settings
from tests.edge.statuses import a_mash, document, tripped

SHARED = {"unique_id", "name", "platform", "qos", "encoding", "entity_category", "enabled_by_default"}
LISTED: dict[str, set[str]] = {
    "sensor": {
        "state_topic", "unit_of_measurement", "device_class", "state_class", "expire_after", "value_template",
        "suggested_display_precision", "options",
    },
    "binary_sensor": {
        "state_topic", "payload_on", "payload_off", "device_class", "off_delay", "expire_after", "value_template",
    },
    "button": {"command_topic", "payload_press", "command_template", "retain", "device_class"},
    "event": {"state_topic", "event_types", "value_template", "device_class"},
}  # fmt: skip
TOP = {
    "device", "components", "origin", "availability", "availability_topic", "availability_mode",
    "payload_available", "payload_not_available", "state_topic", "command_topic", "qos", "encoding",
}  # fmt: skip
DEVICE = {
    "identifiers", "connections", "name", "manufacturer", "model", "hw_version", "sw_version", "serial_number",
    "configuration_url", "suggested_area", "via_device",
}  # fmt: skip
DEVICE_CLASSES = {
    "sensor": {"temperature", "duration", "power", "enum", "timestamp"},
    "binary_sensor": {"problem", "heat", "running"},
}


def with_boards(**switches: Any) -> Settings:
    boards = Dashboards(**{"discovery": True, **switches})
    probes = Probes(mash=Probe(topic="p/mash"), second=Probe(topic="p/second"), outlet=Probe(topic="p/outlet"))
    return plain_settings(probes=probes)._replace(service=Service(dashboards=boards))


def components() -> dict[str, dict[str, Any]]:
    found: dict[str, dict[str, Any]] = discovery(with_boards())[1]["components"]
    return found


def test_discovery_has_the_required_parts_and_no_unknown_key() -> None:
    """The document has device, origin and components as the schema wants them, and nothing that it does not list;
    every sensor and truth value expires within ten seconds, however long the broker keeps it; availability hangs on the
    last will; switched off, the same topic gets an empty retained payload."""
    topic, found = discovery(with_boards())
    assert re.fullmatch(r"homeassistant/device/[A-Za-z0-9_-]+/config", topic)
    assert {"device", "components", "origin"} <= set(found) <= TOP
    assert set(found["device"]) <= DEVICE
    assert found["device"]["identifiers"] and found["origin"]["name"]
    expiring = [c for c in found["components"].values() if c["platform"] in ("sensor", "binary_sensor")]
    assert {c["expire_after"] for c in expiring} == {10}
    assert found["availability_topic"] == "underback/testtun/online"
    assert (found["payload_available"], found["payload_not_available"]) == ("true", "false")
    on, off = announcement(with_boards()), announcement(with_boards(discovery=False))
    assert (on.topic, on.retain, off.retain) == (off.topic, True, True)
    assert on.payload and off.payload == b""


@pytest.mark.parametrize("key", sorted(components()))
def test_each_component_fits_its_platform(key: str) -> None:
    """Every component names a platform, has a unique id, and uses only that platform's published options."""
    component = components()[key]
    platform = component["platform"]
    assert set(component) <= SHARED | LISTED[platform]
    assert component["unique_id"].endswith(key)
    if "device_class" in component:
        assert component["device_class"] in DEVICE_CLASSES[platform]
    if component.get("device_class") in ("enum", "timestamp"):
        assert not {"state_class", "unit_of_measurement"} & set(component)
    if platform == "event":
        assert component["event_types"]


def test_the_field_check_bites() -> None:
    """A misspelt option would be caught by the same comparison."""
    component = {**components()["temperature"], "expires_after": 10}
    assert not set(component) <= SHARED | LISTED["sensor"]


def rendered(template: str, status: dict[str, Any]) -> str:
    """The template as the platform renders it: Jinja with its `to_json` and `as_datetime`."""
    world = jinja2.Environment(autoescape=False)
    world.filters["to_json"] = json.dumps
    world.filters["as_datetime"] = lambda at: datetime.fromtimestamp(at, UTC)
    return world.from_string(template).render(value_json=status)


def all_rendered(status: dict[str, Any]) -> dict[str, str]:
    found = {k: c for k, c in components().items() if "value_template" in c and "state_topic" not in c}
    return {k: rendered(c["value_template"], status) for k, c in found.items()}


def test_an_event_names_its_type() -> None:
    """An event's kind is its type where it is listed, else it is a note; the text comes along."""
    event = components()["event"]
    for kind, wanted in (("step", "step"), ("step done", "note")):
        said = json.loads(rendered(event["value_template"], {"kind": kind, "id": "x", "text": 'a "b"'}))
        assert said == {"event_type": wanted, "id": "x", "text": 'a "b"'}
        assert wanted in event["event_types"]


def test_every_template_renders_what_the_status_says() -> None:
    """Each value template gives the value of a running mash; with no program and no reading none, not a number; a
    tripped tun is a problem, with its text."""
    status = a_mash()
    said = all_rendered(status)
    assert float(said["temperature"]) == status["temperature_c"]
    assert float(said["target"]) == status["step"]["target_c"]
    assert (said["state"], said["step"], said["tripped"]) == ("running", status["step"]["name"], "OFF")
    assert datetime.fromisoformat(said["finish"]).timestamp() == pytest.approx(status["finish_at"], abs=1)
    said = all_rendered({**document(), "temperature_c": None})
    assert {said[key] for key in ("temperature", "target", "remaining", "finish", "step")} == {"None", "none"}
    said = all_rendered(tripped())
    assert said["tripped"] == "ON"
    assert tripped()["trips"][0]["text"] in said["trips"]


def buttons() -> list[tuple[str, dict[str, Any]]]:
    return [(k, c) for k, c in components().items() if c["platform"] == "button"]


@pytest.mark.parametrize("name", [name for name, _ in buttons()])
@pytest.mark.parametrize("state", list(RunState))
def test_a_button_never_leads_to_heat(name: str, state: RunState) -> None:
    """A button's text takes heat away or acknowledges, in every state; a retained copy of it is refused."""
    press = dict(buttons())[name]["payload_press"].encode()
    order = incoming.order(press, 0.0)
    assert order.name in envelope.HEAT_OFF_ORDERS | {"acknowledge"}
    _, why = envelope.judge(
        envelope.OrderBook(), incoming.order(press, 0.0, retained=True), state, None, 0.0, 0.0, False
    )
    assert why is not None
    assert "retained" in why


def test_hold_stop_and_abort_have_buttons() -> None:
    """The three orders that take heat away are there; no order that may lead to heat is."""
    assert set(fixed_text_orders()) >= {"hold", "stop", "abort"}
    hot = {"start", "resume", "restart", "clear", "advance", "extend", "adjust", "answer"}
    assert not set(fixed_text_orders()) & hot
    assert all(c["command_topic"] == "underback/testtun/order" and c["retain"] is False for _, c in buttons())


def test_the_platforms_birth_brings_the_document_again() -> None:
    """`online` on the platform's status topic calls for the document; its last will and other topics do not."""
    board = Board(with_boards())
    assert board.topics() == ("homeassistant/status",)
    assert [post.topic for post in board.heard("homeassistant/status", b"online")] == [board.connected()[0].topic]
    assert board.heard("homeassistant/status", b"offline") == []
    assert board.heard("other/status", b"online") == []
    assert Board(with_boards(discovery=False)).heard("homeassistant/status", b"online") == []


# ---------------------------------------------------------------- Homie 5


def test_homie_description_has_what_the_convention_requires() -> None:
    """`homie` and an integer version; ids of a-z, 0-9 and - only; every property has a listed datatype."""
    found = homie.description(with_boards(), 1_796_000_000)
    assert found["homie"] == "5.0"
    assert isinstance(found["version"], int)
    types = {"integer", "float", "boolean", "string", "enum", "color", "datetime", "duration", "json"}
    named = re.compile(r"[a-z0-9-]+").fullmatch
    for node_id, node in found["nodes"].items():
        assert named(node_id)
        for prop_id, prop in node["properties"].items():
            assert named(prop_id)
            assert prop["datatype"] in types
            assert "settable" not in prop
            assert prop["datatype"] != "enum" or prop["format"].split(",")
    assert named(homie.device_id(with_boards()))


async def test_homie_says_only_what_changed() -> None:
    """Nothing before it is described; all known values once and ready after them, then nothing while nothing changes,
    then the changed ones; unknown ones are emptied."""
    board = Board(with_boards(homie=True))
    assert board.status(a_mash()) == []
    assert [p.topic.rsplit("/", 1)[-1] for p in board.connected()[1:]] == ["$state", "$description"]
    board.leaving()
    status = {**a_mash(), "duty": 0.5}
    first = board.status(status)
    assert len(first) > len(homie.PROPERTIES)
    assert [p.payload for p in first if p.topic.endswith("$state")] == [b"ready"] == [first[-1].payload]
    assert board.status(status) == []
    changed = board.status({**status, "duty": 0.0, "temperature_c": None})
    assert {p.topic.split("/", 3)[3]: p.payload for p in changed} == {"heater/duty": b"0.0", "mash/temperature": b""}


def test_homie_values_fit_their_datatypes() -> None:
    """Enum values are in their format, durations are ISO 8601, floats parse, empty text is one zero byte."""
    status = a_mash()
    for prop in homie.PROPERTIES:
        value = homie.encode(prop.read(status)).decode()
        if prop.datatype == "enum":
            assert value in prop.format.split(",")
        if prop.datatype == "duration":
            assert re.fullmatch(r"PT\d+H\d+M\d+S", value)
        if prop.datatype == "float":
            float(value)
    assert homie.encode("") == b"\x00"


def test_homie_alerts_come_and_go_and_an_end_is_told_from_a_loss() -> None:
    """A trip is an alert with its text, and is taken away when it is over; the will says lost, an orderly end says
    disconnected, both retained on the device's state."""
    board = Board(with_boards(homie=True))
    assert board.homie is not None
    board.homie.announce()
    raised = [p for p in board.status(tripped()) if "$alert" in p.topic]
    assert raised
    assert all(p.payload and p.retain for p in raised)
    ended = [p for p in board.status(a_mash()) if "$alert" in p.topic]
    assert [(p.topic, p.payload) for p in ended] == [(p.topic, b"") for p in raised]
    assert board.homie is not None
    assert (board.homie.will().payload, board.homie.will().retain) == (b"lost", True)
    assert [p.payload for p in board.leaving()] == [b"disconnected"]


# ---------------------------------------------------------------- OpenMetrics


def samples(text: str) -> dict[str, float]:
    return {
        sample.name + "".join(f"[{v}]" for k, v in sample.labels.items() if k != "tun"): sample.value
        for family in parse(text)  # type: ignore[no-untyped-call]
        for sample in family.samples
    }


def test_metrics_parse_with_the_reference_parser() -> None:
    """The reference parser reads the text and finds the values of the status, labelled with the tun; quotes,
    backslashes and line ends in a reason included; what is not known, temperature or step, is left out;
    without the end mark the parser refuses the text."""
    status, odd = a_mash(), 'a "quoted"\\ reason\n'
    found = samples(metrics.open_text(status))
    assert found["underback_mash_temperature_celsius"] == status["temperature_c"]
    assert found["underback_duty_ratio"] == status["duty"]
    assert (found["underback_state[running]"], found["underback_state[idle]"]) == (1, 0)
    assert found["underback_journal_records_total"] == status["journal_seq"]
    found = samples(metrics.open_text({**document(), "temperature_c": None, "counters": {odd: 3}}))
    assert {"underback_mash_temperature_celsius", "underback_target_celsius"}.isdisjoint(found)
    assert found[f"underback_refused_messages_total[{odd}]"] == 3
    with pytest.raises(ValueError, match="EOF"):
        samples(metrics.open_text(status).replace("# EOF\n", ""))


def test_classic_text_says_the_same_as_openmetrics() -> None:
    """A classic parser finds the same samples and values, and no kind, unit or end mark that it does not know."""
    status = a_mash()
    said = metrics.text(status)
    families = list(classic(said))
    found = {(s.name, *s.labels.items()): s.value for family in families for s in family.samples}
    assert found == {
        (s.name, *s.labels.items()): s.value
        for family in parse(metrics.open_text(status))  # type: ignore[no-untyped-call]
        for s in family.samples
    }
    assert {line.split()[-1] for line in said.splitlines() if line.startswith("# TYPE")} == {"gauge", "counter"}
    assert "# UNIT" not in said and "# EOF" not in said
    assert metrics.text(None) == ""


@pytest.mark.parametrize(
    ("named", "file"),
    [("/m/underback.prom", "/m/underback-gannet.prom"), ("/m/{tun}/u.prom", "/m/gannet/u.prom")],
)
def test_each_tun_has_a_file_of_its_own(named: str, file: str) -> None:
    """The tun's name stands where the setting says, else before the ending."""
    assert metrics.file_of(named, "gannet") == Path(file)


def test_the_file_is_replaced_whole(tmp_path: Path) -> None:
    """The file holds the newest text, is readable by others, and nothing is left beside it."""
    path = tmp_path / "underback.prom"
    metrics.write(path, "old\n")
    metrics.write(path, metrics.text(a_mash()))
    assert path.read_text() == metrics.text(a_mash())
    assert path.stat().st_mode & 0o777 == 0o644
    assert [p.name for p in tmp_path.iterdir()] == ["underback.prom"]


async def test_the_loopback_port_serves_the_same_text() -> None:
    """GET /metrics answers with the classic text, with a query too, and with OpenMetrics where that is asked for; HEAD
    with the length alone; anything else is not found."""
    status = a_mash()
    server = await metrics.serve(0, lambda: status)
    async with server:
        port = server.sockets[0].getsockname()[1]
        assert server.sockets[0].getsockname()[0] == "127.0.0.1"
        head, body = (await ask(port, b"GET /metrics HTTP/1.1\r\nHost: x\r\n\r\n")).split(b"\r\n\r\n", 1)
        assert b"200 OK" in head
        assert metrics.CLASSIC_TYPE.encode() in head
        assert body.decode() == metrics.text(status)
        asked = b"GET /metrics?name[]=up HTTP/1.1\r\naccept: application/openmetrics-text;version=1.0.0\r\n\r\n"
        opened, body = (await ask(port, asked)).split(b"\r\n\r\n", 1)
        assert metrics.OPEN_TYPE.encode() in opened and body.decode() == metrics.open_text(status)
        assert await ask(port, b"HEAD /metrics HTTP/1.1\r\nHost: x\r\n\r\n") == head + b"\r\n\r\n"
        assert b"404" in await ask(port, b"GET / HTTP/1.1\r\n\r\n")
        assert b"404" in await ask(port, b"POST /metrics HTTP/1.1\r\n\r\n")


async def ask(port: int, request: bytes) -> bytes:
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    writer.write(request)
    answer = await reader.read()
    writer.close()
    return answer
