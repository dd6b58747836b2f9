"""The strict readers: what is a reading, a report, an order, and what is none."""

from __future__ import annotations

import json
import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.core.nouns import Bad, HeaterReport, Order, Reading, Switch
from controller.messages import incoming
from controller.messages.strict_json import Refused

PLAIN = incoming.form()
KEYED = incoming.form("/t", seq_pointer="/seq", at_pointer="/at", unit_pointer="/unit")

NO_READINGS: list[tuple[bytes, str]] = [
    (b"NaN", "not a finite number"),
    (b"nan", "not JSON"),
    (b"Infinity", "not a finite number"),
    (b"-Infinity", "not a finite number"),
    (b"1e999", "not a finite number"),
    (b"true", "a truth value in place of a number"),
    (b'"65"', "text in place of a number"),
    (b"null", "nothing there"),
    (b"", "not JSON"),
    (b" ", "not JSON"),
    (b"[65]", "no number"),
    (b'{"t": 65}', "no number"),
    (b"65 66", "not JSON"),
    (b"6_5", "not JSON"),
    (b"+65", "not JSON"),
    (b"065", "not JSON"),
    (b".5", "not JSON"),
    (b"65.", "not JSON"),
    (b"0x41", "not JSON"),
    (b"\xef\xbb\xbf65", "not JSON"),
    ("６５".encode(), "not JSON"),
    ("65".encode("utf-16"), "not UTF-8"),
    (b"\xff\xfe", "not UTF-8"),
    (b"65\x00", "not JSON"),
    (b"9" * 2000, "too long"),
    (b"[" * 1000, "nested too deep"),
    (b'{"t":' * 100, "nested too deep"),
]


@pytest.mark.parametrize(("payload", "why"), NO_READINGS, ids=[repr(p[:20]) for p, _ in NO_READINGS])
def test_what_is_no_number_is_refused_with_its_reason(payload: bytes, why: str) -> None:
    """Each payload that Python's own parser or a lenient reader would take is refused, with the reason that fits."""
    got = incoming.reading(PLAIN, payload, 5.0, 0.0)
    assert isinstance(got, Bad)
    assert got.why.startswith(why)
    assert got.at == 5.0


def test_a_number_is_a_reading_with_sequence_and_lag_where_they_stand() -> None:
    """JSON numbers with white space around them are taken as they are; pointers lead to value, sequence and stamp, into
    an array too, where nothing is beside it; the lag is our wall clock less the sender's stamp."""
    for payload, value in [(b"65.25", 65.25), (b" 65\n", 65.0), (b"-3.5e1", -35.0), (b"0", 0.0), (b"1E1", 10.0)]:
        assert incoming.reading(PLAIN, payload, 1.0, 0.0) == Reading(value, 1.0)
    payload = b'{"t":65.5,"seq":7,"at":1000.25}'
    assert incoming.reading(KEYED, payload, 3.0, 1001.0) == Reading(65.5, 3.0, 7, 0.75)
    assert incoming.reading(incoming.form("/1"), b"[60, 65.5]", 3.0, 0.0) == Reading(65.5, 3.0)


def test_fahrenheit_is_converted_and_unknown_units_are_refused() -> None:
    """A unit beside the value wins over the setting; a unit that is neither is no reading."""
    fahrenheit = incoming.form("", "F")
    assert incoming.reading(fahrenheit, b"149", 0.0, 0.0) == Reading(65.0, 0.0)
    assert incoming.reading(KEYED, b'{"t":212,"seq":1,"unit":"\\u00b0F"}', 0.0, 0.0) == Reading(100.0, 0.0, 1)
    assert incoming.reading(incoming.form("/t", "F", "/unit"), b'{"t":65,"unit":"C"}', 0.0, 0.0) == Reading(65.0, 0.0)
    assert incoming.reading(KEYED, b'{"t":65,"unit":"K"}', 0.0, 0.0) == Bad("a unit that is neither °C nor °F", 0.0)
    assert incoming.reading(KEYED, b'{"t":65,"unit":1}', 0.0, 0.0) == Bad("a unit that is neither °C nor °F", 0.0)


