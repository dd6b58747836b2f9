"""What was entered of a batch by people, what was filed at its start, and what of it is missing?

Entries come from the run itself and from lines that were added after it. Nothing is overwritten: all values of a key
stay, the newest stands last. What nobody entered is a gap and is named.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import takewhile
from typing import Any, NamedTuple

from controller.brewing import extract
from controller.core.nouns import Phase
from controller.core.procedure import entries
from controller.report.run_record import EventRecord, RunRecord

SHEET = ("moisture", "kolbach", "friability", "fine_coarse", "beta_glucan_mg_per_l", "extract", "limit_attenuation")
MOVED = (
    "pull",
    "returned",
    "add",
    "added",
    "water_in",
    "join",
    "joined",
    "addition_in",
)  # questions about what goes in and out
SETTLED = "settled"


class Entry(NamedTuple):
    """One value that somebody entered."""

    key: str
    value: Any
    unit: str
    by: str
    t_s: float | None  # of the run; None: entered after it
    at: float | None  # unix s of what was entered after the run
    beaker: int | None = None  # of a laboratory's bath


def entered(record: RunRecord) -> tuple[Entry, ...]:
    """Everything that was entered, oldest first."""
    found: list[Entry] = []
    for event in record.events:
        if event.kind == "entry":
            found += _entries(event.data, str(event.data.get("by", entries.NOBODY)), event.t_s, None)
    for line in record.added:
        if line.get("kind") == "entry":
            found += _entries(line.get("data") or {}, str(line.get("by", entries.NOBODY)), None, line.get("at"))
    return tuple(found)


def _entries(data: Any, by: str, t_s: float | None, at: float | None) -> Iterator[Entry]:
    taken = entries.taken(data)
    beaker = taken.pop("beaker", None)
    for key, value in taken.items():
        unit = entries.FIGURES[key].unit if key in entries.FIGURES else ""
        yield Entry(key, value, unit, by, t_s, at, None if beaker is None else int(beaker))


def items(record: RunRecord) -> list[dict[str, Any]]:
    """Each line that a batch record should hold, with all that was entered for it; `missing` where that is nothing.

    Of a run with water alone only what water has, and what was entered all the same.
    """
    known, found = entered(record), []
    for item in entries.ITEMS:
        values = [entry._asdict() for entry in known if entry.key in item.keys]
        if (item.water or (record.grist_kg > 0.0 and not item.lab)) or values:
            found.append({"title": item.title, "keys": list(item.keys), "values": values, "missing": not values})
    return found


def newest(record: RunRecord, key: str, beaker: int | None = None) -> Any:
    """The value of this key that holds, of this beaker where there are several; None where nobody entered one."""
    known = reversed(entered(record))
    return next((entry.value for entry in known if (entry.key, entry.beaker) == (key, beaker)), None)


def of(record: RunRecord, kind: str) -> list[EventRecord]:
    """The events of this kind."""
    return [event for event in record.events if event.kind == kind]


# ---------------------------------------------------------------- filed at the start


def advice(record: RunRecord) -> list[dict[str, Any]] | None:
    """The advice given at the start, with the reason where it was overruled; None: it was not filed then."""
    found = [{"rule": event.id, **event.data} for event in of(record, "advice")]
    return found if found or of(record, "calibration") else None  # calibration is always filed with it


def malt(record: RunRecord) -> list[dict[str, Any]] | None:
    """The grist as filed at the start; None where it was not."""
    return [dict(event.data) for event in of(record, "malt")] or None


def calibration(record: RunRecord) -> dict[str, Any] | None:
    """The calibration of each probe in force at the start; None where it was not filed."""
    return {event.id: dict(event.data) for event in of(record, "calibration")} or None


# ---------------------------------------------------------------- worked out


def strike(record: RunRecord) -> dict[str, float | None] | None:
    """Strike temperature as worked out and as it was when grain met it, °C; None without dough-in. A run that ended
    before it has none that was used."""
    if not record.planned or record.planned[0].kind != "dough_in":
        return None
    predicted_c = round(record.planned[0].target_c, 2)
    if not any(row.phase == Phase.ADDING or row.step > 0 for row in record.rows):
        return {"predicted_c": predicted_c, "used_c": None}
    before = takewhile(lambda row: row.phase not in (Phase.ADDING, Phase.SETTLING) and row.step <= 0, record.rows)
    used = [row.mash_c for row in before if row.mash_c is not None]
    return {"predicted_c": predicted_c, "used_c": used[-1] if used else None}


def dough_in(record: RunRecord) -> dict[str, float | None]:
    """When did dough-in begin, and when was all grain in? s of the run."""
    first = {event.id: event.t_s for event in reversed(of(record, "answer"))}
    return {"began_s": first.get("dough_in"), "grain_in_s": first.get("grain_in")}


def moved(record: RunRecord) -> list[EventRecord]:
    """Additions and decoctions as they were answered for."""
    liquor = [e for e in of(record, "answer") if e.id == SETTLED and "liquor" in str(e.data.get("answer", ""))]
    return sorted([*(e for e in of(record, "answer") if e.id in MOVED), *liquor], key=lambda event: event.t_s)


def extract_yield(record: RunRecord) -> dict[str, Any] | None:
    """Share of the grist's mass that is in the wort as extract, and of what the malt can give; None without final
    volume, gravity and grist."""
    volume_l, final_p = newest(record, "final_volume_l"), newest(record, "final_p")
    if volume_l is None or final_p is None or record.grist_kg <= 0.0:
        return None
    sheets = [
        extract.Sheet(str(line.get("kind")), float(line["mass_kg"]), line.get("extract"), line.get("moisture"))
        for line in malt(record) or []
    ]
    found = extract.brewhouse_yield(float(volume_l), float(final_p), record.grist_kg, sheets)
    return {
        "volume_l": volume_l,
        "final_p": final_p,
        "grist_kg": record.grist_kg,
        "share": round(found.share, 4),
        "possible_share": round(found.possible_share, 4),
        "possible_assumed": found.assumed,
        "of_possible_share": round(found.of_possible, 4),
        "question": found.question or None,
    }


def yield_words(found: dict[str, Any]) -> str:
    """The yield in a line, with what is odd about it."""
    usual = ", as is usual for pale malt" if found["possible_assumed"] else ", by the malt sheets"
    question = f"; {found['question']}" if found["question"] else ""
    of_possible = f"{100 * found['of_possible_share']:.0f} % of the {100 * found['possible_share']:.1f} % it can give"
    return f"{100 * found['share']:.1f} % of the grist, {of_possible}{usual}{question}"


def missing(record: RunRecord, initial_heat_c: float | None) -> list[str]:
    """What should be known of this batch and is not, in words."""
    found = [item["title"] for item in items(record) if item["missing"]]
    found += [*_missing_malt(record), *_missing_calibration(record)]
    if record.grist_kg > 0.0:
        times = dough_in(record)
        found += ["dough-in: time"] if None in times.values() else []
        found += ["initial heat"] if initial_heat_c is None else []
        found += [] if any(e.id == "iodine" for e in of(record, "answer")) else ["iodine result"]
        found += ["extract yield: needs volume and gravity of all the wort"] if extract_yield(record) is None else []
    found += ["advice given at the start"] if advice(record) is None else []
    return [*found, *([] if any(line.get("kind") == "signature" for line in record.added) else ["signature"])]


def _missing_malt(record: RunRecord) -> Iterator[str]:
    lots = malt(record)
    if lots is None:
        yield from ["malt lots"] if record.grist_kg > 0.0 else []
        return
    for line in lots:
        if not line.get("lot"):
            yield f"lot of {line.get('name')}"
        if all(line.get(key) is None for key in SHEET):
            yield f"analysis of {line.get('name')}"


def _missing_calibration(record: RunRecord) -> Iterator[str]:
    found = calibration(record)
    if found is None:
        yield "calibration in force"
        return
    for role, said in found.items():
        if said.get("calibrated_on") is None:
            yield f"calibration of the {role} probe"
        elif said.get("by") is None:
            yield f"a calibration of its own for the {role} probe"


# ---------------------------------------------------------------- for the page


class BatchLine(NamedTuple):
    """One line of the batch in words."""

    title: str
    text: str  # what holds; empty: a gap
    earlier: tuple[str, ...] = ()  # entered before, and corrected since


def lines(record: RunRecord) -> Sequence[BatchLine]:
    """Each item with the values that hold, in words, and the yield where it is known; of a value that was entered anew
    the earlier ones apart."""
    found, gained = [_told(item) for item in items(record)], extract_yield(record)
    return found if gained is None else [*found, BatchLine("extract yield", yield_words(gained))]


def _told(item: dict[str, Any]) -> BatchLine:
    newest = {(value["key"], value["beaker"]): value for value in item["values"]}
    earlier = [value for value in item["values"] if newest[value["key"], value["beaker"]] is not value]
    alone = item["title"] if len(item["keys"]) > 1 else None
    holds = "; ".join(_words(value, alone) for value in newest.values())
    return BatchLine(item["title"], holds, tuple(_words(value, alone) for value in earlier))


def _words(value: dict[str, Any], title: str | None) -> str:
    """A value with its unit and author; its own name only where the line's title does not say it."""
    key = value["key"]
    named = entries.FIGURES[key].title if key in entries.FIGURES else ""
    name = f"{named} " if named and title is not None and named != title else ""
    later = ", entered after the run" if value["t_s"] is None else ""
    beaker = "" if value["beaker"] is None else f"beaker {value['beaker']}: "
    return f"{beaker}{name}{entries.word(key, value['value'])} [{value['by']}{later}]"
