"""What does a heater node do with a command, and what without one?

The second, independent layer of protection, next to the element. It keeps these rules by itself, whatever the daemon,
the broker or the network do:

1. Off at power-up, whatever was retained, and off after any error of its own.
2. Heat only for the highest owner epoch seen since power-up, and only for rising sequences.
3. A command lasts its validity, at most 10 s; then off.
4. Retained commands are refused. A well-formed OFF is obeyed from anybody, with any epoch, sequence or none.
5. Its own outlet limit, level and flow inputs take the heat away within a second, without the daemon (contact.py).
6. Every accepted command is answered, and unasked it reports every 2 s.
7. A power contactor stays open for 10 s before it closes again; a solid-state relay needs no such rest.
8. Where it measures power: power with the output off is a stuck switch, and stays reported until the node is reset.

State in, state out; plain values and slotted classes, and no import but math and contact.py: a small board's
interpreter runs this same file, and so does the simulator. What a payload holds is read before (`commands.py`).
"""

from math import isfinite

from controller.field import contact

CEILING_S = 10.0  # longest lease, whatever a command says
REPORT_S = 2.0  # unasked reports so often
CONTACTOR_REST_S = 10.0  # off so long before on again: contactors and burners wear (common practice)
OUTLET_LIMIT_C, OUTLET_TRIP_C, OUTLET_GAP_K = 85.0, 92.0, 5.0  # limiter, latch, fall before heat returns
SENSOR_GONE_S = 1.0  # own inputs may be silent for so long
HOT_S = 1.0  # so hot for so long latches: nothing does on one reading (own proposal)
AGAIN_S = 600.0  # the second limiter action within so long latches
STUCK_SHARE, STUCK_S = 0.05, 2.0  # of the plate's power, with the output off, for so long
EPOCH_CAP = 2**40
EXACT = 2**53  # whole numbers up to here are exact in a double
OWN_PROBE_SILENT, OWN_LIMIT, NO_LIQUID, NO_FLOW = "own_probe_silent", "own_limit", "no_liquid", "no_flow"
SWITCH_STUCK, NO_POWER, INTERNAL = "switch_stuck", "no_power", "internal"  # codes of faults, for programs
WORDS = {  # and for people
    OWN_PROBE_SILENT: "the outlet thermometer is silent",
    NO_LIQUID: "no liquid at the heater",
    NO_FLOW: "no flow at the heater",
    SWITCH_STUCK: "power with the output off: the switch is stuck",
}


class Plain:
    """Equality, a text and copies with a change for the slotted classes below."""

    __slots__: tuple[str, ...] = ()

    def values(self) -> tuple[object, ...]:
        """All fields, in their order."""
        return tuple([getattr(self, name) for name in self.__slots__])

    def _fill(self, other: "Plain", changes: dict[str, object]) -> None:
        """Take over all fields of `other`, some changed. Raises AttributeError for a field that is not there."""
        for name in self.__slots__:
            setattr(self, name, getattr(other, name))
        for name in changes:
            if name not in self.__slots__:
                raise AttributeError(name)
            setattr(self, name, changes[name])

    def __eq__(self, other: object) -> bool:
        return isinstance(other, self.__class__) and self.values() == other.values()

    def __repr__(self) -> str:
        return self.__class__.__name__ + repr(self.values())


class NodeSettings(Plain):
    """What is fixed at this node, by hand and not over the air."""

    __slots__ = tuple(
        "power_w boot ceiling_s min_off_s window_s outlet level flow outlet_limit_c outlet_trip_c".split()
    )

    def __init__(
        self,
        power_w: float,
        boot: str,
        ceiling_s: float = CEILING_S,
        min_off_s: float = CONTACTOR_REST_S,
        window_s: float = 0.0,
        outlet: bool = False,
        level: bool = False,
        flow: bool = False,
        outlet_limit_c: float = OUTLET_LIMIT_C,
        outlet_trip_c: float = OUTLET_TRIP_C,
    ) -> None:
        self.power_w = power_w  # plate
        self.boot = boot  # a new value at each power-up
        self.ceiling_s = ceiling_s  # 3..10
        self.min_off_s = min_off_s  # 0 for a solid-state relay or a proportional output
        self.window_s = window_s  # plain relay: a share is given as on and off within this; 0 = a share is a share
        self.outlet = outlet  # an outlet thermometer of its own
        self.level = level  # a level input of its own
        self.flow = flow  # a flow input of its own
        self.outlet_limit_c = outlet_limit_c
        self.outlet_trip_c = outlet_trip_c

    def but(self, **changes: object) -> "NodeSettings":
        """The same with some fields changed."""
        twin = NodeSettings(self.power_w, self.boot)
        twin._fill(self, changes)
        return twin


