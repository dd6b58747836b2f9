"""What keeps strangers out, on a real Mosquitto with the shipped files: each refusal is one plain sentence."""

from __future__ import annotations

import asyncio
import logging
import os
import stat
import subprocess
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import aiomqtt
import pytest

from controller.commands.rehearse import _users
from controller.commands.standin import USERS
from controller.edge.files import config_files
from controller.edge.mqtt import broker_link, connection
from controller.edge.mqtt.transport import Post
from controller.settings.service import Broker, Settings
from tests.edge.mqtt.ear import Ear
from tests.field import secured
from tests.field.secured import Secured
from tests.places import own_config
from tests.waiting import PATIENCE_S


@pytest.fixture(scope="module")
def broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Secured]:
    """One broker for all tests of this file."""
    with secured.running(tmp_path_factory.mktemp("security")) as running:
        yield running


async def first_news(login: Broker) -> tuple[str, str]:
    """What does the service's own transport tell first, with this login?"""
    async with connected(broker_link.BrokerLink(login, "security", ["underback/gannet/order"])) as ear:
        return await ear.news.get()


@asynccontextmanager
async def connected(transport: broker_link.BrokerLink) -> AsyncIterator[Ear]:
    """The transport at work within the block; its own failure ends the block."""
    ear = Ear()
    async with asyncio.timeout(PATIENCE_S), asyncio.TaskGroup() as group:
        task = group.create_task(transport.run(ear))
        yield ear
        task.cancel()


def certificate(folder: Path, name: str, start: str, end: str) -> None:
    """A server certificate for `localhost` and 127.0.0.1 of the folder's authority, valid between two dates."""

    def openssl(*words: str) -> None:
        subprocess.run(["openssl", *words], cwd=folder, check=True, capture_output=True)

    (folder / "index.txt").write_text("", encoding="ascii")
    (folder / "index.txt.attr").write_text("unique_subject = no\n", encoding="ascii")
    (folder / "dates.conf").write_text(
        "[ca]\ndefault_ca=own\n[own]\ndatabase=index.txt\nnew_certs_dir=.\nrand_serial=yes\ndefault_md=sha256\n"
        "policy=any\nx509_extensions=names\n[any]\ncommonName=supplied\n"
        "[names]\nsubjectAltName=DNS:localhost,IP:127.0.0.1\n",
        encoding="ascii",
    )
    key = ("-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-keyout", f"{name}.key")
    openssl("req", "-new", *key, "-out", f"{name}.csr", "-subj", "/CN=localhost")
    openssl(
        *("ca", "-config", "dates.conf", "-batch", "-notext", "-in", f"{name}.csr", "-out", f"{name}.crt"),
        *("-cert", "ca.crt", "-keyfile", "ca.key", "-startdate", start, "-enddate", end),
    )


async def test_the_right_login_comes_in(broker: Secured) -> None:
    """With the right user, password and authority both listeners let the daemon in."""
    assert await first_news(broker.login("daemon")) == ("linked", "")
    assert await first_news(broker.login("daemon", tls=True)) == ("linked", "")


@pytest.mark.parametrize(
    ("changes", "tls", "words"),
    [
        ({"password_file": "FOLDER/password"}, False, "user name or password"),
        ({"username": "", "password_file": ""}, False, "user name or password"),
        ({"username": "", "password_file": "", "version": 3}, False, "user name or password"),
        ({"password_file": "FOLDER/gone"}, False, "gone"),
        ({"ca_file": "FOLDER/ca.crt"}, True, "not signed by the authority in ca_file"),
        ({"host": "127.0.0.2"}, True, ""),
        ({"port": "plain"}, True, ""),
        ({"port": "tls"}, False, ""),
        ({"port": "nobody"}, False, "nothing listens"),
    ],
    ids=["wrong password", "no name", "no name, MQTT 3", "no password file", "wrong authority",
         "a name that is not in the certificate", "TLS to the plain port", "plain to the TLS port", "nobody there"],
)  # fmt: skip
async def test_a_wrong_login_is_told_in_one_sentence(
    broker: Secured, changes: dict[str, Any], tls: bool, words: str, tmp_path: Path
) -> None:
    """Who is not let in is told why in one sentence, which names the file or setting to look at."""
    (tmp_path / "password").write_text("guessed", encoding="ascii")
    if "ca_file" in changes:
        secured.script("make-certs.sh", str(tmp_path), "localhost")
    places = {"plain": broker.port, "tls": broker.tls_port, "nobody": secured.free_port()}
    meant = {
        key: places.get(value, value.replace("FOLDER", str(tmp_path))) if isinstance(value, str) else value
        for key, value in changes.items()
    }
    kind, why = await first_news(broker.login("daemon", tls=tls).model_copy(update=meant))
    assert kind == "unlinked"
    assert why and words in why and "\n" not in why


