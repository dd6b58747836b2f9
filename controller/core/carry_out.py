"""What becomes of the orders of one tick? Each is judged, carried out or refused, and answered."""

from controller.core import probe
from controller.core.guard import hand, trips
from controller.core.guard.link_gaps import NONE
from controller.core.guard.state import GuardState
from controller.core.inputs import Inputs
from controller.core.nouns import Event, Instant, Measurement, Order, Reply, RunState, View
from controller.core.procedure import resume
from controller.core.procedure.orders import effects, envelope, permissives
from controller.core.procedure.run import Refused, Situation, capacity_j_per_k, held
from controller.core.state import State
from controller.settings.service import Settings

DURABLE = frozenset({"start", "restart"})  # on disk before the heat they lead to; so is the answer after an outage


def all_orders(
    settings: Settings, state: State, now: Instant, inputs: Inputs, seen: Measurement, view: View
) -> tuple[State, list[Event], list[Reply]]:
    """Each order judged, carried out or refused, and answered."""
    events: list[Event] = []
    replies: list[Reply] = []
    clocks = inputs.clocks
    for order in inputs.orders:
        book, why = envelope.judge(
            state.orders, order, state.run.state, state.run.begun.id or None, now, clocks.wall_s, clocks.wall_confirmed
        )
        state = state._replace(orders=book)
        if why is not None:
            replies.append(Reply(order.id, False, why, state.run.state, order.name))
        elif order.name == "clear":
            state = _clear(settings, state, order, now, events, replies)
        else:
            state = _effect(settings, state, order, now, inputs, seen, view, events, replies)
    return state, events, replies


def _clear(
    settings: Settings, state: State, order: Order, now: Instant, events: list[Event], replies: list[Reply]
) -> State:
    kept, reply, event = trips.clear(state.guard, order, state.run.state, now, settings.tun.guard.requalify_off_s)
    replies.append(reply)
    if event is None:
        return state._replace(guard=kept)
    events.append(event)
    state, run = state if kept.trips else _looked(state), state.run
    if run.hold.by == "trip":  # a person is at it now: nothing goes on by itself
        run = held(run, "latched")
    return state._replace(guard=kept, run=run)


def _looked(state: State) -> State:
    """A person has looked at the tun: its probes may count anew, and their clocks be set."""
    mash, second, outlet = map(probe.anew, (state.mash, state.second, state.outlet))
    return state._replace(mash=mash, second=second, outlet=outlet)


def _effect(
    settings: Settings, state: State, order: Order, now: Instant, inputs: Inputs, seen: Measurement, view: View,
    events: list[Event], replies: list[Reply],
) -> State:  # fmt: skip
    known = facts(settings, state, now, inputs, seen, view)
    missing = permissives.missing(known, order) if order.name == "start" else ()
    ceiling_c = settings.tun.guard.hard_limit_c - 2.0
    clocks = inputs.clocks
    situation = Situation(view, seen, now, clocks.wall_s, ceiling_c, missing, wall_confirmed=clocks.wall_confirmed)
    done = effects.carry_out(state.run, order, situation)
    kept = state.guard
    if order.name in ("restart", "announce") and not isinstance(done, Refused):
        kept, why = _second_opinion(settings, state, order, now)
        done = Refused(why) if why else done
    if isinstance(done, Refused):
        replies.append(Reply(order.id, False, done.why, state.run.state, order.name))
        return state
    run, said, new = done
    if state.pending is not None and state.run.state is RunState.CHECKING and run.state is not RunState.CHECKING:
        run = resume.broken_off(state.pending, run)
    events.extend(new)
    replies.append(Reply(order.id, True, said, run.state, order.name))
    state = _looked(state) if order.name == "restart" else state
    asked = state.run.prompt
    decides = order.name == "answer" and asked is not None and asked.id == "resume"
    durable = order.name in DURABLE or decides or state.guard.need_durable
    gaps = NONE if decides else kept.link_gaps
    return state._replace(run=run, guard=kept._replace(need_durable=durable, link_gaps=gaps))


def _second_opinion(settings: Settings, state: State, order: Order, now: Instant) -> tuple[GuardState, str]:
    """What does the guard say of the hand reading that goes with this order, or of its lack?"""
    fresh = now - state.mash.at <= settings.tun.guard.reading_gone_s
    reading_c = state.mash.value_c if fresh else None
    if order.name == "announce":
        return hand.announced(state.guard, order.args, reading_c, now)
    capacity = (capacity_j_per_k(state.run) or settings.tun.metal_j_per_k) + settings.tun.heater.bath_j_per_k
    return hand.restarted(state.guard, order.args, reading_c, _others(state), now, capacity)


def _others(state: State) -> tuple[hand.Other, ...]:
    """What other thermometers say of the mash: a second probe, and the heater node's own."""
    node = state.heater
    own = () if node is None else (hand.Other(node.outlet_c, node.at),)
    return (hand.Other(state.second.value_c, state.second.at), *own)


def facts(
    settings: Settings, state: State, now: Instant, inputs: Inputs, seen: Measurement, view: View
) -> permissives.Facts:
    """What is known at the moment of a start? The proof test ages while the process runs."""
    proof_days = None if state.proof_days is None else state.proof_days + (now - state.guard.started_at) / 86400.0
    return permissives.Facts(
        tun=settings.tun,
        seen=seen,
        view=view,
        link=inputs.link,
        disk=inputs.disk,
        level=state.level,
        flow=state.flow,
        heater_boot=state.heater.boot if state.heater is not None else "",
        now=now,
        wall_confirmed=inputs.clocks.wall_confirmed,
        proof_days=proof_days,
        believed_at=state.guard.noted.believed_at,
        second_at=state.second.at,
        outlet_at=state.outlet.at,
        heater_fault=state.guard.line.fault,
    )
