"""Where will the wort end, if the rest of the program runs as planned?

From the mash as the estimate has it now, through the steps still to come as they stand, adjustments included. People
answer at once, and `keep` is left out, as in the planned end. It informs; nothing is decided on it.
"""

from __future__ import annotations

from typing import Any

from controller.brewing.kinetics import hands, malts
from controller.brewing.kinetics import model as kinetics
from controller.brewing.kinetics.what_if import Rest, profile_of
from controller.core.nouns import Course, Leg, Phase
from controller.core.procedure.estimate import work
from controller.core.procedure.run import Run, leg_of
from controller.core.procedure.time_left import mixing_s, rise_left_s

SHOWN = (
    *("apparent_limit_pct", "real_limit_pct", "extract_share", "extract_pct", "extract_at_most", "starch_left_pct"),
    *("iodine_fine_min", "iodine_negative_min", "withheld", "widened"),
)
AT_ONCE_S = 1.0


def rests(run: Run) -> list[Rest]:
    """What is still to come, beginning with the mash at its temperature now; empty where there is nothing to follow."""
    here, now_c = leg_of(run), run.mash.last_c
    if here is None or now_c is None or run.course is None or run.mash.amounts is None:
        return []
    course = run.course
    later = [_coming(course, at) for at in range(run.leg + 1, len(course.legs)) if _counts(course.legs[at])]
    now = Rest("now", now_c, here.mixing_s if run.phase in (Phase.ADDING, Phase.SETTLING) else 0.0)
    return [now, *([_rest_of(run, here, now_c)] if _counts(here) else []), *later]


def _counts(leg: Leg) -> bool:
    return leg.kind not in ("dough_in", "keep")


def _coming(course: Course, at: int) -> Rest:
    """A step that is still to come, with what people will do in it."""
    leg, before_c = course.legs[at], course.legs[at - 1].target_c
    rest = Rest(leg.name, leg.target_c, leg.hold_s + mixing_s(leg), leg.ramp_s)
    if leg.kind in ("infusion", "water_in"):
        return rest._replace(thinned=kinetics.Thinned(hands.thick(work(course), at + 1)))
    if leg.kind == "decoction":
        share = hands.pull_share(work(course), at)
        pulled = kinetics.Pulled(share, before_c, leg.comes.pull_kg_per_kg, leg.comes.thin_p is not None)
        thinned = kinetics.Thinned(hands.thick(work(course), at + 1)) if leg.comes.boil_off_kg else None
        return rest._replace(pulled=pulled, away_s=leg.comes.away_s, away_to_c=leg.comes.cooled_c, thinned=thinned)
    return rest


def _rest_of(run: Run, leg: Leg, now_c: float) -> Rest:
    """What is left of the step that runs: the rest of its rise, and of its time; of a decoction, that it comes back."""
    if run.mash.amounts is not None and run.mash.amounts.away is not None:
        waited_s = run.mash.at - run.phase_since if run.phase is Phase.WAITING else leg.comes.away_s
        return Rest(leg.name, leg.target_c, mixing_s(leg), 0.0, max(AT_ONCE_S, leg.comes.away_s - waited_s))
    return Rest(leg.name, leg.target_c, max(0.0, leg.hold_s - run.progress.credited_s), rise_left_s(run, leg, now_c))


def at_end(run: Run) -> dict[str, Any] | None:
    """The wort at the end of the program as plain values, with the time until then (s); None before dough-in.

    The same model and the same bands as the estimate so far; a figure is null where the model has no data behind it.
    """
    coming, amounts = rests(run), run.mash.amounts
    if not coming or amounts is None or run.course is None:
        return None
    profile, _ = profile_of(coming)
    params = malts.recalled(run.course.malt).params
    found = kinetics.read(kinetics.follow(params, amounts, profile), kinetics.CALIBRATED_SET).as_json()
    return {"in_s": round(sum(rest.ramp_s + rest.hold_s for rest in coming)), **{key: found[key] for key in SHOWN}}
