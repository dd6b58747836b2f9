"""How much liquor is really in the tun, and what follows for the strike where it is more or less than planned?

Asked once, when the run starts, of whoever has just poured it; nothing waits for it. Once it has been measured, before
the grain is in, the course goes on with what is there: heat capacities, thickness, and the strike, which makes up for
grain and vessel by so much less the more liquor there is (heat balance, first law).
"""

from collections.abc import Mapping
from typing import Any

from controller.brewing import volumes
from controller.brewing.heat import WATER
from controller.core.nouns import Course, Event, Instant, Leg, Phase
from controller.core.procedure import entries
from controller.core.procedure.questions import POURED, ask
from controller.core.procedure.run import Run, leg_of, out_of_band

COLD_C = 20.0  # liquor whose temperature was not said
SAME_SHARE = 0.005  # so near the plan nothing is changed: a level tube reads no better (own proposal)
SLIP_SHARE = 0.3  # further off the plan it is a slip of the pen, or another mash (own proposal)


def asked(run: Run, leg: Leg, now: Instant) -> Run:
    """The run, with the liquor asked for where that was not done yet."""
    if run.progress.reminded or run.course is None or run.course.grist_kg <= 0.0:
        return run
    return ask(run._replace(progress=run.progress._replace(reminded=POURED)), leg, "liquor", now)


def as_planned(course: Course, by: str) -> Event:
    """The entry of liquor that was found as it was planned."""
    at_c = round(COLD_C if course.liquor_c is None else course.liquor_c, 1)
    litres = round(volumes.liquor_volume_l(course.liquor_kg, at_c), 2)
    figures = {"liquor_volume_l": litres, "liquor_at_c": at_c}
    return Event("entry", "liquor_volume_l", f"as planned: {entries.words(figures)}", data={**figures, "by": by})


def corrected(run: Run, entry: Mapping[str, Any], ceiling_c: float) -> tuple[Run, Event | None]:
    """The run with the liquor that was measured, and what is said of it; unchanged where it is the same or too late."""
    leg, course = leg_of(run), run.course
    if "liquor_volume_l" not in entry or leg is None or course is None or leg.kind != "dough_in" or run.grain_in:
        return run, None
    if run.phase not in (Phase.ARMED, Phase.HEATING, Phase.WAITING):
        return run, None
    measured = run._replace(prompt=None) if run.prompt is not None and run.prompt.id == "liquor" else run
    kg = volumes.liquor_kg(float(entry["liquor_volume_l"]), float(entry.get("liquor_at_c", COLD_C)))
    more_kg = kg - course.liquor_kg
    if abs(more_kg) < SAME_SHARE * course.liquor_kg:
        return measured, None
    there = f"{kg:.1f} kg of liquor in the tun, {course.liquor_kg:.1f} planned"
    if abs(more_kg) > SLIP_SHARE * course.liquor_kg:
        text = f"{there}: not gone by. Measure again; if it is right, `stop` and write it into the program"
        return run, Event("note", "liquor", text, value=round(kg, 2), limit=round(course.liquor_kg, 2), priority=1)
    strike_c = _strike_c(course, leg, more_kg)
    if strike_c > ceiling_c:
        text = (
            f"{there}: the strike would be {strike_c:.1f} °C, more than this tun allows; add liquor, or use less grain"
        )
        return run, Event("note", "liquor", text, value=round(kg, 2), limit=round(course.liquor_kg, 2), priority=1)
    text = f"{there}: strike {leg.target_c:.1f} -> {strike_c:.1f} °C"
    event = Event("note", "liquor", text, value=round(kg, 2), limit=round(course.liquor_kg, 2), unit="kg", priority=2)
    run = out_of_band(measured._replace(course=_course(course, more_kg, strike_c), key=run.key + 1))
    if run.phase is Phase.WAITING:  # ready for grain no more: it comes to its new strike first
        run = run._replace(phase=Phase.HEATING, prompt=None)
    return run, event


def meanwhile(run: Run, litres: float) -> Run:
    """The run with so much more liquor than before: somebody added it without a word."""
    if run.course is None:
        return run
    return run._replace(course=_course(run.course, litres, run.course.legs[0].target_c), key=run.key + 1)


def _strike_c(course: Course, leg: Leg, more_kg: float) -> float:
    """What the liquor must be over the mash it makes, in proportion to its heat capacity and the vessel's."""
    lands_c = leg.target_c if course.landing_c is None else course.landing_c
    own = course.liquor_capacity_j_per_k
    return lands_c + (leg.target_c - lands_c) * own / (own + more_kg * WATER)


def _course(course: Course, more_kg: float, strike_c: float) -> Course:
    """The course with so much more liquor in every step, and a mash of that thickness for the estimate."""
    more_j, liquor_kg, malt = more_kg * WATER, course.liquor_kg + more_kg, course.malt
    if malt is not None and malt.get("liquor_kg_per_kg") is not None:
        malt = {**malt, "liquor_kg_per_kg": liquor_kg / course.grist_kg}
    legs = tuple(leg._replace(capacity_j_per_k=leg.capacity_j_per_k + more_j) for leg in course.legs)
    return course._replace(
        legs=(legs[0]._replace(target_c=strike_c), *legs[1:]),
        malt=malt,
        liquor_kg=liquor_kg,
        liquor_capacity_j_per_k=course.liquor_capacity_j_per_k + more_j,
    )
