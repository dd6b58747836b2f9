"""How does a status look as OpenMetrics text?

OpenMetrics 1.0 (prometheus.io/docs/specs/om/open_metrics_spec): unit as name suffix, counters end in `_total`, `# EOF`
last. A value that is not known is left out, never a number that stands for nothing. Written atomically to a file for
a collector, or served on loopback; both say the same.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, NamedTuple

from controller.core.nouns import RunState

CONTENT_TYPE = "application/openmetrics-text; version=1.0.0; charset=utf-8"
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


def text(status: Status | None) -> str:
    """The status as one OpenMetrics exposition; without a status only the end mark."""
    if status is None:
        return "# EOF\n"
    tun = _label(status["tun"])
    lines = [line for gauge in GAUGES for line in _gauge(gauge, status, tun)]
    lines += _stateset("underback_state", "State of the run.", status["state"], tuple(RunState), tun)
    lines += _stateset("underback_health", "Health of the tun, NAMUR NE 107.", status["health"], HEALTH, tun)
    lines += ["# TYPE underback_journal_records counter", "# HELP underback_journal_records Records written."]
    lines.append(f'underback_journal_records_total{{tun="{tun}"}} {status["journal_seq"]}')
    lines += ["# TYPE underback_refused_messages counter", "# HELP underback_refused_messages Messages not taken."]
    for reason, count in sorted(status["counters"].items()):
        lines.append(f'underback_refused_messages_total{{tun="{tun}",reason="{_label(reason)}"}} {count}')
    lines += ["# TYPE underback_build info", "# HELP underback_build Which underback this is."]
    lines.append(f'underback_build_info{{tun="{tun}",version="{_label(status["version"])}"}} 1')
    return "\n".join([*lines, "# EOF", ""])


def _gauge(gauge: Gauge, status: Status, tun: str) -> list[str]:
    value = gauge.read(status)
    if value is None:
        return []
    lines = [f"# TYPE {gauge.name} gauge"]
    if gauge.unit:
        lines.append(f"# UNIT {gauge.name} {gauge.unit}")
    return [*lines, f"# HELP {gauge.name} {gauge.help}", f'{gauge.name}{{tun="{tun}"}} {value}']


def _stateset(name: str, help_text: str, present: str, all_of: tuple[str, ...], tun: str) -> list[str]:
    samples = [f'{name}{{tun="{tun}",{name}="{_label(word)}"}} {int(word == present)}' for word in all_of]
    return [f"# TYPE {name} stateset", f"# HELP {name} {help_text}", *samples]


def _label(value: object) -> str:
    return str(value).replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n")


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
    """A server on loopback that answers `GET /metrics`. Raises OSError when the port is taken. The caller closes it."""

    async def answer(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        with contextlib.suppress(OSError, asyncio.TimeoutError, asyncio.LimitOverrunError, asyncio.IncompleteReadError):
            async with asyncio.timeout(REQUEST_S):
                head = await reader.readuntil(b"\r\n\r\n")
                writer.write(response(head, current()))
                await writer.drain()
        writer.close()

    return await asyncio.start_server(answer, "127.0.0.1", port, limit=REQUEST_BYTES)


def response(head: bytes, status: Status | None) -> bytes:
    """The whole HTTP answer to a request's head."""
    if head.split(b"\r\n", 1)[0].split(b" ")[:2] != [b"GET", b"/metrics"]:
        return _http("404 Not Found", "text/plain; charset=utf-8", "only GET /metrics\n")
    return _http("200 OK", CONTENT_TYPE, text(status))


def _http(line: str, content_type: str, body: str) -> bytes:
    raw = body.encode("utf-8", "replace")
    head = f"HTTP/1.1 {line}\r\nContent-Type: {content_type}\r\nContent-Length: {len(raw)}\r\nConnection: close\r\n\r\n"
    return head.encode() + raw
