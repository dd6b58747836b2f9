"""How do tuns on one supply agree who may draw how much?

Each says what it wishes, what it holds, and which word of every other it has heard last. The rules, the same for all:

1. Before the others: a mash that falls behind its target, then a mash, then strike liquor; among equals by name.
2. A tun leaves room for the whole wish of all that go before it, and for what those behind it still hold.
3. It raises what it holds only when every other has heard its present wish, so that they leave room for it.
4. It lowers at once. What its heater still draws counts as held until the heater says otherwise.
5. Whoever is not heard by the others, or does not hear itself, holds nothing. Whoever is silent makes the others wait;
   after a minute it counts as gone, since its heater's lease and its own rule 5 have taken its heat away long before.

The result is a limit on the demand before the guard; nothing here can make heat.
"""

from collections.abc import Mapping
from math import inf
from typing import NamedTuple

from controller.core.nouns import Demand, Instant, Phase, Target
from controller.settings.tun import Tun

HEARD_S = 10.0  # a word is fresh for so long; every 2 s there is a new one
ACK_S = 20.0  # unheard by another for so long: nothing is held
LOST_S = 60.0  # silent for so long: gone (well beyond ACK_S and a lease of 10 s)
JOIN_S = 10.0  # a newcomer listens first
SENT_KEPT = 64
BEHIND_K = 0.7  # further below its target a mash goes first (within the rest's band of 1 K)
WARM_K = 0.3  # over its target by so much it wishes for nothing
URGENT, MASH, LIQUOR = 0, 1, 2


class Claim(NamedTuple):
    """One tun's word."""

    tun: str
    seq: int
    wish_w: float
    hold_w: float
    rank: int  # 0 a mash behind its target, 1 a mash, 2 strike liquor
    heard: Mapping[str, int]  # the newest word heard of each other


class Peer(NamedTuple):
    """Another tun of the group, as last heard."""

    claim: Claim
    at: Instant


class Sent(NamedTuple):
    """What was said, and when."""

    seq: int
    at: Instant
    wish_w: float
    rank: int


class Group(NamedTuple):
    """What one tun knows of its group."""

    tun: str
    began: Instant
    seq: int = 0
    cap_w: float = 0.0  # what may be drawn now
    peers: tuple[Peer, ...] = ()
    sent: tuple[Sent, ...] = ()
    echo_at: Instant = -inf  # own word last heard back


def hear(group: Group, claim: Claim, now: Instant) -> Group:
    """A word has come: one's own comes back, another's is kept, an older one than known is not."""
    if claim.tun == group.tun:
        return group._replace(echo_at=now) if claim.seq <= group.seq else group
    others = tuple(peer for peer in group.peers if peer.claim.tun != claim.tun)
    return group._replace(peers=(*others, Peer(claim, now)))


def beat(
    group: Group, limit_w: float, wish_w: float, rank: int, drawn_w: float, whole: bool, now: Instant
) -> tuple[Group, Claim]:
    """What may be drawn now, and the word to send. `whole`: an on/off heater draws all of its power or nothing.

    All powers in W; `drawn_w` is what the heater draws by its own report or by the last command it may still obey.
    """
    peers = tuple(peer for peer in group.peers if now - peer.at <= LOST_S)
    wanted = min(wish_w, _room_w(group.tun, rank, peers, limit_w))
    allowed = (wish_w if wanted >= wish_w else 0.0) if whole else max(0.0, wanted)
    cap = allowed if allowed <= group.cap_w or _may_raise(group, peers, wish_w, rank, now) else group.cap_w
    cap = 0.0 if _unheard(group, peers, now) else min(cap, wish_w)
    seq = group.seq + 1
    sent = (*group.sent[-SENT_KEPT + 1 :], Sent(seq, now, wish_w, rank))
    heard = {peer.claim.tun: peer.claim.seq for peer in peers}
    group = group._replace(seq=seq, cap_w=cap, peers=peers, sent=sent)
    return group, Claim(group.tun, seq, wish_w, max(cap, drawn_w), rank, heard)


def _room_w(tun: str, rank: int, peers: tuple[Peer, ...], limit_w: float) -> float:
    room = limit_w
    for peer in peers:
        claim = peer.claim
        before = (claim.rank, claim.tun) < (rank, tun)
        room -= max(claim.wish_w, claim.hold_w) if before else claim.hold_w
    return room


def _may_raise(group: Group, peers: tuple[Peer, ...], wish_w: float, rank: int, now: Instant) -> bool:
    """Has everybody who may be there heard this very wish, and lately?"""
    if now - group.began < JOIN_S or now - group.echo_at > HEARD_S:
        return False
    return all(now - peer.at <= HEARD_S and _knows(group, peer, wish_w, rank, now) for peer in peers)


def _knows(group: Group, peer: Peer, wish_w: float, rank: int, now: Instant) -> bool:
    """Every word from the one this peer has heard up to now said the same?"""
    heard = peer.claim.heard.get(group.tun, 0)
    since = [word for word in group.sent if word.seq >= heard]
    same = all((word.wish_w, word.rank) == (wish_w, rank) for word in since)
    return bool(since) and since[0].seq == heard and same and now - since[0].at <= ACK_S


def _unheard(group: Group, peers: tuple[Peer, ...], now: Instant) -> bool:
    """Do the others, or we ourselves, not hear us any more?"""
    if now - group.echo_at > ACK_S:
        return True
    at = {word.seq: word.at for word in group.sent}
    live = [peer for peer in peers if now - peer.at <= HEARD_S]
    return any(now - at.get(peer.claim.heard.get(group.tun, 0), -inf) > ACK_S for peer in live)


def wish(tun: Tun, target: Target, phase: Phase, value_c: float | None) -> tuple[float, int]:
    """How much does this tun want to draw, W, and how urgently?"""
    if target.heat != "hold" or target.target_c is None:
        return 0.0, MASH
    power_w = tun.heater.power_w * tun.heater.duty_cap
    if target.strike:
        return power_w, LIQUOR
    short_k = inf if value_c is None else target.target_c - value_c
    if short_k < -WARM_K:
        return 0.0, MASH
    return power_w, URGENT if short_k > BEHIND_K or (phase is Phase.RAMPING and short_k > 0.0) else MASH


def drawn_w(tun: Tun, duty: float, reported: float | None) -> float:
    """What does the heater draw at most by now, W: by the last command, and by its own report?"""
    most = max(duty, reported if reported is not None else 0.0)
    return tun.heater.power_w * (most if tun.heater.kind == "proportional" or most <= 0.0 else 1.0)


def capped(demand: Demand, tun: Tun, supply_w: float | None) -> Demand:
    """The demand within the share of the supply; as it is where no supply is shared."""
    if supply_w is None:
        return demand
    most = max(0.0, supply_w) / tun.heater.power_w
    if demand.duty <= most:
        return demand
    return Demand(most if tun.heater.kind == "proportional" else 0.0, "waits for its share of the supply")
