"""`underback tryout` from the command line: a simulated tun by script, and who is turned away."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from controller.cli import main
from controller.commissioning import proof_record
from controller.edge.files import config_files
from tests.places import CONFIG, edited
from tests.waiting import PATIENCE_S


def test_a_simulated_tun_is_tried_out_and_the_daemon_then_knows_its_proof(
    config: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Every trial passes at sixty times real time, exit 0; the record counts from today."""
    words = ["--config", str(config), "tryout", "--tun", "gannet", "--yes", "--speed", "60", "--json", "--by", "test"]
    assert main(words) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["passed"] is True
    assert [trial["name"] for trial in document["trials"]][-2:] == ["hard limit", "clear"]
    days = proof_record.proof_days(config_files.settings(config, "gannet"), time.time())
    assert days is not None and days < 0.01


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_a_signal_in_the_middle_makes_a_failed_proof(config: Path, number: signal.Signals) -> None:
    """Ctrl-C, a stop or a closed terminal while it heats: exit 1, `interrupted` on record, and no proof for anybody."""
    words = [sys.executable, "-m", "controller", "--config", str(config), "tryout", "--tun", "gannet", "--yes"]
    with subprocess.Popen([*words, "--speed", "20"], stdout=subprocess.PIPE, text=True, cwd=CONFIG.parent) as child:
        assert child.stdout is not None
        for line in child.stdout:
            if line.startswith("passed  heater on"):
                child.send_signal(number)
        assert child.wait(PATIENCE_S) == 1
    settings = config_files.settings(config, "gannet")
    document = json.loads((proof_record.folder(settings) / "gannet.json").read_text())
    assert document["passed"] is False and document["trials"][-1]["name"] == "interrupted"
    assert proof_record.proof_days(settings, time.time()) is None


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--yes", "--real"], "a person has to be at it"),
        ([], "--water"),
        (["--water", "40"], "--water"),
        (["--water", "cold"], "--water"),
        (["--yes", "--water", "10 L", "--speed", "60"], "25 L"),
    ],
)
def test_who_is_turned_away(words: list[str], told: str, config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`--yes` on a tun that is not simulated; the water not said, a bare number, no number, with an example; 10 L, that
    do not cover the heated wall: exit 2, before anything is heated."""
    if "--real" in words:
        edited(config / "tuns" / "gannet.toml", ("simulated = true", "simulated = false"))
    options = [word for word in words if word != "--real"]
    assert main(["--config", str(config), "tryout", "--tun", "gannet", *options]) == 2
    assert told in capsys.readouterr().err
