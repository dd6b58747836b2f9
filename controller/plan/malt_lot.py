"""What does a maltster's certificate say of one lot?

`config/malts/LOT.toml`. A line of a program's grist that names the lot takes its figures from there, each that it does
not hold itself. What the arithmetic does not use is kept for the record.
"""

from collections.abc import Callable
from typing import Annotated, Any, Literal

from controller.brewing.extract import USUAL_MOISTURE
from controller.plan.recipe import GristKind, Name, Text
from controller.settings.table import Quantity, Table
from controller.settings.tun import Day

TAKEN = (  # what a grist line takes over, by key
    *("name", "kind", "flaked", "moisture", "extract", "fine_coarse", "kolbach", "friability", "beta_glucan"),
    *("diastatic_power", "limit_attenuation", "ph"),
)


class MaltLot(Table):
    """One lot: where it is from, and what its sheet says, in the sheet's own units."""

    name: Name
    kind: GristKind = "malt"
    flaked: bool = False
    maltster: Text = ""
    crop: Text = ""
    received: Day | None = None
    moisture: Annotated[float | None, Quantity("share", 0, 0.2)] = None
    extract: Annotated[float | None, Quantity("share", 0.3, 1)] = None  # Congress mash, fine grind
    basis: Literal["dry", "as is"] = "dry"  # of the extract; the two are never mixed
    mash: Literal["Congress", "65"] = "Congress"  # by which the sheet's wort was made; limits hold for the first alone
    fine_coarse: Annotated[float | None, Quantity("share", 0, 0.2)] = None
    kolbach: Annotated[float | None, Quantity("share", 0.15, 0.7)] = None
    friability: Annotated[float | None, Quantity("share", 0, 1)] = None
    beta_glucan_mg_per_l: Annotated[float | None, Quantity("concentration", 0, 2_000)] = None
    diastatic_power: Annotated[float | None, Quantity("diastatic power", 0, 400)] = None
    limit_attenuation: Annotated[float | None, Quantity("share", 0.4, 0.95)] = None
    ph: Annotated[float | None, Quantity("number", 5, 7)] = None  # of the Congress wort
    saccharification: Text = ""  # from here on record only
    viscosity: Text = ""
    fan: Text = ""
    colour: Text = ""  # EBC or °L: never converted, two published lines differ by a third


OF_THE_WORT = frozenset({"extract", "fine_coarse", "kolbach", "beta_glucan", "limit_attenuation", "ph"})

Sheet = tuple[MaltLot, dict[str, Any]]  # a lot, and its file as written: each value is read again in its place


def with_sheets(data: dict[str, Any], sheet_of: Callable[[str], Sheet | None]) -> dict[str, Any]:
    """The program's table with each grist line completed from the sheet of its lot, where it has one.

    Where both hold a figure and they differ, the program's counts, and its notes say so.
    """
    lines, notes = data.get("grist", []), data.get("notes", [])
    if not isinstance(lines, list) or not isinstance(notes, list):
        return data
    done, said = [], []
    for line in lines:
        lot = line.get("lot") if isinstance(line, dict) else None
        sheet = sheet_of(lot) if isinstance(lot, str) else None
        completed, differs = (line, []) if sheet is None else _completed(line, *sheet)
        done.append(completed)
        said += differs
    found = {"grist": done} if "grist" in data else {}
    return {**data, **found, **_beakers(data, sheet_of), **({"notes": [*notes, *said]} if said else {})}


def _beakers(data: dict[str, Any], sheet_of: Callable[[str], Sheet | None]) -> dict[str, Any]:
    """The beakers with the moisture of their lots' sheets."""
    if not isinstance(data.get("beaker"), list):
        return {}
    done = []
    for one in data["beaker"]:
        lot = one.get("lot") if isinstance(one, dict) else None
        sheet = sheet_of(lot) if isinstance(lot, str) and lot else None
        moist = {} if sheet is None or "moisture" not in sheet[1] else {"moisture": sheet[1]["moisture"]}
        done.append({**moist, **one} if moist else one)
    return {"beaker": done}


def _completed(line: dict[str, Any], lot: MaltLot, sheet: dict[str, Any]) -> tuple[dict[str, Any], list[str]]:
    """The grist line with what the sheet adds, and a sentence for each figure of its own that differs from it."""
    apart = OF_THE_WORT if lot.mash == "65" else frozenset()  # MEBAK: no reference value of one mash is the other's
    taken = {key: sheet[key] for key in TAKEN if key in sheet and key not in apart}
    if not apart and lot.basis == "as is" and lot.extract is not None:
        moisture = USUAL_MOISTURE if lot.moisture is None else lot.moisture
        taken["extract"] = f"{100.0 * lot.extract / (1.0 - moisture):.4f} %"
    own = [key for key in taken if key in line and key != "name" and line[key] != taken[key]]
    told = ", ".join(sorted(apart & sheet.keys()))
    left = [f"lot {line['lot']}: {told} of a 65 °C mash are not taken for a Congress mash's"] if told else []
    said = [f"lot {line['lot']}: {key} {line[key]} as the program has it, not {taken[key]} of the sheet" for key in own]
    return {**taken, **line}, left + said
