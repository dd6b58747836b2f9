"""What does the record of a laboratory mash say: saccharification time, extract, and how true the curve was?

The curve is the product: how far each rest was off and for how long, how fast each rise was. In a bath of several
beakers the one curve is all of theirs, and each wort is worked out by its number.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import groupby
from typing import Any, NamedTuple

from controller.brewing import extract, wort
from controller.report import batch_entries
from controller.report.run_record import PlanEntry, RunRecord

OFF_K = 0.3  # a rest further off is off, and for how long is told (own proposal)
EVEN = (0.95, 1.05)  # K/min, of a rise that is to be 1 K/min (own proposal)
ENDS_SHARE = 0.05  # at both ends of a rise, where it bends; and no rise is shorter than:
LEAST_RISE_K = 5.0


def saccharification(record: RunRecord) -> str | None:
    """The class of the saccharification time; None where no series was asked for."""
    found = [event for event in batch_entries.of(record, "note") if event.id == "saccharification"]
    return str(found[-1].data.get("class")) if found else None


def sums(record: RunRecord, beaker: int | None = None, own_moisture: float | None = None) -> dict[str, Any] | None:
    """Extract as is and dry by the Congress mash, hot water extract by the 65 °C mash; None where neither was entered.

    The malt's moisture is the beaker's own, else the mean by mass of the sheets filed, as usual where one is silent.
    """
    keys = ("congress_p", "isothermal_p")
    congress_p, isothermal_p = (batch_entries.newest(record, key, beaker) for key in keys)
    if congress_p is None and isothermal_p is None:
        return None
    moisture = moisture_share(record) if own_moisture is None else own_moisture
    found: dict[str, Any] = {"moisture_share": round(moisture, 4)}
    if congress_p is not None:
        as_is = wort.congress_extract_share(float(congress_p), moisture)
        found |= {"congress_p": congress_p, "extract_as_is_share": round(as_is, 4)}
        found["extract_dry_share"] = round(wort.dry_share(as_is, moisture), 4)
    if isothermal_p is not None:
        hot = wort.hot_water_extract_l_deg_per_kg(wort.gravity(float(isothermal_p)))
        found |= {"isothermal_p": isothermal_p, "hot_water_extract_l_deg_per_kg": round(hot, 1)}
    return found


def moisture_share(record: RunRecord) -> float:
    """How moist is the malt, the mean by mass of the sheets filed, 0..1?"""
    lines = batch_entries.malt(record) or []
    total_kg = sum(float(line["mass_kg"]) for line in lines)
    if total_kg <= 0.0:
        return extract.USUAL_MOISTURE
    return sum(float(line["mass_kg"]) * _moisture(line) for line in lines) / total_kg


def _moisture(line: Mapping[str, Any]) -> float:
    known = line.get("moisture")
    return extract.USUAL_MOISTURE if known is None else float(known)


# ---------------------------------------------------------------- beakers


def beakers(record: RunRecord) -> list[dict[str, Any]]:
    """Each beaker as it was filed, with what its wort comes to."""
    filed = [(int(event.id), event.data) for event in batch_entries.of(record, "beaker")]
    return [{"beaker": number, **data, **(sums(record, number, _moisture(data)) or {})} for number, data in filed]


def fine_coarse(record: RunRecord) -> dict[str, float]:
    """Fine less coarse, dry, of each lot with both; of several beakers of a grind the mean."""
    known: dict[tuple[str, str], list[float]] = {}
    for one in beakers(record):
        if "extract_dry_share" in one:
            known.setdefault((str(one["lot"]), str(one["grind"])), []).append(one["extract_dry_share"])
    mean = {key: sum(shares) / len(shares) for key, shares in known.items()}
    lots = sorted({lot for lot, _ in mean if (lot, "fine") in mean and (lot, "coarse") in mean})
    return {lot: round(mean[lot, "fine"] - mean[lot, "coarse"], 4) for lot in lots}


# ---------------------------------------------------------------- the curve


class Held(NamedTuple):
    """How true one step was."""

    step: str
    target_c: float
    worst_k: float | None = None  # of the rest, above or below
    off_s: float | None = None  # the longest time by more than `OFF_K`
    rise_k_per_min: float | None = None
    even: bool | None = None  # of a rise that is to be 1 K/min


def curve(record: RunRecord) -> list[Held]:
    """Each step that rises or rests, by its samples; empty of a mash that is no laboratory's."""
    if not is_one(record):
        return []
    found = [
        _held(record, index, step) for index, step in enumerate(record.planned) if step.kind in ("rest", "mash_out")
    ]
    return [held for held in found if held.worst_k is not None or held.rise_k_per_min is not None]


def is_one(record: RunRecord) -> bool:
    """Is this a laboratory mash? By its grind, its beakers or its series of tests."""
    ground = any(line.get("grind") for line in batch_entries.malt(record) or [])
    return ground or bool(batch_entries.of(record, "beaker")) or saccharification(record) is not None