def test_a_pointer_that_is_set_must_fit_and_a_key_that_was_not_asked_for_need_not() -> None:
    """A sequence or stamp under a pointer of its own must be a number; a stray key of that name is left alone."""
    assert incoming.reading(KEYED, b'{"t":65,"seq":true}', 0.0, 0.0) == Bad("sequence: no whole number", 0.0)
    assert incoming.reading(KEYED, b'{"t":65}', 0.0, 0.0) == Bad("sequence missing", 0.0)
    assert incoming.reading(incoming.form(seq_pointer="/seq"), b"65", 0.0, 0.0) == Bad("sequence missing", 0.0)
    assert incoming.reading(KEYED, b'{"t":65,"seq":1,"at":"noon"}', 0.0, 0.0) == Bad(
        "time stamp: text in place of a number", 0.0
    )
    loose = incoming.form("/t")
    assert incoming.reading(loose, b"65", 0.0, 0.0) == Bad("nothing there", 0.0)
    assert incoming.reading(loose, b'{"t":65,"seq":"x","at":"noon","unit":"K"}', 2.0, 0.0) == Reading(65.0, 2.0)
    assert incoming.reading(loose, b'{"t":65,"seq":4,"at":1.0,"unit":"C"}', 2.0, 3.0) == Reading(65.0, 2.0, 4, 2.0)


REPORT = {"boot": "b1", "epoch": 3, "seq": 9, "duty": 0.5, "lease_left_s": 7.5}


def said(**changes: Any) -> bytes:
    return json.dumps({**REPORT, **changes}).encode()


def test_a_heater_report_is_read_whole() -> None:
    """Every field of the report, the optional ones as None where they are left out."""
    assert incoming.report(said(), 1.0) == HeaterReport(1.0, "b1", 3, 9, 0.5, 7.5)
    full = incoming.report(said(boot=77, fault="outlet hot", outlet_c=80.5, power_w=2500), 1.0)
    assert full == HeaterReport(1.0, "77", 3, 9, 0.5, 7.5, "outlet hot", "internal", 80.5, 2500.0)
    assert incoming.report(said(fault=""), 1.0) == HeaterReport(1.0, "b1", 3, 9, 0.5, 7.5)
    for duty in (0.0, 1.0):
        assert incoming.report(said(duty=duty), 1.0) == HeaterReport(1.0, "b1", 3, 9, duty, 7.5)


def test_a_heater_report_with_one_wrong_field_is_refused_and_named() -> None:
    """A report is taken whole or not at all; the field is named; arrays and broken JSON are none."""
    wrong: dict[str, tuple[Any, ...]] = {
        "boot": (None, True), "epoch": (-1, 2**41), "seq": (1.5,), "duty": (1.01, -0.01, True, "0"),
        "lease_left_s": (None,), "fault": (5,), "outlet_c": ("80",), "power_w": (False,),
    }  # fmt: skip
    for where, values in wrong.items():
        for value in values:
            got = incoming.report(said(**{where: value}), 1.0)
            assert isinstance(got, Refused) and got.detail == where, (where, value)
    assert incoming.report(b"[1]", 0.0) == Refused("no object")
    assert incoming.report(b"{", 0.0) == Refused("not JSON")


@pytest.mark.parametrize(
    ("said_code", "code"),
    [("own_limit", "own_limit"), ("no_power", "no_power"), ("melted", "internal"), (None, "internal"), (7, "internal")],
)
def test_a_fault_without_a_code_that_we_know_is_internal(said_code: object, code: str) -> None:
    """Codes come as the contract has them; anything else waits for a person; without a fault there is no code."""
    report = incoming.report(said(fault="ill", fault_code=said_code), 1.0)
    assert isinstance(report, HeaterReport)
    assert report.fault_code == code
    well = incoming.report(said(fault_code=said_code), 1.0)
    assert isinstance(well, HeaterReport)
    assert well.fault_code is None


