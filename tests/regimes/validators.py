"""Do the validators of others take what we say? Message document, discovery documents, Homie device.

    python -m tests.regimes.validators [--only messages] [--python python3.13]

`messages`: the official parser (npm) reads config/asyncapi.json. `discovery`: the home-automation platform's own
schemas (PyPI, in an environment of its own) read the documents of the shipped tuns. `homie`: a controller of others
(PyPI) watches a short mash on Mosquitto, a killed daemon, its return and its end. The first two are also shown spoiled
documents, which they must refuse. What is fetched is kept (`foreign.py`). Needs node, npm and mosquitto, and for
`--python` 3.13 for the newest schemas.
"""

from __future__ import annotations

import copy
import json
import os
import signal
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

from controller.edge.dashboards.discovery import discovery
from controller.edge.files import config_files
from tests.places import CONFIG, ROOT
from tests.regimes import foreign
from tests.regimes.chaos.field import Field
from tests.regimes.command import options

OTHERS = ROOT / "tests" / "regimes" / "others"
ERROR = 0  # the parser's severities: 0 error, 1 warning, 2 information


def ran(command: list[str], said: str = "", **more: str) -> str:
    """What a foreign program prints. Raises AssertionError with its words when it does not end well."""
    done = subprocess.run(
        command, input=said, capture_output=True, text=True, check=False, env={**os.environ, **more, "PYTHONPATH": ""}
    )
    assert done.returncode == 0, (done.stdout + done.stderr)[-1500:]
    return done.stdout


def messages(_: str) -> list[str]:
    """The message document before the official parser."""
    modules = foreign.npm("@asyncapi/parser")

    def parsed(path: Path) -> dict[str, Any]:
        found: dict[str, Any] = json.loads(
            ran(["node", str(OTHERS / "message_document.mjs"), str(path)], MODULES=str(modules))
        )
        return found

    found = parsed(CONFIG / "asyncapi.json")
    with tempfile.TemporaryDirectory() as name:
        path = Path(name) / "spoiled.json"
        document = json.loads((CONFIG / "asyncapi.json").read_text())
        document["operations"]["sendStatus"]["action"] = "shout"
        path.write_text(json.dumps(document))
        spoiled = parsed(path)
    counts = ", ".join(f"{found[key]} {key}" for key in ("channels", "operations", "schemas", "examples"))
    told = "; ".join(one["text"] for one in found["said"]) or "nothing"
    print(f"messages: AsyncAPI {found['version']}, {counts}; the parser says: {told}")
    wrong = [one["text"] for one in found["said"] if one["severity"] == ERROR]
    return wrong + ([] if found["taken"] else ["not taken"]) + (["spoiled: taken"] if spoiled["taken"] else [])


def documents() -> dict[str, dict[str, Any]]:
    """Discovery documents of the shipped tuns."""
    return {name: discovery(config_files.settings(CONFIG, name))[1] for name in config_files.names(CONFIG / "tuns")}


def spoiled(document: dict[str, Any]) -> list[dict[str, Any]]:
    """The same, each with one mistake that the platform does not take."""
    made = [copy.deepcopy(document) for _ in range(4)]
    made[0]["components"]["temperature"]["device_class"] = "warmth"
    made[1]["components"]["hold"].pop("command_topic")
    made[2]["device"].pop("identifiers")
    made[3]["components"]["event"].pop("event_types")
    return made


def platform(python: str) -> list[str]:
    """The discovery documents before the platform's own schemas."""
    runner = foreign.python("platform", "homeassistant", "paho-mqtt", "hassil", interpreter=python)
    good = documents()
    bad = spoiled(next(iter(good.values())))
    said = json.dumps([json.dumps(one) for one in (*good.values(), *bad)])
    lines = [json.loads(line) for line in ran([str(runner), str(OTHERS / "discovery_schemas.py")], said).splitlines()]
    version = ran(
        [str(runner), "-c", "from importlib.metadata import version; print(version('homeassistant'))"]
    ).strip()
    parts = sum(line["parts"] for line in lines[: len(good)])
    wrong = [f"{name}: {why}" for name, line in zip(good, lines, strict=False) for why in line["refused"]]
    caught = sum(bool(line["refused"]) for line in lines[len(good) :])
    refused = f"{len(wrong)} refused; {caught} of {len(bad)} spoiled ones refused"
    print(f"discovery: {version}, {len(good)} documents, {parts} parts, {refused}")
    return wrong + ([] if caught == len(bad) else ["a spoiled document was taken"])


