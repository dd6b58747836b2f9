"""How does a status look to a collector of metrics?

The classic text (prometheus.io/docs/instrumenting/exposition_formats, 0.0.4), which file collectors read and every
scraper takes, and OpenMetrics 1.0 for who asks for it: unit as name suffix, counters end in `_total`, `# EOF` last. A
value that is not known is left out, never a number that stands for nothing. Written atomically to a file of the tun's
own, or served on loopback; both say the same.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any, NamedTuple

from controller.core.nouns import RunState

CLASSIC_TYPE = "text/plain; version=0.0.4; charset=utf-8"
OPEN_TYPE = "application/openmetrics-text; version=1.0.0; charset=utf-8"
HEALTH = ("good", "failure", "function check", "out of specification", "maintenance required")  # NAMUR NE 107
REQUEST_S = 5.0  # a collector that takes longer for its request is sent away
REQUEST_BYTES = 8192

Status = Mapping[str, Any]


class Gauge(NamedTuple):
    """One number of the status under its metric name."""

    name: str
    unit: str
    help: str
    read: Callable[[Status], Any]


def of_step(key: str) -> Callable[[Status], Any]:
    """Reads a figure of the step that runs; None where none does."""
    return lambda status: status["step"][key] if status["step"] else None


GAUGES = (
    Gauge("underback_mash_temperature_celsius", "celsius", "Mash temperature.", lambda s: s["temperature_c"]),
    Gauge("underback_setpoint_celsius", "celsius", "Where the mash should be now.", lambda s: s["setpoint_c"]),
    Gauge("underback_target_celsius", "celsius", "Target of the present step.", of_step("target_c")),
    Gauge("underback_second_temperature_celsius", "celsius", "Second probe.", lambda s: s["second_c"]),
    Gauge("underback_outlet_temperature_celsius", "celsius", "Heater outlet.", lambda s: s["outlet_c"]),
    Gauge("underback_reading_age_seconds", "seconds", "Age of the newest reading.", lambda s: s["reading_age_s"]),
    Gauge("underback_duty_ratio", "ratio", "Heat commanded, share of full power.", lambda s: s["duty"]),
    Gauge("underback_heater_duty_ratio", "ratio", "Heat the node reports.", lambda s: s["heater"]["duty"]),
    Gauge("underback_heater_age_seconds", "seconds", "Age of the node's report.", lambda s: s["heater"]["age_s"]),
    Gauge("underback_rest_remaining_seconds", "seconds", "Rest time left in this step.", of_step("remaining_s")),
    Gauge("underback_finish_seconds", "seconds", "Time to the planned end.", lambda s: s["finish_in_s"]),
    Gauge("underback_trips", "", "Interlocks that hold the heat off.", lambda s: len(s["trips"])),
    Gauge("underback_waiting_for_person", "", "1 when somebody is asked.", lambda s: int(bool(s["waiting_for"]))),
    Gauge("underback_status_timestamp_seconds", "seconds", "Unix time of this status.", lambda s: s["at"]),
)


class Family(NamedTuple):
    """One metric: its samples are labels and a value."""

    name: str
    kind: str  # as OpenMetrics has them: gauge, counter, stateset, info
    help: str
    samples: list[tuple[dict[str, Any], Any]]
    unit: str = ""


SUFFIX = {"counter": "_total", "info": "_info"}  # of the sample's name in OpenMetrics
CLASSIC = {"stateset": "gauge", "info": "gauge"}  # kinds that the classic text does not have


def families(status: Status) -> Iterator[Family]:
    """Everything that is known of a tun."""
    of = {"tun": status["tun"]}
    for gauge in GAUGES:
        if (value := gauge.read(status)) is not None:
            yield Family(gauge.name, "gauge", gauge.help, [(of, value)], gauge.unit)
    yield _stateset("underback_state", "State of the run.", status["state"], tuple(RunState), of)
    yield _stateset("underback_health", "Health of the tun, NAMUR NE 107.", status["health"], HEALTH, of)
    yield Family("underback_journal_records", "counter", "Records written.", [(of, status["journal_seq"])])
    refused = [({**of, "reason": reason}, count) for reason, count in sorted(status["counters"].items())]
    yield Family("underback_refused_messages", "counter", "Messages not taken.", refused)
    yield Family("underback_build", "info", "Which underback this is.", [({**of, "version": status["version"]}, 1)])


def _stateset(name: str, help_text: str, present: str, all_of: tuple[str, ...], of: dict[str, Any]) -> Family:
    return Family(name, "stateset", help_text, [({**of, name: word}, int(word == present)) for word in all_of])


def text(status: Status | None) -> str:
    """The status as classic text; nothing without a status."""
    lines: list[str] = []
    for family in families(status) if status is not None else ():
        name = family.name + SUFFIX.get(family.kind, "")
        lines += [f"# HELP {name} {family.help}", f"# TYPE {name} {CLASSIC.get(family.kind, family.kind)}"]
        lines += _samples(name, family)
    return "".join(f"{line}\n" for line in lines)


def open_text(status: Status | None) -> str:
    """The status as one OpenMetrics exposition; without a status only the end mark."""
    lines: list[str] = []
    for family in families(status) if status is not None else ():
        lines.append(f"# TYPE {family.name} {family.kind}")
        lines += [f"# UNIT {family.name} {family.unit}"] if family.unit else []
        lines.append(f"# HELP {family.name} {family.help}")
        lines += _samples(family.name + SUFFIX.get(family.kind, ""), family)
    return "\n".join([*lines, "# EOF", ""])


def _samples(name: str, family: Family) -> list[str]:
    shown = [(",".join(f'{key}="{_label(word)}"' for key, word in of.items()), value) for of, value in family.samples]
    return [f"{name}{{{labels}}} {value}" for labels, value in shown]


def _label(value: object) -> str:
    return str(value).replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n")


def file_of(named: str, tun: str) -> Path:
    """The tun's own file: its name in place of `{tun}`, else before the ending."""
    path = Path(named)
    return Path(named.replace("{tun}", tun)) if "{tun}" in named else path.with_name(f"{path.stem}-{tun}{path.suffix}")


