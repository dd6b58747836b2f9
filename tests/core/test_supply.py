"""Tuns on one supply: mash before liquor, never over the limit, and at the worst one waits."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from random import Random

import pytest

from controller.core import supply
from controller.core.nouns import Demand, Phase, Target
from controller.core.supply import LIQUOR, MASH, URGENT, Claim, Group
from controller.edge import supply_link as share
from tests.core.bench import tun

LIMIT_W = 6500.0


class Node:
    """One tun: what it wishes, what it draws, and the words it has not yet read."""

    def __init__(self, name: str, power_w: float, began: float = 0.0, whole: bool = True) -> None:
        self.name, self.power_w, self.whole = name, power_w, whole
        self.group = Group(name, began)
        self.wish_w, self.rank, self.drawn_w = 0.0, MASH, 0.0
        self.post: list[tuple[float, Claim]] = []
        self.mute = self.deaf = False


class Town:
    """Nodes and a broker with delays that keeps order within a topic; half a second a step."""

    def __init__(self, *nodes: Node, seed: int = 1, delay_s: float = 0.0) -> None:
        self.nodes, self.rng, self.delay_s = nodes, Random(seed), delay_s
        self.now, self.last = 0.0, 0.0
        self.worst_w = 0.0

    def step(self) -> None:
        self.now += 1.0
        for node in self.nodes:
            while node.post and node.post[0][0] <= self.now:
                word = node.post.pop(0)[1]
                if not node.deaf:
                    node.group = supply.hear(node.group, word, self.now)
        for node in self.nodes:
            node.group, word = supply.beat(
                node.group, LIMIT_W, node.wish_w, node.rank, node.drawn_w, node.whole, self.now
            )
            node.drawn_w = node.group.cap_w
            for other in self.nodes if not node.mute else ():
                arrives = self.now + (self.rng.uniform(0.0, self.delay_s) if self.delay_s else 0.0)
                arrives = max(arrives, other.post[-1][0] if other.post else 0.0)
                other.post.append((arrives, word))
        self.worst_w = max(self.worst_w, sum(node.drawn_w for node in self.nodes))

    def run(self, seconds: int) -> None:
        for _ in range(seconds):
            self.step()

    def draws(self) -> list[float]:
        return [node.drawn_w for node in self.nodes]


@pytest.fixture
def pair() -> tuple[Node, Node]:
    return Node("gannet", 5000.0), Node("plover", 2400.0)


def test_alone_a_tun_has_what_it_wishes_after_listening_for_ten_seconds() -> None:
    """Nobody else on the supply: nothing at first, then all of it."""
    node = Node("gannet", 5000.0)
    town = Town(node)
    node.wish_w = 5000.0
    town.run(9)
    assert town.draws() == [0.0]
    town.run(4)
    assert town.draws() == [5000.0]


def test_both_at_full_heat_are_too_much_and_the_second_by_name_waits(pair: tuple[Node, Node]) -> None:
    """5.0 + 2.4 > 6.5 kW: Plover's rise waits until Gannet has done, then has its power within seconds."""
    town = Town(*pair)
    for node in pair:
        node.wish_w, node.rank = node.power_w, URGENT
    town.run(60)
    assert town.draws() == [5000.0, 0.0]
    pair[0].wish_w = 0.0
    town.run(6)
    assert town.draws() == [0.0, 2400.0]
    assert town.worst_w <= LIMIT_W


def test_a_mash_goes_before_strike_liquor_even_against_the_alphabet(pair: tuple[Node, Node]) -> None:
    """Gannet heats liquor with 5 kW; Plover's mash wants 2.4: Gannet gives way within seconds, and never both."""
    town = Town(*pair)
    pair[0].wish_w, pair[0].rank = 5000.0, LIQUOR
    town.run(30)
    assert town.draws() == [5000.0, 0.0]
    pair[1].wish_w, pair[1].rank = 2400.0, MASH
    town.run(8)
    assert town.draws() == [0.0, 2400.0]
    assert town.worst_w <= LIMIT_W


def test_a_proportional_heater_takes_what_is_left(pair: tuple[Node, Node]) -> None:
    """Behind a 5 kW wish there is 1.5 kW; a heater that can be turned down takes it."""
    pair[1].whole = False
    town = Town(*pair)
    for node in pair:
        node.wish_w = node.power_w
    town.run(60)
    assert town.draws() == [5000.0, 1500.0]


def test_a_silent_other_makes_one_wait_and_then_counts_as_gone(pair: tuple[Node, Node]) -> None:
    """Gannet dies holding 5 kW: Plover gets nothing for a minute, and its power afterwards."""
    town = Town(*pair)
    pair[0].wish_w = 5000.0
    town.run(30)
    pair[0].mute = pair[0].deaf = True
    pair[1].wish_w = 2400.0
    town.run(55)
    assert town.draws()[1] == 0.0
    town.run(15)
    assert town.draws() == [0.0, 2400.0]
    assert town.worst_w <= LIMIT_W


def test_whoever_is_not_heard_gives_its_share_up(pair: tuple[Node, Node]) -> None:
    """Gannet's words no longer arrive while it hears all: within 20 s and a little it holds nothing."""
    town = Town(*pair)
    pair[0].wish_w = 5000.0
    town.run(30)
    pair[0].mute = True
    town.run(24)
    assert town.draws()[0] == 0.0


