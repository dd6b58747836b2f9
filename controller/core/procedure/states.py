"""Which states of a run pass by themselves?

A trip leads to held, acting states end, and a run that only a passing trip held goes on. All else is an order's.
"""

from typing import Final, assert_never

from controller.core.nouns import Event, Instant, Measurement, Phase, RunState, View
from controller.core.procedure import resume
from controller.core.procedure.run import KEPT, Run, enter, go, held, leg_of, out_of_band

S = RunState
P = Phase

ENDS_IN = {S.PAUSING: S.PAUSED, S.HOLDING: S.HELD, S.STOPPING: S.STOPPED, S.ABORTING: S.ABORTED}
NOBODY_S = 1800.0  # ready for grain and nobody came for so long: said loudly (own proposal)
SAFE_KEEP_S = 7200.0  # nobody answers in a waiting step for so long: heat off (own proposal)
GONE_S = 900.0  # a link gone for so long: a person decides (own proposal)
TRIPS_MOVE = KEPT | {S.RESTARTING, S.HELD, S.HOLDING}  # a trip has something to say there
RUNNING: Final = S.RUNNING
OFF_S = 12.0  # a run ends after so long, whether the heater node has answered OFF or not: its lease is over by then


def pass_by(run: Run, view: View, seen: Measurement, now: Instant, events: list[Event]) -> Run:
    """Trips lead to held; acting states end by themselves."""
    run = _tripped(run, view, now, events)
    if run.state is RUNNING:  # the usual case, said first
        return run
    match run.state:
        case S.PAUSING | S.HOLDING:
            return to(run, ENDS_IN[run.state], now, events)
        case S.STOPPING | S.ABORTING:  # once the heater is off for certain
            off = view.heater_off or now - run.state_since > OFF_S
            return to(run, ENDS_IN[run.state], now, events) if off else run
        case S.PAUSED:
            return _paused(run, now, events)
        case S.HELD:
            return _held(run, view, seen, now, events)
        case S.RESTARTING:
            return _restarting(run, view, now, events)
        case S.IDLE | S.CHECKING | S.STOPPED | S.ABORTED | S.COMPLETE:
            return run
        case _:
            assert_never(run.state)


def to(run: Run, state: RunState, now: Instant, events: list[Event], why: str = "") -> Run:
    run, event = go(run, state, now, why)
    events.append(event)
    return run


def _tripped(run: Run, view: View, now: Instant, events: list[Event]) -> Run:
    if view.lost and run.state in TRIPS_MOVE:
        return to(run._replace(prompt=None), S.ABORTING, now, events, "another controller commands this tun")
    if view.link_gone and not view.trips and run.state in KEPT:
        return to(_off(run), S.HOLDING, now, events, view.link_gone)
    if not view.trips or run.state not in TRIPS_MOVE:
        return run
    if view.latched:
        run = held(run, "latched")
    if run.state in (S.HELD, S.HOLDING):
        return run
    first = next((t for t in view.trips if t.first_out), view.trips[0])
    return to(_off(run), S.HOLDING, now, events, f"{first.id} {first.text}")


def _off(run: Run) -> Run:
    """Heat goes off under it: what held it before stays, and so does that a person had paused it."""
    return held(run, run.hold.by or "trip", run.hold.paused or run.state in (S.PAUSED, S.PAUSING))


def _held(run: Run, view: View, seen: Measurement, now: Instant, events: list[Event]) -> Run:
    """Only a run held by self-clearing trips alone goes on by itself; after a long gap of a link a person is asked."""
    asks = bool(view.link_gone) and now > run.state_since  # what was answered in this tick is not asked again
    gone = asks or now - run.state_since >= GONE_S
    if run.hold.by == "trip" and gone and all(trip.link for trip in view.trips):
        asked = resume.after_gap(run, seen.value_c, now, view.link_gone)
        text = asked.prompt.text if asked.prompt is not None else ""
        events.append(Event("resume", "ask", text, value=now - run.state_since, unit="s", priority=2))
        return asked
    if run.hold.by != "trip" or view.trips or not view.ready or seen.doubtful:
        return run
    return to(run, S.RESTARTING, now, events, "nothing stands against heat any more; motion and flow are proven first")


def _restarting(run: Run, view: View, now: Instant, events: list[Event]) -> Run:
    if not view.ready or not view.flow_ok:
        return run
    paused = run.hold.paused
    run = held(run, "", paused=False)._replace(key=run.key + 1)
    if paused:
        return to(out_of_band(run), S.PAUSED, now, events, "as before the trip; `resume` goes on")
    run = run._replace(progress=run.progress._replace(band_since=None, pause_c=None))
    if run.phase is P.RESTING and not keeping(run):
        run = enter(run, P.RAMPING, now)
    return to(waiting_anew(run, now), S.RUNNING, now, events)


def waiting_anew(run: Run, now: Instant) -> Run:
    """Somebody is there: the two hours until nobody has answered begin again."""
    return run._replace(phase_since=now, told=run.told._replace(nobody=False)) if run.phase is P.WAITING else run


def _paused(run: Run, now: Instant, events: list[Event]) -> Run:
    """A paused mash is kept warm as long as a waiting one, and no longer."""
    waited_s = now - run.state_since
    if waited_s > SAFE_KEEP_S:
        return to(held(run, "person"), S.HOLDING, now, events, "paused for two hours, and nobody came")
    if not run.told.nobody and waited_s >= NOBODY_S:
        text = f"paused for {NOBODY_S / 60:.0f} min: `resume` goes on; heat goes off after {SAFE_KEEP_S / 3600:.0f} h"
        events.append(Event("note", "paused", text, value=NOBODY_S, unit="s", priority=1))
        run = run._replace(told=run.told._replace(nobody=True))
    return run


def keeping(run: Run) -> bool:
    """Is this the step that keeps the mash until somebody takes over?"""
    leg = leg_of(run)
    return leg is not None and leg.kind == "keep"
