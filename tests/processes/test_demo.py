"""The demonstration: one command, real MQTT, a completed mash."""

from __future__ import annotations

import contextlib
import os
import re
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from controller.commands.demo import command as demo
from controller.commands.demo import simulated_side
from controller.edge.files import config_files, plan_by_name
from tests.places import CONFIG
from tests.regimes.chaos.field import REPO, Field, needs_mosquitto
from tests.waiting import PATIENCE_S, until


def test_the_demo_completes_and_shows_where_its_record_is(tmp_path: Path) -> None:
    """Exit 0, a line a step with its rest, a record file with a sample a second of the tun's time."""
    config = Field(tmp_path, "gannet", "brief", 60.0).config
    command = [sys.executable, "-m", "controller", "--config", str(config), "demo", "brief", "--tun", "gannet"]
    done = subprocess.run(
        [*command, "--broker", "embedded", "--data", str(tmp_path / "demo")],
        check=False,
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(REPO)},
        capture_output=True,
        text=True,
        timeout=PATIENCE_S,
    )
    assert done.returncode == 0, done.stdout[-3000:] + done.stderr[-3000:]
    assert "Two short rests: complete" in done.stdout
    rests = re.findall(r"^ +\d (one|two) +\d+\.\d °C +(\d+\.\d) of", done.stdout, re.MULTILINE)
    assert [name for name, _ in rests] == ["one", "two"]
    assert [60.0 * float(credited) for _, credited in rests] == pytest.approx([120, 60], abs=6)
    found = re.search(r"^record +(\S+)$", done.stdout, re.MULTILINE)
    assert found is not None
    assert Path(found[1]).read_text().count('"kind":"sample"') > 300


@pytest.mark.parametrize(
    ("late_s", "speed"), [([0.0, 0.001], 60.0), ([0.001, 0.05], 20.0), ([0.3], demo.SLOWEST), ([3.0], demo.SLOWEST)]
)
def test_a_busy_machine_shows_a_slower_mash(late_s: list[float], speed: float) -> None:
    """The latest of a few naps says how fast the tun may go; what was asked for is never passed."""
    assert demo.fitting(60.0, late_s) == speed
    assert demo.fitting(2.0, late_s) == 2.0


def test_a_late_trip_ends_the_attempt() -> None:
    """A trip of a busy machine is no trip of the tun; one that tells of the tun is shown, and goes on."""
    made = plan_by_name.load_plan(CONFIG, "linnet", None)
    side = simulated_side.Demo(config_files.settings(CONFIG, "plover"), made, 60.0, 7, heeds_late=True)
    side._event({"kind": "trip", "id": "G07", "text": "Too hot."})
    with pytest.raises(simulated_side.TooBusy, match="G17 The beat is late"):
        side._event({"kind": "trip", "id": "G17", "text": "The beat is late."})


def _alive(mark: str) -> list[str]:
    """Which processes have this in their command line?"""
    found = []
    for place in Path("/proc").glob("[0-9]*/cmdline"):
        with contextlib.suppress(OSError):
            words = place.read_bytes().replace(b"\0", b" ").decode(errors="replace")
            found += [words] if mark in words else []
    return found


@needs_mosquitto
@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_demo_that_is_ended_leaves_nothing_behind(number: signal.Signals, tmp_path: Path) -> None:
    """While it heats: daemon, broker and folder go with it, and the next demo, run after one of the signals,
    neither takes the open run up nor shows it."""
    config = Field(tmp_path, "gannet", "brief", 60.0).config
    scratch = tmp_path / "scratch"
    scratch.mkdir()
    heeded = ["env", "--default-signal=INT"]  # a shell's background job would ignore it
    words = [*heeded, sys.executable, "-m", "controller", "--config", str(config), "demo", "brief", "--tun", "gannet"]
    environment = {**os.environ, "PYTHONPATH": str(REPO), "TMPDIR": str(scratch), "PYTHONUNBUFFERED": "1"}
    shown = tmp_path / "shown"
    for ended in (True, False)[: 2 if number == signal.SIGTERM else 1]:
        with shown.open("w") as out:
            child = subprocess.Popen(
                [*words, "--broker", "mosquitto"], cwd=tmp_path, env=environment, stdout=out, stderr=out
            )
            if ended:
                until(lambda: "running" in shown.read_text(), "the demo runs")
                assert len(_alive(str(scratch))) == 2
                child.send_signal(number)
            assert child.wait(120) == (130 if ended else 0), shown.read_text()
        assert _alive(str(scratch)) == [] and list(scratch.iterdir()) == []
    if number != signal.SIGTERM:
        return
    text = shown.read_text()
    assert "resume" not in text and "Two short rests: complete" in text
    newest = max((tmp_path / "data" / "demo").iterdir(), key=lambda place: place.stat().st_mtime)
    assert f"record   {newest}" in text and len(list((tmp_path / "data" / "demo").iterdir())) == 2