@pytest.mark.parametrize(
    ("start", "end"), [("20200101000000Z", "20210101000000Z"), ("20800101000000Z", "20810101000000Z")]
)
async def test_certificate_out_of_date(broker: Secured, tmp_path: Path, start: str, end: str) -> None:
    """An expired certificate, and one that is not valid yet (a Pi that boots in the past): one sentence on dates."""
    for name in ("ca.crt", "ca.key", "acl", "passwd"):
        (tmp_path / name).write_bytes((broker.folder / name).read_bytes())
    certificate(tmp_path, "server", start, end)
    with secured.restarted(tmp_path, tmp_path) as dated:
        login = broker.login("daemon", tls=True).model_copy(update={"port": dated.tls_port})
        kind, why = await first_news(login)
    assert kind == "unlinked"
    assert "out of date, or this machine's clock is wrong" in why


async def test_a_refused_publish_is_noticed(broker: Secured) -> None:
    """The client library hides a refusal by the list of rights; our transport tells the topic."""
    panel = broker_link.BrokerLink(broker.login("panel"), "refused", ["underback/gannet/status"])
    async with connected(panel) as ear:
        assert await ear.news.get() == ("linked", "")
        panel.post(Post("underback/gannet/order", b'{"order":"start"}', "event"))
        assert await ear.news.get() == ("refused", "underback/gannet/order")


async def test_a_packet_over_the_limit_ends_the_connection(broker: Secured) -> None:
    """70,000 bytes are over the broker's limit of 65,536: refused, and the broker goes on serving others."""
    login = broker.login("operator")
    with pytest.raises(aiomqtt.MqttError):
        async with await connection.make(login, "large") as large:
            await large.publish("underback/gannet/order", b"x" * 70_000, qos=1, timeout=2)
    assert await first_news(broker.login("daemon")) == ("linked", "")


async def test_the_password_shows_nowhere(
    broker: Secured, caplog: pytest.LogCaptureFixture, capfd: pytest.CaptureFixture[str]
) -> None:
    """At the most talkative log level, through a good and a refused login, the password is in no line, no repr."""
    secret = (broker.folder / "passwords" / "daemon").read_text(encoding="ascii").strip()
    login = broker.login("daemon")
    for name in ("", "underback.mqtt", "aiomqtt", "paho"):
        caplog.set_level(logging.DEBUG, logger=name)
    connection.QUIET.addHandler(caplog.handler)
    try:
        await first_news(login)
        await first_news(login.model_copy(update={"username": "nobody"}))
    finally:
        connection.QUIET.removeHandler(caplog.handler)
    out, err = capfd.readouterr()
    assert caplog.records, "the client logged nothing: this test would see nothing"
    assert secret not in caplog.text + out + err + repr(login) + login.model_dump_json()


# ---------------------------------------------------------------- the scripts


def modes(folder: Path) -> dict[str, int]:
    return {p.name: stat.S_IMODE(p.stat().st_mode) for p in folder.iterdir()}


def test_users_script_runs_again_at_will(tmp_path: Path) -> None:
    """A second run keeps every password, adds the new tun's users; --renew changes one password only."""
    folder = tmp_path / "broker"
    secured.script("make-users.sh", str(folder), "gannet")
    before = {p.name: p.read_bytes() for p in (folder / "passwords").iterdir()}
    assert set(before) == {"daemon", "operator", "panel", "probe-gannet", "heater-gannet"}
    secured.script("make-users.sh", "--renew", "panel", str(folder), "gannet", "plover")
    after = {p.name: p.read_bytes() for p in (folder / "passwords").iterdir()}
    assert set(after) == {*before, "probe-plover", "heater-plover"}
    assert {name for name in before if before[name] != after[name]} == {"panel"}
    assert len(set(after.values())) == len(after)


