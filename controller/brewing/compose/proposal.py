"""What does a program found by the search promise, and why would one take it?"""

from __future__ import annotations

from collections.abc import Sequence
from math import erf, sqrt
from typing import NamedTuple

from controller.brewing.compose.rest_search import Found, SearchedRest, Task
from controller.brewing.kinetics.model import Prediction, apparent_limit_pct
from controller.brewing.kinetics.what_if import Rest, predict_rests

DAY_SD_K = 0.12  # of a rest's true mean from day to day: a probe's 0.10 K, and what control leaves (own proposal)
NINE_OF_TEN = 0.9
KEEP_S = 7200.0  # kept until taken over, two hours at most


class ProposedRest(NamedTuple):
    """A step as a program file has it."""

    name: str
    kind: str
    temperature_c: float
    hold_s: float


class Proposal(NamedTuple):
    """A program, why it is here, and what it is expected to give."""

    role: str
    steps: tuple[ProposedRest, ...]
    prediction: Prediction
    limit_pct: float
    miss_points: float  # from the wish; negative: fuller than wanted
    day_points: float  # on nine days of ten it is no further off than this
    points_per_k: float  # by how much the limit moves if every temperature is 1 K higher than shown
    duration_min: float
    ramps_min: float
    energy_kwh: float
    reasons: tuple[str, ...]

    def as_json(self) -> dict[str, object]:
        """The proposal as plain values."""
        plain: dict[str, object] = {
            key: round(value, 3) if isinstance(value, float) else value for key, value in self._asdict().items()
        }
        steps = [step._asdict() for step in self.steps]
        return plain | {"steps": steps, "prediction": self.prediction.as_json(), "reasons": list(self.reasons)}


def points_per_k(task: Task, legs: Sequence[SearchedRest]) -> float:
    """By how much does the limit move, points per K, if the probe reads low and every rest is that much hotter?"""
    hot, cold = (_limit(task, [leg._replace(temperature_c=leg.temperature_c + k) for leg in legs]) for k in (1.0, -1.0))
    return 0.5 * (hot - cold)


def day_points(miss_points: float, per_k: float) -> float:
    """How far off is the limit on nine days of ten at the most, points, where every rest is a little off each day?"""
    wide = sqrt(2.0) * DAY_SD_K * abs(per_k)
    low, high = abs(miss_points), abs(miss_points) + 2.0 * wide
    while high - low > 1e-6:
        middle = (low + high) / 2.0
        within = 0.5 * (erf((middle - miss_points) / wide) + erf((middle + miss_points) / wide))
        low, high = (low, middle) if within >= NINE_OF_TEN else (middle, high)
    return high


def _limit(task: Task, legs: Sequence[SearchedRest]) -> float:
    return apparent_limit_pct(_predicted(task, legs).end)


def _predicted(task: Task, legs: Sequence[SearchedRest]) -> Prediction:
    """The mash from where it lands on, a step a leg."""
    landed = Rest("dough-in", task.tun.landed_c(legs[0].temperature_c), task.tun.settles_s)
    rests = [landed, *(Rest(f"{leg.temperature_c:g} °C", *leg) for leg in legs)]
    found = predict_rests(rests if landed.hold_s else rests[1:], task.malt, task.params)
    return found._replace(steps=found.steps[-len(legs) :])


def proposal(task: Task, target: float, one: Found) -> Proposal:
    """What would this program give, and what speaks for it? Predicted again in finer pieces than in the search; it
    gets its name from `compose`, which knows the others."""
    prediction = _predicted(task, one.legs)
    limit = apparent_limit_pct(prediction.end)
    ramps_min = sum(leg.ramp_s for leg in one.legs) / 60.0
    per_k = points_per_k(task, one.legs)
    reasons = (
        _level(target, limit, prediction),
        f"{one.duration_s / 60:.0f} min from dough-in to the end, {ramps_min:.0f} min of it ramps; "
        f"{one.energy_kwh:.2f} kWh without the strike liquor",
        *_rest_reasons(task, one.legs, prediction),
        f"a probe that reads 1 K low moves the limit by {per_k:+.1f} points",
    )
    return Proposal(
        role="",
        steps=_steps(task, one.legs),
        prediction=prediction,
        limit_pct=limit,
        miss_points=limit - target,
        day_points=day_points(limit - target, per_k),
        points_per_k=per_k,
        duration_min=one.duration_s / 60.0,
        ramps_min=ramps_min,
        energy_kwh=one.energy_kwh,
        reasons=reasons,
    )


def _steps(task: Task, legs: Sequence[SearchedRest]) -> tuple[ProposedRest, ...]:
    """The legs as steps, ending with a keep, so that the mash waits for a person."""
    steps = []
    for index, leg in enumerate(legs):
        low = task.low_rest is not None and index == 0
        out = task.mash_out is not None and index == len(legs) - 1
        name = "mash-out" if out else ("low rest" if low else _name(leg.temperature_c))
        steps.append(ProposedRest(name, "mash_out" if out else "rest", leg.temperature_c, leg.hold_s))
    return (*steps, ProposedRest("keep until taken over", "keep", legs[-1].temperature_c, KEEP_S))


def _name(celsius: float) -> str:
    """The trade's words: maltose rest at 62 to 65 degC, saccharification at 70 to 73 (common practice)."""
    kind = "maltose rest" if celsius < 66.0 else "conversion rest" if celsius < 69.5 else "saccharification rest"
    return f"{kind} {celsius:g} °C"


def _level(target: float, limit: float, prediction: Prediction) -> str:
    band = prediction.apparent_limit_pct
    shown = f" (estimate, {band.low:.0f} to {band.high:.0f} %)" if band is not None else ""
    miss = limit - target
    if abs(miss) < 0.5:
        return f"apparent limit {limit:.0f} %{shown}: as wanted"
    return (
        f"apparent limit {limit:.0f} %{shown}: {abs(miss):.1f} points {'drier' if miss > 0 else 'fuller'} than wanted"
    )


def _rest_reasons(task: Task, legs: Sequence[SearchedRest], prediction: Prediction) -> list[str]:
    """What each rest does, in a sentence, from its own contribution."""
    lines = []
    for index, (leg, did) in enumerate(zip(legs, prediction.steps, strict=True)):
        held = f"{leg.temperature_c:g} °C for {leg.hold_s / 60:.0f} min"
        if task.mash_out is not None and index == len(legs) - 1:
            lines.append(f"{held}: thins the wort; {prediction.alpha_left_pct:.0f} % of the alpha-amylase is left")
        elif task.low_rest is not None and index == 0:
            lines.append(f"{held}: loosens gums and protein, leaves the amylases")
        else:
            lines.append(
                f"{held}: cuts {did.starch_converted_pct:.0f} % of the starch, brings {did.apparent_points_gained:.0f} "
                f"points, costs {did.beta_lost_pct:.0f} % of the beta-amylase"
            )
    return lines
