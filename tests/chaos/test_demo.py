"""The demonstration: one command, real MQTT, a completed mash."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.chaos.field import REPO, Field, needs_mosquitto


@pytest.mark.parametrize("broker", [pytest.param("mosquitto", marks=needs_mosquitto), "embedded"])
def test_the_demo_completes_and_shows_where_its_record_is(broker: str, tmp_path: Path) -> None:
    """Exit 0, a line a step with its rest, a record file with a sample a second of the tun's time."""
    config = Field(tmp_path, "gannet", "short", 60.0).config
    command = [sys.executable, "-m", "controller", "--config", str(config), "demo", "short", "--tun", "gannet"]
    done = subprocess.run(
        [*command, "--broker", broker, "--data", str(tmp_path / "demo")],
        check=False,
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(REPO)},
        capture_output=True,
        text=True,
        timeout=180,
    )
    assert done.returncode == 0, done.stdout[-3000:] + done.stderr[-3000:]
    assert "Two short rests: complete" in done.stdout
    rests = re.findall(r"^(one|two) +\d+\.\d °C +\d+ s +(\d+) s", done.stdout, re.MULTILINE)
    assert [name for name, _ in rests] == ["one", "two"]
    assert [abs(int(credited) - planned) <= 5 for (_, credited), planned in zip(rests, (180, 120), strict=True)] == [
        True,
        True,
    ]
    found = re.search(r"^record +(\S+)$", done.stdout, re.MULTILINE)
    assert found is not None
    assert Path(found[1]).read_text().count('"kind":"sample"') > 600
