"""What can go wrong, when, for how long, and how badly?

Faults are data: `probe_frozen@1200+300` means that the probe's value freezes 1200 s after the start and thaws 300 s
later; `heater_power@900=0.5` means half power from 900 s on, for good. The table below is the whole list, with the row
of the hazard table that each plays (P probe, H heater and plant, M messages, C computer, U person).
"""

import difflib
import re
from collections.abc import Iterable
from random import Random
from typing import NamedTuple

FOREVER_S = 1e12


class Kind(NamedTuple):
    """One kind of fault."""

    hazard: str  # row of the hazard table
    what: str  # what the value means, and its unit
    value: float  # when none is given
    for_s: float = FOREVER_S  # when none is given
    low: float = 0.0
    high: float = 0.0  # low == high: takes no value
    swarm_s: tuple[float, float] | None = (20.0, 900.0)  # how long in random runs; None: not drawn at random


_ONCE = 0.5  # a single event
KINDS: dict[str, Kind] = {
    # ------------------------------------------------------------ probe and readings
    "probe_unplugged": Kind("P1", "nothing is sent", 0),
    "probe_stale": Kind("P2", "the same sample is sent again and again, sequence and all", 0),
    "probe_frozen": Kind("P3", "the value stands still, the sequence goes on", 0),
    "probe_value": Kind("P4, P5, P6", "this value is sent, °C", 85.0, low=-1e9, high=1e9),
    "probe_nan": Kind("P7", "NaN is sent", 0),
    "probe_text": Kind("P7", "payloads that are no reading are sent in turn", 0),
    "probe_spike": Kind("P8", "every fifth sample is off by this, K", 20.0, low=-100, high=100),
    "probe_jump": Kind("P8", "all samples are off by this, K", -4.0, low=-100, high=100),
    "probe_drift": Kind("P9", "the reading drifts by this, K/min", -0.1, low=-5, high=5),
    "second_offset": Kind("P10", "the second probe is off by this, K", 5.0, low=-100, high=100),
    "second_frozen": Kind("P10", "the second probe's value stands still", 0),
    "probe_fallen": Kind("P11", "the probe hangs in the air; time constant, s", 60.0, low=5, high=600),
    "probe_wash": Kind("P12", "the probe reads this much more at full power, K", 3.0, low=0, high=30),
    "probe_swapped": Kind("P13", "mash and outlet probe are swapped", 0),
    "probe_slow": Kind("P14", "a reading only every so many s", 15.0, low=1, high=600),
    "probe_flood": Kind("P14, M10", "so many readings a second", 200.0, low=2, high=2000, swarm_s=(5, 20)),
    "probe_fahrenheit": Kind("P15", "the value is sent in °F", 0),
    "probe_celsius": Kind("P15", "the value is turned from °F to °C although it is °C", 0),
    "probe_reboot": Kind("P1", "the probe node starts anew, its sequence at 0", 0, _ONCE, swarm_s=(1, 1)),
    "probe_offline": Kind("P1", "the probe node's last will says false", 0, 30.0),
    # ------------------------------------------------------------ heater and plant
    "heater_welded": Kind("H1", "the switch is stuck closed at this share", 1.0, low=0, high=1),
    "heater_open": Kind("H2, H13", "no current flows", 0),
    "heater_power": Kind("H3", "only this share of the power arrives", 0.5, low=0, high=1.5),
    "level_lost": Kind("H5", "the level switch says no liquid", 0),
    "level_silent": Kind("H5", "the level switch says nothing", 0),
    "flow_lost": Kind("H6", "the flow switch says no flow", 0),
    "flow_silent": Kind("H6", "the flow switch says nothing", 0),
    "pump_stopped": Kind("H6", "the pump stands still", 0),
    "pump_slow": Kind("H6", "the pump gives only this share of its flow", 0.5, low=0, high=1),
    "stirrer_stopped": Kind("H7", "the stirrer stands still", 0),
    "outlet_hot": Kind("H10", "the outlet probe reads this much more, K", 30.0, low=0, high=200),
    "cold_liquor": Kind("H12", "kg of cold liquor run in, unannounced", 5.0, _ONCE, 0.01, 1e4, swarm_s=None),
    "hot_liquor": Kind("H12", "kg of boiling liquor run in, unannounced", 3.0, _ONCE, 0.01, 1e4, swarm_s=None),
    "lid_open": Kind("U8", "the lid is off", 0),
    "mover_gone": Kind("M16", "the node of stirrer or pump is dead, its last will says so", 0, 60.0, swarm_s=None),
    "mains_cut": Kind("C2", "heater, pump, stirrer and both nodes lose their supply", 0, 60.0),
    "mains_power": Kind("H3", "the supply gives only this share of the power", 0.81, low=0, high=1.3),
    # ------------------------------------------------------------ messages
    "broker_gone": Kind("M1, M3, M4", "nobody can publish, everybody is disconnected", 0, 30.0, swarm_s=(5, 300)),
    "delay": Kind("M2", "every message takes so many s", 5.0, 60.0, 0, 600, swarm_s=(20, 120)),
    "duplicate": Kind("M5", "every message arrives so many times", 3.0, 60.0, 2, 100, swarm_s=(20, 120)),
    "reorder": Kind("M6", "messages arrive in any order within so many s", 3.0, 60.0, 0.5, 60, swarm_s=(20, 120)),
    "lost": Kind("M1", "this share of all messages is lost", 0.5, 60.0, 0, 1, swarm_s=(20, 120)),
    "retained_replay": Kind("M7", "retained start, clear and hot command arrive", 0, _ONCE, swarm_s=(1, 1)),
    "replay": Kind("M8", "all orders so far and the last hot command arrive again", 0, _ONCE, swarm_s=(1, 1)),
    "foreign_heat": Kind("M11, C9", "a stranger commands this duty", 1.0, 5.0, 0.01, 1, swarm_s=(1, 5)),
    "foreign_off": Kind("M11", "a stranger commands OFF", 0, 5.0, swarm_s=(1, 10)),
    "foreign_epoch": Kind("C9", "an owner of an epoch higher by this commands OFF", 1.0, 5.0, 1, 1e6, swarm_s=(1, 5)),
    "foreign_reading": Kind("M11", "a stranger publishes this reading too, °C", 30.0, 60.0, -300, 300, swarm_s=(5, 60)),
    "heater_silent": Kind("M16", "the heater node reports nothing, but obeys", 0, 60.0),
    "heater_deaf": Kind("M15", "the heater node hears nothing", 0, 60.0),
    "heater_lies": Kind("M16", "the heater node reports this duty", 1.0, 60.0, 0, 1),
    "heater_gone": Kind("M16", "the heater node is dead and its last will says so", 0, 60.0),
    "heater_reboot": Kind("M17", "the heater node starts anew", 0, _ONCE, swarm_s=(1, 1)),
    "heater_boots_on": Kind("M17", "the heater node starts anew with its output on, for so long", 0, 30.0),
    # ------------------------------------------------------------ the daemon's own machine
    "loop_stall": Kind("C5", "the daemon's loop stands still for so many s", 4.0, _ONCE, 0.1, 600, swarm_s=(1, 1)),
    "suspend": Kind("C4", "the daemon's machine sleeps for so many s", 60.0, _ONCE, 1, 86400, swarm_s=(1, 1)),
    "clock_jump": Kind("C3", "the wall clock is set by so many s", 3600.0, low=-1e9, high=1e9),
    "clock_unsure": Kind("C3", "the wall clock is not confirmed", 0),
    "disk_slow": Kind("C6", "a sync to the journal's disk takes so many s", 5.0, 60.0, 0.1, 600, swarm_s=None),
    "disk_bad": Kind("C6", "the journal's disk takes nothing", 0),
    # ------------------------------------------------------------ the person
    "grist_share": Kind("U7", "only this share of the grain goes in", 0.5, low=0, high=1.5, swarm_s=None),
    "liquor_share": Kind("U7", "only this share of the liquor is in the tun", 0.6, low=0.3, high=1.5, swarm_s=None),
    "person_away": Kind("U11", "nobody answers", 0, 600.0),
    "stop_button": Kind("U", "a bare stop (1), hold (2) or abort (3) is sent", 2.0, _ONCE, 1, 3, swarm_s=None),
}  # fmt: skip


