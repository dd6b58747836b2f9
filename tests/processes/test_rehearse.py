"""A rehearsal on one's own broker, with its users and rights."""

from __future__ import annotations

import asyncio
import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from controller.commands.rehearse import _users
from controller.commands.shared.exit_codes import Wrong
from controller.edge.files import config_files
from controller.edge.mqtt import requests
from controller.settings.service import Broker
from tests.commands.called import called
from tests.field import secured
from tests.places import ROOT, edited
from tests.waiting import PATIENCE_S, until

ORDER = ("order", "start", "sandpiper", "--here", "--attended", "--tun", "gannet")


class Rehearsal:
    """A process, and what it printed."""

    def __init__(self, config: Path, folder: Path) -> None:
        self.out = folder / "out"
        command = [sys.executable, "-m", "controller", "--config", str(config), "rehearse", "--tun", "gannet"]
        with self.out.open("a") as out:
            self.child = subprocess.Popen(
                [*command, "--program", "sandpiper", "--speed", "20"],
                stdout=out,
                stderr=out,
                cwd=folder,
                env={**os.environ, "PYTHONPATH": str(ROOT), "PYTHONUNBUFFERED": "1"},
            )

    def daemon(self, config: Path) -> int:
        """The process id of its daemon, by the files that it reads."""
        mark = f"--config\0{config}\0serve".encode()
        return next(int(p.parent.name) for p in Path("/proc").glob("[0-9]*/cmdline") if mark in p.read_bytes())


async def _says_it_is_there(broker: Broker) -> None:
    async with requests.linked(broker, "heater") as link:
        await link.say("underback/gannet/heater/online", b"true", retain=True)


@pytest.fixture
def own(config: Path, tmp_path: Path) -> Path:
    """The shipped files with an operator beside the daemon's access; the broker is not there yet."""
    (config / "operator").mkdir()
    return config


def test_a_rehearsal_goes_on_after_a_power_cut_with_the_mash_as_warm(own: Path, tmp_path: Path) -> None:
    """Nodes and daemon keep to the rights of make-users.sh; both killed while it heats, a new rehearsal goes on by
    itself from the same temperature, and ends in order."""
    with secured.running(tmp_path) as broker:
        port, passwords = f"port = {broker.port}", broker.folder / "passwords"
        edited(own / "service.toml", ("port = 1883", port), ('username = ""', 'username = "daemon"'))
        edited(own / "service.toml", ('password_file = ""', f'password_file = "{passwords / "daemon"}"'))
        own_access = f'[broker]\n{port}\nusername = "operator"\npassword_file = "{passwords / "operator"}"\n'
        (own / "operator" / "service.toml").write_text(own_access)

        def status() -> dict[str, object]:
            code, out, _ = called("status", "--tun", "gannet", "--json", config=own)
            return dict(json.loads(out)) if code == 0 else {}

        first = Rehearsal(own, tmp_path)
        until(lambda: called(*ORDER, "--hand", "12 °C", config=own)[0] == 0, first.out.read_text())
        until(lambda: float(str(status().get("temperature_c") or 0.0)) > 14.0, "it heats")
        daemon = first.daemon(tmp_path / "data/rehearsal/gannet/config")
        os.kill(first.child.pid, signal.SIGKILL)
        os.kill(daemon, signal.SIGKILL)
        first.child.wait()
        kept = json.loads((tmp_path / "data/rehearsal/gannet/tun.json").read_text())["tun"]["layers"][0]
        again = Rehearsal(own, tmp_path)
        until(lambda: status().get("state") == "running", "the run goes on by itself")
        warm = float(str(status()["temperature_c"]))
        again.child.send_signal(signal.SIGINT)
        assert again.child.wait(PATIENCE_S) == 0, again.out.read_text()
    told = again.out.read_text()
    assert "stands as it stood" in told and "refused" not in told
    assert warm > kept - 1.0 and kept > 13.0


def test_nodes_without_passwords_are_told_where_they_come_from(own: Path, tmp_path: Path) -> None:
    """A folder that lacks a node's password is answered with the command that makes it."""
    settings = config_files.settings(own, "gannet")
    with pytest.raises(Wrong, match=r"found no .*heater-gannet .*make-users\.sh FOLDER gannet, then --passwords"):
        _users(settings, str(tmp_path))
    assert {broker.username for broker in _users(settings, None).values()} == {""}


def test_a_real_tun_is_rehearsed_only_where_its_nodes_are_away(own: Path, tmp_path: Path) -> None:
    """A retained `true` of the heater's presence turns the rehearsal away, with what to do; `serve --speed` and
    `standin` on a real tun name the rehearsal."""
    edited(own / "tuns" / "gannet.toml", ("simulated = true ", "simulated = false "))
    for words in (("serve", "--speed", "10"), ("standin",)):
        code, _, err = called(*words, "--tun", "gannet", config=own)
        assert code == 2 and "`underback rehearse --tun gannet" in err
    with secured.running(tmp_path) as broker:
        port, witness = f"port = {broker.port}", broker.folder / "passwords" / secured.WITNESS
        edited(own / "service.toml", ("port = 1883", port), ('username = ""', f'username = "{secured.WITNESS}"'))
        edited(own / "service.toml", ('password_file = ""', f'password_file = "{witness}"'))
        asyncio.run(_says_it_is_there(broker.login(secured.WITNESS)))
        code, _, err = called("rehearse", "--tun", "gannet", config=own)
    assert code == 2 and "heater/online" in err and "pull the heater's plug" in err
