"""What has the mash come to so far? The kinetic model run along on the measured temperature.

It informs and never commands heat: the run carries it along, no room reads it. The model takes one step every ten
seconds, on the malt of the course. It survives a restart; the outage is followed from the temperature before and after.
What a mash that was too hot has lost by it is said once, when it is over.
"""

from functools import lru_cache
from typing import Any, NamedTuple

from controller.brewing.kinetics import hands, malts
from controller.brewing.kinetics import model as kinetics
from controller.core.nouns import Course, Event, Instant, Leg, Measurement, Phase

STRIDE_S = 10.0  # error at this step under 0.2 points of attenuation (tests/brewing)
OUTAGE_PIECES = 30  # an outage is followed in so many steps
OVER_K = 2.0  # so far above its target a mash is too hot; a usual band is 1 K (own proposal)
BACK_K = 1.0  # and so near it is back

Opened = tuple[tuple[str, kinetics.Amounts], ...]


class Excursion(NamedTuple):
    """A mash that is too hot: since when, how hot at worst, and what it would be had it stayed at its target."""

    step: str
    target_c: float
    since: Instant
    worst_c: float
    as_wanted: kinetics.Amounts


class Estimate(NamedTuple):
    """The mash as the model has it; None before grain meets liquor, or when its history is unknown."""

    amounts: kinetics.Amounts | None = None
    at: Instant = 0.0  # up to when it has been followed
    last_c: float | None = None  # temperature then
    leg: int = -1
    opened: Opened = ()  # step names and the mash when each began
    target_c: float | None = None  # of the step then; None in dough-in
    cooling: bool = False  # the program itself asks for less than before: being above is no fault
    over: Excursion | None = None


def follow(
    estimate: Estimate, course: Course | None, index: int, phase: Phase, seen: Measurement, now: Instant
) -> tuple[Estimate, Event | None]:
    """Up to `now`, in step `index`: every ten seconds one step at the mean of the readings before and after.

    With it comes a note, once, when a mash that was too hot is back.
    """
    if course is None or (now - estimate.at < STRIDE_S and index == estimate.leg):
        return estimate, None
    if not 0 <= index < len(course.legs):
        if estimate.over is None or estimate.amounts is None:
            return estimate, None
        return estimate._replace(over=None), _told(estimate.over, estimate.amounts, now)  # the program is over
    leg = course.legs[index]
    if estimate.amounts is None:
        if leg.kind == "dough_in" and phase is Phase.SETTLING:
            fresh = kinetics.fresh(malts.recalled(course.malt).malt)
            return Estimate(fresh, now, seen.value_c, index, ((leg.name, fresh),)), None
        return estimate, None
    value = seen.value_c if seen.value_c is not None else estimate.last_c
    if value is None:
        return estimate, None
    mean_c, dt_s = value if estimate.last_c is None else (value + estimate.last_c) / 2.0, max(0.0, now - estimate.at)
    params = malts.recalled(course.malt).params
    amounts = kinetics.step(params, estimate.amounts, mean_c, dt_s)
    opened = estimate.opened if index == estimate.leg else (*estimate.opened, (leg.name, amounts))
    watched, told = _watched(estimate, estimate.amounts, leg, value, params, amounts, now)
    amounts = hands.worked(params, amounts, work(course), index, phase, value)
    return watched._replace(amounts=amounts, at=now, last_c=value, leg=index, opened=opened), told


def work(course: Course) -> hands.Work:
    """What do the steps of a course ask of people's hands?"""
    asked = tuple(
        hands.Hand(leg.kind, leg.comes.kg, leg.comes.pull_kg_per_kg, leg.comes.boil_off_kg, leg.comes.thin_p)
        for leg in course.legs
    )
    return hands.Work(asked, course.grist_kg, malts.recalled(course.malt).malt.liquor_kg_per_kg)


