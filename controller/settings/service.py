"""How does the service run, and what may every room know of it and of its tun?"""

from collections.abc import Mapping
from typing import Annotated, ClassVar, Literal, NamedTuple

from pydantic import StrictBool, StringConstraints

from controller.settings.own_units import UnitsName
from controller.settings.table import Quantity, Table
from controller.settings.tun import Learned, OptionalTopic, Tun


class Broker(Table):
    """How is the MQTT broker reached? The password never stands in a file of ours: it is read from one of its own."""

    host: Annotated[str, StringConstraints(max_length=253, pattern=r"^[^.\s/]{1,63}(\.[^.\s/]{1,63})*\.?$")] = (
        "127.0.0.1"
    )
    port: Annotated[int, Quantity("number", 1, 65535)] = 1883
    username: str = ""
    password_file: str = ""
    tls: StrictBool = False
    ca_file: str = ""
    cert_file: str = ""
    key_file: str = ""
    version: Literal[3, 5] = 5


class Alerts(Table):
    """Who is told when somebody has to act?"""

    command: tuple[str, ...] = ()  # started with the event as JSON on its input
    second_command: tuple[str, ...] = ()  # a second contact, when the first does not answer
    horn_topic: OptionalTopic = ""
    repeat_s: Annotated[float, Quantity("duration", 30, 3600)] = 300.0
    escalate_s: Annotated[float, Quantity("duration", 60, 14_400)] = 900.0


class Dashboards(Table):
    """Which dashboards are served?"""

    discovery: StrictBool = False  # device discovery documents for home-automation platforms
    discovery_prefix: Annotated[str, StringConstraints(min_length=1, pattern=r"^[^+#\x00]+$")] = "homeassistant"
    homie: StrictBool = False  # the Homie convention, version 5
    homie_prefix: Annotated[str, StringConstraints(min_length=1, pattern=r"^[^+#\x00]+$")] = "homie"
    metrics_file: str = ""  # classic text for a collector, a file a tun
    metrics_port: Annotated[int, Quantity("number", 0, 65535)] = (
        0  # the same on loopback, OpenMetrics on request; 0 = none
    )


class Supply(Table):
    """Do tuns on this broker share one supply? Each names the same group."""

    group: Annotated[str, StringConstraints(pattern=r"^[a-z0-9_-]{0,40}$")] = ""
    limit_w: Annotated[float | None, Quantity("power", 100, 1_000_000)] = None


class Service(Table):
    """How does the daemon run? `config/service.toml`."""

    DROPPED: ClassVar[Mapping[str, str]] = {"tick": "no such line: a decision a second is fixed, delete it"}

    broker: Broker = Broker.model_construct()
    prefix: Annotated[
        str, StringConstraints(min_length=1, max_length=100, pattern=r"^[^+#\x00$/][^+#\x00]*[^+#\x00/]$")
    ] = "underback"
    units: UnitsName = "metric"  # what people read, and only that
    data_dir: str = "data"
    resume_minutes: Annotated[float, Quantity("number", 0, 60)] = 30.0
    keep_runs: Annotated[int, Quantity("number", 1, 100_000)] = 50
    alerts: Alerts = Alerts.model_construct()
    dashboards: Dashboards = Dashboards.model_construct()
    supply: Supply = Supply.model_construct()


class Settings(NamedTuple):
    """What every room may know of the tun and the service."""

    tun: Tun
    service: Service
    digest: str
    learned: Learned | None = None
