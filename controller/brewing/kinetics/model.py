"""What wort will this mash give, and what did each rest do for it?

An estimate from temperature and thickness: it knows no pH, crush or mixing. It informs; nothing may heat, shorten a
rest or move a limit by it. The order of two programs is far safer than the level of one.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

from controller.brewing.kinetics.amounts import (
    DEFAULT_MALT,
    REAL_PER_APPARENT,
    Amounts,
    Malt,
    apparent_limit_pct,
    extract,
    fermentable,
    fresh,
    potential,
    real_limit_pct,
    starch_left,
)
from controller.brewing.kinetics.decoction import Deed, Pulled, Returned, Thinned, done
from controller.brewing.kinetics.rates import (
    CALIBRATED_SET,
    PUBLISHED_SET,
    VALID_C,
    Parameters,
    Rates,
    half_band,
    rates,
)
from controller.brewing.kinetics.reactions import step
from controller.brewing.kinetics.trust import Band, judged

__all__ = [
    "ANCHORED",
    "BASIS",
    "CALIBRATED_SET",
    "DEFAULT_MALT",
    "PUBLISHED_SET",
    "SECOND_OPINION",
    "VALID_C",
    "Amounts",
    "Band",
    "Contribution",
    "Malt",
    "Mark",
    "Parameters",
    "Prediction",
    "Profile",
    "Rates",
    "apparent_limit_pct",
    "Deed",
    "Pulled",
    "Returned",
    "Span",
    "Thinned",
    "advance",
    "contribution",
    "course",
    "extract",
    "fermentable",
    "follow",
    "fresh",
    "gather",
    "half_band",
    "potential",
    "predict",
    "rates",
    "read",
    "real_limit_pct",
    "spans",
    "starch_left",
    "step",
]

Span = tuple[float, float]  # dt_s, mean temperature_c over it
Profile = Iterable[Span | Deed]  # from dough-in on

BASIS = (
    "Estimate from mash temperature and thickness, for pale barley malt at a usual pH. Calibrated on published "
    "fermentabilities at 65, 70, 75 and 80 °C, pasting at 55..64 °C and the sugar shares of pale wort. Two programs "
    "less than 3 points apart are equal to it. Compare programs with it; the level is no promise."
)
SECOND_OPINION = (
    "Second opinion from the mash temperature alone, for 58..71 °C: scheme and constants of Brandam et al. 2003 as far "
    "as they are known, brought to 82 % at 65 °C. Where it differs from the first, the literature leaves it open."
)
ANCHORED = " The level is anchored on the malt's certificate or on measured worts."
STRIDE_S = 5.0  # readings are averaged over so long before they are stepped through


class Mark(NamedTuple):
    """A step of the program begins: its name, and the seconds since dough-in."""

    name: str
    start_s: float


class Contribution(NamedTuple):
    """What one step did: points of the final apparent limit, percent of the starch, percent of the first enzyme."""

    name: str
    apparent_points_gained: float | None  # None where no limit may be shown
    starch_converted_pct: float
    beta_lost_pct: float
    alpha_lost_pct: float


class Prediction(NamedTuple):
    """What the mash has come to. The wort's figures are None where the model has no data behind it."""

    set: str
    basis: str
    apparent_limit_pct: Band | None
    real_limit_pct: Band | None
    extract_share: float | None
    extract_pct: Band | None
    extract_at_most: bool
    starch_left_pct: float
    beta_left_pct: float
    alpha_left_pct: float
    glucanase_left_pct: float
    protease_left_pct: float
    glucanase_min: float
    protease_min: float
    iodine_fine_min: float | None  # of the finest grind
    iodine_negative_min: float | None  # of crushed malt
    thickness_kg_per_kg: float | None
    withheld: tuple[dict[str, str], ...]
    widened: tuple[str, ...]
    steps: tuple[Contribution, ...]
    end: Amounts

    def as_json(self) -> dict[str, object]:
        """The prediction as plain values: shares 0..1, the rest in %, points and minutes."""
        plain = self._asdict()
        del plain["end"]
        for name in ("apparent_limit_pct", "real_limit_pct", "extract_pct"):
            band: Band | None = plain[name]
            plain[name] = None if band is None else {key: round(value, 3) for key, value in band._asdict().items()}
        plain["steps"] = [
            {key: round(value, 3) if isinstance(value, float) else value for key, value in one._asdict().items()}
            for one in self.steps
        ]
        plain["withheld"], plain["widened"] = list(self.withheld), list(self.widened)
        return {key: round(value, 4) if isinstance(value, float) else value for key, value in plain.items()}


