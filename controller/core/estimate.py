"""What has the mash come to so far? The kinetic model run along on the measured temperature.

It informs and never commands heat: the run carries it along, no room reads it. Readings are averaged over ten seconds,
then the model takes one step. It survives a restart; the outage is followed from the temperature before and after.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

from controller.brewing import kinetics
from controller.core.model import Event, Leg, Measurement, Phase

STRIDE_S = 10.0  # error at this step under 0.2 points of attenuation (tests/brewing)
OUTAGE_PIECES = 30  # an outage is followed in so many steps
HOT_K = 2.0  # so far over target is worth saying what it did
SAY_POINTS = 1.0  # share of an enzyme, %, lost to an event: below this it is not worth a line


class Estimate(NamedTuple):
    """The mash as the model has it; None before grain meets liquor, or when its history is unknown."""

    amounts: kinetics.Amounts | None = None
    span_s: float = 0.0  # gathered since the last step
    heat_k_s: float = 0.0  # temperature times time over it
    last_c: float | None = None
    leg: int = -1
    opened: tuple[tuple[str, kinetics.Amounts], ...] = ()  # step names and the mash when each began


def follow(estimate: Estimate, index: int, leg: Leg | None, phase: Phase, seen: Measurement, dt: float) -> Estimate:
    """One tick further in step `index`. Between readings the last temperature is taken on."""
    if leg is None:
        return estimate
    if estimate.amounts is None:
        if leg.kind == "dough_in" and phase is Phase.SETTLING:
            return Estimate(kinetics.fresh(), last_c=seen.value_c, leg=index)
        return estimate
    value = seen.value_c if seen.value_c is not None else estimate.last_c
    if value is None:
        return estimate
    span, heat = estimate.span_s + dt, estimate.heat_k_s + value * dt
    if span < STRIDE_S and index == estimate.leg:
        return estimate._replace(span_s=span, heat_k_s=heat, last_c=value)
    amounts = estimate.amounts
    if span > 0.0:
        amounts = kinetics.step(kinetics.CALIBRATED_SET, amounts, heat / span, span)
    if index != estimate.leg:
        estimate = estimate._replace(leg=index, opened=(*estimate.opened, (leg.name, amounts)))
    return estimate._replace(amounts=amounts, span_s=0.0, heat_k_s=0.0, last_c=value)


def over_outage(estimate: Estimate, seconds: float | None, now_c: float | None) -> tuple[Estimate, Event | None]:
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
    return estimate._replace(amounts=after, span_s=0.0, heat_k_s=0.0, last_c=now_c), Event("note", "estimate", text)


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


def recall(kept: Mapping[str, Any] | None) -> Estimate:
    """The estimate of a kept record; an empty one where it does not fit."""
    if kept is None:
        return Estimate()
    try:
        opened = tuple((str(name), _amounts(plain)) for name, plain in kept["opened"])
        return Estimate(_amounts(kept["amounts"]), last_c=kept["last_c"], leg=int(kept["leg"]), opened=opened)
    except (KeyError, TypeError, ValueError):
        return Estimate()


def _plain(amounts: kinetics.Amounts) -> dict[str, Any]:
    return {**amounts._asdict(), "malt": amounts.malt._asdict()}


def _amounts(plain: Mapping[str, Any]) -> kinetics.Amounts:
    return kinetics.Amounts(**{**plain, "malt": kinetics.Malt(**plain["malt"])})
