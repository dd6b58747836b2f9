"""Do collectors that others wrote take our metrics? promtool, a node exporter and the strict OpenMetrics parser.

    python -m tests.regimes.collectors [--promtool promtool] [--exporter prometheus-node-exporter]

Both programs are in Debian (packages prometheus, prometheus-node-exporter); neither need run as a service. Two mashes
are run, and a status of each of their minutes is shown to the tools: two tuns in two files, one port each.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import subprocess
import sys
import tempfile
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from prometheus_client.openmetrics.parser import text_string_to_metric_families as strict

from controller.edge.dashboards import metrics
from controller.edge.files import config_files, plan_by_name
from controller.messages.topics import topics
from sim import dryrun
from tests.field.secured import free_port
from tests.places import CONFIG
from tests.regimes.command import options
from tests.waiting import until

PAIRS = (("gannet", "sandpiper"), ("plover", "linnet"))


def statuses(tun: str, program: str) -> list[dict[str, Any]]:
    """The first status of each minute of a dry run, as a broker would carry it."""
    settings = config_files.settings(CONFIG, tun)
    topic, found = topics(settings).status, dict[int, dict[str, Any]]()

    def listen(at: float, named: str, payload: bytes, retained: bool, ours: bool) -> None:
        if named == topic:
            found.setdefault(int(at // 60), json.loads(payload))

    dryrun.DryRun(settings, plan_by_name.load_plan(CONFIG, program, tun), 1, listen=listen).go()
    return list(found.values())


def count(status: dict[str, Any]) -> int:
    """How many families does the strict parser find? It raises for what it does not take."""
    families = list(strict(metrics.open_text(status)))  # type: ignore[no-untyped-call]
    return len(families)


def promtool(program: str, text: str) -> str:
    """What promtool has against this text; empty when nothing."""
    done = subprocess.run([program, "check", "metrics"], input=text, capture_output=True, text=True, check=False)
    return (done.stdout + done.stderr).strip() if done.returncode or done.stderr else ""


@contextlib.contextmanager
def exporting(program: str, folder: Path) -> Iterator[str]:
    """The address of a node exporter that reads this folder and nothing else."""
    port = free_port()
    words = ["--collector.disable-defaults", "--collector.textfile", f"--collector.textfile.directory={folder}"]
    command = [program, *words, f"--web.listen-address=127.0.0.1:{port}"]
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    address = f"http://127.0.0.1:{port}/metrics"
    try:
        until(lambda: bool(fetched(address)), "the node exporter answers")
        yield address
    finally:
        process.kill()
        process.wait()


def fetched(address: str, accept: str = "", method: str = "GET") -> str:
    """What this address answers; empty where nothing does."""
    request = urllib.request.Request(address, headers={"Accept": accept} if accept else {}, method=method)
    with contextlib.suppress(OSError), urllib.request.urlopen(request, timeout=5) as answer:
        return answer.read().decode() or str(answer.headers["Content-Length"])
    return ""


async def served(status: dict[str, Any]) -> list[str]:
    """What the port answers: plainly, with a query, on request of OpenMetrics, and to HEAD."""
    server = await metrics.serve(0, lambda: status)
    async with server:
        address = f"http://127.0.0.1:{server.sockets[0].getsockname()[1]}/metrics"
        asked = [(address,), (f"{address}?name[]=x",), (address, "application/openmetrics-text"), (address, "", "HEAD")]
        return [await asyncio.to_thread(fetched, *words) for words in asked]


def main(words: list[str] | None = None) -> int:
    """1 when one of them has something against it."""
    asked = options(__doc__, words, promtool="promtool", exporter="prometheus-node-exporter")
    runs = {tun: statuses(tun, program) for tun, program in PAIRS}
    every = [status for run in runs.values() for status in run]
    against = [why for status in every if (why := promtool(asked.promtool, metrics.text(status)))]
    print(f"promtool: {len(every)} statuses, {len(against)} with a complaint {against[:1] or ''}")
    counted = sum(count(status) for status in every)
    print(f"strict OpenMetrics parser: {len(every)} statuses, {counted} families")
    with tempfile.TemporaryDirectory() as name, exporting(asked.exporter, Path(name)) as address:
        for tun, run in runs.items():
            metrics.write(metrics.file_of(f"{name}/underback.prom", tun), metrics.text(run[-1]))
        shown = fetched(address)
    missing = [tun for tun in runs if f'underback_mash_temperature_celsius{{tun="{tun}"}}' not in shown]
    errors = [line for line in shown.splitlines() if line.startswith("node_textfile_scrape_error")]
    print(f"node exporter: {shown.count('underback_')} lines of two tuns; missing {missing}; {errors}")
    plain, query, opened, head = asyncio.run(served(every[-1]))
    port = plain == query == metrics.text(every[-1]) and opened.endswith("# EOF\n") and head == str(len(plain.encode()))
    print(f"port: {'as it must' if port else 'NOT as it must'}")
    return int(bool(against or missing or not port or errors != ["node_textfile_scrape_error 0"]))


if __name__ == "__main__":
    sys.exit(main())
