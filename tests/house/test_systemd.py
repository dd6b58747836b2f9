"""The units as systemd's own tools judge them, and that they hold what the daemon relies on."""

from __future__ import annotations

import configparser
import os
import re
import shutil
import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest

from controller.commands.shared import exit_codes, parsers
from controller.edge.clock import boot_id, in_step
from controller.edge.watchdog import DEAD_S
from tests.places import CONFIG, ROOT
from tests.waiting import PATIENCE_S

UNITS = sorted((ROOT / "systemd").glob("*.service"))
WORST = 1.5  # of 10, by `systemd-analyze security`; a unit with no hardening has 9.6
ANALYZE = shutil.which("systemd-analyze")
each = pytest.mark.parametrize("unit", UNITS, ids=lambda path: path.name)
LASTING = [unit for unit in UNITS if unit.stem != "underback-off@"]
each_lasting = pytest.mark.parametrize("unit", LASTING, ids=lambda path: path.name)


def analyze(*words: str) -> str:
    """What systemd-analyze says; skips where it is not installed."""
    if ANALYZE is None:
        pytest.skip("systemd-analyze is not installed (Debian: apt install systemd)")
    done = subprocess.run([ANALYZE, *words], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout + done.stderr


def exposure(said: str) -> float:
    found = re.search(r"Overall exposure level for \S+ ([0-9.]+)", said)
    assert found is not None, said
    return float(found[1])


def unit_of(name: str) -> Path:
    return ROOT / "systemd" / f"{name}.service"


def keys(unit: Path) -> dict[str, list[str]]:
    """Every value of every key, in order."""
    found: dict[str, list[str]] = {}
    for line in unit.read_text(encoding="utf-8").splitlines():
        if "=" in line and not line.startswith("#"):
            key, _, value = line.partition("=")
            found.setdefault(key, []).append(value)
    return found


def test_all_are_there() -> None:
    """Daemon, probe node, heater node, stand-in, and the one that sends OFF: one unit each, one instance a tun."""
    names = {"underback@", "underback-probe@", "underback-heater@", "underback-standin@", "underback-off@"}
    assert {unit.stem for unit in UNITS} == names


@each
def test_systemd_finds_no_fault(unit: Path, tmp_path: Path) -> None:
    """`systemd-analyze verify` says nothing at all (with a program that exists on this machine)."""
    text = unit.read_text(encoding="utf-8").replace("/opt/underback/current/bin/python", sys.executable)
    copy = tmp_path / unit.name.replace("@", "@gannet")
    copy.write_text(text, encoding="utf-8")
    assert analyze("verify", str(copy)) == ""


@each
def test_exposure(unit: Path) -> None:
    """`systemd-analyze security` rates every unit 1.5 or better."""
    said = analyze("security", "--offline=true", "--no-pager", str(unit))
    assert exposure(said) <= WORST


def test_the_exposure_check_bites(tmp_path: Path) -> None:
    """The same unit without its hardening is rated far worse."""
    bare = tmp_path / "bare.service"
    parser = configparser.RawConfigParser(strict=False)
    parser.optionxform = str  # type: ignore[assignment, method-assign]
    parser.read(unit_of("underback@"), encoding="utf-8")
    bare.write_text(f"[Service]\nExecStart={sys.executable}\nType={parser['Service']['Type']}\n", encoding="utf-8")
    assert exposure(analyze("security", "--offline=true", str(bare))) > 9.0


@each_lasting
def test_restart_budget_then_down(unit: Path) -> None:
    """Five starts in ten minutes, then down; wrong files (code 2) are not tried again."""
    values = keys(unit)
    assert (values["StartLimitIntervalSec"], values["StartLimitBurst"]) == (["600"], ["5"])
    assert values["Restart"] == ["always"]
    assert values["RestartPreventExitStatus"] == [str(exit_codes.WRONG)]
    # five lives of the shortest kind must fit into the interval, or the budget would never run out
    assert 5 * int(values["RestartSec"][0]) < 600


@each_lasting
def test_notify_and_watchdog(unit: Path) -> None:
    """Type=notify from the main process alone, a watchdog that leaves room for our own, which acts after 5 s."""
    values = keys(unit)
    assert (values["Type"], values["NotifyAccess"]) == (["notify"], ["main"])
    assert float(values["WatchdogSec"][0]) >= 2 * DEAD_S


@each
def test_commands_exist(unit: Path) -> None:
    """Every command that a unit starts is a command of ours, with `--tun %i`, isolated from the environment."""
    values = keys(unit)
    for line in values["ExecStart"] + values.get("ExecStopPost", []):
        words = line.lstrip("-").split()
        if words[0] == "+/usr/bin/systemctl":
            continue
        assert words[1:4] == ["-I", "-m", "controller"]
        assert words[4:6] == ["--config", "/etc/underback"]
        assert words[6] in parsers.COMMANDS
        assert words[words.index("--tun") + 1] == "%i"


def test_every_end_of_daemon_and_heater_is_followed_by_off() -> None:
    """ExecStopPost: the daemon's starts the unit that sends OFF, the heater node's drives the pin."""
    after = {unit.stem: keys(unit).get("ExecStopPost", []) for unit in UNITS}
    assert after["underback@"] == ["-+/usr/bin/systemctl start underback-off@%i.service"]
    off = keys(unit_of("underback-off@"))
    assert " output-off " in off["ExecStart"][0]
    assert (off["Type"], off["DefaultDependencies"], off["StartLimitIntervalSec"]) == (["oneshot"], ["no"], ["0"])
    assert after["underback-heater@"][0].endswith("node heater --tun %i --off")


@each
def test_no_secret_in_the_unit(unit: Path) -> None:
    """Password and TLS key come as credentials by the names that the code asks for; never as a word or a variable."""
    values = keys(unit)
    assert {value.split(":")[0] for value in values["LoadCredential"]} == {"broker-password", "tls-client.key"}
    assert not {"Environment", "EnvironmentFile"} & set(values)


def test_the_daemon_may_ask_for_the_clock() -> None:
    """The daemon needs two things of the kernel that common hardening takes away: whether the clock is in step, and the
    boot's mark; without them every outage would count as unknown."""
    values = keys(unit_of("underback@"))
    assert all(call in values["SystemCallFilter"][-1] for call in ("adjtimex", "clock_adjtime"))
    assert not {"ProtectClock", "ProcSubset"} & set(values)
    assert isinstance(in_step(), bool)
    assert len(boot_id()) == 36


def test_time_sync_ordering_is_a_wish() -> None:
    """The daemon starts after time synchronisation where the machine waits for it, and starts without it too."""
    values = keys(unit_of("underback@"))
    assert "time-sync.target" in values["After"][0]
    assert "time-sync.target" in values["Wants"][0]
    assert "Requires" not in values


# ---------------------------------------------------------------- what Type=notify relies on

NO_BROKER = 1  # a port that nobody listens on


@pytest.mark.parametrize("words", [["serve"], ["node", "probe"], ["node", "heater"], ["standin"]], ids=" ".join)
def test_ready_and_signs_of_life_without_a_broker(words: list[str], tmp_path: Path) -> None:
    """Started with no broker in reach, each program that a unit starts says READY=1 and then WATCHDOG=1 within seconds:
    else systemd would kill it while the broker is still coming up after a power cut, and give up after five times."""
    config = shutil.copytree(CONFIG, tmp_path / "config")
    (tmp_path / "chip").mkdir()
    service, nodes = config / "service.toml", config / "nodes" / "gannet.toml"
    text = service.read_text(encoding="utf-8").replace("port = 1883", f"port = {NO_BROKER}")
    service.write_text(text.replace('data_dir = "data"', f'data_dir = "{tmp_path}"'), encoding="utf-8")
    wired = nodes.read_text(encoding="utf-8").replace("/dev/gpiochip0", str(tmp_path / "chip"))
    nodes.write_text(wired, encoding="utf-8")
    places = {"PYTHONPATH": f"{ROOT / 'tests' / 'field' / 'fakechip'}:{ROOT}"}
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(tmp_path / "notify"))
        manager.settimeout(PATIENCE_S)
        process = subprocess.Popen(
            [sys.executable, "-m", "controller", "--config", str(config), *words, "--tun", "gannet"],
            env={**os.environ, **places, "NOTIFY_SOCKET": str(tmp_path / "notify")},
            stderr=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
        )
        try:
            heard: list[str] = []
            until = time.monotonic() + PATIENCE_S
            while not {"READY=1", "WATCHDOG=1"} <= set(heard) and time.monotonic() < until:
                heard += manager.recv(4096).decode().splitlines()
        finally:
            process.terminate()
            process.wait(15)
    assert {"READY=1", "WATCHDOG=1"} <= set(heard)
    assert process.returncode == 0
