"""How is the model's level brought to this malt and this brewery?

By two ways only: the malt's certificate (`anchor`), and measured attenuation limits of past mashes (`calibrate`). Both
move the limit-dextrin share; the second may also move how fast beta-amylase is lost, within bounds, and is recorded as
a small dict.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import exp, log, sqrt
from typing import NamedTuple

from controller.brewing.kinetics.amounts import REAL_PER_APPARENT, Amounts, extract, fermentable
from controller.brewing.kinetics.model import (
    CALIBRATED_SET,
    DEFAULT_MALT,
    Deed,
    Malt,
    Parameters,
    Profile,
    Span,
    follow,
    fresh,
    gather,
)
from controller.brewing.kinetics.rates import changed
from controller.brewing.kinetics.what_if import Rest, profile_of

# Congress mash: 45 degC 30 min, 1 K/min to 70 degC, 60 min there (Evans, Brauer, BrewingScience 77 (2024), abstract).
CONGRESS = (Rest("45 °C", 45.0, 1800.0), Rest("70 °C", 70.0, 3600.0, 1500.0))
FINE_GRIST_WETTING_S = 60.0  # assumed, for the 0.2 mm grind of the laboratory mash
BESIDE_STARCH = 0.165  # extract that does not come from starch, g/g dry matter: the default malt's solubles together
GAIN = 1.04  # extract from a gram of starch, mean over a complete mash (see kinetics_constants "gain_starch")
LIMIT_DEXTRIN = (0.05, 0.60)  # bounds of the limit-dextrin share: own judgement, about half to double the default
BETA_LOSS = (0.5, 2.0)  # bounds of the factor on beta-amylase loss; its half-life is known to about 25 %
LIMIT_DEXTRIN_SD = 0.08  # how far the share is believed to vary between malts (own judgement; about 4 points)
BETA_LOSS_SD = 0.25  # of ln(factor): spread of published beta-amylase half-lives
MEASURED_SD_POINTS = 1.5  # of a measured apparent limit, as in the model's own fit
PLAUSIBLE_LIMIT_PCT = (20.0, 95.0)
PLAUSIBLE_EXTRACT_PCT = (60.0, 90.0)
FIT_STRIDE_S = 10.0
SHRINK = (sqrt(5.0) - 1.0) / 2.0  # golden section


class Certificate(NamedTuple):
    """What the maltster's sheet says; what it does not say is None."""

    limit_attenuation_pct: float | None = None  # apparent, of the Congress wort
    extract_pct: float | None = None  # fine grind, dry basis


class Batch(NamedTuple):
    """A past mash: its measured temperatures from dough-in on, its measured apparent attenuation limit, its malt.

    `malt` None: the malt that all are fitted with.
    """

    profile: Sequence[Span | Deed]
    apparent_limit_pct: float
    malt: Malt | None = None


class Calibration(NamedTuple):
    """What past worts say of the model, and how well it fits them before and after."""

    limit_dextrin_share: float
    beta_loss_factor: float
    batches: int
    rms_before_points: float
    rms_after_points: float
    at_bound: tuple[str, ...]
    from_share: float = CALIBRATED_SET.limit_dextrin_share  # what the share was before; the difference is the finding

    def as_record(self) -> dict[str, object]:
        """The calibration as plain values for a file."""
        plain = {key: round(value, 6) if isinstance(value, float) else value for key, value in self._asdict().items()}
        return plain | {"at_bound": list(self.at_bound)}


class Implausible(ValueError):
    """A figure cannot be right; `problems` holds a sentence for each one."""

    def __init__(self, *problems: str) -> None:
        super().__init__("; ".join(problems))
        self.problems = problems


