"""What do the daemons of several tuns say, all at once?"""

from __future__ import annotations

import time
from collections.abc import AsyncGenerator, Mapping, Sequence
from typing import Any

import aiomqtt

from controller.commands.shared import status_text
from controller.edge.mqtt import requests
from controller.messages import outgoing
from controller.settings.service import Service

Status = Mapping[str, Any]


class Heard:
    """Each tun's last status, and whether it is of now. Of which tun nothing was ever said, nothing is shown."""

    def __init__(self, tuns: Sequence[str]) -> None:
        self._tuns, self._said, self._at_s = tuns, dict[str, Status](), dict[str, float]()
        self._there: dict[str, bool] = {}

    def hear(self, message: aiomqtt.Message) -> Status | None:
        """Take a message in. Returns the status in it, where it is one of now."""
        tun, name = message.topic.value.split("/")[-2:]
        if name == "online":
            self._there[tun] = message.payload == outgoing.online(True)
        elif requests.presence(message):
            self.add(tun, requests.parsed(message))
            return self._said[tun]
        elif found := requests.status_in(message):
            self._said.setdefault(tun, found)
        return None

    def add(self, tun: str, status: Status) -> None:
        """A status of now."""
        self._said[tun], self._at_s[tun], self._there[tun] = status, time.monotonic(), True

    def live(self) -> list[Status]:
        """The statuses of now, in the order of the tuns."""
        return [self._said[tun] for tun in self._tuns if self._lives(tun)]

    def _lives(self, tun: str) -> bool:
        at_s = self._at_s.get(tun)
        return at_s is not None and self._there.get(tun, False) and time.monotonic() - at_s < requests.STATUS_S

    def wait_s(self) -> float:
        """How long is it worth to wait for more, from the beginning? A daemon that is there speaks every 2 s."""
        if len(self.live()) == len(self._tuns):
            return 0.0
        awaited = any(there and not self._lives(tun) for tun, there in self._there.items())
        return requests.STATUS_S if awaited else requests.FIND_S

    def lines(self) -> list[str]:
        """The whole status of the only one there is to show, else the chief lines of each."""
        shown = [tun for tun in self._tuns if self._lives(tun) or self._missed(tun)]
        if len(shown) == 1 and self._lives(shown[0]):
            return status_text.lines(self._said[shown[0]])
        return [line for tun in shown for line in self._brief(tun)]

    def _brief(self, tun: str) -> list[str]:
        said = self._said[tun]
        if self._lives(tun):
            return status_text.brief(said)
        ago_s = max(0.0, time.time() - said.get("at", 0.0))
        ago = f" for {status_text.span(ago_s)}" if said.get("speed") == 1.0 else ""
        return [f"{tun}: SILENT{ago}; it was {said.get('state')} then"]

    def _missed(self, tun: str) -> bool:
        """Is it silent though a run was open, or though it has spoken while we looked?"""
        state = self._said.get(tun, {}).get("state", "idle")
        return tun in self._at_s or state not in ("idle", *status_text.ENDS)


async def once(service: Service, tuns: Sequence[str]) -> Heard:
    """What all of them say now. Raises NoAnswer where the broker does not answer."""
    heard = Heard(tuns)
    async with requests.linked(service.broker, "status") as link:
        await link.listen(*requests.daemons(service, tuns))
        began_s = time.monotonic()
        while (left_s := began_s + heard.wait_s() - time.monotonic()) > 0:
            if (message := await link.next(min(left_s, requests.FIND_S))) is not None:
                heard.hear(message)
    return heard


async def statuses(service: Service, tuns: Sequence[str]) -> AsyncGenerator[tuple[Status, Heard], None]:
    """Every status as it comes, and all that was heard with it. Raises NoAnswer when nothing comes."""
    heard = Heard(tuns)
    async with requests.linked(service.broker, "watch") as link:
        await link.listen(*requests.daemons(service, tuns))
        until_s = time.monotonic() + requests.STATUS_S
        while True:
            message = await link.next(max(0.0, until_s - time.monotonic()))
            if message is None:
                raise requests.NoAnswer(f"no daemon answers for any of {', '.join(tuns)}")
            if (status := heard.hear(message)) is not None:
                until_s = time.monotonic() + requests.SILENT_S
                yield status, heard