def write(path: Path, exposition: str) -> None:
    """The exposition into a file, atomically, readable by a collector. Raises OSError."""
    fresh = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        fresh.write_text(exposition, encoding="utf-8")
        fresh.chmod(0o644)
        fresh.replace(path)
    finally:
        fresh.unlink(missing_ok=True)


async def serve(port: int, current: Callable[[], Status | None]) -> asyncio.Server:
    """A server on loopback that answers for /metrics. Raises OSError when the port is taken. The caller closes it."""

    async def answer(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        with contextlib.suppress(OSError, asyncio.TimeoutError, asyncio.LimitOverrunError, asyncio.IncompleteReadError):
            async with asyncio.timeout(REQUEST_S):
                head = await reader.readuntil(b"\r\n\r\n")
                writer.write(response(head, current()))
                await writer.drain()
        writer.close()

    return await asyncio.start_server(answer, "127.0.0.1", port, limit=REQUEST_BYTES)


def response(head: bytes, status: Status | None) -> bytes:
    """The whole HTTP answer to a request's head: OpenMetrics where that is asked for, without its body for HEAD."""
    method, target, *_ = (*head.split(b"\r\n", 1)[0].split(b" "), b"", b"")
    if method not in (b"GET", b"HEAD") or target.partition(b"?")[0] != b"/metrics":
        return _http("404 Not Found", "text/plain; charset=utf-8", "only GET /metrics\n", method)
    wanted = [line.lower() for line in head.split(b"\r\n")[1:] if line.lower().startswith(b"accept:")]
    if any(b"application/openmetrics-text" in line for line in wanted):
        return _http("200 OK", OPEN_TYPE, open_text(status), method)
    return _http("200 OK", CLASSIC_TYPE, text(status), method)


def _http(line: str, content_type: str, body: str, method: bytes) -> bytes:
    raw = body.encode("utf-8", "replace")
    fields = (f"Content-Type: {content_type}", f"Content-Length: {len(raw)}", "Connection: close")
    head = "\r\n".join((f"HTTP/1.1 {line}", *fields, "", ""))
    return head.encode() + (b"" if method == b"HEAD" else raw)