def anchor(certificate: Certificate, malt: Malt = DEFAULT_MALT, params: Parameters = CALIBRATED_SET) -> Malt:
    """Which malt figures make the Congress mash give what the certificate says?

    Starch follows from the extract, the limit-dextrin share from the attenuation limit. Raises Implausible with every
    figure that is out of range or out of the model's reach.
    """
    problems = _outside("extract, dry basis", certificate.extract_pct, PLAUSIBLE_EXTRACT_PCT)
    problems += _outside("apparent attenuation limit", certificate.limit_attenuation_pct, PLAUSIBLE_LIMIT_PCT)
    if problems:
        raise Implausible(*problems)
    if certificate.extract_pct is not None:
        malt = malt._replace(starch=(certificate.extract_pct / 100.0 - BESIDE_STARCH) / GAIN)
    if certificate.limit_attenuation_pct is None:
        return malt
    fine = changed(params, wetting_lag_s=FINE_GRIST_WETTING_S)
    laboratory = malt._replace(liquor_kg_per_kg=DEFAULT_MALT.liquor_kg_per_kg)
    line = _Line.through(fine, laboratory, profile_of(CONGRESS)[0])
    share = line.share_for(certificate.limit_attenuation_pct)
    if not LIMIT_DEXTRIN[0] <= share <= LIMIT_DEXTRIN[1]:
        least, most = line.apparent_pct(LIMIT_DEXTRIN[1]), line.apparent_pct(LIMIT_DEXTRIN[0])
        found = f"apparent attenuation limit {certificate.limit_attenuation_pct:.1f} %"
        raise Implausible(f"{found}: the model can be anchored from {least:.1f} to {most:.1f} %; check the certificate")
    return malt._replace(limit_dextrin_share=share)


def _outside(what: str, value: float | None, bounds: tuple[float, float]) -> list[str]:
    if value is None or bounds[0] <= value <= bounds[1]:
        return []
    return [f"{what}: found {value:.1f} %, wanted {bounds[0]:.0f} to {bounds[1]:.0f} %"]


class _Line(NamedTuple):
    """Sugar and extract of one mash as straight lines over the limit-dextrin share (the equations are linear in it)."""

    sugar: float
    sugar_slope: float
    extract: float
    extract_slope: float

    @staticmethod
    def through(params: Parameters, malt: Malt, profile: Profile, offset: float = 0.0) -> _Line:
        """Two runs give both lines exactly. The lines are over a share that lies `offset` below the malt's."""
        pieces = list(profile)
        none, half = (_end(params, malt._replace(limit_dextrin_share=share), pieces) for share in (0.0, 0.5))
        sugar, whole = fermentable(none), extract(none)
        steep, rise = (fermentable(half) - sugar) / 0.5, (extract(half) - whole) / 0.5
        return _Line(sugar + offset * steep, steep, whole + offset * rise, rise)

    def apparent_pct(self, share: float) -> float:
        real = (self.sugar + share * self.sugar_slope) / (self.extract + share * self.extract_slope)
        return 100.0 * real / REAL_PER_APPARENT

    def share_for(self, apparent_pct: float) -> float:
        real = apparent_pct / 100.0 * REAL_PER_APPARENT
        return (real * self.extract - self.sugar) / (self.sugar_slope - real * self.extract_slope)


def _end(params: Parameters, malt: Malt, pieces: Profile) -> Amounts:
    return follow(params, fresh(malt), pieces)


def calibrate(batches: Sequence[Batch], malt: Malt = DEFAULT_MALT, params: Parameters = CALIBRATED_SET) -> Calibration:
    """Which limit-dextrin share and which pace of beta-amylase loss explain these worts best?

    Least squares with the present values as a prior, so that one wort moves little and many move much; bounded. A
    batch of another malt is fitted as far from its own share as the rest from theirs. Raises Implausible where there is
    no batch, or with every measured figure that cannot be right.
    """
    problems = [] if batches else ["past worts: none given, wanted at least one"]
    for number, batch in enumerate(batches, start=1):
        problems += _outside(
            f"wort {number}: apparent attenuation limit", batch.apparent_limit_pct, PLAUSIBLE_LIMIT_PCT
        )
    if problems:
        raise Implausible(*problems)
    before = _share(params, malt)
    pieces = [list(gather(batch.profile, FIT_STRIDE_S)) for batch in batches]
    malts = [batch.malt or malt for batch in batches]
    measured = [batch.apparent_limit_pct for batch in batches]

    def lines(factor: float) -> list[_Line]:
        faster = changed(params, beta_loss_scale=params.beta_loss_scale * factor)
        return [
            _Line.through(faster, own, piece, _share(params, own) - before)
            for own, piece in zip(malts, pieces, strict=True)
        ]

    def cost_at(ln_factor: float) -> float:
        found = lines(exp(ln_factor))
        _, cost = _best_share(found, measured, before)
        return cost + (ln_factor / BETA_LOSS_SD) ** 2

    ln_factor = _least(cost_at, log(BETA_LOSS[0]), log(BETA_LOSS[1]), 5e-3)
    fitted = lines(exp(ln_factor))
    share, _ = _best_share(fitted, measured, before)
    return Calibration(
        limit_dextrin_share=share,
        beta_loss_factor=exp(ln_factor),
        batches=len(batches),
        rms_before_points=_rms(lines(1.0), before, measured),
        rms_after_points=_rms(fitted, share, measured),
        at_bound=_at_bound(share, ln_factor),
        from_share=before,
    )