class Fault(NamedTuple):
    """One fault of one run."""

    kind: str
    at_s: float
    for_s: float = FOREVER_S
    value: float = 0.0

    @property
    def until_s(self) -> float:
        return self.at_s + self.for_s

    def __str__(self) -> str:
        """The text that `parse` reads back."""
        kind = KINDS[self.kind]
        lasts = "" if self.for_s == kind.for_s else f"+{self.for_s:.12g}"
        value = f"={self.value:.12g}" if kind.low != kind.high else ""
        return f"{self.kind}@{self.at_s:.12g}{lasts}{value}"


_SPEC = re.compile(r"([a-z_]+)(?:@([^+=]+))?(?:\+([^=]+))?(?:=(.+))?")
_TIME = re.compile(r"([0-9]+(?:\.[0-9]+)?) ?(s|min|h)?")
_SECONDS = {None: 1.0, "s": 1.0, "min": 60.0, "h": 3600.0}


def parse(spec: str) -> Fault:
    """Which fault does `KIND[@START][+DURATION][=VALUE]` mean? Times in s, or with min or h. Else ValueError."""
    match = _SPEC.fullmatch(spec.strip())
    if match is None:
        raise ValueError(f"{spec!r} is no fault; wanted KIND@START+DURATION=VALUE, such as probe_frozen@1200+300")
    name, at, lasts, value = match.groups()
    if name not in KINDS:
        near = difflib.get_close_matches(name, KINDS, 1)
        hint = f"did you mean {near[0]!r}? " if near else ""
        raise ValueError(f"no fault {name!r}; {hint}`underback dryrun --fault list` names all")
    kind = KINDS[name]
    return Fault(
        name,
        600.0 if at is None else _seconds(spec, at),
        kind.for_s if lasts is None else _seconds(spec, lasts),
        kind.value if value is None else _value(spec, kind, value),
    )