def _watched(
    estimate: Estimate, before: kinetics.Amounts, leg: Leg, value: float, params: kinetics.Parameters,
    amounts: kinetics.Amounts, now: Instant,
) -> tuple[Estimate, Event | None]:  # fmt: skip
    """Is the mash hotter than its step wants, and is that over?"""
    dt_s, over, told = max(0.0, now - estimate.at), estimate.over, None
    target_c = None if leg.kind == "dough_in" else leg.target_c
    hot = target_c is not None and value > target_c + OVER_K
    lower = target_c is not None and estimate.target_c is not None and target_c < estimate.target_c
    cooling = hot and (estimate.cooling or lower)
    if over is not None:
        as_wanted = kinetics.step(params, over.as_wanted, over.target_c, dt_s)
        over = over._replace(worst_c=max(over.worst_c, value), as_wanted=as_wanted)
        if target_c != over.target_c or value <= over.target_c + BACK_K:
            told, over = _told(over, amounts, now), None
    elif hot and not cooling and target_c is not None:
        over = Excursion(leg.name, target_c, estimate.at, value, kinetics.step(params, before, target_c, dt_s))
    return estimate._replace(target_c=target_c, cooling=cooling, over=over), told


def _told(over: Excursion, amounts: kinetics.Amounts, now: Instant) -> Event:
    """What has being too hot cost, beyond what the step itself takes?"""
    beta = 100.0 * max(0.0, over.as_wanted.beta - amounts.beta)
    alpha = 100.0 * max(0.0, over.as_wanted.alpha - amounts.alpha)
    hot_k, hot_s = over.worst_c - over.target_c, now - over.since
    lasted = f"{hot_s / 60.0:.0f} min" if hot_s >= 60.0 else f"{hot_s:.0f} s"
    text = (
        f"estimate: {over.step} was too hot for {lasted}, at worst {hot_k:.1f} K over its "
        f"{over.target_c:.1f} °C; beyond what the step itself takes, that cost {beta:.0f} % of the first beta-amylase "
        f"and {alpha:.0f} % of the alpha-amylase; {100 * amounts.beta:.0f} % and {100 * amounts.alpha:.0f} % are left"
    )
    return Event("note", "estimate", text, value=round(hot_k, 2), limit=OVER_K, unit="K")


def over_outage(
    estimate: Estimate, course: Course | None, seconds: float | None, now_c: float | None, now: Instant
) -> tuple[Estimate, Event | None]:
    """The outage followed as a straight line from the last temperature to this one; None where it cannot be known."""
    amounts, last = estimate.amounts, estimate.last_c
    if amounts is None or course is None or seconds is None or now_c is None or last is None:
        return Estimate(), None
    params, piece = malts.recalled(course.malt).params, seconds / OUTAGE_PIECES
    after = amounts
    for n in range(OUTAGE_PIECES):
        at_c = last + (now_c - last) * (n + 0.5) / OUTAGE_PIECES
        after = kinetics.step(params, after, at_c, piece)
    beta, alpha = 100 * (amounts.beta - after.beta), 100 * (amounts.alpha - after.alpha)
    starch = 100 * (kinetics.starch_left(amounts) - kinetics.starch_left(after))
    text = (
        f"estimate: the outage cost {beta:.0f} % of the first beta-amylase and {alpha:.0f} % of the alpha-amylase, "
        f"and converted {starch:.0f} % of the starch"
    )
    return estimate._replace(amounts=after, at=now, last_c=now_c, over=None), Event("note", "estimate", text)


def document(estimate: Estimate) -> dict[str, Any] | None:
    """The prediction as plain values, to be read only: it is the same object until the mash has moved on. None before
    dough-in."""
    return None if estimate.amounts is None else _read(estimate.amounts, estimate.opened)


@lru_cache(maxsize=4)  # the estimate moves on every STRIDE_S, the status speaks more often
def _read(amounts: kinetics.Amounts, opened: Opened) -> dict[str, Any]:
    return kinetics.read(amounts, kinetics.CALIBRATED_SET, opened).as_json()
