"""How does one tun speak with the others on its supply? Words out and in; what they mean, core/supply.py decides."""

from __future__ import annotations

from controller.core import supply
from controller.core.nouns import Event, Instant
from controller.core.state import Outcome
from controller.core.supply import Claim, Group
from controller.edge.mqtt.transport import Post
from controller.messages import outgoing
from controller.messages.strict_json import Refused, document, number, text, whole
from controller.settings.service import Settings

EVERY_S = 2.0
MOST_PEERS = 32  # others that are listened to; more on one supply is a mistake


class SupplyLink:
    """This tun's place in its group."""

    def __init__(self, settings: Settings, limit_w: float, now: Instant) -> None:
        self._tun, self._limit_w = settings.tun, limit_w
        self._base = f"{settings.service.prefix}/supply/{settings.service.supply.group}/"
        self.group = Group(settings.tun.name, now)
        self._said: tuple[float, float, int] | None = None
        self._said_at = -EVERY_S
        self._waiting = False
        self.events: list[Event] = []

    @property
    def topic(self) -> str:
        """What has to be listened to."""
        return f"{self._base}+"

    def heard(self, topic: str, payload: bytes, now: Instant) -> bool:
        """Was it a word of the group? One that cannot be read changes nothing."""
        if not topic.startswith(self._base):
            return False
        word = claim(topic.removeprefix(self._base), payload)
        known = {peer.claim.tun for peer in self.group.peers} | {self._tun.name}
        if word is not None and (word.tun in known or len(known) <= MOST_PEERS):
            self.group = supply.hear(self.group, word, now)
        return True

    def watts(self, outcome: Outcome | None, now: Instant) -> tuple[float, Post | None]:
        """What may be drawn in this tick, W, and the word to send, if one is due."""
        wish_w, rank, drawn = 0.0, supply.MASH, 0.0
        if outcome is not None:
            run, report = outcome.state.run, outcome.state.heater
            wish_w, rank = supply.wish(self._tun, outcome.target, run.phase, outcome.seen.value_c)
            drawn = supply.drawn_w(
                self._tun, outcome.state.guard.line.duty, report.duty if report is not None else None
            )
        if now - self.group.began < supply.JOIN_S:
            drawn = self._tun.heater.power_w  # an earlier process may have left a lease behind
        whole_only = self._tun.heater.kind != "proportional"
        group, word = supply.beat(self.group, self._limit_w, wish_w, rank, drawn, whole_only, now)
        self._note(group.cap_w < wish_w)
        said = (word.wish_w, word.hold_w, word.rank)
        news = any(peer.at == now for peer in group.peers)
        if said == self._said and not news and now - self._said_at < EVERY_S - 0.5:
            self.group = group._replace(seq=self.group.seq, sent=self.group.sent)
            return group.cap_w, None
        self.group, self._said, self._said_at = group, said, now
        return group.cap_w, Post(f"{self._base}{self._tun.name}", payload(word), "state", retain=True)

    def _note(self, waits: bool) -> None:
        if waits == self._waiting:
            return
        self._waiting = waits
        said = "waits for its share of the supply" if waits else "has its share of the supply"
        self.events.append(Event("note", "supply", f"{self._tun.name} {said} ({self._limit_w / 1000:g} kW for all)"))

    def take_events(self) -> tuple[Event, ...]:
        events, self.events = tuple(self.events), []
        return events


def payload(word: Claim) -> bytes:
    """A word on the wire."""
    return outgoing.document({**word._asdict(), "heard": dict(word.heard)})


def claim(tun: str, payload: bytes) -> Claim | None:
    """The word of a tun; None when it cannot be read, or says to be another's."""
    found = document(payload)
    if not isinstance(found, dict) or text(found.get("tun")) != tun:
        return None
    seq, rank = whole(found.get("seq")), whole(found.get("rank"))
    wish_w, hold_w = number(found.get("wish_w")), number(found.get("hold_w"))
    heard = found.get("heard")
    if isinstance(seq, Refused) or isinstance(rank, Refused) or rank > supply.LIQUOR or not isinstance(heard, dict):
        return None
    if isinstance(wish_w, Refused) or isinstance(hold_w, Refused) or not (wish_w >= 0.0 and hold_w >= 0.0):
        return None
    counts = {str(name): whole(value) for name, value in heard.items()}
    return Claim(tun, seq, wish_w, hold_w, rank, {k: v for k, v in counts.items() if not isinstance(v, Refused)})


def of(settings: Settings, now: Instant) -> SupplyLink | None:
    """The share of this tun's supply; None where none is shared."""
    shared = settings.service.supply
    limit_w = shared.limit_w if shared.limit_w is not None else settings.tun.supply_limit_w
    return SupplyLink(settings, limit_w, now) if shared.group and limit_w is not None else None