def _seconds(spec: str, text: str) -> float:
    match = _TIME.fullmatch(text.strip())
    if match is None:
        raise ValueError(f"{spec!r}: {text!r} is no time; wanted seconds, or such as 20min or 1.5h")
    return float(match[1]) * _SECONDS[match[2]]


def _value(spec: str, kind: Kind, text: str) -> float:
    if kind.low == kind.high:
        raise ValueError(f"{spec!r}: this fault takes no value ({kind.what})")
    try:
        value = float(text)
    except ValueError:
        raise ValueError(f"{spec!r}: {text!r} is no number; wanted: {kind.what}") from None
    if not (kind.low <= value <= kind.high):
        raise ValueError(f"{spec!r}: {value:g} is outside {kind.low:g}..{kind.high:g} ({kind.what})")
    return value


def parse_all(specs: Iterable[str]) -> tuple[list[Fault], list[str]]:
    """Those that can be read, and why the others cannot."""
    faults: list[Fault] = []
    wrong: list[str] = []
    for spec in specs:
        try:
            faults.append(parse(spec))
        except ValueError as why:
            wrong.append(str(why))
    return faults, wrong


class Faults:
    """The faults of one run, and which of them are at work now."""

    def __init__(self, faults: Iterable[Fault] = ()) -> None:
        self.all = tuple(sorted(faults, key=lambda fault: (fault.at_s, fault.kind)))
        self._edges = sorted({t for fault in self.all for t in (fault.at_s, fault.until_s)})
        self._next_s = self._edges[0] if self._edges else FOREVER_S
        self._live: dict[str, Fault] = {}

    def at(self, now: float) -> dict[str, Fault]:
        """Which faults are at work now, by kind? Of two of a kind the later one counts. Time must not go back."""
        if now >= self._next_s:
            self._live = {f.kind: f for f in self.all if f.at_s <= now < f.until_s}
            self._next_s = next((edge for edge in self._edges if edge > now), FOREVER_S)
        return self._live


def draw_faults(rng: Random, within_s: float, count: int) -> tuple[Fault, ...]:
    """Random faults for a random run: so many, begun within so many seconds, each of a length fit for its kind."""
    names = [name for name, kind in KINDS.items() if kind.swarm_s is not None]
    return tuple(_draw(rng, rng.choice(names), within_s) for _ in range(count))


def _draw(rng: Random, name: str, within_s: float) -> Fault:
    kind = KINDS[name]
    lasts = _ONCE if kind.swarm_s is None or kind.for_s == _ONCE else rng.uniform(*kind.swarm_s)
    value = kind.value
    if kind.low != kind.high and rng.random() < 0.5:
        value = min(kind.high, max(kind.low, kind.value * rng.uniform(0.3, 2.0)))
    return Fault(name, round(rng.uniform(0.0, within_s), 1), round(lasts, 1), round(value, 3))