def _share(params: Parameters, malt: Malt) -> float:
    return params.limit_dextrin_share if malt.limit_dextrin_share is None else malt.limit_dextrin_share


def _best_share(lines: Sequence[_Line], measured: Sequence[float], before: float) -> tuple[float, float]:
    def cost(share: float) -> float:
        misses = (
            (line.apparent_pct(share) - value) / MEASURED_SD_POINTS for line, value in zip(lines, measured, strict=True)
        )
        return sum(miss * miss for miss in misses) + ((share - before) / LIMIT_DEXTRIN_SD) ** 2

    share = _least(cost, *LIMIT_DEXTRIN, 1e-6)
    return share, cost(share)


def _rms(lines: Sequence[_Line], share: float, measured: Sequence[float]) -> float:
    squares = [(line.apparent_pct(share) - value) ** 2 for line, value in zip(lines, measured, strict=True)]
    return sqrt(sum(squares) / len(squares))


def _at_bound(share: float, ln_factor: float) -> tuple[str, ...]:
    at = []
    if min(share - LIMIT_DEXTRIN[0], LIMIT_DEXTRIN[1] - share) < 1e-3:
        at.append("limit_dextrin_share")
    if min(ln_factor - log(BETA_LOSS[0]), log(BETA_LOSS[1]) - ln_factor) < 1e-2:
        at.append("beta_loss_factor")
    return tuple(at)


def _least(cost: Callable[[float], float], low: float, high: float, within: float) -> float:
    """Where is a one-humped cost least between two bounds? Golden section."""
    a, b = high - SHRINK * (high - low), low + SHRINK * (high - low)
    cost_a, cost_b = cost(a), cost(b)
    while high - low > within:
        if cost_a < cost_b:
            high, b, cost_b = b, a, cost_a
            a = high - SHRINK * (high - low)
            cost_a = cost(a)
        else:
            low, a, cost_a = a, b, cost_b
            b = low + SHRINK * (high - low)
            cost_b = cost(b)
    return (low + high) / 2.0


def from_record(record: dict[str, object]) -> Calibration:
    """Which calibration does a record hold? Raises Implausible where the record does not hold together."""
    share, factor = record.get("limit_dextrin_share"), record.get("beta_loss_factor")
    problems = []
    if not isinstance(share, float) or not LIMIT_DEXTRIN[0] <= share <= LIMIT_DEXTRIN[1]:
        problems.append(f"limit_dextrin_share: found {share!r}, wanted {LIMIT_DEXTRIN[0]} to {LIMIT_DEXTRIN[1]}")
    if not isinstance(factor, float) or not BETA_LOSS[0] <= factor <= BETA_LOSS[1]:
        problems.append(f"beta_loss_factor: found {factor!r}, wanted {BETA_LOSS[0]} to {BETA_LOSS[1]}")
    batches, at_bound = record.get("batches", 0), record.get("at_bound", [])
    rms = [record.get(name, 0.0) for name in ("rms_before_points", "rms_after_points")]
    before, after = (float(value) if isinstance(value, int | float) else 0.0 for value in rms)
    was = record.get("from_share", CALIBRATED_SET.limit_dextrin_share)
    if not isinstance(was, float) or not LIMIT_DEXTRIN[0] <= was <= LIMIT_DEXTRIN[1]:
        problems.append(f"from_share: found {was!r}, wanted {LIMIT_DEXTRIN[0]} to {LIMIT_DEXTRIN[1]}")
    if problems or not isinstance(share, float) or not isinstance(factor, float) or not isinstance(was, float):
        raise Implausible(*problems)
    names = tuple(str(name) for name in at_bound) if isinstance(at_bound, list) else ()
    return Calibration(share, factor, batches if isinstance(batches, int) else 0, before, after, names, was)
