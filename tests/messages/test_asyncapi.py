"""The AsyncAPI document: true to the models, valid by its published schema, and true to what the core really sends."""

from __future__ import annotations

import json
from typing import Any

import pytest
from jsonschema import Draft7Validator, Draft202012Validator

from controller.core.heater_command import HeaterCommand
from controller.core.nouns import Event, Motor, Reply, RunState
from controller.edge.files import config_files
from controller.edge.supply_link import SupplyLink
from controller.messages import asyncapi, incoming, outgoing, payload_schemas, status_schema
from controller.messages.topics import Topics, topics
from controller.settings.service import Settings
from sim.dryrun import DryRun
from sim.world.faults import parse
from tests.core.bench import WALL, Bench, course, leg, settings
from tests.edge.statuses import a_mash, document, said, tripped
from tests.messages.stored import STORED, complaints, payload_validator, stored
from tests.places import CONFIG, ROOT
from tests.sim import brief

PUBLISHED = ROOT / "tests" / "vendor" / "asyncapi" / "3.0.0.json"


def test_the_stored_document_is_the_models() -> None:
    """config/asyncapi.json is what the models give now (`python -m controller.messages.asyncapi` writes it anew); each
    payload schema is itself valid, so that complaints about payloads mean something, and each $ref in the document
    points at something in it."""
    assert STORED.read_text(encoding="utf-8") == asyncapi.text()
    found = stored()
    for schema in found["components"]["schemas"].values():
        Draft202012Validator.check_schema(schema)

    def walk(value: Any) -> None:
        if isinstance(value, dict):
            if isinstance(target := value.get("$ref"), str):
                at: Any = found
                for key in target.removeprefix("#/").split("/"):
                    at = at[key]
            value = list(value.values())
        for item in value if isinstance(value, list) else ():
            walk(item)

    walk(found)


def test_the_document_is_valid_by_the_published_schema() -> None:
    """The published JSON Schema of AsyncAPI 3.0.0 (npm @asyncapi/specs) finds nothing wrong; without a required part,
    or with a wrong action, the same schema complains."""
    schema = Draft7Validator(json.loads(PUBLISHED.read_text(encoding="utf-8")))
    found = stored()
    assert [error.message for error in schema.iter_errors(found)] == []
    for part in ("info", "asyncapi"):
        assert not schema.is_valid({key: value for key, value in found.items() if key != part})
    found["operations"]["sendStatus"]["action"] = "shout"
    assert not schema.is_valid(found)


def test_each_topic_has_an_example_that_its_schema_takes() -> None:
    """Every channel shows a payload, and its schema takes it; the status shown is of a rest, with its prediction."""
    for name, channel in stored()["channels"].items():
        (example,) = channel["messages"][name]["examples"]
        assert list(payload_validator(name).iter_errors(example["payload"])) == [], name
    status = stored()["channels"]["status"]["messages"]["status"]["examples"][0]["payload"]
    assert status["step"]["phase"] == "resting" and status["prediction"]["steps"]


def filled(group: str = "", name: str = "mash") -> dict[str, str]:
    """The channels' addresses with this test's names in them."""
    names = {"prefix": "underback", "tun": "testtun", "name": name, "group": group}
    return {key: channel["address"].format(**names) for key, channel in stored()["channels"].items()}


def test_the_addresses_are_the_services_topics() -> None:
    """The channels' addresses, filled in, are the topics that the service uses when the tun file names no others."""
    found, addresses = topics(settings()), filled()
    named = {"heaterCommand": found.heater_command, "heaterReport": found.heater_report}
    named |= {"heaterOnline": found.heater_online}
    named |= {key: getattr(found, key) for key in ("status", "event", "reply", "order", "online")}
    named |= {"horn": f"{found.status.removesuffix('status')}horn"}
    assert {channel: addresses[channel] for channel in named} == named


