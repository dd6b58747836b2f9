"""What does the record of a laboratory mash say: saccharification time, extract, and how true the curve was?"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from controller.brewing import extract, wort
from controller.report import batch_entries
from controller.report.run_record import RunRecord


def saccharification(record: RunRecord) -> str | None:
    """The class of the saccharification time; None where no series was asked for."""
    found = [event for event in batch_entries.of(record, "note") if event.id == "saccharification"]
    return str(found[-1].data.get("class")) if found else None


def sums(record: RunRecord) -> dict[str, Any] | None:
    """Extract as is and dry by the Congress mash, hot water extract by the 65 °C mash; None where neither was entered.

    The malt's moisture is the mean by mass of the sheets filed, as usual where one is silent.
    """
    congress_p, isothermal_p = (batch_entries.newest(record, key) for key in ("congress_p", "isothermal_p"))
    if congress_p is None and isothermal_p is None:
        return None
    moisture = moisture_share(record)
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


def lines(record: RunRecord) -> Iterator[tuple[str, str]]:
    """Title and words of each line; none of a mash that is no laboratory's."""
    between, found = saccharification(record), sums(record)
    if between is not None:
        yield "saccharification time", between
    if found is None:
        return
    if "extract_as_is_share" in found:
        as_is, dry = 100.0 * found["extract_as_is_share"], 100.0 * found["extract_dry_share"]
        moist = f"at {100.0 * found['moisture_share']:.1f} % moisture"
        yield "extract, Congress mash", f"{as_is:.1f} % as is, {dry:.1f} % dry, {moist}"
    if "isothermal_p" in found:
        per_kg = found["hot_water_extract_l_deg_per_kg"]
        yield "hot water extract, 65 °C", f"{per_kg:.0f} L deg/kg; not to be set against a Congress extract"


def document(record: RunRecord) -> dict[str, Any] | None:
    """As the batch record has it; None of a mash that is no laboratory's."""
    between, found = saccharification(record), sums(record)
    return None if between is None and found is None else {"saccharification": between, **(found or {})}