class NodeState(Plain):
    """What the node remembers. Times are its own seconds."""

    __slots__ = tuple(
        "epoch seq ordered until output heating off_since code"
        " fault latched limiting limited_at hot_since level flow flow_lost_at outlet_at stuck_since expired".split()
    )

    def __init__(self) -> None:
        self.epoch = 0  # highest owner seen since power-up
        self.seq = 0  # newest command obeyed
        self.ordered = 0.0  # duty it asked for
        self.until = 0.0  # end of its lease
        self.output = 0.0  # what the element gets now, 0..1
        self.heating = False  # heat was asked for and allowed, be it the off part of a window
        self.off_since = 0.0
        self.code = ""  # of the fault, for programs; empty = none
        self.fault = ""  # in words, for people
        self.latched = False  # the fault stays until somebody resets the node at the tun
        self.limiting = False  # the outlet limiter holds the heat back
        self.limited_at: float | None = None  # since when, or when it last did
        self.hot_since: float | None = None  # at or over the limit that latches
        self.level, self.flow = contact.NEVER_OPEN, contact.NEVER_OPEN
        self.flow_lost_at: float | None = None
        self.outlet_at = 0.0  # newest value of the own outlet thermometer
        self.stuck_since: float | None = None
        self.expired = False  # the last lease ran out unrenewed

    def but(self, **changes: object) -> "NodeState":
        """The same with some fields changed."""
        twin: NodeState = object.__new__(NodeState)  # every field is filled
        twin._fill(self, changes)
        return twin


def boot(now: float) -> NodeState:
    """The node after power-up: off, nobody's."""
    return NodeState().but(off_since=now, outlet_at=now)


def obey(
    settings: NodeSettings, state: NodeState, found: dict[str, object], now: float
) -> tuple[NodeState, str | None]:
    """Is this heater command taken? `found`: the fields of a payload that was strict JSON and no retained copy. Returns
    the state after it and, when it is refused, the reason."""
    duty, valid = _number(found.get("duty")), _number(found.get("valid_s"))
    epoch, seq = _whole(found.get("epoch"), EPOCH_CAP), _whole(found.get("seq"), EXACT)
    if duty is None or not (0.0 <= duty <= 1.0):
        return state, "duty is no share of 0..1"
    if duty == 0.0:
        return _off(settings, state, epoch, seq, now), None
    if epoch is None or seq is None or valid is None:
        return state, "heat needs whole numbers epoch and seq and a number valid_s"
    if epoch < state.epoch:
        return state, f"epoch {epoch}: another owner has epoch {state.epoch}"
    if epoch == state.epoch and seq <= state.seq:
        return state, f"sequence {seq} is not above {state.seq}"
    if not (valid > 0.0):
        return state, "valid_s is not above 0"
    lease = min(valid, settings.ceiling_s)
    return state.but(epoch=epoch, seq=seq, ordered=duty, until=now + lease, expired=False), None


def _number(value: object) -> float | None:
    """Is it a finite number? Truth values are not, nor what no double holds exactly."""
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return None
    exact = -EXACT <= value <= EXACT if isinstance(value, int) else isfinite(value)
    return float(value) if exact else None


def _whole(value: object, highest: int) -> int | None:
    """Is it a whole number from 0 up to `highest`?"""
    if isinstance(value, bool) or not isinstance(value, int):
        return None
    return value if 0 <= value <= highest else None


def _off(settings: NodeSettings, state: NodeState, epoch: int | None, seq: int | None, now: float) -> NodeState:
    """OFF is obeyed from anybody; only a newer owner or a newer sequence moves the books on."""
    if epoch is None or seq is None or (epoch, seq) <= (state.epoch, state.seq):
        epoch, seq = state.epoch, state.seq
    until = now + settings.ceiling_s
    return _open(state.but(epoch=epoch, seq=seq, ordered=0.0, until=until, expired=False), now)


def _open(state: NodeState, now: float) -> NodeState:
    """Output off, from now on where it was on."""
    return state if state.output <= 0.0 else state.but(output=0.0, off_since=now)


def beat(
    settings: NodeSettings,
    state: NodeState,
    now: float,
    *,
    outlet_c: float | None = None,
    level_ok: bool | None = None,
    flow_ok: bool | None = None,
    power_w: float | None = None,
) -> tuple[NodeState, float]:
    """What does the element get now, 0..1? Called at least twice a second, with the node's own inputs.

    None = the input says nothing. An input that is fitted and silent counts as bad. Raises nothing.
    """
    state = _lease(state, now)
    state = _protect(settings, state, now, outlet_c, level_ok, flow_ok)
    state = _stuck(settings, state, now, power_w)
    heating = not state.fault and state.ordered > 0.0
    state = state if heating == state.heating else state.but(heating=heating)
    wanted = _windowed(settings, state.ordered, now) if heating else 0.0
    if wanted <= 0.0:
        state = _open(state, now)
    elif wanted != state.output:
        rested = now - state.off_since >= settings.min_off_s and contact.settled(now, state.level, state.flow)
        state = state.but(output=wanted) if state.output > 0.0 or rested else state
    return state, state.output


def _lease(state: NodeState, now: float) -> NodeState:
    if state.ordered > 0.0 and not (now < state.until):
        return state.but(ordered=0.0, expired=True)
    return state


def _windowed(settings: NodeSettings, duty: float, now: float) -> float:
    """A share as on and off within a window, on first; the window's phase hangs on the clock, so it never restarts."""
    if settings.window_s <= 0.0 or duty in (0.0, 1.0):
        return duty
    return 1.0 if now % settings.window_s < duty * settings.window_s else 0.0