def test_every_topic_of_the_shipped_tuns_is_described() -> None:
    """Each topic that any shipped tun speaks or listens on is an address of the document, and the shared supply too."""
    for name in config_files.names(CONFIG / "tuns"):
        settings_ = config_files.settings(CONFIG, name)
        described = {
            address.replace("testtun", name)
            for probe in ("mash", "second", "outlet")
            for address in filled("hall", probe).values()
        }
        share = SupplyLink(grouped(settings_, "hall"), 5000.0, 0.0)
        used = spoken(topics(settings_)) | {share.topic.replace("+", name)}
        assert used - described == set(), name


def spoken(found: Topics) -> set[str]:
    """All topics of a tun, those of its probes included."""
    named = {value for value in found._replace(probes=()) if isinstance(value, str)}
    return named | {topic for _, topic in found.probes}


def grouped(settings_: Settings, group: str) -> Settings:
    """These settings with a shared supply."""
    supply = settings_.service.supply.model_copy(update={"group": group, "limit_w": 5000.0})
    return settings_._replace(service=settings_.service.model_copy(update={"supply": supply}))


def test_the_words_of_a_shared_supply_fit() -> None:
    """Two tuns that speak with each other for a minute: each word validates, on the address of the document."""
    shares = {
        name: SupplyLink(grouped(settings(name=name, title=name), "hall"), 5000.0, 0.0) for name in ("testtun", "other")
    }
    bench = Bench(settings(name="testtun"), mash_c=50.0)
    posts = []
    for second in range(60):
        outcome = bench.step()
        said_now = [share.watts(outcome, float(second))[1] for share in shares.values()]
        for post in (one for one in said_now if one is not None):
            posts.append(post)
            assert all(share.heard(post.topic, post.payload, float(second)) for share in shares.values())
    assert {post.topic for post in posts} == {filled("hall")["supply"], "underback/supply/hall/other"}
    assert [complaints("supply", post.payload) for post in posts] == [[]] * len(posts)
    assert any(json.loads(post.payload)["heard"] for post in posts)
    assert all(post.retain is stored()["operations"]["sendSupply"]["bindings"]["mqtt"]["retain"] for post in posts)
    assert stored()["operations"]["receiveSupply"]["action"] == "receive"
    wrong = {**json.loads(posts[-1].payload), "rank": 3}
    assert complaints("supply", json.dumps(wrong).encode())


@pytest.mark.parametrize("status", [document, a_mash, tripped])
def test_the_cores_status_fits(status: Any) -> None:
    """Idle, in a rest and tripped: the status that the core makes validates; the check bites: one key more, one less,
    or a duty above 1 is found."""
    whole = status()
    assert complaints("status", outgoing.document(whole)) == []
    less = {key: value for key, value in whole.items() if key != "nonce"}
    for wrong in ({**whole, "stray": 1}, {**whole, "duty": 1.5}, less):
        assert complaints("status", outgoing.document(wrong))
    assert a_mash()["state"] == "running"


def test_commands_replies_and_motors_fit() -> None:
    """What outgoing.py builds for heater, motors, replies and presence validates, and an event that has no value and no
    limit."""
    for command in (HeaterCommand(1, 2, 0.0, 10.0, "off"), HeaterCommand(1, 2, 0.0, 10.0, "off", 7, 0.4)):
        assert complaints("heaterCommand", outgoing.heater_command(command, WALL, "boot")) == []
    assert complaints("stirrerCommand", outgoing.motor_command(1, Motor(True, "mixing"), 10.0)) == []
    assert complaints("reply", outgoing.reply(Reply(None, False, "no", RunState.IDLE, "start"))) == []
    assert complaints("reply", outgoing.reply(Reply("a", True, "yes", RunState.RUNNING, "start"))) == []
    assert complaints("online", outgoing.online(False)) == []
    assert complaints("event", outgoing.event(1, WALL, Event("note", "x", "text"))) == []