def test_switches_speak_in_truth_values_only_and_presence_in_words_too() -> None:
    """`ok` must be true or false; 1, "true" and a bare true are not; presence is true and false, and the words that
    much firmware uses instead."""
    assert incoming.switch(b'{"ok":true,"seq":4}', 2.0) == (Switch(True, 2.0), 4)
    assert incoming.switch(b'{"ok":false}', 2.0) == (Switch(False, 2.0), None)
    for payload in (b'{"ok":1}', b'{"ok":"true"}', b"true", b"{}", b'{"ok":true,"seq":-1}', b"{"):
        assert isinstance(incoming.switch(payload, 0.0), Refused)
    there = (b"true", b" Online ", b"online" + b" " * 10 + b"!")  # sixteen bytes are looked at
    assert [incoming.online(payload) for payload in (*there, b"false", b"offline")] == [True] * 3 + [False] * 2
    assert incoming.online(b"maybe") == Refused("neither true nor false")
    assert isinstance(incoming.online(b""), Refused)


def test_a_command_heard_on_the_topic_needs_its_duty_only() -> None:
    """A foreign OFF is understood without epoch, sequence or owner; what has no duty is no command; of a retained
    status only a whole number in range counts as its epoch."""
    assert incoming.echo(b'{"duty":0}') == incoming.Echo(0.0, None, None, None)
    assert incoming.echo(b'{"duty":0.5,"epoch":3,"seq":4,"owner":"x"}') == incoming.Echo(0.5, 3, 4, "x")
    assert incoming.echo(b'{"duty":1,"epoch":-3,"seq":"4","owner":5}') == incoming.Echo(1.0, None, None, None)
    for payload in (b"{}", b'{"duty":true}', b'{"duty":NaN}', b"0", b"{"):
        assert isinstance(incoming.echo(payload), Refused)
    assert incoming.epoch_of_status(b'{"epoch":7,"x":[1]}') == 7
    for payload in (b'{"epoch":-7}', b'{"epoch":true}', b'{"epoch":2199023255553}', b"[]", b"{"):
        assert incoming.epoch_of_status(payload) is None


TOLD = {"state": "running", "run": "r1", "epoch": 7, "journal_seq": 41, "trips": []}
TRIPS = [
    {"id": "G07", "latched": True},
    {"id": "G02", "latched": False},
    {"id": "G14"},
    5,
    {"id": "G123456789", "latched": True},
]


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({}, incoming.Told("running", "r1", 7, 41, ())),
        ({"run": None}, incoming.Told("running", None, 7, 41, ())),
        ({"trips": TRIPS}, incoming.Told("running", "r1", 7, 41, ("G07", "G1234567"))),
        ({"trips": "G07"}, incoming.Told("running", "r1", 7, 41, ())),
        ({"state": None}, None),
        ({"epoch": -1}, None),
        ({"journal_seq": 1.5}, None),
    ],
)
def test_what_the_last_process_said_of_itself(changes: dict[str, Any], told: incoming.Told | None) -> None:
    """State, numbers and latched trips of a retained status; without state or numbers it tells nothing."""
    assert incoming.last_status(json.dumps({**TOLD, **changes}).encode()) == told


def test_what_is_no_status_tells_nothing() -> None:
    """An array, or what cannot be read."""
    assert [incoming.last_status(payload) for payload in (b"[]", b"{")] == [None, None]


