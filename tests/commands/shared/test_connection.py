"""The commands on a broker with the shipped users and rights: which tun, which user, what is said where it fails."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from controller.messages.cautions import CAUTIONS
from tests.commands.called import called
from tests.field import secured
from tests.field.secured import Secured
from tests.places import CONFIG, ROOT
from tests.waiting import PATIENCE_S, until

TUNS = ["gannet", "plover"]
TWO_IDLE = ["gannet (simulated)", "  mash    no reading", "plover (simulated)", "  mash    no reading"]


class House:
    """A configuration of two tuns, its broker, and the daemons that run."""

    def __init__(self, folder: Path, broker: Secured) -> None:
        self.folder, self.broker, self.config = folder, broker, folder / "config"
        for part in ("tuns", "programs"):
            shutil.copytree(CONFIG / part, self.config / part)
        self.access(self.config, "daemon", f'data_dir = "{folder / "data"}"\n')

    def access(self, folder: Path, user: str, more: str = "", password: Path | None = None) -> None:
        """A service file in this folder for one of the broker's users."""
        folder.mkdir(exist_ok=True)
        secret = password or self.broker.folder / "passwords" / user
        login = f'[broker]\nport = {self.broker.port}\nusername = "{user}"\npassword_file = "{secret}"\n'
        (folder / "service.toml").write_text(more + login, encoding="utf-8")

    def operator(self) -> None:
        """The operator's access, as the page on the broker says."""
        self.access(self.config / "operator", "operator")

    def no_operator(self) -> None:
        shutil.rmtree(self.config / "operator", ignore_errors=True)

    def command(self, *words: str) -> list[str]:
        return [sys.executable, "-m", "controller", "--config", str(self.config), *words]

    def said(self, *words: str) -> tuple[int, str, str]:
        """Exit code, stdout and stderr of one command, in this process."""
        return called(*words, config=self.config)

    @contextmanager
    def serving(self, tun: str) -> Iterator[Path]:
        """A daemon for as long as the block lasts, and its log."""
        log = self.folder / f"{tun}.log"
        environment = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONUNBUFFERED": "1", "NO_COLOR": "1"}
        with log.open("wb") as out:
            daemon = subprocess.Popen(
                self.command("serve", "--tun", tun), stdout=out, stderr=out, env=environment, cwd=self.folder
            )
        try:
            until(lambda: "connected to the broker" in log.read_text(encoding="utf-8"), "the daemon is connected")
            yield log
        finally:
            daemon.terminate()
            daemon.wait(PATIENCE_S)


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    """One broker for all tests of this file, with the daemon of gannet."""
    with secured.running(tmp_path_factory.mktemp("broker")) as broker:
        house = House(tmp_path_factory.mktemp("house"), broker)
        with house.serving("gannet"):
            until(lambda: house.said("status", "--tun", "gannet")[0] == 0, "gannet says its status")
            yield house


def test_the_only_daemon_that_answers_is_meant(house: House) -> None:
    """Of two tuns one is served: no --tun is needed; where both are, who only looks is shown both, and who gives an
    order is asked back with their names; who works at a tun needs no --tun where one is served."""
    code, out, _ = house.said("status", "--json")
    assert (code, json.loads(out)["tun"]) == (0, "gannet")
    code, _, err = house.said("learn", "--water", "40 L", "--keep")
    assert code == 2 and "wanted a run on record" in err
    with house.serving("plover"):
        until(lambda: house.said("status", "--tun", "plover")[0] == 0, "plover says its status")
        code, out, err = house.said("order", "hold")
        assert (code, out) == (2, "")
        assert "gannet and plover answer" in err and "one of gannet, plover: add --tun" in err
        code, out, _ = house.said("status")
        assert (code, [line.split(":")[0] for line in out.splitlines()]) == (0, TWO_IDLE)
        assert [json.loads(line)["tun"] for line in house.said("status", "--json")[1].splitlines()] == TUNS
        code, out, _ = house.said("doctor", "--json")
        daemons = [one["found"] for one in json.loads(out) if one["check"] == "daemon"]
        assert (code, [said.split(":")[0] for said in daemons]) == (0, TUNS)
        watch = " ".join(house.command("watch", "--json"))
        found = subprocess.run(f"{watch} | head -4", shell=True, cwd=ROOT, capture_output=True, check=True)
        assert {json.loads(line)["tun"] for line in found.stdout.splitlines()} == set(TUNS)
        assert found.stderr == b""
    until(lambda: len(house.said("status", "--json")[1].splitlines()) == 1, "plover's daemon has ended")


def test_doctor_tells_of_a_broker_that_is_ill(house: House, tmp_path: Path) -> None:
    """Without --tun and with nothing at the broker's address the rest is looked at all the same, and the broker named;
    `status` and `watch` say what to start."""
    shutil.copytree(house.config, tmp_path / "config")
    service = tmp_path / "config" / "service.toml"
    service.write_text(f'data_dir = "{tmp_path}"\n[broker]\nport = {secured.free_port()}\n', encoding="utf-8")
    code, out, _ = called("doctor", config=tmp_path / "config")
    assert code == 3 and "gannet: none on record" in out and "nothing listens at the broker's address" in out
    for words in ("status", "watch"):
        code, out, err = called(words, config=tmp_path / "config")
        assert (code, out) == (3, "") and "nothing listens at the broker's address" in err


