"""What reached the door since the last tick?

Messages only change the inbox; the tick decides. Of each topic the newest is kept (readings: a tail of eight, so that
nonsense between two good readings is still seen), never a backlog: with a queue a flood of 57,000 readings a second
left a handler acting on readings 19 s old (measured). Nothing here raises, whatever arrives.
"""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Callable, Iterable
from math import inf

from controller.core.heater_command import HeaterCommand
from controller.core.inputs import Clocks, Inputs, Presences
from controller.core.nouns import (
    Bad,
    Disk,
    Foreign,
    HeaterReport,
    Instant,
    Link,
    Order,
    Presence,
    Reply,
    RunState,
    Sample,
)
from controller.messages import incoming
from controller.messages.strict_json import STATUS_CAP, Refused
from controller.messages.topics import Role, topics
from controller.messages.what_counts import Rates, SwitchWords
from controller.quick_records import maker
from controller.settings.service import Settings

_linked, _presences, _inputs = maker(Link), maker(Presences), maker(Inputs)
TAIL = 8  # newest samples of a probe between two ticks
ORDERS = 32  # orders between two ticks; more are turned away with an answer
EACH_STOP = 4  # of each order that takes heat away so many are kept, the newest
SENT_KEPT = 64  # own heater commands waited for
REACH = 2**20  # an owner's number so far above all that are known is no count of restarts (own proposal)
TURNED_AWAY = 256  # answers owed to orders that found no room