def test_an_order_is_read_whole() -> None:
    """All keys of an order, arguments as they stand; lists and objects within them are judged like their members, truth
    values and null pass."""
    payload = (
        b'{"id":"a1","order":"extend","args":{"by_s":600},"by":"Ann",'
        b'"at":5.5,"valid_s":10,"nonce":"n","run":"r","trip":"G02"}'
    )
    assert incoming.order(payload, 1.0) == Order(
        "extend", 1.0, "a1", {"by_s": 600}, "Ann", 5.5, 10.0, "n", "r", "G02", False, None, ()
    )
    good = incoming.order(b'{"order":"adjust","args":{"a":[1,{"b":null}],"c":true}}', 0.0)
    assert good.args == {"a": [1, {"b": None}], "c": True}
    assert incoming.order(b'{"order":"adjust","args":{"a":[1,{"b":1e999}]}}', 0.0).problems


def test_orders_that_take_heat_away_are_understood_in_any_shape() -> None:
    """A plain button may send the bare word; damaged extras do not stop a stop."""
    for payload in (
        b"stop",
        b" STOP\n",
        b"stop" + b" " * 12 + b"!",
        b'{"order":"stop"}',
        b'{"order":"stop","args":{"x":1e999},"id":5}',
    ):
        got = incoming.order(payload, 1.0)
        assert (got.name, got.problems, dict(got.args)) == ("stop", (), {})


def test_an_order_that_cannot_be_read_says_why_and_names_every_problem() -> None:
    """It comes back with its problems so that it gets an answer."""
    assert incoming.order(b"{", 1.0).problems == ("the order cannot be read: not JSON",)
    marked = incoming.order(b'{"id":"a-1","order":"start","args":{"hand_c":NaN}}', 1.0)
    assert (marked.id, marked.problems) == ("a-1", ("the order cannot be read: not a finite number",))
    assert incoming.order(b"5", 1.0).problems == ("the order cannot be read: no object",)
    assert incoming.order(b"{}", 1.0).problems == ("the key `order` is missing or empty",)
    got = incoming.order(b'{"order":"start","id":7,"at":"x","args":{"a":1e999,"b":"\\ud800"}}', 1.0)
    assert got.problems == (
        "args: not a finite number",
        "args: text that cannot be printed",
        "id: no text",
        "at: text in place of a number",
    )
    assert got.args == {}
    assert incoming.order(b'{"order":"start","args":[]}', 1.0).problems == ("args: no object",)
    assert incoming.order(b"x" * 5000, 1.0).problems[0].startswith("the order cannot be read: too long")


json_like = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=8), inner, max_size=4),
    max_leaves=12,
)
KEYS = [*REPORT, "ok", "t", "at", "unit", "order", "args", "id", "valid_s", "nonce", "owner", "fault", "outlet_c"]
payloads = st.one_of(
    st.binary(max_size=1500),
    st.builds(lambda v: json.dumps(v).encode(), json_like),
    st.builds(lambda v: json.dumps(v).encode(), st.dictionaries(st.sampled_from(KEYS), json_like, max_size=8)),
    st.sampled_from([payload for payload, _ in NO_READINGS]),
)


@settings(max_examples=150)
@given(payloads)
def test_no_payload_makes_a_reader_raise_or_let_a_strange_number_through(payload: bytes) -> None:
    """Whatever arrives, each reader gives a value of its own kind; every number in it is finite."""
    for shape in (PLAIN, KEYED, incoming.form("/t", "F")):
        sample = incoming.reading(shape, payload, 1.0, 2.0)
        assert isinstance(sample, Bad) or (math.isfinite(sample.value_c) and type(sample.value_c) is float)
    report = incoming.report(payload, 1.0)
    assert isinstance(report, Refused) or 0.0 <= report.duty <= 1.0
    assert isinstance(incoming.online(payload), bool | Refused)
    heard = incoming.echo(payload)
    assert isinstance(heard, Refused) or math.isfinite(heard.duty)
    switch = incoming.switch(payload, 1.0)
    assert isinstance(switch, Refused) or isinstance(switch[0].ok, bool)
    assert incoming.epoch_of_status(payload) is None or isinstance(incoming.epoch_of_status(payload), int)
    order = incoming.order(payload, 1.0)
    json.dumps([order.name, order.id, order.args, order.problems], allow_nan=False).encode()
    assert order.name or order.problems