def homie(python: str) -> list[str]:
    """A device before a controller of others: a mash, a kill, a return, an orderly end."""
    runner = foreign.python("homie", "ebus-sdk", interpreter=python)
    with tempfile.TemporaryDirectory() as name:
        there = Field(Path(name), "gannet", "short", 20.0)
        there.reach(there.config, there.port, "[dashboards]\nhomie = true\n")
        log = Path(name) / "seen"
        try:
            there.broker()
            there.observe()
            watching = watcher(runner, there, log)
            there.go_on()
            there.wait(lambda: there.state() == "complete", 300.0, "the run completes")
            there.kill("serve")
            there.wait(lambda: state_now(log) == "lost", 30.0, "the controller sees the device lost")
            there.serve()
            there.wait(lambda: state_now(log) == "ready", 60.0, "the controller sees it ready")
            there.kill("serve", signal.SIGTERM)
            there.wait(lambda: state_now(log) == "disconnected", 30.0, "the controller sees it disconnected")
            watching.stdin.close()  # type: ignore[union-attr]
            watching.wait(10)
        finally:
            there.end()
        return judged(seen(log), [(h.topic, h.payload) for h in there.heard])


def watcher(runner: Path, there: Field, log: Path) -> subprocess.Popen[bytes]:
    with log.open("wb") as file:
        command = [str(runner), str(OTHERS / "homie_controller.py"), str(there.port)]
        there.processes["controller"] = watching = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=file, stderr=subprocess.DEVNULL, env={**os.environ, "PYTHONPATH": ""}
        )
    return watching


def seen(log: Path) -> list[dict[str, Any]]:
    return [json.loads(line) for line in log.read_text().splitlines() if line.startswith("{") and line.endswith("}")]


def state_now(log: Path) -> str:
    return next((str(one["new"]) for one in reversed(seen(log)) if one["what"] == "state"), "")


def judged(noticed: list[dict[str, Any]], heard: list[tuple[str, bytes]]) -> list[str]:
    """What the controller noticed, and the order of what was said."""
    values = [one for one in noticed if one["what"] == "value"]
    states = [one["new"] for one in noticed if one["what"] == "state"]
    versions = list(dict.fromkeys(one["version"] for one in noticed if one["what"] == "description"))
    keys = {one["key"] for one in values}
    wrong = [f"{one['key']}: {one['text']}: {one['wrong']}" for one in values if one["wrong"]]
    wrong += [] if versions == sorted(versions) and len(versions) == 2 else [f"versions of the description: {versions}"]
    wrong += early(heard)
    print(f"homie: {len(values)} values of {len(keys)} properties, states {' '.join(states)}, descriptions {versions}")
    return wrong


def early(heard: list[tuple[str, bytes]]) -> list[str]:
    """Is the device ready before it was described, or before its values were said? What is not known has none."""
    wrong, stage, said = [], "", set[str]()
    for topic, payload in heard:
        head, _, place = topic.partition("/underback-gannet/")
        if head != "homie/5":
            continue
        if place == "$state" and payload == b"ready":
            lacks = sorted(SURE - said) if stage == "described" else ["the description"] if stage != "ready" else []
            wrong += [f"ready before {', '.join(lacks)}"] if lacks else []
            stage = "ready"
        elif place == "$state":
            stage, said = payload.decode(), set()
        elif place == "$description":
            stage = "described"
        else:
            said.add(place)
    return wrong


SURE = {"run/state", "run/phase", "heater/duty", "run/asked"}  # known whatever the tun does
PARTS: dict[str, Callable[[str], list[str]]] = {"messages": messages, "discovery": platform, "homie": homie}


def main(words: list[str] | None = None) -> int:
    """1 when somebody has something against it, 3 when something is not installed."""
    asked, bad = options(__doc__, words, only=sorted(PARTS), python=sys.executable), 0
    for name in asked.only:
        try:
            wrong = PARTS[name](asked.python)
        except foreign.Missing as what:
            print(f"{name}: not tried, missing: {what}")
            bad = max(bad, 3)
            continue
        print("".join(f"    {line}\n" for line in wrong), end="", flush=True)
        bad = 1 if wrong else bad
    return bad


if __name__ == "__main__":
    sys.exit(main())