def test_a_program_starts_on_its_own_tun(house: House) -> None:
    """`order start` goes to the tun that the program names, served or not, and --tun wins."""
    house.operator()
    code, _, err = house.said("order", "start", "linnet", "--hand", "12 °C")
    assert code == 3
    assert "plover" in err
    code, out, _ = house.said("order", "start", "sandpiper", "--hand", "12 °C")
    assert code == 1 and out.startswith("refused: `start`")
    code, out, _ = house.said("order", "start", "linnet", "--hand", "12 °C", "--tun", "gannet")
    assert code == 1 and out.startswith("refused: `start`")
    house.no_operator()


def test_a_start_prints_the_cautions(house: House) -> None:
    """Each caution of the README in short, on stderr: stdout stays one JSON object; no other order prints them."""
    house.operator()
    code, out, err = house.said("order", "start", "sandpiper", "--json")
    assert (code, json.loads(out)["accepted"]) == (1, False)
    numbers = re.findall(r"^ *(\d+)\. .", err, re.MULTILINE)
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    assert numbers == re.findall(r"^> +(\d+)\. ", readme, re.MULTILINE) == [str(n + 1) for n in range(len(CAUTIONS))]
    assert "not a safety device" in err and "cut-out with manual reset" in err and "Never heat dry" in err
    assert house.said("order", "hold")[2] == ""
    house.no_operator()


@pytest.mark.parametrize("order", [("start", "sandpiper"), ("hold",)])
def test_who_may_give_no_orders_is_told_who_may(house: House, order: tuple[str, ...]) -> None:
    """The daemon's own user may not: that is said, with the page that tells how to be the operator; who then may."""
    code, out, err = house.said("order", *order)
    assert (code, out) == (3, "")
    assert 'user "daemon" may not be allowed to write orders; use the operator\'s' in err
    assert "config/mosquitto/README.md" in err
    house.operator()
    code, out, _ = house.said("order", *order)
    assert code == 1 and out.startswith("refused: ")
    house.no_operator()


def test_the_same_on_the_older_protocol(house: House) -> None:
    """MQTT 3.1.1 tells of no refusal: the daemon's live status shows that the order did not get through."""
    service = house.config / "service.toml"
    before = service.read_text(encoding="utf-8")
    service.write_text(f"{before}version = 3\n", encoding="utf-8")
    code, _, err = house.said("order", "hold")
    service.write_text(before, encoding="utf-8")
    assert code == 3
    assert "did not answer within 5 s, though it says its status" in err and "use the operator's" in err


@pytest.mark.parametrize("user", ["daemon", "operator"])
def test_doctor_is_well_on_the_shipped_rights(house: House, user: str) -> None:
    """Neither user lacks a right: a message to oneself comes back, nothing is bad."""
    if user == "operator":
        house.operator()
    code, out, _ = house.said("doctor", "--json")
    house.no_operator()
    found = {each["check"]: each for each in json.loads(out)}
    assert code == 0
    assert found["broker"]["found"].startswith("MQTT 5, round trip")
    assert "rights" not in found and "daemon's rights" not in found
    assert found["open broker"]["level"] == "good"


def test_doctor_names_the_right_that_is_missing(house: House) -> None:
    """A user who may only look: which topic it may not write, and the script that mends it."""
    house.access(house.config / "operator", "panel")
    code, out, _ = house.said("doctor", "--json")
    house.no_operator()
    found = {each["check"]: each for each in json.loads(out)}
    assert code == 1
    assert found["rights"]["found"] == 'user "panel" may not write underback/gannet/doctor'
    assert "make-users.sh" in found["rights"]["do"]


def test_a_wrong_password_is_no_broker_that_is_away(house: House, tmp_path: Path) -> None:
    """User and password are named, and how they are made anew; nobody is sent to start a broker that runs."""
    (tmp_path / "password").write_text("guessed", encoding="ascii")
    house.access(house.config / "operator", "operator", password=tmp_path / "password")
    code, _, err = house.said("status", "--tun", "gannet")
    assert code == 3
    assert 'user "operator": the broker refuses this user name or password' in err and "--renew" in err
    assert "tart" not in err
    house.access(house.config / "operator", "operator", password=tmp_path / "gone")
    code, _, err = house.said("status", "--tun", "gannet")
    house.no_operator()
    assert code == 3
    assert "gone cannot be read (No such file or directory)" in err and "tart" not in err


def test_a_tun_that_the_rights_do_not_know(tmp_path: Path) -> None:
    """The list was made for gannet alone: plover's daemon says once a topic what to run, `status` and `doctor` too."""
    (tmp_path / "broker").mkdir()
    folder = secured.prepare(tmp_path / "broker")
    secured.script("make-users.sh", str(folder), "gannet")
    with secured.restarted(tmp_path / "broker", folder) as broker:
        house = House(tmp_path, broker)
        with house.serving("plover") as log:
            until(lambda: "make-users.sh" in log.read_text(encoding="utf-8"), "the daemon tells")
            code, _, err = house.said("status", "--tun", "plover")
            assert code == 3
            assert (
                'nothing is heard of plover: the broker\'s user "daemon" may not write underback/plover/doctor' in err
            )
            assert "make-users.sh with all your tuns" in err and "underback serve" not in err
            code, out, _ = house.said("doctor", "--tun", "plover")
            assert code == 1
            assert 'bad   rights         user "daemon" may not write underback/plover/doctor' in out
        lines = [line for line in log.read_text(encoding="utf-8").splitlines() if "refused by the broker" in line]
        told = [match[1] for line in lines if (match := re.search(r"topic=(\S+)", line))]
        assert len(lines) == len(told) == len(set(told)) >= 3
