"""What does a heater node do with a command, and what without one?

The second, independent layer of protection, next to the element. It keeps these rules by itself, whatever the daemon,
the broker or the network do:

1. Off at power-up, whatever was retained, and off after any error of its own.
2. Heat only for the highest owner epoch seen since power-up, and only for rising sequences.
3. A command lasts its validity, at most 10 s; then off.
4. Retained commands are refused. A well-formed OFF is obeyed from anybody, with any epoch, sequence or none.
5. Its own outlet limit, level and flow inputs take the heat away within a second, without the daemon.
6. Every accepted command is answered, and unasked it reports every 2 s.
7. A power contactor stays open for 10 s before it closes again; a solid-state relay needs no such rest.
8. Where it measures power: power with the output off is a stuck switch, and stays reported until the node is reset.

Pure: state in, state out. The simulator's heater and the node program run this same code.
"""

from __future__ import annotations

from math import isfinite
from typing import Any, NamedTuple

from controller.core.nouns import NO_FLOW, NO_LIQUID, Instant
from controller.messages.strict_json import Refused, document, number, whole

CEILING_S = 10.0  # longest lease, whatever a command says
REPORT_S = 2.0  # unasked reports so often
CONTACTOR_REST_S = 10.0  # off so long before on again: contactors and burners wear (common practice)
OUTLET_LIMIT_C, OUTLET_TRIP_C, OUTLET_GAP_K = 85.0, 92.0, 5.0  # limiter, latch, fall before heat returns
SENSOR_GONE_S = 1.0  # own inputs may be silent for so long
AGAIN_S = 600.0  # the second limiter action within so long latches
STUCK_SHARE, STUCK_S = 0.05, 2.0  # of the plate's power, with the output off, for so long
EPOCH_CAP = 2**40


class NodeSettings(NamedTuple):
    """What is fixed at this node, by hand and not over the air."""

    power_w: float  # plate
    boot: str  # a new value at each power-up
    ceiling_s: float = CEILING_S  # 3..10
    min_off_s: float = CONTACTOR_REST_S  # 0 for a solid-state relay or a proportional output
    window_s: float = 0.0  # plain relay: a share is given as on and off within this; 0 = a share is a share
    outlet: bool = False  # an outlet thermometer of its own
    level: bool = False  # a level input of its own
    flow: bool = False  # a flow input of its own
    outlet_limit_c: float = OUTLET_LIMIT_C
    outlet_trip_c: float = OUTLET_TRIP_C


class NodeState(NamedTuple):
    """What the node remembers."""

    epoch: int = 0  # highest owner seen since power-up
    seq: int = 0  # newest command obeyed
    ordered: float = 0.0  # duty it asked for
    until: Instant = 0.0  # end of its lease
    output: float = 0.0  # what the element gets now, 0..1
    heating: bool = False  # heat was asked for and allowed, be it the off part of a window
    off_since: Instant = 0.0
    fault: str = ""  # empty = none
    latched: bool = False  # the fault stays until somebody resets the node at the tun
    limiting: bool = False  # the outlet limiter holds the heat back
    limited_at: Instant | None = None  # since when, or when it last did
    flow_lost_at: Instant | None = None
    outlet_at: Instant = 0.0  # newest value of the own outlet thermometer
    stuck_since: Instant | None = None
    expired: bool = False  # the last lease ran out unrenewed


def boot(now: Instant) -> NodeState:
    """The node after power-up: off, nobody's."""
    return NodeState(off_since=now, outlet_at=now)


def obey(
    settings: NodeSettings, state: NodeState, payload: bytes, now: Instant, retained: bool = False
) -> tuple[NodeState, str | None]:
    """Is this heater command taken? Returns the state after it and, when it is refused, the reason."""
    if retained:
        return state, "retained"
    found = document(payload)
    if isinstance(found, Refused):
        return state, str(found)
    if not isinstance(found, dict):
        return state, "no object"
    duty = number(found.get("duty"))
    if isinstance(duty, Refused) or not (0.0 <= duty <= 1.0):
        return state, "duty is no share of 0..1"
    epoch, seq, valid = whole(found.get("epoch"), EPOCH_CAP), whole(found.get("seq")), number(found.get("valid_s"))
    if duty == 0.0:
        return _off(settings, state, epoch, seq, now), None
    if isinstance(epoch, Refused) or isinstance(seq, Refused) or isinstance(valid, Refused):
        return state, "heat needs whole numbers epoch and seq and a number valid_s"
    if epoch < state.epoch:
        return state, f"epoch {epoch}: another owner has epoch {state.epoch}"
    if epoch == state.epoch and seq <= state.seq:
        return state, f"sequence {seq} is not above {state.seq}"
    if not (valid > 0.0):
        return state, "valid_s is not above 0"
    lease = min(valid, settings.ceiling_s)
    return state._replace(epoch=epoch, seq=seq, ordered=duty, until=now + lease, expired=False), None


def _off(settings: NodeSettings, state: NodeState, epoch: int | Refused, seq: int | Refused, now: Instant) -> NodeState:
    """OFF is obeyed from anybody; only a newer owner or a newer sequence moves the books on."""
    if isinstance(epoch, Refused) or isinstance(seq, Refused) or (epoch, seq) <= (state.epoch, state.seq):
        epoch, seq = state.epoch, state.seq
    until = now + settings.ceiling_s
    return _open(state._replace(epoch=epoch, seq=seq, ordered=0.0, until=until, expired=False), now)


