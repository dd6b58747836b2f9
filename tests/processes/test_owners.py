"""Two daemons for one tun: one owner at a time, and the loser is silent for good."""

from __future__ import annotations

import shutil
import time
from pathlib import Path

from tests.regimes.chaos.field import Field, field, needs_mosquitto

pytestmark = needs_mosquitto
SPEED = 20.0


def second_config(there: Field) -> Path:
    """The same tun with a record of its own, as on another machine."""
    config = there.folder / "other"
    shutil.copytree(there.config, config)
    (config / "service.toml").write_text(f'data_dir = "{there.folder / "other-data"}"\n[broker]\nport = {there.port}\n')
    return config


def serve_second(there: Field, config: Path) -> None:
    there.python("second", "serve", "--tun", there.tun, "--speed", f"{there.speed:g}", config=config)


def test_a_second_daemon_on_the_same_machine_is_turned_away(tmp_path: Path) -> None:
    """The same record folder: the second process ends with 1 and a sentence, the first does not notice."""
    with field(tmp_path, "gannet", "short", SPEED) as there:
        there.serve()
        there.wait(lambda: bool(there.of("heater/command")), 20, "the first daemon speaks")
        there.serve("second")
        assert there.processes["second"].wait(20) == 1
        assert "another underback on this machine serves gannet" in there.said_by("second")
        owners = {h.values()["owner"] for h in there.of("heater/command")}
        assert len(owners) == 1


def test_a_daemon_elsewhere_takes_the_tun_and_the_first_falls_silent(tmp_path: Path) -> None:
    """A second owner with a higher epoch: the first trips, sends no heat and then nothing; never two hot owners."""
    with field(tmp_path, "gannet", "short", SPEED) as there:
        there.site()
        there.serve()
        there.wait(lambda: any(h.values()["duty"] > 0 for h in there.of("heater/command")), 60, "heat")
        first = there.of("heater/command")[-1].values()["owner"]
        mark = len(there.heard)
        serve_second(there, second_config(there))
        there.wait(
            lambda: any(h.values()["owner"] != first for h in there.of("heater/command", mark)), 30, "the second"
        )
        seen = next(h.at for h in there.of("heater/command", mark) if h.values()["owner"] != first)
        there.wait(lambda: any(h.values().get("id") == "G19" for h in there.of("event", mark)), 20, "the first trips")
        time.sleep(30.0 / SPEED)
        later = [h for h in there.of("heater/command", mark) if h.values()["owner"] == first]
        assert all(h.values()["duty"] == 0.0 for h in later if h.at > seen + 2.0 / SPEED + 0.25)
        assert not [h for h in later if h.at > seen + 10.0 / SPEED + 0.5]
        hot = [h.values()["epoch"] for h in there.of("heater/command", mark) if h.values()["duty"] > 0]
        assert len(set(hot)) <= 1
        second = [h.values()["epoch"] for h in there.of("heater/command", mark) if h.values()["owner"] != first]
        assert min(second) > max(hot, default=0)
