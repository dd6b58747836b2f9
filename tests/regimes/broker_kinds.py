"""How is each broker started on this machine, on loopback and a free port, and ended by its own id?"""

from __future__ import annotations

import shutil
import signal
import subprocess
from pathlib import Path
from typing import ClassVar

from tests.field import secured
from tests.regimes.chaos.field import Field
from tests.regimes.foreign import Missing, npm

TUN, SPEED, START_S = "gannet", 10.0, 90.0
RABBIT = Path("/usr/lib/rabbitmq/lib")
AEDES = """import {{ createServer }} from 'node:net'
import {{ Aedes }} from 'aedes'
const broker = await Aedes.createBroker()
createServer({{ noDelay: true }}, broker.handle).listen({port}, '127.0.0.1')
"""


class Kind(Field):
    """A field on one kind of broker."""

    five: ClassVar[bool] = True  # does it speak MQTT 5?

    def __init__(self, folder: Path, version: int) -> None:
        super().__init__(folder, TUN, "short", SPEED, version=version)

    def listens(self) -> None:
        """Until somebody answers at the broker's port."""
        self.wait(self._listens, START_S, "the broker listens")


class Mosquitto(Kind):
    """Debian's Mosquitto, everybody welcome."""


class MosquittoTls(Kind):
    """Mosquitto with the shipped files: users, rights, TLS for the daemon and the nodes."""

    def __init__(self, folder: Path, version: int) -> None:
        super().__init__(folder, version)
        secrets, self.tls_port = secured.prepare(folder), secured.free_port()
        self.main = secured.configure(folder, secrets, self.port, self.tls_port)
        for config, user in ((self.config, "daemon"), (self.nodes_config, f"standin-{TUN}")):
            word = secrets / "passwords" / user
            files = f'username = "{user}"\npassword_file = "{word}"\ntls = true\nca_file = "{secrets / "ca.crt"}"\n'
            self.reach(config, self.tls_port, files)
        self.login = (secured.WITNESS, (secrets / "passwords" / secured.WITNESS).read_text().strip())

    def broker(self) -> None:
        assert secured.MOSQUITTO is not None
        self.start("broker", [secured.MOSQUITTO, "-c", str(self.main)])
        self.listens()


class Rabbit(Kind):
    """RabbitMQ with its MQTT plugin, which speaks 3.1.1 alone before version 3.13."""

    five = False

    def __init__(self, folder: Path, version: int) -> None:
        super().__init__(folder, version)
        found = sorted(RABBIT.glob("rabbitmq_server-*/sbin/rabbitmq-server"))
        if not found or shutil.which("epmd") is None:
            raise Missing("rabbitmq-server (Debian: apt install rabbitmq-server)")
        self._server = found[-1]
        lines = {"mqtt.listeners.tcp.1": f"127.0.0.1:{self.port}", "mqtt.allow_anonymous": "true"}
        lines |= {"listeners.tcp": "none", "loopback_users": "none", "mqtt.tcp_listen_options.nodelay": "true"}
        lines |= {"disk_free_limit.absolute": "50MB"}
        (folder / "rabbit.conf").write_text("".join(f"{key} = {value}\n" for key, value in lines.items()))
        (folder / "plugins").write_text("[rabbitmq_mqtt].\n")
        (folder / "rabbit").mkdir()

    def broker(self) -> None:
        """The Erlang port mapper first: left to itself it would stay behind as a daemon."""
        folder, mapper = self.folder, secured.free_port()
        own = {"ERL_EPMD_PORT": str(mapper), "ERL_EPMD_ADDRESS": "127.0.0.1", "HOME": str(folder / "rabbit")}
        own |= {"RABBITMQ_NODENAME": "underback@localhost", "RABBITMQ_DIST_PORT": str(secured.free_port())}
        own |= {"RABBITMQ_MNESIA_BASE": str(folder / "rabbit"), "RABBITMQ_LOG_BASE": str(folder / "rabbit")}
        own |= {"RABBITMQ_CONFIG_FILE": str(folder / "rabbit.conf"), "RABBITMQ_PID_FILE": str(folder / "rabbit.pid")}
        own |= {"RABBITMQ_ENABLED_PLUGINS_FILE": str(folder / "plugins")}
        own |= {"RABBITMQ_SERVER_ADDITIONAL_ERL_ARGS": "-start_epmd false"}
        own |= {"RUNNING_UNDER_SYSTEMD": "1"}  # its script then becomes the server, and has its process id
        self.start("mapper", ["epmd", "-port", str(mapper), "-address", "127.0.0.1"], **own)
        self.wait(lambda: secured.answers(mapper), START_S, "the port mapper listens")
        self.start("broker", [str(self._server)], **own)
        self.listens()

    def kill(self, name: str, how: signal.Signals = signal.SIGKILL) -> None:
        super().kill(name, how)
        if name == "broker":
            super().kill("mapper", how)


class Aedes(Kind):
    """A broker on Node.js, from npm; 3.1.1 alone."""

    five = False

    def __init__(self, folder: Path, version: int) -> None:
        super().__init__(folder, version)
        self._modules = npm("aedes")
        if shutil.which("node") is None:
            raise Missing("node (Debian: apt install nodejs npm)")

    def broker(self) -> None:
        script = self._modules.parent / f"broker-{self.port}.mjs"  # imports are looked for beside the script
        script.write_text(AEDES.format(port=self.port))
        self.start("broker", ["node", str(script)])
        self.listens()
        script.unlink()


KINDS: dict[str, tuple[type[Kind], int]] = {
    "mosquitto": (Mosquitto, 5),
    "mosquitto-3.1.1": (Mosquitto, 3),
    "mosquitto-tls": (MosquittoTls, 5),
    "rabbitmq": (Rabbit, 3),
    "aedes": (Aedes, 3),
}


def version_of(kind: str) -> str:
    """Which broker is it, by its own word?"""
    if kind == "rabbitmq":
        return next((path.name.removeprefix("rabbitmq_server-") for path in RABBIT.glob("rabbitmq_server-*")), "?")
    if kind == "aedes":
        return (npm("aedes") / "aedes" / "package.json").read_text().partition('"version": "')[2].partition('"')[0]
    said = subprocess.run([str(secured.MOSQUITTO), "-h"], capture_output=True, text=True, check=False).stdout
    return said.split(maxsplit=3)[2] if said else "?"
