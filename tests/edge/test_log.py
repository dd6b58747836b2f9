"""The log, and what the daemon does not load."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest

from controller.edge.log import Log
from tests.places import ROOT

# ---------------------------------------------------------------- lines


def test_a_person_reads_time_level_text_and_fields(capsys: pytest.CaptureFixture[str]) -> None:
    """One line each, no colour outside a terminal; below the wanted level nothing is written."""
    Log("warning", managed=False).info("not shown")
    Log(managed=False).error("bad", at=5, why="no route")
    (line,) = capsys.readouterr().err.splitlines()
    time, _, rest = line.partition(" ")
    assert [len(part) for part in time.split(":")] == [2, 2, 2]
    assert rest.split() == ["[error", "]", "bad", "at=5", "why='no", "route'"]


def test_a_service_manager_reads_json_behind_a_priority(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The prefixes are those of syslog; what JSON does not know is written as text, an umlaut as itself, a percent sign
    is no pattern to fill in; JOURNAL_STREAM (systemd.exec) tells of the service manager where nobody else does."""
    log = Log("debug", managed=True)
    log.say("debug", "tick")
    log.info("duty 50 % of %s")
    log.warning("no broker", why="refüsed")
    log.error("bad", at=ROOT)
    monkeypatch.setenv("JOURNAL_STREAM", "8:1")
    Log().info("here")
    lines = capsys.readouterr().err.splitlines()
    assert [line[:3] for line in lines] == ["<7>", "<6>", "<4>", "<3>", "<6>"]
    assert json.loads(lines[1][3:])["text"] == "duty 50 % of %s"
    assert lines[2][3:] == '{"text": "no broker", "why": "refüsed"}'
    assert json.loads(lines[3][3:]) == {"text": "bad", "at": str(ROOT)}
    assert lines[4] == '<6>{"text": "here"}'


class Unsayable:
    def __str__(self) -> str:
        raise ValueError("no words")

    __repr__ = __str__


@pytest.mark.parametrize("managed", [False, True])
def test_a_field_that_cannot_be_written_harms_nobody(managed: bool, capsys: pytest.CaptureFixture[str]) -> None:
    """Its line is lost; the next one is not."""
    log = Log(managed=managed)
    log.error("lost", value=Unsayable())
    log.error("kept")
    (line,) = capsys.readouterr().err.splitlines()
    assert "kept" in line


@pytest.mark.parametrize("managed", [False, True])
def test_a_log_that_cannot_be_written_harms_nobody(managed: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    """A closed stderr, or none, is no reason to end a mash."""
    tried = []

    class Closed:
        def write(self, text: str) -> None:
            tried.append(text)
            raise OSError("closed")

    monkeypatch.setattr("sys.stderr", Closed())
    Log(managed=managed).error("x")
    monkeypatch.setattr("sys.stderr", None)
    Log(managed=managed).error("x")
    assert len(tried) == 1


# ---------------------------------------------------------------- what is loaded


def loaded(code: str) -> set[str]:
    """Which modules has a fresh interpreter loaded after this?"""
    told = f"{code}\nprint(chr(10).join(sorted(name for name, module in sys.modules.items() if module)))"
    command = [sys.executable, "-c", f"import sys\n{told}"]
    run = subprocess.run(command, check=False, cwd=ROOT, capture_output=True, text=True)
    assert run.returncode == 0, run.stderr
    return set(run.stdout.splitlines())


DAEMON = """
from pathlib import Path
import controller.commands.serve
from controller.edge.files import config_files as files
files.settings(Path("config"), "gannet")
"""
OTHERS = {"controller.commissioning.tryout", "controller.field", "controller.report", "jinja2", "sim"}


def test_the_daemon_loads_nothing_of_other_commands() -> None:
    """With its files read it holds the packages it is made of, and neither report, nodes nor simulated world."""
    found = loaded(DAEMON)
    assert found & OTHERS == set()
    assert {"aiomqtt", "pydantic", "simple_pid", "structlog", "controller.core.guard.gate"} <= found
    # the check bites: with the report and the dry run loaded, both are found
    assert {"controller.report", "sim"} <= loaded(f"{DAEMON}\nimport controller.report.run_page, sim.dryrun")


def test_an_error_that_comes_again_is_said_at_growing_intervals(capsys: pytest.CaptureFixture[str]) -> None:
    """Every 2 s for three hours: said at once, after 30 s, 1 min later, and so on to an hour, with how often it came;
    another error between is not held back, and one that comes rarely is said each time."""
    at = [0.0]
    log = Log(managed=True, now=lambda: at[0])
    for step in range(5400):
        at[0] = 2.0 * step
        log.error("refused by the broker", topic="t/status")
        if step == 3:
            log.error("refused by the broker", topic="t/event")
    said = [json.loads(line[3:]) for line in capsys.readouterr().err.splitlines()]
    assert [line["topic"] for line in said[:3]] == ["t/status", "t/event", "t/status"]
    times = [line.get("times", 1) for line in said if line["topic"] == "t/status"]
    assert times == [1, 15, 30, 60, 120, 240, 480, 960, 1800]
    for hour in range(3):
        at[0] = 20_000.0 + 3600.0 * hour
        log.error("the metrics file cannot be written")
    assert len(capsys.readouterr().err.splitlines()) == 3