def gather(profile: Profile, stride_s: float = STRIDE_S) -> Iterator[Span | Deed]:
    """What are the same temperatures in fewer pieces? Short ones are averaged until about `stride_s` is reached."""
    span, heat = 0.0, 0.0
    for piece in profile:
        if not isinstance(piece, Deed):
            span += piece[0]
            heat += piece[0] * piece[1]
        if span > 0.0 and (span >= 0.9 * stride_s or isinstance(piece, Deed)):
            yield span, heat / span
            span, heat = 0.0, 0.0
        if isinstance(piece, Deed):
            yield piece
    if span > 0.0:
        yield span, heat / span


def spans(profile: Profile) -> list[Span]:
    """The temperatures alone, without what was done to the mash meanwhile."""
    return [piece for piece in profile if not isinstance(piece, Deed)]


def advance(params: Parameters, state: Amounts, piece: Span | Deed) -> Amounts:
    """What is the mash after a piece of a profile?"""
    if isinstance(piece, Deed):
        return done(params, state, piece)
    return step(params, state, piece[1], piece[0])


def course(params: Parameters, state: Amounts, profile: Profile) -> Iterator[Amounts]:
    """What is the mash after every piece of the profile, beginning with what it is now?"""
    yield state
    for piece in profile:
        state = advance(params, state, piece)
        yield state


def follow(params: Parameters, state: Amounts, profile: Profile) -> Amounts:
    """What is the mash at the end of the profile?"""
    for piece in profile:
        state = advance(params, state, piece)
    return state


def predict(
    profile: Profile,
    malt: Malt = DEFAULT_MALT,
    marks: Sequence[Mark] = (),
    params: Parameters = CALIBRATED_SET,
    start: Amounts | None = None,
) -> Prediction:
    """What wort does this temperature profile give, and what did each marked step contribute?

    `profile` yields (seconds, mean temperature in degC) from dough-in on, or from `start` on where a mash is already
    under way; `malt` is then the one it was doughed in with. Marks count from dough-in, in order; a step ends where
    the next begins.
    """
    state = fresh(malt) if start is None else start
    opened: list[tuple[str, Amounts]] = []
    waiting = list(marks)
    for now in course(params, state, gather(profile)):
        while waiting and now.time_s >= waiting[0].start_s - STRIDE_S / 2.0:
            opened.append((waiting.pop(0).name, now))
        state = now
    return read(state, params, opened)


def read(state: Amounts, params: Parameters = CALIBRATED_SET, opened: Sequence[tuple[str, Amounts]] = ()) -> Prediction:
    """What would the wort be if the mash were stopped now?

    `opened` holds name and mash at the beginning of each step so far.
    """
    ends = [amounts for _, amounts in opened[1:]] + [state]
    found = judged(state)
    shown = found.apparent is not None
    steps = tuple(contribution(opened[n][0], opened[n][1], ends[n], state, shown) for n in range(len(opened)))
    return Prediction(
        set=params.name,
        basis=_basis(state, params),
        apparent_limit_pct=found.apparent,
        real_limit_pct=found.real,
        extract_share=None if found.extract is None else found.extract.mid / 100.0,
        extract_pct=found.extract,
        extract_at_most=found.extract_at_most,
        starch_left_pct=100.0 * starch_left(state),
        beta_left_pct=100.0 * state.beta,
        alpha_left_pct=100.0 * state.alpha,
        glucanase_left_pct=100.0 * state.glucanase,
        protease_left_pct=100.0 * state.protease,
        glucanase_min=state.glucanase_min,
        protease_min=state.protease_min,
        iodine_fine_min=None if found.fine_s is None else found.fine_s / 60.0,
        iodine_negative_min=None if found.iodine_s is None else found.iodine_s / 60.0,
        thickness_kg_per_kg=state.malt.liquor_kg_per_kg,
        withheld=found.withheld,
        widened=found.widened,
        steps=steps,
        end=state,
    )


def _basis(state: Amounts, params: Parameters) -> str:
    """What do the figures rest on, in words?"""
    if params.limit_dextrin_share <= 0.0:
        return SECOND_OPINION
    return BASIS if state.malt.limit_dextrin_share is None else BASIS + ANCHORED


def contribution(
    name: str, begin: Amounts, end: Amounts, final: Amounts | None = None, shown: bool = True
) -> Contribution:
    """What did the mash do between two moments?

    Points are of the final apparent limit: sugar freed in the step over the extract of the finished mash. They add up,
    with the malt's own sugar, to the final limit. Without `shown` there are none.
    """
    whole = extract(end if final is None else final)
    points = 100.0 * (fermentable(end) - fermentable(begin)) / whole / REAL_PER_APPARENT
    return Contribution(
        name=name,
        apparent_points_gained=points if shown else None,
        starch_converted_pct=100.0 * (starch_left(begin) - starch_left(end)),
        beta_lost_pct=100.0 * (begin.beta - end.beta),
        alpha_lost_pct=100.0 * (begin.alpha - end.alpha),
    )