def _open(state: NodeState, now: Instant) -> NodeState:
    """Output off, from now on where it was on."""
    return state if state.output <= 0.0 else state._replace(output=0.0, off_since=now)


def beat(
    settings: NodeSettings,
    state: NodeState,
    now: Instant,
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
    state = state if heating == state.heating else state._replace(heating=heating)
    wanted = _windowed(settings, state.ordered, now) if heating else 0.0
    if wanted <= 0.0:
        state = _open(state, now)
    elif wanted != state.output and (state.output > 0.0 or now - state.off_since >= settings.min_off_s):
        state = state._replace(output=wanted)
    return state, state.output


def _lease(state: NodeState, now: Instant) -> NodeState:
    if state.ordered > 0.0 and not (now < state.until):
        return state._replace(ordered=0.0, expired=True)
    return state


def _windowed(settings: NodeSettings, duty: float, now: Instant) -> float:
    """A share as on and off within a window, on first; the window's phase hangs on the clock, so it never restarts."""
    if settings.window_s <= 0.0 or duty in (0.0, 1.0):
        return duty
    return 1.0 if now % settings.window_s < duty * settings.window_s else 0.0


def _protect(
    settings: NodeSettings,
    state: NodeState,
    now: Instant,
    outlet_c: float | None,
    level_ok: bool | None,
    flow_ok: bool | None,
) -> NodeState:
    """Own limits, the worst first. A latched fault stays; another goes with its cause."""
    if state.latched:
        return state
    if settings.level and level_ok is not True:
        return state._replace(fault=NO_LIQUID, latched=state.heating)
    if settings.outlet:
        state = _outlet(settings, state, now, outlet_c)
        if state.limiting or now - state.outlet_at > SENSOR_GONE_S:
            return state
    if settings.flow and flow_ok is not True and state.ordered > 0.0:
        return _no_flow(state, now)
    return state._replace(fault="") if state.fault else state


def _outlet(settings: NodeSettings, state: NodeState, now: Instant, outlet_c: float | None) -> NodeState:
    """The limiter at the outlet: off at the limit, on again 5 K below, latched at the trip or the second time."""
    if outlet_c is None or not isfinite(outlet_c):
        silent = now - state.outlet_at > SENSOR_GONE_S
        return state._replace(fault="the outlet thermometer is silent") if silent else state
    state = state._replace(outlet_at=now)
    limit = settings.outlet_limit_c
    if outlet_c < (limit - OUTLET_GAP_K if state.limiting else limit):
        return state._replace(limiting=False)
    again = not state.limiting and state.limited_at is not None and now - state.limited_at < AGAIN_S
    return state._replace(
        fault=f"outlet hot: {outlet_c:.1f} °C, limit {limit:.0f} °C",
        latched=again or outlet_c >= settings.outlet_trip_c,
        limiting=True,
        limited_at=state.limited_at if state.limiting else now,
    )


def _no_flow(state: NodeState, now: Instant) -> NodeState:
    """No flow while heat is asked for; lost twice under heat within ten minutes, it latches."""
    if not state.heating:
        return state._replace(fault=NO_FLOW)
    again = state.flow_lost_at is not None and now - state.flow_lost_at < AGAIN_S
    return state._replace(fault=NO_FLOW, latched=again, flow_lost_at=now)


def _stuck(settings: NodeSettings, state: NodeState, now: Instant, power_w: float | None) -> NodeState:
    """Is there power although the output is off?"""
    if power_w is None or state.output > 0.0 or not (power_w > STUCK_SHARE * settings.power_w):
        return state if state.stuck_since is None else state._replace(stuck_since=None)
    since = state.stuck_since if state.stuck_since is not None else now
    state = state._replace(stuck_since=since)
    if now - since < STUCK_S:
        return state
    return state._replace(fault="power with the output off: the switch is stuck", latched=True)


def reset(state: NodeState) -> NodeState:
    """Somebody at the tun pressed the node's button: a latched fault goes; its cause, if still there, returns at once.

    Heat does not return by this alone: the order in force is dropped too.
    """
    return state._replace(
        fault="", latched=False, ordered=0.0, limiting=False, limited_at=None, flow_lost_at=None, stuck_since=None
    )


def worth_telling(before: NodeState, after: NodeState) -> bool:
    """Is a report due at once, without waiting for the 2 s?"""
    told = (before.epoch, before.seq, before.output, before.fault, before.expired)
    return told != (after.epoch, after.seq, after.output, after.fault, after.expired)


def report(
    settings: NodeSettings,
    state: NodeState,
    now: Instant,
    *,
    outlet_c: float | None = None,
    power_w: float | None = None,
) -> dict[str, Any]:
    """What the node says of itself: the fields of `heater/report`. `duty` is the output of this moment."""
    said: dict[str, Any] = {
        "boot": settings.boot,
        "epoch": state.epoch,
        "seq": state.seq,
        "duty": state.output,
        "lease_left_s": round(max(0.0, state.until - now), 2),
        "fault": state.fault or None,
    }
    if outlet_c is not None and isfinite(outlet_c):
        said["outlet_c"] = round(outlet_c, 2)
    if power_w is not None and isfinite(power_w):
        said["power_w"] = round(power_w, 1)
    return said
