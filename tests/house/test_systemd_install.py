"""Install, upgrade, roll back, uninstall: the script on a machine below a folder."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import sysconfig
import tarfile
import zipfile
from pathlib import Path
from typing import NamedTuple

import pytest

from controller.edge.record import line_format
from tests.places import ROOT

SCRIPT = ROOT / "systemd" / "install.sh"
READER = ROOT / "controller/edge/files/config_files.py"


def wheel(folder: Path, version: str, spoil: str = "") -> Path:
    """A wheel of this source under another version number; `spoil` is code put at the end of its file reader."""
    assert READER.is_file()
    path = folder / f"underback-{version}-py3-none-any.whl"
    with zipfile.ZipFile(path, "w") as archive:
        for package in ("controller", "sim"):
            for source in sorted((ROOT / package).rglob("*.py")):
                text = source.read_text(encoding="utf-8")
                if source == ROOT / "controller" / "__init__.py":
                    text += f'\n__version__ = "{version}"\n'
                if source == READER:
                    text += f"\n{spoil}\n"
                archive.writestr(source.relative_to(ROOT).as_posix(), text)
        info = f"underback-{version}.dist-info"
        archive.writestr(f"{info}/METADATA", f"Metadata-Version: 2.1\nName: underback\nVersion: {version}\n")
        tags = "Wheel-Version: 1.0\nGenerator: test\nRoot-Is-Purelib: true\nTag: py3-none-any\n"
        archive.writestr(f"{info}/WHEEL", tags)
        archive.writestr(f"{info}/RECORD", "")
    return path


def needs_passwords() -> None:
    if shutil.which("mosquitto_passwd", path=os.environ["PATH"] + ":/usr/sbin") is None:
        pytest.skip("mosquitto is not installed (Debian: apt install mosquitto)")


class Machine(NamedTuple):
    """A machine below a folder."""

    root: Path

    def script(self, *words: str) -> tuple[int, str]:
        """Run the script. Its code and everything it said. What is not imported is not compiled: that takes longest."""
        fixed = ("--root", str(self.root), "--python", sys.executable, "--site", sysconfig.get_path("purelib"))
        quick = os.environ | {"PIP_NO_COMPILE": "1"}
        done = subprocess.run([str(SCRIPT), *fixed, *words], capture_output=True, text=True, check=False, env=quick)
        return done.returncode, done.stdout + done.stderr

    def done(self, *words: str) -> str:
        """Run the script to a good end. What did it say?"""
        code, said = self.script(*words)
        assert code == 0, said
        return said

    def version(self) -> str:
        code = "import controller; print(controller.__version__)"
        python = self.root / "opt/underback/current/bin/python"
        said = subprocess.run([str(python), "-I", "-c", code], capture_output=True, text=True, check=True)
        return said.stdout.strip()

    def run(self, state: str) -> None:
        """Leave the record of a run in this state."""
        folder = self.root / "var/lib/underback/record/gannet"
        folder.mkdir(parents=True, exist_ok=True)
        keep = {"n": 1, "kind": "keep", "state": {"run": {"state": state}}}
        lines = [{"n": 0, "kind": "header", "format": 1}, keep]
        (folder / "00000001-run.jsonl").write_bytes(b"".join(line_format.line(line) for line in lines))

    def backups(self) -> list[Path]:
        return sorted((self.root / "var/backups/underback").glob("*.tar.gz"))


@pytest.fixture
def machine(tmp_path: Path) -> Machine:
    """A bare machine."""
    return Machine(tmp_path / "machine")


def test_the_whole_life_of_an_installation(machine: Machine, tmp_path: Path) -> None:
    """Install; again (nothing changes); upgrade refused while a run is open or by a version that refuses the tun files,
    then done, with a back-up; rolled back; forward again; a damaged record refuses what --force does; uninstalled with
    configuration and records left in place."""
    first, second = wheel(tmp_path, "1.0.0"), wheel(tmp_path, "1.1.0")
    machine.done("--source", str(first), "install")
    assert machine.version() == "1.0.0"
    etc = machine.root / "etc/underback"
    assert 'data_dir = "/var/lib/underback"' in (etc / "service.toml").read_text(encoding="utf-8")
    assert (etc / "tuns/gannet.toml").is_file()
    for laid in ("nodes/gannet.toml", "malts/FH-0417.toml", "schemas/program.json"):
        assert (etc / laid).is_file()
    assert (machine.root / "etc/systemd/system/underback@.service").is_file()
    assert os.access(machine.root / "usr/local/bin/underback", os.X_OK)
    shown = [*(machine.root / "usr/local/share").rglob("underback*")]
    assert {"underback", "underback.1", "underback-check.1", "underback-order-start.1"} <= {path.name for path in shown}

    (etc / "service.toml").write_text('prefix = "mine"\n', encoding="utf-8")
    machine.done("--source", str(second), "install")
    assert machine.version() == "1.0.0"
    assert (etc / "service.toml").read_text(encoding="utf-8") == 'prefix = "mine"\n'

    machine.run("running")
    for verb in ("upgrade", "uninstall"):
        code, said = machine.script("--source", str(second), verb)
        assert code == 1
        assert "refused: a run is open: gannet (running)" in said
    assert (machine.version(), machine.backups()) == ("1.0.0", [])

    machine.run("complete")
    refuses = "def settings(config, name):\n    raise Problems([Problem('volume', 'a keg', 'a vessel')])"
    code, said = machine.script("--source", str(wheel(tmp_path, "2.0.0", refuses)), "upgrade")
    assert code == 1
    assert "volume: found a keg, wanted a vessel" in said and "nothing was changed" in said
    assert machine.version() == "1.0.0"
    assert len(list((machine.root / "opt/underback/releases").iterdir())) == 1

    machine.done("--source", str(second), "upgrade")
    assert machine.version() == "1.1.0"
    with tarfile.open(machine.backups()[0]) as archive:
        kept = {"etc/underback/service.toml", "var/lib/underback/record/gannet/00000001-run.jsonl"}
        assert kept <= set(archive.getnames())
    assert machine.backups()[0].stat().st_mode & 0o077 == 0

    for version in ("1.0.0", "1.1.0"):
        machine.done("rollback")
        assert machine.version() == version

    record = machine.root / "var/lib/underback/record/gannet/00000001-run.jsonl"
    record.write_bytes(record.read_bytes().replace(b'"header"', b'"hexder"'))
    for words in (("--source", str(second), "upgrade"), ("uninstall",)):
        code, said = machine.script(*words)
        assert code == 1
        assert "its record is damaged" in said
    machine.done("--force", "uninstall")
    assert not (machine.root / "opt/underback").exists()
    assert list((machine.root / "etc/systemd/system").iterdir()) == []
    assert [*(machine.root / "usr/local/share").rglob("underback*")] == []
    assert (etc / "tuns/gannet.toml").is_file()
    assert record.is_file()


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ([], "wanted: install, upgrade, rollback or uninstall"),
        (["sideways"], "unknown word 'sideways'"),
        (["install", "upgrade"], "one of"),
        (["--source"], "--source needs a value"),
        (["upgrade"], "not installed"),
        (["rollback"], "no former version"),
        (["uninstall"], "not installed"),
    ],
)
def test_words_that_make_no_sense(machine: Machine, words: list[str], told: str) -> None:
    """Code 2, one line, nothing made."""
    code, said = machine.script(*words)
    assert code == 2
    assert told in said
    assert len(said.splitlines()) == 1
    assert not machine.root.exists()


def test_with_a_broker(machine: Machine, tmp_path: Path) -> None:
    """--broker: users, rights and configuration for Mosquitto; each service's password where systemd looks for it, each
    node and the operator under a name of their own; all goes with --purge but the files of others and what is said."""
    needs_passwords()
    said = machine.done("--source", str(wheel(tmp_path, "1.0.0")), "--broker", "gannet", "install")
    etc, store = machine.root / "etc", machine.root / "etc/credstore"
    names = {"underback.daemon", "underback.probe-gannet", "underback.heater-gannet"}
    assert {p.name for p in store.iterdir()} == names
    assert all(p.stat().st_mode & 0o077 == 0 for p in store.iterdir())
    assert (etc / "mosquitto/conf.d/10-underback.conf").is_file()
    assert 'username = "daemon"' in (etc / "underback/service.toml").read_text(encoding="utf-8")
    node = (etc / "underback/nodes/gannet.toml").read_text(encoding="utf-8")
    assert (node.count('username = "probe-gannet"'), node.count('username = "heater-gannet"')) == (1, 1)
    operator = (etc / "underback/operator/service.toml").read_text(encoding="utf-8")
    assert 'username = "operator"' in operator
    assert 'password_file = "/etc/underback/operator/password"' in operator
    secrets = [p.read_text(encoding="ascii").strip() for p in store.iterdir()]
    assert not any(secret in said for secret in secrets)

    other = etc / "mosquitto/conf.d/other.conf"
    other.write_text("# not ours\n", encoding="ascii")
    rule = etc / "udev/rules.d/60-underback-gpio.rules"
    rule.parent.mkdir(parents=True)
    rule.write_text("# ours\n", encoding="ascii")
    said = machine.done("--purge", "uninstall")
    left = {path.relative_to(machine.root) for path in machine.root.rglob("*") if path.is_file()}
    assert left == {other.relative_to(machine.root), machine.backups()[0].relative_to(machine.root)}
    assert f"left: {machine.root}/var/backups/underback" in said
