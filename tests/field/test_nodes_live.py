"""Both field nodes as processes, under their own users on a real Mosquitto: pins of files, thermometers of files."""

from __future__ import annotations

import asyncio
import json
import os
import shutil
import signal
import sys
import time
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager
from pathlib import Path

import aiomqtt
import pytest

from controller.edge.mqtt import connection
from tests.field import secured
from tests.field.pins import command, reading
from tests.field.secured import WITNESS, Secured
from tests.places import CONFIG, ROOT
from tests.waiting import PATIENCE_S

TUN = "underback/gannet"
COMMAND, REPORT, ONLINE = f"{TUN}/heater/command", f"{TUN}/heater/report", f"{TUN}/heater/online"
PROBE = f"{TUN}/probe/mash"
HERE = Path(__file__).parent


@pytest.fixture(scope="module")
def broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Secured]:
    """One broker for all tests of this file."""
    with secured.running(tmp_path_factory.mktemp("live")) as running:
        yield running


@pytest.fixture
def config(tmp_path: Path, broker: Secured) -> Path:
    """The shipped configuration with the test's broker, pins and thermometer; nodes under their own users, over TLS."""
    shutil.copytree(CONFIG / "tuns", tmp_path / "tuns")
    shutil.copytree(HERE / "sysfs" / "w1" / "mash-66", tmp_path / "w1")
    (tmp_path / "chip").mkdir()
    (tmp_path / "chip" / "22").write_text("1", encoding="ascii")
    (tmp_path / "nodes").mkdir()
    (tmp_path / "service.toml").write_text(
        f'[broker]\nhost = "127.0.0.1"\nport = {broker.tls_port}\ntls = true\nca_file = "{broker.folder}/ca.crt"\n',
        encoding="utf-8",
    )
    write_node(tmp_path, broker.folder / "passwords")
    return tmp_path


def write_node(config: Path, passwords: Path, user: str = "heater-gannet") -> None:
    (config / "nodes" / "gannet.toml").write_text(
        f'''[probe]
username = "probe-gannet"
password_file = "{passwords}/probe-gannet"
every = "0.5 s"
[probe.sensors.mash]
kind = "onewire"
path = "{config}/w1"
[heater]
username = "{user}"
password_file = "{passwords}/{user}"
chip = "{config}/chip"
line = 17
limit_probe = "mash"
level_line = 22
''',
        encoding="utf-8",
    )


@asynccontextmanager
async def node(config: Path, *words: str) -> AsyncIterator[asyncio.subprocess.Process]:
    """A node's process; killed at the end if it is still there."""
    environment = {**os.environ, "PYTHONPATH": f"{HERE / 'fakechip'}:{ROOT}"}
    process = await asyncio.create_subprocess_exec(
        *(sys.executable, "-m", "controller", "--config", str(config), "node", *words, "--tun", "gannet"),
        env=environment,
        stdout=asyncio.subprocess.PIPE,
        stderr=asyncio.subprocess.PIPE,
    )
    try:
        yield process
    finally:
        if process.returncode is None:
            process.kill()
        await process.wait()


async def ended(process: asyncio.subprocess.Process) -> str:
    """What a process said on stderr, once it has ended."""
    _, said = await process.communicate()
    return said.decode()


class Witness:
    """Hears everything and can be asked for the next message that fits."""

    def __init__(self) -> None:
        self.client: aiomqtt.Client
        self.news: asyncio.Queue[tuple[str, bytes, bool]] = asyncio.Queue()

    def take(self, message: aiomqtt.Message) -> None:
        assert isinstance(message.payload, bytes)
        self.news.put_nowait((message.topic.value, message.payload, message.retain))

    async def hears(self, topic: str, **wanted: object) -> dict[str, object]:
        """The next JSON object on the topic with these members."""
        while True:
            came, payload, _ = await self.news.get()
            if came == topic:
                values = json.loads(payload)
                if isinstance(values, dict) and all(values.get(k) == v for k, v in wanted.items()):
                    return values

    async def hears_word(self, topic: str, word: bytes) -> None:
        while (came := await self.news.get()) and (came[0], came[1]) != (topic, word):
            pass


@asynccontextmanager
async def witness(broker: Secured) -> AsyncIterator[Witness]:
    made = Witness()
    made.client = await connection.make(broker.login(WITNESS), f"witness-{time.monotonic_ns()}", made.take)
    async with asyncio.timeout(PATIENCE_S), made.client:
        await made.client.subscribe("underback/#", qos=1)
        yield made


async def heat(witness: Witness, seq: int, valid_s: float) -> None:
    """A fresh reading and a command for full heat."""
    await witness.client.publish(PROBE, reading(66.0, seq), qos=1)
    await witness.client.publish(COMMAND, command(1.0, seq, valid_s), qos=1)


def pin(config: Path) -> str:
    return (config / "chip" / "17").read_text(encoding="ascii")


