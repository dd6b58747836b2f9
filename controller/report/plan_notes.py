"""What else should a person know of this plan, that is neither a refusal nor a rule of the advice table?"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from typing import Literal, NamedTuple

from controller.plan.plan import Plan
from controller.plan.stages import LANDS_K
from controller.settings.table import show

HOT_LIQUOR_C = 45.0  # warmer than a cold or a mixed tap gives (own proposal)
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
    return (*water, *_hot_liquor(plan), *_low_strike(plan), *_downwards(plan))


def _hot_liquor(plan: Plan) -> Iterator[Note]:
    """Liquor that comes hot is rare; a figure in °F without its F is not."""
    liquor_c = plan.program.liquor.temperature_c
    meant_c = (liquor_c - 32.0) * 5.0 / 9.0
    if liquor_c > HOT_LIQUOR_C and "temperature_c" in plan.program.liquor.model_fields_set:
        yield Note(
            "note", f"liquor at {liquor_c:.3g} °C is already hot: did you mean {liquor_c:.3g} °F ({meant_c:.0f} °C)?"
        )


def _low_strike(plan: Plan) -> Iterator[Note]:
    """A strike written by hand may land the mash below its first rest: the heater has to make up for it."""
    first_c = plan.program.step[0].temperature_c
    if plan.program.dough_in.strike_c is None or plan.strike_c is None or first_c is None:
        return
    if (under_k := first_c - plan.landing_c) > LANDS_K:
        yield Note(
            "warn",
            f"strike {plan.strike_c:.3g} °C: the mash lands {under_k:.1f} K under the first rest and is heated up to "
            'it; write strike = "auto" unless that is meant',
        )


def assumed(plan: Plan) -> str:
    """Which figures does the strike rest on that nobody wrote? Empty where all were written."""
    program, parts = plan.program, []
    if not program.grist:
        return ""
    if "grist_temperature_c" not in program.dough_in.model_fields_set:
        parts.append(f"grain at {show('temperature', round(program.dough_in.grist_temperature_c, 1))}")
    if "temperature_c" not in program.liquor.model_fields_set:
        parts.append(f"liquor at {show('temperature', round(program.liquor.temperature_c, 1))}")
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
                f'[[step]] {(stage.at or 0) + 1} "{stage.name}": {stage.target_c:.3g} °C after '
                f"{before.target_c:.3g} °C is likely a slip: a tun has no cooling",
            )