class Inbox:
    """The newest of everything heard, between two ticks.

    `put` for each message, `sent` for each heater command that left, `connected` and `lost` for the link, `take` once
    a tick.
    """

    def __init__(self, settings: Settings, owner: str = "", epoch_seen: int = 0) -> None:
        """`owner`: this process' own random word, sent in every heater command so that an echo is known for ours."""
        self.topics = topics(settings)
        self.owner = owner
        self.epoch_seen = epoch_seen
        self.counters: Counter[str] = Counter()  # messages refused, by reason
        self.turned_away: deque[tuple[Order, str]] = deque(maxlen=TURNED_AWAY)  # answers the edge still owes, and why
        self.prepare: Callable[[Order], Order | None] = lambda order: order  # the edge's: None = it comes back later
        self._probes: dict[str, list[tuple[deque[Sample], incoming.Form]]] = {}
        self._tails: dict[Role, deque[Sample]] = {role: deque(maxlen=TAIL) for role in ("mash", "second", "outlet")}
        for role, topic in self.topics.probes:
            probe = getattr(settings.tun.probes, role)
            shape = incoming.form(probe.pointer, probe.unit, probe.unit_pointer, probe.seq_pointer, probe.at_pointer)
            self._probes.setdefault(topic, []).append((self._tails[role], shape))
        t = self.topics
        switches = [topic for topic in (t.level, t.flow) if topic]
        self._put: dict[str, Callable[[str, bytes, Instant, bool], None]] = {
            t.heater_report: self._report,
            t.heater_online: self._heater_there,
            **dict.fromkeys((*t.presences(), *t.movers_online), self._there),
            t.order: self._order,
            t.heater_command: self._echo,
            t.status: self._status,
            **dict.fromkeys(switches, self._switch),
        }
        self._rates = Rates(tuple(t.heard()), settings.tun.guard.flood_per_s)
        self._heater: HeaterReport | None = None
        self._heater_online: Presence | None = None
        self._present: dict[str | None, Presence] = {}  # by topic
        silent_s = settings.tun.guard.switch_gone_s
        self._switches: dict[str | None, SwitchWords] = {topic: SwitchWords(silent_s) for topic in switches}
        self._orders: list[Order] = []
        self._pending: dict[tuple[int, int], tuple[float, Instant]] = {}
        self._last_seq: tuple[int, int] = (0, 0)
        self._last_sent = b""
        self._up, self._since = False, 0.0
        self._delay_s, self._echo_at = 0.0, None  # type: float, Instant | None
        self._foreign: Foreign | None = None
        self._taken_at: Instant | None = None

    # ------------------------------------------------------------ the link

    def connected(self, now: Instant) -> None:
        """The broker took us in; commands sent over the connection before are no longer waited for."""
        self._up, self._since, self._delay_s = True, now, 0.0
        self._pending.clear()

    def lost(self, now: Instant) -> None:
        """The connection is gone."""
        if self._up:
            self._up, self._since = False, now
        self._pending.clear()

    def sent(self, command: HeaterCommand, now: Instant, payload: bytes = b"") -> None:
        """An own heater command was handed to the broker: wait for its echo, known by its bytes or by what it says."""
        self._last_sent = payload
        key = (command.epoch, command.seq)
        self._pending[key] = (command.duty, now)
        if key > self._last_seq:
            self._last_seq = key
        if len(self._pending) > SENT_KEPT:
            del self._pending[next(iter(self._pending))]

    def echoed_since(self, refused_at: Instant) -> bool:
        """Has the broker brought an own heater command back since it refused one?"""
        return refused_at == -inf or (self._echo_at is not None and self._echo_at > refused_at)

    # ------------------------------------------------------------ messages

    def put(self, topic: str, payload: bytes, now: Instant, retained: bool = False) -> None:
        """One message. `now`: its arrival."""
        try:
            self._rates.counts[topic] += 1
        except KeyError:
            self.counters["a topic not asked for"] += 1
            return
        if (probes := self._probes.get(topic)) is not None:
            self._readings(probes, payload, now, retained)
        elif len(payload) > STATUS_CAP:
            self.counters["too long"] += 1
        else:
            self._put[topic](topic, payload, now, retained)

    def order(self, order: Order) -> None:
        """An order already read (the edge attaches the compiled program to a `start`)."""
        if order.name in incoming.HEAT_OFF and not order.retained:
            self._stop(order)
        elif len(self._orders) < ORDERS:
            self._orders.append(order)
        else:
            self._turn_away(order, f"more than {ORDERS} orders within a second; send it again")

    def _stop(self, order: Order) -> None:
        """Orders that take heat away always find room; beyond a few of a kind the older make way for the newer."""
        alike = [i for i, o in enumerate(self._orders) if o.name == order.name and not o.retained]
        if len(alike) >= EACH_STOP:
            self._turn_away(
                self._orders.pop(alike[0]), f"`{order.name}` was sent again meanwhile; the newer one counts"
            )
        self._orders.append(order)

    def _turn_away(self, order: Order, why: str) -> None:
        self.counters["orders turned away"] += 1
        self.turned_away.append((order, why))

    def _refuse(self, why: Refused) -> None:
        self.counters[why.reason] += 1

    def _readings(
        self, probes: list[tuple[deque[Sample], incoming.Form]], payload: bytes, now: Instant, retained: bool
    ) -> None:
        if retained:
            self.counters["retained"] += 1
            return
        for tail, shape in probes:
            sample = incoming.reading(shape, payload, now, now)  # a wall clock that is set makes no reading old
            if sample.__class__ is Bad:
                self.counters[sample.why.partition(" (")[0]] += 1
            tail.append(sample)

    def _order(self, topic: str, payload: bytes, now: Instant, retained: bool) -> None:
        order = incoming.order(payload, now, retained)
        if order.problems:
            self._turn_away(order, "; ".join(order.problems))
        elif (ready := order if retained else self.prepare(order)) is not None:
            self.order(ready)

    def _report(self, topic: str, payload: bytes, now: Instant, retained: bool) -> None:
        report = Refused("retained") if retained else incoming.report(payload, now)
        if isinstance(report, Refused):
            self._refuse(report)
            return
        self._heater = report
        if (report.epoch, report.seq) > self._last_seq:  # it obeys, or has obeyed, somebody else
            self._owner(report.epoch)

    def _heater_there(self, topic: str, payload: bytes, now: Instant, retained: bool) -> None:
        """The node's presence; the retained copy counts, for a last will is heard by those who come later too."""
        there = incoming.online(payload)
        if isinstance(there, Refused):
            self._refuse(there)
        else:
            self._heater_online = Presence(there, now, retained)

    def _there(self, topic: str, payload: bytes, now: Instant, retained: bool) -> None:
        there = incoming.online(payload)
        if isinstance(there, Refused):
            self._refuse(there)
        else:
            self._present[topic] = Presence(there, now, retained)

    def _switch(self, topic: str, payload: bytes, now: Instant, retained: bool) -> None:
        read = Refused("retained") if retained else incoming.switch(payload, now)
        if isinstance(read, Refused):
            self._refuse(read)
        elif (why := self._switches[topic].hear(*read)) is not None:
            self.counters[why] += 1

    def _status(self, topic: str, payload: bytes, now: Instant, retained: bool) -> None:
        """Only the retained copy matters: which epoch did the last owner hold?"""
        if retained and (epoch := incoming.epoch_of_status(payload)) is not None and epoch > self._last_seq[0]:
            self._owner(epoch)

    def _echo(self, topic: str, payload: bytes, now: Instant, retained: bool) -> None:
        if payload and payload == self._last_sent and not retained and self._last_seq in self._pending:
            self._came_back(self._last_seq, now)
            return
        heard = Refused("retained") if retained else incoming.echo(payload)
        if isinstance(heard, Refused):
            self._refuse(heard)
            return
        key = (heard.epoch or 0, heard.seq or 0)
        if heard.owner == self.owner and key in self._pending and self._pending[key][0] == heard.duty:
            self._came_back(key, now)
        elif heard.owner == self.owner and key <= self._last_seq and key not in self._pending:
            self.counters["own command heard again"] += 1
        else:
            worst = self._foreign or Foreign(0.0, None, now)
            epoch = heard.epoch if worst.epoch is None else max(worst.epoch, heard.epoch or 0)
            self._foreign = Foreign(max(worst.duty, heard.duty), epoch, now)
            self._owner(heard.epoch or 0)  # its OFF, too, says who owns the heater now

    def _owner(self, epoch: int) -> None:
        """Somebody of this number owns the heater, or has owned it. One out of reach would lock the tun for good."""
        if epoch - max(self.epoch_seen, self._last_seq[0]) > REACH:
            self.counters["an owner's number out of reach"] += 1
        else:
            self.epoch_seen = max(self.epoch_seen, epoch)

    def _came_back(self, key: tuple[int, int], now: Instant) -> None:
        """An own command was heard: how long was its way? Older ones are no longer waited for."""
        self._delay_s, self._echo_at = max(0.0, now - self._pending[key][1]), now
        if len(self._pending) == 1:  # the usual case: nothing else is waited for
            self._pending.clear()
        else:
            self._pending = {k: v for k, v in self._pending.items() if k > key}

    # ------------------------------------------------------------ once a tick

    def answered(self, replies: Iterable[Reply], state: RunState) -> list[Reply]:
        """These replies, and those still owed to orders that found no room."""
        owed = [Reply(order.id, False, why, state, order.name) for order, why in self.turned_away]
        self.turned_away.clear()
        return [*replies, *owed]

    def take(
        self,
        now: Instant,
        *,
        disk: Disk = Disk(True, 0, 0),  # noqa: B008 - an immutable value
        clocks: Clocks = Clocks(),  # noqa: B008 - an immutable value
    ) -> Inputs:
        """Everything since the last call, for one tick; the queues are empty afterwards."""
        mash, second, outlet = map(tuple, self._tails.values())
        for tail in self._tails.values():
            tail.clear()
        orders, self._orders = tuple(self._orders), []
        t, present, switch = self.topics, self._present.get, self._switches.get
        level, flow = switch(t.level), switch(t.flow)
        there = _presences(
            heater=self._heater_online,
            mash=present(t.probe_online),
            second=present(t.second_online),
            outlet=present(t.outlet_online),
            movers=min(filter(None, map(present, t.movers_online)), key=lambda word: word.there, default=None),
        )
        inputs = _inputs(
            mash=mash,
            second=second,
            outlet=outlet,
            heater=self._heater,
            level=level.take() if level is not None else None,
            flow=flow.take() if flow is not None else None,
            there=there,
            orders=orders,
            link=self._link(now),
            disk=disk,
            clocks=clocks,
            epoch_seen=self.epoch_seen,
        )
        self._foreign, self._taken_at = None, now
        return inputs

    def _link(self, now: Instant) -> Link:
        since = self._taken_at if self._taken_at is not None else now - 1.0
        flooding, delay = self._rates.flooding(since, now), self._delay_s
        if self._pending:
            delay = max(delay, now - next(iter(self._pending.values()))[1])
        return _linked(
            up=self._up,
            since=self._since,
            delay_s=delay,
            echo_at=self._echo_at,
            foreign=self._foreign,
            flooding=flooding,
        )
