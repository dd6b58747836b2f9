"""An inbox for a tun with everything that can be heard, and words put into it."""

from __future__ import annotations

import json
from typing import Any

from controller.core.heater_command import HeaterCommand
from controller.messages.inbox import Inbox
from controller.settings.service import Service, Settings
from controller.settings.tun import Heater, Output, Probe, Probes, SwitchInput, Tun

OFF = HeaterCommand(2, 1, 0.0, 10.0, "off")


def settings() -> Settings:
    tun = Tun(
        name="testtun",
        volume_l=100.0,
        min_liquor_l=20.0,
        metal_j_per_k=12_500.0,
        loss_w_per_k=4.0,
        mixing="stirrer",
        heater=Heater(kind="proportional", power_w=5000.0, place="jacket"),
        probes=Probes(
            mash=Probe(topic="p/box", pointer="/mash", seq_pointer="/seq", at_pointer="/at"),
            second=Probe(topic="p/box", pointer="/second"),
            outlet=Probe(topic="p/outlet"),
        ),
        level=SwitchInput(topic="p/level"),
        flow=SwitchInput(topic="p/flow"),
        stirrer=Output(topic="p/stirrer"),
        pump=Output(topic="p/pump"),
    )
    return Settings(tun, Service(prefix="brewhouse"), "digest")


def inbox(**changes: Any) -> Inbox:
    box = Inbox(settings(), "me", **changes)
    box.connected(0.0)
    return box


def put(box: Inbox, topic: str, now: float, retained: bool = False, **values: Any) -> None:
    box.put(topic, json.dumps(values).encode(), now, retained)


def order(box: Inbox, name: str, key: str, retained: bool = False) -> None:
    put(box, box.topics.order, 1.0, retained, order=name, id=key, at=1, valid_s=5, nonce="n")
