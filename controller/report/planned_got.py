"""What was planned of liquor and wort, what was got, and whether a shortfall is the mash's or the lautering's?

Conversion asks whether the extract is dissolved, the lauter yield whether it came out; their product is the extract in
the kettle over what the sheets promise (mass balance, Congress extract of the malt as it is).
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, NamedTuple

from controller.brewing import extract, volumes, wort
from controller.core.procedure import ph_word
from controller.report import batch_entries, laboratory
from controller.report.run_record import RunRecord
from controller.settings.table import show

LOW_SHARE = 0.05  # so much under what was planned is said (own proposal)
ROOM_C = 20.0


class Row(NamedTuple):
    """One figure as planned and as measured; None where it is not known. In base units."""

    title: str
    kind: str  # of quantity
    planned: float | None
    got: float | None

    def words(self) -> str:
        """In a line."""
        planned = "not planned" if self.planned is None else f"planned {_told(self.kind, self.planned)}"
        return f"{_told(self.kind, self.got)}, {planned}" if self.got is not None else planned


def _told(kind: str, value: float | None) -> str:
    if value is None:
        return "-"
    if kind == "gravity":
        return f"{value:.1f} °P"
    if kind == "share":
        return f"{100.0 * value:.1f} %"
    return show("volume" if kind == "volume" else "mass", round(value, 1))


def rows(record: RunRecord) -> list[Row]:
    """Each figure that was measured beside its plan; empty of a run with water alone, or where nothing was measured."""
    if record.grist_kg <= 0.0:
        return []
    plan = expected(record)
    measured = _measured(record)
    kinds = {
        "liquor in the tun": ("mass", "liquor_kg"),
        "first wort": ("gravity", "first_wort_p"),
        "conversion": ("share", "conversion_share"),
        "wort in the kettle": ("volume", "kettle_l"),
        "gravity in the kettle": ("gravity", "kettle_p"),
        "lauter yield": ("share", "lauter_share"),
        "extract in the kettle": ("mass", "extract_kg"),
    }
    found = [Row(title, kind, plan.get(key), measured.get(key)) for title, (kind, key) in kinds.items()]
    return [row for row in found if row.got is not None]


def expected(record: RunRecord) -> dict[str, float]:
    """What was filed at the start of what is to be got; of an older run the liquor alone."""
    filed = batch_entries.of(record, "expected")
    known = {} if record.liquor_kg is None else {"liquor_kg": float(record.liquor_kg)}
    return {**known, **({} if not filed else {key: float(value) for key, value in filed[-1].data.items() if value})}


def _measured(record: RunRecord) -> dict[str, float]:
    """What was measured, and what follows from it."""
    newest: dict[str, Any] = {
        key: batch_entries.newest(record, key)
        for key in ("liquor_volume_l", "liquor_at_c", "first_wort_p", "final_volume_l", "final_p")
    }
    known = {key: float(value) for key, value in newest.items() if value is not None}
    found: dict[str, float] = {}
    if "liquor_volume_l" in known:
        found["liquor_kg"] = volumes.liquor_kg(known["liquor_volume_l"], known.get("liquor_at_c", ROOM_C))
    if "first_wort_p" in known:
        found["first_wort_p"] = known["first_wort_p"]
        liquor_kg = found.get("liquor_kg", record.liquor_kg or 0.0) + expected(record).get("added_kg", 0.0)
        moisture, malt = laboratory.moisture_share(record), _extract_share(record)
        thick = liquor_kg / grist_kg(record)
        found["conversion_share"] = wort.conversion_share(known["first_wort_p"], thick, moisture, malt)
    if "final_volume_l" in known and "final_p" in known:
        litres, strong_p = known["final_volume_l"], known["final_p"]
        share = wort.brewhouse_yield_share(litres, wort.gravity(strong_p), grist_kg(record))
        found |= {"kettle_l": litres, "kettle_p": strong_p, "extract_kg": share * grist_kg(record)}
        if "conversion_share" in found:
            found["lauter_share"] = share / _extract_share(record) / found["conversion_share"]
    return found


def grist_kg(record: RunRecord) -> float:
    """How much grain was there, a cooker's with it?"""
    return sum(float(line["mass_kg"]) for line in batch_entries.malt(record) or []) or record.grist_kg


def _extract_share(record: RunRecord) -> float:
    """What can the malt give, as is, by the sheets filed; as usual where one is silent?"""
    lines = batch_entries.malt(record) or []
    sheets = [
        extract.Sheet(str(line.get("kind")), float(line["mass_kg"]), line.get("extract"), line.get("moisture"))
        for line in lines
    ]
    promised = extract.promise(sheets)
    return extract.USUAL_EXTRACT if promised is None else promised.extract_share


def verdict(found: list[Row]) -> str:
    """Is what falls short the mash's or the lautering's? Empty where neither does."""
    short = {row.title for row in found if row.planned and row.got is not None and row.got < row.planned - LOW_SHARE}
    if "conversion" in short:
        return "the first wort is thin: that is a matter of the mash"
    return (
        "the mash is converted, the wort stayed in the grain: a matter of lautering" if "lauter yield" in short else ""
    )


def lines(record: RunRecord) -> Iterator[tuple[str, str]]:
    """Title and words of each line."""
    found = rows(record)
    for row in found:
        yield f"{row.title}, planned and got", row.words()
    if said := verdict(found):
        yield "what fell short", said
    runnings_p = batch_entries.newest(record, "last_runnings_p")
    if runnings_p is not None and (over := ph_word.end_of_collecting(float(runnings_p), None, None)):
        yield "last runnings", over


def document(record: RunRecord) -> list[dict[str, Any]]:
    """As the batch record has it."""
    return [row._asdict() for row in rows(record)]
