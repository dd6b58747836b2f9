"""Where will the wort end, if the rest of the program runs as planned?

From the mash as the estimate has it now, through the steps still to come as they stand, adjustments included. People
answer at once, and `keep` is left out, as in the planned end. It informs; nothing is decided on it.
"""

from __future__ import annotations

from typing import Any

from controller.brewing.kinetics import malts
from controller.brewing.kinetics import model as kinetics
from controller.brewing.kinetics.what_if import Rest, profile_of
from controller.core.nouns import Leg, Phase
from controller.core.procedure.run import Run, leg_of
from controller.core.procedure.time_left import mixing_s, rise_left_s

SHOWN = ("apparent_limit_pct", "real_limit_pct", "extract_share", "starch_left_pct", "iodine_negative_min")


def rests(run: Run) -> list[Rest]:
    """What is still to come, beginning with the mash at its temperature now; empty where there is nothing to follow."""
    here, now_c = leg_of(run), run.mash.last_c
    if here is None or now_c is None or run.course is None or run.mash.amounts is None:
        return []
    later = [
        Rest(leg.name, leg.target_c, leg.hold_s + mixing_s(leg), leg.ramp_s)
        for leg in run.course.legs[run.leg + 1 :]
        if _counts(leg)
    ]
    now = Rest("now", now_c, here.mixing_s if run.phase in (Phase.ADDING, Phase.SETTLING) else 0.0)
    return [now, *([_rest_of(run, here, now_c)] if _counts(here) else []), *later]


def _counts(leg: Leg) -> bool:
    return leg.kind not in ("dough_in", "keep")


def _rest_of(run: Run, leg: Leg, now_c: float) -> Rest:
    """What is left of the step that runs: the rest of its rise, and of its time."""
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