def test_what_a_heater_still_draws_counts_as_held(pair: tuple[Node, Node]) -> None:
    """A switch stuck closed at 5 kW keeps the other from coming on, whatever is wished."""
    town = Town(*pair)
    stuck = pair[0]

    def go(seconds: int) -> None:
        for _ in range(seconds):
            stuck.drawn_w = 5000.0
            town.step()

    pair[1].wish_w = 2400.0
    go(60)
    assert pair[1].drawn_w == 0.0


@pytest.mark.parametrize("seed", range(40))
def test_never_over_the_limit_whatever_is_wished_and_lost(seed: int) -> None:
    """Three tuns, delays to 4 s, random wishes, ranks, deaf and mute spells, restarts: the sum is never over 6.5 kW."""
    rng = Random(seed)
    nodes = tuple(
        Node(name, power, whole=rng.random() < 0.5) for name, power in zip("abc", (5e3, 2.4e3, 3e3), strict=True)
    )
    town = Town(*nodes, seed=seed, delay_s=rng.choice((0.0, 0.5, 4.0)))
    drew = [0.0, 0.0, 0.0]
    for _ in range(120):
        node = rng.choice(nodes)
        deed = rng.randrange(6)
        if deed < 3:
            node.wish_w, node.rank = rng.choice((0.0, node.power_w)), rng.choice((URGENT, MASH, LIQUOR))
        elif deed == 3:
            node.mute = rng.random() < 0.3
        elif deed == 4:
            node.deaf = rng.random() < 0.3
        elif rng.random() < 0.3:
            node.group = Group(node.name, town.now)
            node.drawn_w = 0.0
        for _ in range(rng.randrange(1, 20)):
            town.step()
            drew = [max(a, b) for a, b in zip(drew, town.draws(), strict=True)]
    assert town.worst_w <= LIMIT_W
    assert max(drew) > 0.0


# ---------------------------------------------------------------- one tun's side


def hold(target_c: float, strike: bool = False) -> Target:
    return Target("hold", target_c, 0.01, 1, 3e5, strike)


@pytest.mark.parametrize(
    ("target", "phase", "value_c", "wanted"),
    [
        (hold(63.0), Phase.RAMPING, 60.0, (5000.0, URGENT)),
        (hold(63.0), Phase.RESTING, 62.9, (5000.0, MASH)),
        (hold(63.0), Phase.RESTING, 62.2, (5000.0, URGENT)),
        (hold(63.0), Phase.RESTING, 63.4, (0.0, MASH)),
        (hold(72.0, True), Phase.HEATING, 20.0, (5000.0, LIQUOR)),
        (Target("blocked", 63.0, 0.01, 1, 3e5), Phase.ADDING, 60.0, (0.0, MASH)),
        (Target("off", None, 0.01, 1, 3e5), Phase.RESTING, 60.0, (0.0, MASH)),
    ],
)
def test_who_wishes_for_what(target: Target, phase: Phase, value_c: float, wanted: tuple[float, int]) -> None:
    """A rise and a mash that falls behind are urgent, a rest in band is not, liquor is last, blocked heat: none."""
    assert supply.wish(tun(), target, phase, value_c) == wanted


def test_the_share_only_ever_lowers_the_demand() -> None:
    """A proportional heater is turned down, a switched one is off below its whole power; unshared, it is as it was."""
    steady, asked = tun(), Demand(0.8, "heat")
    switched = tun(heater=steady.heater.model_copy(update={"kind": "ssr", "window_s": 2.0}))
    assert supply.capped(asked, steady, None) is asked
    assert supply.capped(asked, steady, 5000.0) is asked
    assert supply.capped(asked, steady, 1500.0).duty == pytest.approx(0.3)
    assert supply.capped(asked, switched, 1500.0).duty == 0.0
    assert supply.capped(asked, steady, -1.0).duty == 0.0


# ---------------------------------------------------------------- on the wire


def test_a_word_reads_back_as_it_was_said() -> None:
    """Out and in again."""
    word = Claim("gannet", 7, 5000.0, 2400.0, MASH, {"plover": 3})
    assert share.claim("gannet", share.payload(word)) == word


def spoiled() -> Iterator[tuple[str, Callable[[bytes], bytes]]]:
    yield "another's topic", lambda b: b.replace(b"gannet", b"plover")
    yield "negative", lambda b: b.replace(b"5000.0", b"-5000.0")
    yield "not a number", lambda b: b.replace(b"5000.0", b'"5000"')
    yield "rank", lambda b: b.replace(b'"rank":1', b'"rank":9')
    yield "truth", lambda b: b.replace(b'"seq":7', b'"seq":true')
    yield "cut", lambda b: b[:-2]
    yield "nothing", lambda b: b""


@pytest.mark.parametrize(("what", "spoil"), list(spoiled()), ids=[name for name, _ in spoiled()])
def test_a_word_that_cannot_be_read_changes_nothing(what: str, spoil: Callable[[bytes], bytes]) -> None:
    """Read strictly or not at all."""
    good = share.payload(Claim("gannet", 7, 5000.0, 2400.0, MASH, {}))
    assert share.claim("gannet", good) is not None
    assert share.claim("gannet", spoil(good)) is None