def _protect(
    settings: NodeSettings,
    state: NodeState,
    now: float,
    outlet_c: float | None,
    level_ok: bool | None,
    flow_ok: bool | None,
) -> NodeState:
    """Own limits, the worst first. A latched fault stays; another goes with its cause."""
    if state.latched:
        return state
    flowing = flow_ok is True or not settings.flow or state.ordered <= 0.0  # flow where heat is asked for
    level = contact.looked(state.level, level_ok is True or not settings.level, state.heating, now)
    flow = contact.looked(state.flow, flowing, state.heating, now)
    if level is not state.level or flow is not state.flow:
        state = state.but(level=level, flow=flow)
    if state.level[0] is not None:
        return _faulty(state, NO_LIQUID, latched=state.level[1] and contact.is_open(state.level, now))
    if settings.outlet:
        state = _outlet(settings, state, now, outlet_c)
        if state.limiting or now - state.outlet_at > SENSOR_GONE_S:
            return state
    if state.flow[0] is not None:
        return _no_flow(state, now)
    return state.but(code="", fault="") if state.fault else state


def _faulty(state: NodeState, code: str, latched: bool = False) -> NodeState:
    """With a fault, in words that belong to its code."""
    return state.but(code=code, fault=WORDS[code], latched=latched)


def _outlet(settings: NodeSettings, state: NodeState, now: float, outlet_c: float | None) -> NodeState:
    """The limiter at the outlet: off at the limit, on again 5 K below, latched at the trip or the second time."""
    if outlet_c is None or not isfinite(outlet_c):
        silent = now - state.outlet_at > SENSOR_GONE_S
        return _faulty(state, OWN_PROBE_SILENT) if silent else state
    state = state.but(outlet_at=now)
    limit = settings.outlet_limit_c
    if outlet_c < (limit - OUTLET_GAP_K if state.limiting else limit):
        return state.but(limiting=False, hot_since=None)
    hot_since = None if outlet_c < settings.outlet_trip_c else now if state.hot_since is None else state.hot_since
    again = not state.limiting and state.limited_at is not None and now - state.limited_at < AGAIN_S
    return state.but(
        code=OWN_LIMIT,
        fault=f"outlet hot: {outlet_c:.1f} °C, limit {limit:.0f} °C",
        latched=again or (hot_since is not None and now - hot_since >= HOT_S),
        hot_since=hot_since,
        limiting=True,
        limited_at=state.limited_at if state.limiting else now,
    )


def _no_flow(state: NodeState, now: float) -> NodeState:
    """No flow while heat is asked for; lost twice under heat within ten minutes, it latches."""
    if not (state.flow[1] and contact.is_open(state.flow, now)):
        return _faulty(state, NO_FLOW)
    again = state.flow_lost_at is not None and now - state.flow_lost_at < AGAIN_S
    return _faulty(state.but(flow=contact.told(state.flow), flow_lost_at=now), NO_FLOW, latched=again)


def _stuck(settings: NodeSettings, state: NodeState, now: float, power_w: float | None) -> NodeState:
    """Is there power although the output is off?"""
    if power_w is None or state.output > 0.0 or not (power_w > STUCK_SHARE * settings.power_w):
        return state if state.stuck_since is None else state.but(stuck_since=None)
    since = state.stuck_since if state.stuck_since is not None else now
    state = state.but(stuck_since=since)
    if now - since < STUCK_S:
        return state
    return _faulty(state, SWITCH_STUCK, latched=True)


def reset(state: NodeState) -> NodeState:
    """Somebody at the tun pressed the node's button: a latched fault goes; its cause, if still there, returns at once.

    Heat does not return by this alone: the order in force is dropped too.
    """
    clean = dict.fromkeys(("limited_at", "hot_since", "flow_lost_at", "stuck_since"))
    state = state.but(code="", fault="", latched=False, ordered=0.0, limiting=False, **clean)
    return state.but(level=contact.NEVER_OPEN, flow=contact.NEVER_OPEN)


def worth_telling(before: NodeState, after: NodeState) -> bool:
    """Is a report due at once, without waiting for the 2 s?"""
    told = (before.epoch, before.seq, before.output, before.fault, before.expired)
    return told != (after.epoch, after.seq, after.output, after.fault, after.expired)


def report(
    settings: NodeSettings,
    state: NodeState,
    now: float,
    *,
    outlet_c: float | None = None,
    power_w: float | None = None,
) -> dict[str, object]:
    """What the node says of itself: the fields of `heater/report`. `duty` is the output of this moment."""
    said: dict[str, object] = {
        "boot": settings.boot,
        "epoch": state.epoch,
        "seq": state.seq,
        "duty": state.output,
        "lease_left_s": round(max(0.0, state.until - now), 2),
        "fault": state.fault or None,
        "fault_code": state.code or None,
    }
    if outlet_c is not None and isfinite(outlet_c):
        said["outlet_c"] = round(outlet_c, 2)
    if power_w is not None and isfinite(power_w):
        said["power_w"] = round(power_w, 1)
    return said
