"""What is said of the wort to expect, in lines for a person?

Whole percents, each limit with its range, always with the word estimate and what it was calibrated on.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping
from typing import Any

from controller.brewing.kinetics import enzyme_lanes, enzyme_picture, spoken
from controller.brewing.kinetics.what_if import sentence
from controller.plan.forecast import Forecast

WIDTH = 110


def lines(prediction: Mapping[str, Any], forecast: Forecast | None = None) -> Iterator[str]:
    """The estimate, what each step did, and what a change of the plan would do. `prediction` as in the documents."""
    yield "  Estimate of the wort, from mash temperature and thickness"
    for name, words in (
        ("limit", spoken.limit(prediction)),
        ("extract", spoken.extract(prediction)),
        ("iodine", spoken.iodine(prediction)),
        ("enzymes", _enzymes(prediction)),
    ):
        yield from _indented(f"    {name:<10}{words}", 14)
    for words in spoken.ends(prediction):
        yield from _indented(f"    {words}", 4)
    yield from map(_step, prediction["steps"])
    if forecast is not None:
        if forecast.variations:
            yield "    The plan with one change, as a comparison:"
            yield from (f"      {sentence(one)}" for one in forecast.variations)
        yield from second_opinion(forecast)
    yield from _indented(f"    {prediction['basis']}", 4)


def short(prediction: Mapping[str, Any]) -> Iterator[str]:
    """The estimate in three lines; the rest is told where it is asked for."""
    yield f"  Estimate {spoken.limit(prediction)} More: --why."
    yield f"           Extract {spoken.extract(prediction)}."
    yield f"           Iodine {spoken.iodine(prediction)}."


def second_opinion(forecast: Forecast) -> Iterator[str]:
    """What another set of constants gives, and what there is to say of the malt."""
    band = forecast.second.apparent_limit_pct
    if band is not None:
        apart = "so far apart is the literature."
        yield f"    Another published set of constants gives {band.mid:.0f} % apparent: {apart}"
    yield from (f"    malt: {remark}" for remark in forecast.remarks)


def _indented(text: str, by: int) -> list[str]:
    return textwrap.wrap(text, WIDTH, subsequent_indent=" " * by)


def _enzymes(prediction: Mapping[str, Any]) -> str:
    left = f"beta-amylase {prediction['beta_left_pct']:.0f} %, alpha-amylase {prediction['alpha_left_pct']:.0f} % left"
    glucanase, protease = (enzyme_lanes.word(prediction[f"{name}_left_pct"]) for name in ("glucanase", "protease"))
    if any(one["what"] == "glucanase" for one in prediction.get("withheld", ())):
        glucanase = f"no word, for {spoken.why(prediction, 'glucanase')}"
    return f"{left}; beta-glucanase {glucanase}, protease {protease}"


def _step(step: Mapping[str, Any]) -> str:
    return (
        f"      {step['name']}: {enzyme_picture.points(step['apparent_points_gained'])}"
        f"{step['starch_converted_pct']:.0f} % of the starch; lost {step['beta_lost_pct']:.0f} % of the beta-amylase, "
        f"{step['alpha_lost_pct']:.0f} % of the alpha-amylase"
    )
