"""What else should a person know of this plan, that is neither a refusal nor a rule of the advice table?"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from typing import Literal, NamedTuple

from controller.core.plan import Plan
from controller.core.table import show

LOWER_K = 0.5  # so much lower than the step before is meant, or a slip


class Note(NamedTuple):
    """One remark on a plan."""

    level: Literal["warn", "note"]
    text: str

    def __str__(self) -> str:
        return f"{self.level}: {self.text}"


def notes(plan: Plan) -> tuple[Note, ...]:
    """What is there to remark?"""
    water = [] if plan.program.grist else [Note("note", "no malt in this program: a water trial?")]
    return (*water, *_downwards(plan))


def assumed(plan: Plan) -> str:
    """Which figures does the strike rest on that nobody wrote? Empty where all were written."""
    program, parts = plan.program, []
    if not program.grist:
        return ""
    if "grist_temperature_c" not in program.dough_in.model_fields_set:
        parts.append(f"grain at {show('temperature', program.dough_in.grist_temperature_c)}")
    if "temperature_c" not in program.liquor.model_fields_set:
        parts.append(f"liquor at {show('temperature', program.liquor.temperature_c)}")
    return ", ".join(parts)


def _downwards(plan: Plan) -> Iterator[Note]:
    """A rest below the one before it is hardly meant: it begins hours later, when the mash has cooled by itself.

    A souring and what is kept at the end cool on purpose.
    """
    steps = [stage for stage in plan.stages if stage.at is not None]
    for before, stage in itertools.pairwise(steps):
        if stage.kind in ("rest", "mash_out") and stage.target_c < before.target_c - LOWER_K:
            yield Note(
                "warn",
                f'step {(stage.at or 0) + 1} "{stage.name}": {stage.target_c:.4g} °C after {before.target_c:.4g} °C is '
                "likely a slip: a tun has no cooling",
            )
