"""What has the mash come to so far? The kinetic model run along on the measured temperature.

It informs and never commands heat: the run carries it along, no room reads it. The model takes one step every ten
seconds. It survives a restart; the outage is followed from the temperature before and after.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

from controller.brewing import kinetics
from controller.core.model import Event, Instant, Leg, Measurement, Phase

STRIDE_S = 10.0  # error at this step under 0.2 points of attenuation (tests/brewing)
OUTAGE_PIECES = 30  # an outage is followed in so many steps


class Estimate(NamedTuple):
    """The mash as the model has it; None before grain meets liquor, or when its history is unknown."""

    amounts: kinetics.Amounts | None = None
    at: Instant = 0.0  # up to when it has been followed
    last_c: float | None = None  # temperature then
    leg: int = -1
    opened: tuple[tuple[str, kinetics.Amounts], ...] = ()  # step names and the mash when each began


def follow(estimate: Estimate, index: int, leg: Leg | None, phase: Phase, seen: Measurement, now: Instant) -> Estimate:
    """Up to `now`, in step `index`: every ten seconds one step at the mean of the readings before and after."""
    if leg is None or (now - estimate.at < STRIDE_S and index == estimate.leg):
        return estimate
    if estimate.amounts is None:
        if leg.kind == "dough_in" and phase is Phase.SETTLING:
            return Estimate(kinetics.fresh(), now, seen.value_c, index)
        return estimate
    value = seen.value_c if seen.value_c is not None else estimate.last_c
    if value is None:
        return estimate
    mean_c = value if estimate.last_c is None else (value + estimate.last_c) / 2.0
    amounts = estimate.amounts
    if now > estimate.at:
        amounts = kinetics.step(kinetics.CALIBRATED_SET, amounts, mean_c, now - estimate.at)
    opened = estimate.opened
    if index != estimate.leg:
        opened = (*opened, (leg.name, amounts))
    return Estimate(amounts, now, value, index, opened)


def over_outage(
    estimate: Estimate, seconds: float | None, now_c: float | None, now: Instant
) -> tuple[Estimate, Event | None]:
    """The outage followed as a straight line from the last temperature to this one; None where it cannot be known."""
    amounts, last = estimate.amounts, estimate.last_c
    if amounts is None or seconds is None or now_c is None or last is None:
        return Estimate(), None
    piece = seconds / OUTAGE_PIECES
    after = amounts
    for n in range(OUTAGE_PIECES):
        at_c = last + (now_c - last) * (n + 0.5) / OUTAGE_PIECES
        after = kinetics.step(kinetics.CALIBRATED_SET, after, at_c, piece)
    beta, alpha = 100 * (amounts.beta - after.beta), 100 * (amounts.alpha - after.alpha)
    starch = 100 * (kinetics.starch_left(amounts) - kinetics.starch_left(after))
    text = (
        f"estimate: the outage cost {beta:.0f} % of the first beta-amylase and {alpha:.0f} % of the alpha-amylase, "
        f"and converted {starch:.0f} % of the starch"
    )
    return estimate._replace(amounts=after, at=now, last_c=now_c), Event("note", "estimate", text)


def document(estimate: Estimate) -> dict[str, Any] | None:
    """The prediction as plain values; None before dough-in."""
    if estimate.amounts is None:
        return None
    return kinetics.read(estimate.amounts, kinetics.CALIBRATED_SET, estimate.opened).as_json()


def keep(estimate: Estimate) -> dict[str, Any] | None:
    """What must survive a restart, as plain JSON values."""
    if estimate.amounts is None:
        return None
    opened = [[name, _plain(amounts)] for name, amounts in estimate.opened]
    return {"amounts": _plain(estimate.amounts), "last_c": estimate.last_c, "leg": estimate.leg, "opened": opened}


def recall(kept: Mapping[str, Any] | None, now: Instant) -> Estimate:
    """The estimate of a kept record; an empty one where it does not fit."""
    if kept is None:
        return Estimate()
    try:
        opened = tuple((str(name), _amounts(plain)) for name, plain in kept["opened"])
        return Estimate(_amounts(kept["amounts"]), now, kept["last_c"], int(kept["leg"]), opened)
    except (KeyError, TypeError, ValueError):
        return Estimate()


def _plain(amounts: kinetics.Amounts) -> dict[str, Any]:
    return {**amounts._asdict(), "malt": amounts.malt._asdict()}


def _amounts(plain: Mapping[str, Any]) -> kinetics.Amounts:
    return kinetics.Amounts(**{**plain, "malt": kinetics.Malt(**plain["malt"])})
