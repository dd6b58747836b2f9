"""What is said of the wort to expect, in lines for a person?

Whole percents, each limit with its range, always with the word estimate and what it was calibrated on.
"""

from __future__ import annotations

import sys
import textwrap
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from controller.brewing.kinetics import enzyme_picture
from controller.brewing.kinetics.malts import Basis
from controller.brewing.kinetics.model import Mark, Profile
from controller.brewing.kinetics.what_if import sentence
from controller.plan.forecast import Forecast

WIDTH = 110
NOT_SHOWN = "no figure: too little is converted between 55 and 80 °C, where the model has data behind it"
FADING_PCT, GONE_PCT = 80.0, 5.0  # constants of these two enzymes are assumed: words, no figures (own proposal)


def lines(prediction: Mapping[str, Any], forecast: Forecast | None = None) -> Iterator[str]:
    """The estimate, what each step did, and what a change of the plan would do. `prediction` as in the documents."""
    yield "  Estimate of the wort, from the mash temperature alone"
    yield f"    limit     {_limit(prediction)}"
    yield f"    extract   {_extract(prediction)}"
    yield f"    enzymes   {_enzymes(prediction)}"
    yield from map(_step, prediction["steps"])
    if forecast is not None:
        if forecast.variations:
            yield "    The plan with one change, as a comparison:"
            yield from (f"      {sentence(one)}" for one in forecast.variations)
        band = forecast.second.apparent_limit_pct
        if band is not None:
            apart = "so far apart is the literature."
            yield f"    Another published set of constants gives {band.mid:.0f} % apparent: {apart}"
        yield from (f"    malt: {remark}" for remark in forecast.remarks)
    yield from textwrap.wrap(prediction["basis"], WIDTH, initial_indent="    ", subsequent_indent="    ")


def _limit(prediction: Mapping[str, Any]) -> str:
    apparent, real = prediction["apparent_limit_pct"], prediction["real_limit_pct"]
    if apparent is None or real is None:
        return NOT_SHOWN
    return f"apparent attenuation {_band(apparent)}, real {_band(real)}"


def _band(band: Mapping[str, float]) -> str:
    return f"{band['mid']:.0f} % ({band['low']:.0f} to {band['high']:.0f} %)"


def _extract(prediction: Mapping[str, Any]) -> str:
    share, iodine = prediction["extract_share"], prediction["iodine_negative_min"]
    if share is None:
        return NOT_SHOWN
    when = "not iodine-negative" if iodine is None else f"iodine-negative some {iodine:.0f} min after dough-in"
    return f"{100 * share:.0f} % of what the malt can give; {when} (a real iodine test decides)"


def _enzymes(prediction: Mapping[str, Any]) -> str:
    left = f"beta-amylase {prediction['beta_left_pct']:.0f} %, alpha-amylase {prediction['alpha_left_pct']:.0f} % left"
    glucanase, protease = _word(prediction["glucanase_left_pct"]), _word(prediction["protease_left_pct"])
    return f"{left}; beta-glucanase {glucanase}, protease {protease}"


def _word(left_pct: float) -> str:
    return "mostly active" if left_pct >= FADING_PCT else "fading" if left_pct >= GONE_PCT else "gone"


def _step(step: Mapping[str, Any]) -> str:
    return (
        f"      {step['name']}: {enzyme_picture.points(step['apparent_points_gained'])} of the limit, "
        f"{step['starch_converted_pct']:.0f} % of the starch; lost {step['beta_lost_pct']:.0f} % of the beta-amylase, "
        f"{step['alpha_lost_pct']:.0f} % of the alpha-amylase"
    )


def picture(profile: Profile, marks: Sequence[Mark], basis: Basis) -> list[str]:
    """The enzyme windows against the temperatures; plain ASCII where the terminal knows no more."""
    plain = not (sys.stdout.encoding or "").lower().startswith("utf")
    drawn = enzyme_picture.picture(profile, marks, basis.malt, basis.params, plain=plain)
    return [f"  {line}".rstrip() for line in drawn]
