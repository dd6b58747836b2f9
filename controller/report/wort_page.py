"""What is said of the wort to expect, in lines for a person? Whole percents, each limit with its range."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from controller.brewing.kinetics import spoken
from controller.plan.forecast import Forecast


def short(prediction: Mapping[str, Any]) -> Iterator[str]:
    """The estimate in three lines; the rest is told where it is asked for."""
    yield f"  Estimate {spoken.limit(prediction)} More: --why."
    yield f"           Extract {spoken.extract(prediction)}."
    yield f"           Iodine {spoken.iodine(prediction)}."


def beside_the_aim(prediction: Mapping[str, Any], aim: str | float, program: str) -> Iterator[str]:
    """Does the program want a limit, 0..1, that its own rests will hardly give?"""
    limit = prediction["apparent_limit_pct"]
    if isinstance(aim, str) or limit is None or limit["low"] <= 100.0 * aim <= limit["high"]:
        return
    finds = f"`underback compose --from {program}` finds rests."
    yield f"           The aim is {100.0 * aim:.0f} %, outside of that: {finds}"


def second_opinion(forecast: Forecast) -> Iterator[str]:
    """What another set of constants gives, and what there is to say of the malt."""
    band = forecast.second.apparent_limit_pct
    if band is not None:
        apart = "so far apart is the literature."
        yield f"    Another published set of constants gives {band.mid:.0f} % apparent: {apart}"
    yield from (f"    malt: {remark}" for remark in forecast.remarks)