async def test_heater_from_start_to_sigterm(broker: Secured, config: Path) -> None:
    """There, off; commanded for one second and left alone: on, off again, and the report says that no lease is left;
    a second node for the same pin, and `--off` while one runs, end with code 1 and a sentence; the first goes on;
    SIGTERM under heat: pin low, code 0, said to be gone."""
    async with witness(broker) as heard, node(config, "heater") as process:
        await heard.hears_word(ONLINE, b"true")
        await heard.hears(REPORT, duty=0.0)
        assert pin(config) == "0"
        await heat(heard, 1, 1.0)
        await heard.hears(REPORT, duty=1.0, seq=1)
        assert (await heard.hears(REPORT, duty=0.0, seq=1))["lease_left_s"] == 0
        assert pin(config) == "0"
        for words in (("heater",), ("heater", "--off")):
            async with node(config, *words) as second:
                said = await ended(second)
                assert second.returncode == 1
                assert "taken by another program" in said and "Traceback" not in said
        await heat(heard, 2, 10.0)
        await heard.hears(REPORT, duty=1.0, seq=2)
        assert pin(config) == "1"
        process.send_signal(signal.SIGTERM)
        await heard.hears_word(ONLINE, b"false")
        assert await process.wait() == 0
        assert pin(config) == "0"


async def test_heater_killed(broker: Secured, config: Path) -> None:
    """kill -9 under heat: the last will says so; the pin stays as a Pi's kernel leaves it, and `--off`, which the
    service manager runs then, sets it low."""
    async with witness(broker) as heard:
        async with node(config, "heater") as process:
            await heard.hears_word(ONLINE, b"true")
            await heat(heard, 1, 10.0)
            await heard.hears(REPORT, duty=1.0)
            process.kill()
            await heard.hears_word(ONLINE, b"false")
        assert pin(config) == "1"
        async with node(config, "heater", "--off") as off:
            assert await off.wait() == 0
        assert pin(config) == "0"


async def test_heater_with_a_wrong_password(broker: Secured, config: Path, tmp_path: Path) -> None:
    """The node says in one sentence why it is not connected, keeps trying, and the pin is low."""
    own = tmp_path / "passwords"
    own.mkdir()
    (own / "heater-gannet").write_text("guessed", encoding="ascii")
    write_node(config, own)
    async with asyncio.timeout(PATIENCE_S), node(config, "heater") as process:
        assert process.stderr is not None
        line = ""
        while "no connection: the broker refuses this user name or password" not in line:
            line = (await process.stderr.readline()).decode()
            assert line and "guessed" not in line
        assert pin(config) == "0"
        process.send_signal(signal.SIGTERM)
        assert await process.wait() == 0


async def test_probe_from_reading_to_gone(broker: Secured, config: Path) -> None:
    """Readings with rising sequence; the sensor's supply dips (power-up value): silence and "gone"; back: "there"."""
    sensor = config / "w1" / "w1_slave"
    good, began_s = sensor.read_text(encoding="ascii"), time.time()
    async with witness(broker) as heard, node(config, "probe") as process:
        await heard.hears_word(f"{PROBE}/online", b"true")
        first, second = await heard.hears(PROBE), await heard.hears(PROBE)
        assert (first["temperature"], first["unit"]) == (66.062, "C")
        assert isinstance(first["seq"], int)
        assert second["seq"] == first["seq"] + 1
        assert isinstance(first["at"], float)
        assert began_s <= first["at"] <= time.time()
        sensor.write_text((HERE / "sysfs" / "w1" / "power-on" / "w1_slave").read_text(encoding="ascii"))
        await heard.hears_word(f"{PROBE}/online", b"false")
        sensor.write_text(good, encoding="ascii")
        await heard.hears_word(f"{PROBE}/online", b"true")
        process.send_signal(signal.SIGTERM)
        await heard.hears_word(f"{PROBE}/online", b"false")
        assert await process.wait() == 0


async def test_probe_once(config: Path) -> None:
    """`--once` shows the temperature and ends with 0; with a fault it shows why and ends with 1."""

    async def once() -> tuple[int | None, str]:
        async with node(config, "probe", "--once") as process:
            out, _ = await process.communicate()
            return process.returncode, out.decode()

    assert await once() == (0, "mash    66.062 °C\n")
    (config / "w1" / "w1_slave").write_text("", encoding="ascii")
    code, out = await once()
    assert code == 1
    assert "no reading" in out


async def test_wrong_files_end_with_code_2(config: Path) -> None:
    """Faults in the node's file: code 2, each told, no traceback."""
    path = config / "nodes" / "gannet.toml"
    path.write_text(path.read_text(encoding="utf-8").replace("line = 17", "line = 999").replace("onewire", "two"))
    async with node(config, "heater") as process:
        said = await ended(process)
    assert process.returncode == 2
    assert "line: found 999" in said
    assert '"two"' in said
    assert "Traceback" not in said
