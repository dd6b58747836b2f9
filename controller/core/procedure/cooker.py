"""When is what to be done at the cooker, so that it joins the mash in time?

The cooker has no probe and no heater of ours: people are reminded, nothing is heated. Each thing to do is said once, on
the planned course of the mash.
"""

from controller.core.nouns import Event, Instant, Phase
from controller.core.procedure.run import Run
from controller.core.procedure.time_left import finish_in_s


def told(run: Run, now_c: float | None, now: Instant, events: list[Event]) -> Run:
    """The run, with what is due at the cooker said."""
    course = run.course
    if course is None or run.told.cooker >= len(course.people.cooker) or run.phase is Phase.ARMED:
        return run
    joins = next(at for at, leg in enumerate(course.legs) if leg.kind == "cereal")
    left_s = finish_in_s(run, now_c, now, joins) if run.leg < joins else 0.0
    if left_s is None or left_s > course.people.cooker[run.told.cooker][0]:
        return run
    text = f"{course.people.cooker[run.told.cooker][1]}; it joins in {left_s / 60.0:.0f} min"
    events.append(Event("note", "cooker", text, value=round(left_s), unit="s", priority=2))
    return run._replace(told=run.told._replace(cooker=run.told.cooker + 1))
