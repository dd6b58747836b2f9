"""Does a recorded history keep the promises? Knows messages and times only, nothing of the program's inside.

Each function returns what it found wrong, as sentences; an empty list is a clean record. Times of the record are real
seconds, limits are seconds of the tun's own clock, `speed` times as fast.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Iterator
from typing import Any

from tests.regimes.chaos.field import Heard

READING_S, EVIDENCE_S, LEASE_S = 10.0, 12.0, 10.0
EPS_S = 1.0  # tun seconds; and a machine that runs many processes is not blamed for REAL_EPS_S
REAL_EPS_S = 0.25
START_LOCK_S = 10.0
UNTOLD_S = 5.0 + 2.0  # what a status may not have told yet, and what may count twice
START = "start"  # the remark in a record when a daemon is started
NO_HEAT = ("idle", "checking", "held", "holding", "stopping", "stopped", "aborting", "aborted", "complete")


def strict(payload: bytes) -> Any:
    """JSON without NaN and Infinity; None when it is none."""

    def no(word: str) -> float:
        raise ValueError(word)

    try:
        return json.loads(payload.decode(), parse_constant=no)
    except ValueError:
        return None


def value_of(payload: bytes, pointer: str) -> float | None:
    """The number under the pointer; None when it is no finite number."""
    found = strict(payload)
    for key in pointer.split("/")[1:]:
        found = found.get(key) if isinstance(found, dict) else None
    good = isinstance(found, int | float) and not isinstance(found, bool) and math.isfinite(found)
    return float(found) if good else None


def live(heard: Iterable[Heard], *topics: str) -> Iterator[tuple[Heard, dict[str, Any]]]:
    """Each message on these topics that is not retained and is a JSON object, with what it says."""
    for message in heard:
        said = strict(message.payload) if message.topic in topics and not message.retained else None
        if isinstance(said, dict):
            yield message, said


def slack_s(speed: float) -> float:
    """How late may something be before anybody is blamed, real seconds?"""
    return max(EPS_S / speed, REAL_EPS_S)


def commands_well_formed(heard: Iterable[Heard], topic: str) -> list[str]:
    """Duty within 0..1, validity within 0..10 s, sequence rising, epoch never falling, never retained."""
    wrong: list[str] = []
    last = (0, 0)
    for message in heard:
        if message.topic != topic:
            continue
        said = strict(message.payload)
        if message.retained or not isinstance(said, dict):
            wrong.append(f"retained or unreadable: {message.payload!r}")
            continue
        if "owner" not in said:
            continue  # not one of ours: output-off, or a stranger
        if not (0.0 <= said["duty"] <= 1.0) or not (0.0 < said["valid_s"] <= LEASE_S):
            wrong.append(f"duty or validity: {said}")
        if (said["epoch"], said["seq"]) <= last:
            wrong.append(f"sequence: {(said['epoch'], said['seq'])} after {last}")
        last = (said["epoch"], said["seq"])
    return wrong


def heat_has_evidence(heard: list[Heard], topic: str, probe: str, pointer: str, speed: float) -> list[str]:
    """Each command with heat: a well-formed reading of the mash reached the broker in the 10 s before it."""
    wrong: list[str] = []
    reading_at, limit = -math.inf, READING_S / speed + slack_s(speed)
    for message in heard:
        if message.topic == probe and not message.retained and value_of(message.payload, pointer) is not None:
            reading_at = message.at
        for _, said in live([message], topic):
            if said.get("duty", 0) > 0 and message.at - reading_at > limit:
                wrong.append(f"heat {said['duty']} {(message.at - reading_at) * speed:.1f} s after the last reading")
    return wrong


def no_heat_in_cold_states(heard: Iterable[Heard], topic: str, status: str, speed: float) -> list[str]:
    """No command with heat while the published state is one without heat."""
    wrong: list[str] = []
    state, since = "checking", -math.inf
    for message, said in live(heard, topic, status):
        if message.topic == status:
            since = message.at if said.get("state") != state else since
            state = str(said.get("state"))
        elif said.get("duty", 0) > 0 and state in NO_HEAT and message.at - since > slack_s(speed):
            wrong.append(f"heat {said['duty']} while {state}")
    return wrong


def silence_is_off(heard: Iterable[Heard], topic: str, report: str, speed: float, end: float) -> list[str]:
    """Eleven seconds after the last command the heater reports no heat."""
    wrong: list[str] = []
    command_at, limit = -math.inf, (LEASE_S + 1.0) / speed + slack_s(speed)
    for message in heard:
        if message.at > end:
            break
        if message.topic == topic and not message.retained:
            command_at = message.at
        for _, said in live([message], report):
            if said.get("duty", 0) > 0 and message.at - command_at > limit:
                wrong.append(f"heater on {(message.at - command_at) * speed:.1f} s after the last command")
    return wrong


def events_in_order(heard: Iterable[Heard], topic: str) -> list[str]:
    """Event sequences rise by one; over a restart of the daemon they may jump, never fall."""
    wrong: list[str] = []
    last = 0
    for _, said in live(heard, topic):
        if said["seq"] <= last:
            wrong.append(f"event {said['seq']} after {last}")
        last = max(last, said["seq"])
    return wrong


def told(heard: Iterable[Heard], status: str) -> Iterator[tuple[Heard, dict[str, Any]]]:
    """The live statuses of a run with a step."""
    return (
        (message, said) for message, said in live(heard, status) if said.get("step") and said.get("run") is not None
    )


def rests_in_order(heard: Iterable[Heard], status: str) -> list[str]:
    """The step's number never falls and rises by one at a time; a rest's credit never falls by more than 5 s."""
    wrong: list[str] = []
    run, index, credited = None, -1, 0.0
    for _, said in told(heard, status):
        step = said["step"]
        if said["run"] != run:
            run, index, credited = said["run"], step["index"], 0.0
        if step["index"] not in (index, index + 1):
            wrong.append(f"step {step['index']} after {index}")
        if step["index"] == index and step["credited_s"] < credited - 5.0 - 1.0:
            wrong.append(f"credit of step {index} fell from {credited} to {step['credited_s']}")
        credited = step["credited_s"] if step["index"] != index else max(credited, step["credited_s"])
        index = step["index"]
    return wrong


def starts_without_heat(heard: Iterable[Heard], topic: str, speed: float) -> list[str]:
    """In the first 10 s after a daemon's first command none has heat (by the senders' stamps, less a tick)."""
    wrong: list[str] = []
    begun: dict[int, float] = {}
    for _, said in live(heard, topic):
        if "owner" not in said:
            continue
        since = (said["at"] - begun.setdefault(said["epoch"], said["at"])) * speed
        if said["duty"] > 0 and since < START_LOCK_S - EPS_S:
            wrong.append(f"heat {said['duty']} {since:.1f} s after the first command of epoch {said['epoch']}")
    return wrong


def credit_once(heard: Iterable[Heard], status: str, speed: float) -> list[str]:
    """After a start: at most the credit told before, what passed untold, and the time since the start."""
    wrong: list[str] = []
    last: tuple[str, int, float] | None = None  # run, step, credit
    start_at, before = math.inf, last
    for message in heard:
        if message.topic == "remark" and message.payload.decode() == START:
            start_at, before = message.at, last
        for _, said in told([message], status):
            last = (said["run"], said["step"]["index"], said["step"]["credited_s"])
            if before is None or last[:2] != before[:2] or before[2] <= 0.0:
                continue  # a rest begins with the minute in its band, at once
            most = before[2] + (message.at - start_at) * speed + UNTOLD_S
            if last[2] > most:
                wrong.append(f"step {last[1]} has {last[2]} s of credit, {most:.1f} s at most are possible")
    return wrong


def all_of(heard: list[Heard], base: str, speed: float, pointer: str = "/temperature") -> list[str]:
    """Every promise that a history alone can show."""
    command, report, status = f"{base}/heater/command", f"{base}/heater/report", f"{base}/status"
    end = heard[-1].at if heard else 0.0
    return [
        *commands_well_formed(heard, command),
        *heat_has_evidence(heard, command, f"{base}/probe/mash", pointer, speed),
        *no_heat_in_cold_states(heard, command, status, speed),
        *silence_is_off(heard, command, report, speed, end),
        *events_in_order(heard, f"{base}/event"),
        *rests_in_order(heard, status),
    ]