def test_users_script_keeps_secrets_to_itself(tmp_path: Path) -> None:
    """Plain passwords are readable for their owner only, hashes not for everybody; nothing secret is printed, nor an
    argument of a tool, where every user of the machine could read it."""
    folder = tmp_path / "broker"
    printed = secured.script("make-users.sh", str(folder), "gannet")
    secrets = {p.name: p.read_text(encoding="ascii").strip() for p in (folder / "passwords").iterdir()}
    assert set(modes(folder / "passwords").values()) == {0o600}
    assert (modes(folder)["passwd"] & 0o007, modes(folder)["passwords"]) == (0, 0o700)
    assert all(len(secret) == 32 and secret not in printed for secret in secrets.values())
    hashes = (folder / "passwd").read_text(encoding="ascii")
    assert all(f"{name}:$7$" in hashes and secret not in hashes for name, secret in secrets.items())
    text = (secured.SHIPPED / "make-users.sh").read_text(encoding="utf-8")
    assert [line for line in text.splitlines() if "$passwd_tool" in line] == ['"$passwd_tool" -U "$folder/passwd.new"']


def test_users_script_hands_access_to_one_person(tmp_path: Path) -> None:
    """With --for the folder's own files name the daemon and the operator with passwords that only its owner may read;
    what a rehearsal needs lies beside them; said again, nothing is doubled."""
    folder, config = tmp_path / "broker", own_config(tmp_path)
    for _ in range(2):
        secured.script("make-users.sh", "--for", str(config), str(folder), "gannet")
    service, operator = config_files.load_service(config), config_files.load_service(config / "operator")
    assert (service.broker.username, operator.broker.username) == ("daemon", "operator")
    for broker in (service.broker, operator.broker):
        path = Path(broker.password_file)
        assert path == config / "passwords" / broker.username
        assert path.read_text() == (folder / "passwords" / broker.username).read_text()
    assert modes(config / "passwords").keys() == modes(folder / "passwords").keys()
    assert set(modes(config / "passwords").values()) == {0o600}
    assert set(_users(Settings(config_files.load_tun(config, "gannet"), service, ""), None)) == set(USERS)


@pytest.mark.parametrize(
    "words",
    [
        [],
        ["folder"],
        ["folder", "Gannet"],
        ["folder", "a/b"],
        ["--prefix", "a/b", "folder", "gannet"],
        ["--what"],
        ["--for", ".", "folder", "gannet"],
    ],
)
def test_users_script_refuses_nonsense(tmp_path: Path, words: list[str]) -> None:
    """Missing or unfit words end with code 2 and one line, before anything is written."""
    done = subprocess.run(
        [str(secured.SHIPPED / "make-users.sh"), *words],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "PATH": os.environ["PATH"] + ":/usr/sbin"},
    )
    assert done.returncode == 2
    assert len(done.stderr.splitlines()) == 1
    assert list(tmp_path.iterdir()) == []


def test_certificates_script(tmp_path: Path) -> None:
    """A second run keeps everything, --renew makes a new one of the same authority; keys stay private; with less than
    thirty days left the next run replaces it."""

    def made(*words: str) -> dict[str, bytes]:
        secured.script("make-certs.sh", *words)
        return {p.name: p.read_bytes() for p in tmp_path.iterdir()}

    before = made(str(tmp_path), "brewhouse.local", "192.168.1.20")
    assert made(str(tmp_path), "brewhouse.local") == before
    after = made("--renew", "--days", "29", str(tmp_path), "brewhouse.local")
    assert after["ca.crt"] == before["ca.crt"]
    assert after["server.crt"] != before["server.crt"]
    assert modes(tmp_path)["ca.key"] == 0o600
    assert modes(tmp_path)["server.key"] & 0o007 == 0
    subprocess.run(["openssl", "verify", "-CAfile", "ca.crt", "server.crt"], cwd=tmp_path, check=True)
    assert made(str(tmp_path), "brewhouse.local")["server.crt"] != after["server.crt"]