def test_a_whole_mash_fits() -> None:
    """Every status, command, event and reply of a mash with dough-in, a trip and its end validates."""
    status, command, event, reply = map(payload_validator, ("status", "heaterCommand", "event", "reply"))
    bench = Bench(settings(), mash_c=50.0)
    bench.until("idle")
    bench.start(course(leg("low rest", 52.0, 300.0), leg("hot rest", 54.0, 120.0)))
    bench.until("dough_in")
    bench.answer(answer="begin")
    bench.answer(answer="yes")
    bench.until("resting")
    bench.probe = False
    bench.run(40)
    bench.probe = True
    bench.until("complete")
    seen = 0
    for number, outcome in enumerate(bench.log):
        bench.last = outcome
        if number % 10 == 0:
            status.validate(json.loads(outgoing.document(said(bench))))
        if outcome.command is not None:
            command.validate(json.loads(outgoing.heater_command(outcome.command, WALL, "boot")))
        for happened in outcome.events:
            event.validate(json.loads(outgoing.event(seen, WALL, happened)))
            seen += 1
        for answer in outcome.replies:
            reply.validate(json.loads(outgoing.reply(answer)))
    kinds = {happened.kind for happened in bench.events}
    assert {"state", "step", "step done", "trip", "cleared", "answer"} <= kinds
    assert seen == len(bench.events)


def test_orders_and_reports_fit() -> None:
    """An order as a dashboard sends it, a report and readings in both shapes validate; nonsense does not."""
    order = {"id": "a", "order": "start", "args": {"program": "x"}, "at": WALL, "valid_s": 10, "nonce": "n"}
    assert complaints("order", json.dumps(order).encode()) == []
    assert [complaints("order", json.dumps(word).encode()) for word in incoming.PLAIN] == [[]] * 4
    assert complaints("order", json.dumps({**order, "valid_s": 300}).encode())
    report = {"boot": "b", "epoch": 1, "seq": 2, "duty": 0.5, "lease_left_s": 9.0}
    assert complaints("heaterReport", json.dumps(report).encode()) == []
    assert complaints("reading", b"63.1") == []
    assert complaints("reading", b'{"value": 63.1, "seq": 4}') == []
    assert complaints("reading", b'"63.1"')


MODELS: dict[str, Any] = {
    "status": status_schema.Status,
    "event": payload_schemas.Event,
    "reply": payload_schemas.Reply,
    "online": payload_schemas.Presence,
    "heater/command": payload_schemas.Command,
    "stirrer/command": payload_schemas.MotorCommand,
    "pump/command": payload_schemas.MotorCommand,
    "heater/report": payload_schemas.Report,
    "heater/online": payload_schemas.Presence,
    "stirrer/online": payload_schemas.Presence,
    "pump/online": payload_schemas.Presence,
    "level": payload_schemas.SwitchPayload,
    "flow": payload_schemas.SwitchPayload,
    "order": payload_schemas.OrderPayload,
}


def model_of(topic: str) -> Any:
    """The model of a topic of a tun; probes by their place."""
    part = topic.split("/", 2)[2]
    if part.startswith("probe/"):
        return payload_schemas.Presence if part.endswith("/online") else payload_schemas.ReadingPayload
    return MODELS[part]


def test_every_payload_of_a_simulated_run_fits() -> None:
    """Each message of a dry run with a silent probe fits its model, and a sample of each topic the document."""
    seen: dict[str, list[bytes]] = {}
    faults = [parse("probe_unplugged@1200+60")]

    def listen(at: float, topic: str, payload: bytes, *more: bool) -> None:
        seen.setdefault(topic, []).append(payload)

    machine = DryRun(*brief.mash(), 3, faults, listen=listen)
    assert machine.go().result == "complete"
    for topic, said_on_it in seen.items():
        model = model_of(topic)
        for payload in said_on_it:
            model.model_validate_json(payload)
    names = {topic.split("/", 2)[2] for topic in seen}
    assert names >= {"status", "event", "reply", "online", "heater/command", "heater/report", "pump/command", "order"}
    by_model = {channel.payload.__name__: payload_validator(channel.id) for channel in asyncapi.CHANNELS}
    for topic, said_on_it in seen.items():
        for payload in said_on_it[:: max(1, len(said_on_it) // 20)]:
            by_model[model_of(topic).__name__].validate(json.loads(payload))
    statuses = [json.loads(payload) for payload in seen["underback/plover/status"]]
    assert any(status["prediction"] for status in statuses)
    assert any(status["trips"] for status in statuses)