def _held(record: RunRecord, index: int, step: PlanEntry) -> Held:
    known = [(row.t_s, row.mash_c, row.phase) for row in record.rows if row.step == index and row.mash_c is not None]
    rest = [(t_s, c - step.target_c) for t_s, c, phase in known if phase == "resting"]
    held = Held(step.name, step.target_c)
    if rest:
        worst_k = max((off_k for _, off_k in rest), key=abs)
        held = held._replace(worst_k=round(worst_k, 2), off_s=round(_longest_off_s(rest), 1))
    rise = _rise_k_per_min([(t_s, c) for t_s, c, phase in known if phase == "ramping"], step.target_c)
    if rise is None:
        return held
    planned = 60.0 * _risen_k(record, index) / step.ramp_s if step.ramp_s > 0.0 else 0.0
    even = EVEN[0] <= rise <= EVEN[1] if EVEN[0] <= planned <= EVEN[1] else None
    return held._replace(rise_k_per_min=round(rise, 3), even=even)


def _risen_k(record: RunRecord, index: int) -> float:
    before = record.planned[index - 1] if index else record.planned[index]
    from_c = record.landing_c if before.kind == "dough_in" and record.landing_c is not None else before.target_c
    return record.planned[index].target_c - from_c


def _longest_off_s(rest: list[tuple[float, float]]) -> float:
    """For how long was the rest off without a break?"""
    stretches = groupby(rest, key=lambda row: abs(row[1]) > OFF_K)
    spans = [[t_s for t_s, _ in rows] for off, rows in stretches if off]
    return max((times[-1] - times[0] for times in spans), default=0.0)


def _rise_k_per_min(rise: list[tuple[float, float]], target_c: float) -> float | None:
    """The slope between the bends at both ends; None where nothing rose so far."""
    if not rise or target_c - rise[0][1] < LEAST_RISE_K:
        return None
    cut_k = ENDS_SHARE * (target_c - rise[0][1])
    low = next((row for row in rise if row[1] >= rise[0][1] + cut_k), None)
    high = next((row for row in rise if row[1] >= target_c - cut_k), None)
    if low is None or high is None or high[0] <= low[0]:
        return None
    return 60.0 * (high[1] - low[1]) / (high[0] - low[0])


# ---------------------------------------------------------------- in words


def lines(record: RunRecord) -> Iterator[tuple[str, str]]:
    """Title and words of each line; none of a mash that is no laboratory's."""
    if (between := saccharification(record)) is not None:
        yield "saccharification time", between
    if grinds := sorted({str(line["grind"]) for line in batch_entries.malt(record) or [] if line.get("grind")}):
        yield "grind", ", ".join(grinds)
    for held in curve(record):
        yield f"curve, {held.step}", _curve_words(held)
    yield from _worked_out("", sums(record))
    for one in beakers(record):
        yield (
            f"beaker {one['beaker']}",
            f"{1000.0 * one['grist_kg']:.2f} g, {one['grind']}, lot {one['lot'] or 'not known'}",
        )
        yield from _worked_out(f", beaker {one['beaker']}", one)
    for lot, share in fine_coarse(record).items():
        yield f"fine less coarse, lot {lot or 'not known'}", f"{100.0 * share:.1f} % of dry malt"


def _curve_words(held: Held) -> str:
    parts = []
    if held.rise_k_per_min is not None:
        judged = {None: "", True: ", as it must be", False: f", outside {EVEN[0]:.2f} to {EVEN[1]:.2f} K/min"}[
            held.even
        ]
        parts.append(f"rise {held.rise_k_per_min:.2f} K/min{judged}")
    if held.worst_k is not None and held.off_s is not None:
        off = f"over {OFF_K:g} K off for at most {held.off_s:.0f} s" if held.off_s else f"never over {OFF_K:g} K off"
        parts.append(f"at worst {held.worst_k:+.2f} K from {held.target_c:.1f} °C, {off}")
    return "; ".join(parts)


def _worked_out(whose: str, found: dict[str, Any] | None) -> Iterator[tuple[str, str]]:
    """What the wort's gravity comes to."""
    if found is None:
        return
    if "extract_as_is_share" in found:
        as_is, dry = 100.0 * found["extract_as_is_share"], 100.0 * found["extract_dry_share"]
        moist = f"at {100.0 * found['moisture_share']:.1f} % moisture"
        yield f"extract, Congress mash{whose}", f"{as_is:.1f} % as is, {dry:.1f} % dry, {moist}"
    if "isothermal_p" in found:
        per_kg = found["hot_water_extract_l_deg_per_kg"]
        yield f"hot water extract, 65 °C{whose}", f"{per_kg:.0f} L deg/kg; not to be set against a Congress extract"


def document(record: RunRecord) -> dict[str, Any] | None:
    """As the batch record has it; None of a mash that is no laboratory's."""
    between, found, held, bath = saccharification(record), sums(record), curve(record), beakers(record)
    if between is None and found is None and not held and not bath:
        return None
    more: dict[str, Any] = {"curve": [one._asdict() for one in held]}
    if bath:
        more |= {"beakers": bath, "fine_less_coarse_dry": fine_coarse(record)}
    return {"saccharification": between, **(found or {}), **more}
