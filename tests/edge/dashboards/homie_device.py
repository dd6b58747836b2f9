"""A Homie device at a broker of its own, for a process of its own."""

from __future__ import annotations

from controller.edge.dashboards.homie import Homie
from controller.settings.service import Broker as BrokerSettings
from controller.settings.service import Dashboards, Service
from tests.core.bench import settings


def device(port: int, password_file: str) -> tuple[BrokerSettings, str, Homie]:
    broker = BrokerSettings(port=port, username="daemon", password_file=password_file)
    service = Service(broker=broker, dashboards=Dashboards(homie=True, homie_prefix="underback"))
    made = Homie("underback", settings()._replace(service=service), 1)
    made.stage = "ready"  # as after the first values
    return broker, "homie-will", made
