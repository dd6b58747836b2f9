"""How does an outcome look as the status document?

One dict for status, dashboards and the terminal. It never lies: the duty is that of the last command that left, the
heater's own word stands beside it with its age, and a temperature older than ten seconds is null.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from math import isfinite
from typing import Any

from controller import __version__
from controller.brewing.heat import WATER
from controller.core.control.climb import BAND_K
from controller.core.nouns import COMES_IN, Course, Leg, Measurement, Phase, RunState, Trip
from controller.core.procedure import estimate, plight, settling
from controller.core.procedure.run import Offer, Prompt, Run, leg_of
from controller.core.procedure.time_left import finish_in_s, mixing_left_s, mixing_s, rise_left_s
from controller.core.state import Outcome
from controller.messages.outgoing import trip_class
from controller.settings.service import Settings


def status(
    settings: Settings,
    outcome: Outcome,
    *,
    wall_s: float,
    wall_confirmed: bool,
    speed: float,
    journal_seq: int,
    counters: Mapping[str, int],
    left_duty: float | None = None,
    prediction: Mapping[str, Any] | None = None,
) -> dict[str, Any]:
    """The status document (temperatures °C, times s, `at` and `finish_at` unix s). `left_duty`: that of the command
    that was sent and not refused, where that may be another than was decided on."""
    state, run, seen = outcome.state, outcome.state.run, outcome.seen
    finish = finish_in_s(run, seen.value_c, state.now)
    return {
        "at": round(wall_s, 3),
        "tun": settings.tun.name,
        "speed": speed,
        "run": run.begun.id or None,
        "program": run.course.program if run.course is not None else None,
        "title": run.course.title if run.course is not None else None,
        "state": str(run.state),
        "step": _step(run, seen.value_c, state.now),
        "steps": [] if run.course is None else _steps(run.course.legs),
        **_temperatures(outcome),
        "duty": round(state.guard.line.duty if left_duty is None else left_duty, 4),
        "heater": _heater(outcome),
        "finish_at": None if finish is None else round(wall_s + finish / max(speed, 1e-9), 1),
        "finish_in_s": _rounded(finish, 0),
        "finish_span_s": None if finish is None else _span(run.course, finish),
        **_waits(outcome),
        "live": more(run, seen),
        "offer": _offer(run, settings, state.now),
        "held_by": run.hold.by or None,
        "trips": [_trip(trip, state.now) for trip in state.guard.trips],
        "notes": [note.text for note in state.guard.noted.now],
        "limits": _limits(settings),
        "prediction": prediction if prediction is not None else estimate.document(run.mash),
        "nonce": state.orders.nonce,
        "epoch": state.guard.epoch,
        "journal_seq": journal_seq,
        "version": __version__,
        "config_hash": settings.digest,
        "simulated": settings.tun.simulated,
        "counters": dict(counters),
        "health": _health(outcome, seen),
        "clock_confirmed": wall_confirmed,
    }


def _span(course: Course | None, finish_s: float) -> list[float] | None:
    """Within which times from now do nine days of ten end, s? As much of each as is left of the plan; null where no
    days were simulated."""
    if course is None or course.people.days_s is None or course.planned_s <= 0.0:
        return None
    return [round(finish_s * whole_s / course.planned_s) for whole_s in course.people.days_s]


def _temperatures(outcome: Outcome) -> dict[str, float | None]:
    second, outlet, setpoint = outcome.second, outcome.outlet, outcome.setpoint
    return {
        "temperature_c": _rounded(outcome.seen.value_c, 3),
        "reading_age_s": _rounded(outcome.seen.age_s, 2),
        "second_c": _rounded(second.value_c, 3) if second is not None else None,
        "outlet_c": _rounded(outlet.value_c, 3) if outlet is not None else None,
        "setpoint_c": _rounded(setpoint.value_c, 3) if setpoint is not None else None,
    }


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None or not isfinite(value) else round(value, digits)


def _step(run: Run, now_c: float | None, now: float) -> dict[str, Any] | None:
    leg = leg_of(run)
    if leg is None:
        return None
    planned, credited = round(leg.hold_s, 1), round(run.progress.credited_s, 1)
    return {
        "index": run.leg,
        "name": leg.name,
        "kind": leg.kind,
        "phase": str(run.phase),
        "target_c": leg.target_c,
        "planned_s": planned,
        "credited_s": credited,
        "remaining_s": max(0.0, round(planned - credited, 1)),
        "rise_left_s": round(rise_left_s(run, leg, now_c), 1),
        "mixing_left_s": round(mixing_left_s(run, leg, now), 1),
        "why": leg.why,
    }


@lru_cache(maxsize=2)
def _steps(legs: tuple[Leg, ...]) -> list[dict[str, Any]]:
    return [_planned(leg) | {"ramp_s": leg.ramp_s, "mixing_s": mixing_s(leg)} for leg in legs]


def _planned(leg: Leg) -> dict[str, Any]:
    return {"name": leg.name, "kind": leg.kind, "target_c": leg.target_c, "planned_s": leg.hold_s}


def _heater(outcome: Outcome) -> dict[str, Any]:
    report, now = outcome.state.heater, outcome.state.now
    if report is None:
        return {"duty": None, "age_s": None, "fault": None}
    return {"duty": report.duty, "age_s": round(now - report.at, 2), "fault": report.fault}


def _waits(outcome: Outcome) -> dict[str, Any]:
    """What is a person to do, and what does a mash without heat do meanwhile?"""
    run, now = outcome.state.run, outcome.state.now
    return {
        "waiting_for": plight.waits_for(run, outcome.state.guard.trips),
        "meanwhile": outcome.meanwhile or None,
        "prompt": None if run.prompt is None else _asked(run.prompt.id, run.prompt, now),
    }


def _asked(key: str, asked: Prompt | Offer, now: float) -> dict[str, Any]:
    return {"id": key, "text": asked.text, "answers": list(asked.answers), "waiting_s": round(now - asked.since, 1)}


def _offer(run: Run, settings: Settings, now: float) -> dict[str, Any] | None:
    """The correction offered, in words and in figures (those of settling.correction at the temperature measured)."""
    offer = run.offer
    if offer is None or run.course is None:
        return None
    rest = run.course.legs[offer.leg]
    found = settling.correction(run.course, rest, settings.tun, offer.measured_c)
    return {
        **_asked("settled", offer, now),
        "measured_c": round(offer.measured_c, 2),
        "wanted_c": rest.target_c,
        **{key: None if value is None else round(value, 3) for key, value in found._asdict().items()},
    }


def _trip(trip: Trip, now: float) -> dict[str, Any]:
    said = ("id", "text", "value", "limit", "unit", "priority", "latched", "first_out")
    known = {key: getattr(trip, key) for key in said}
    return {**known, "class": trip_class(trip.link), "for_s": round(now - trip.at, 1)}


def _limits(settings: Settings) -> dict[str, float]:
    guard, heater = settings.tun.guard, settings.tun.heater
    figures = ("hard_limit_c", "above_program_k", "outlet_limit_c", "reading_gone_s")
    limits: dict[str, float] = {key: getattr(guard, key) for key in figures}
    return limits | {"duty_cap": heater.duty_cap, "lease_s": heater.lease_s}


def _health(outcome: Outcome, seen: Measurement) -> str:
    """One word of NAMUR NE 107 for the whole tun."""
    state = outcome.state
    if state.guard.trips:
        return "failure"
    if state.run.state is RunState.CHECKING:
        return "function check"
    if seen.health != "good":
        return seen.health
    return "maintenance required" if state.guard.noted.now else "good"


def more(run: Run, seen: Measurement) -> str | None:
    """What to say to the person who is adding; None when nobody is."""
    leg = leg_of(run)
    if leg is None or run.state is not RunState.RUNNING or run.phase is not Phase.ADDING:
        return None
    if leg.kind not in COMES_IN - {"water_in"} or seen.value_c is None:
        return None
    now_c, stop_c = seen.value_c, leg.target_c - BAND_K
    if now_c >= stop_c:
        return f"{now_c:.1f} °C: stop now; mixing brings the rest"
    kg = left_kg(run, leg, now_c)
    verb = {"decoction": "return", "cereal": "join"}.get(leg.kind, "add")
    return f"{now_c:.1f} °C: about {kg:.1f} kg more to {verb}; stop at {stop_c:.1f} °C"


def left_kg(run: Run, leg: Leg, now_c: float) -> float:
    """So much more, kg, of what comes at the step's own temperature: heat balance over what is in the tun by now."""
    course, comes, hot_c = run.course, leg.comes, leg.comes.hot_c
    if course is None or hot_c is None or run.leg == 0 or not (now_c < leg.target_c < hot_c):
        return 0.0
    began_c = min(course.legs[run.leg - 1].target_c if comes.cooled_c is None else comes.cooled_c, now_c)
    per_kg, pulled_j = comes.j_per_kg_k, 0.0
    if leg.kind == "decoction":
        pulled_j = per_kg * (comes.kg - comes.boil_off_kg) + comes.boil_off_kg * WATER
    empty = leg.capacity_j_per_k - pulled_j
    done_kg = empty * (now_c - began_c) / (per_kg * (hot_c - now_c))
    all_kg = empty * (leg.target_c - began_c) / (per_kg * (hot_c - leg.target_c))
    return max(0.0, all_kg - done_kg)
