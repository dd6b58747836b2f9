"""What does the water's sheet say, what is dosed into the liquor, and which pH will the mash have?

The pH is a band round the middle of what Kolbach's rule gives with the malt sheets' Congress worts, and is told only
where pale and kilned malts make the grist; what is measured, or written as `expected_ph`, stands above it.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from controller.brewing import alkalinity
from controller.plan.recipe import Program

LIGHT = frozenset({"malt", "wheat malt", "rye malt", "oat malt", "kilned malt"})
PALE = LIGHT - {"kilned malt"}
MOSTLY = 0.9  # of the grist, whose sheets give a pH (own proposal)
ASSUMED_PH, BAND, BAND_ASSUMED = 5.8, 0.15, 0.2  # of pale malt without a sheet; half widths (own proposals)
NO_FIGURE = "no figure for the mash's pH: dark and sour malts lower it, or a sheet does not say"


class Expected(NamedTuple):
    """What comes of water, salts and acid."""

    untreated_dh: float  # residual alkalinity
    residual_dh: float  # with salts and acid in
    ph: tuple[float, float, float] | None  # middle, low, high; None: no figure


def expected(program: Program, liquor_kg: float) -> Expected | None:
    """Residual alkalinity of the liquor, and the mash's pH where it can be told; None without a water sheet."""
    if program.water is None:
        return None
    untreated = alkalinity.residual_meq_per_l(program.water.ions)
    calcium_mg = sum(1e6 * salt.mass_kg * salt.ions["calcium"] for salt in program.salt) / liquor_kg
    residual = untreated + alkalinity.residual_meq_per_l(alkalinity.Liquor(calcium_mg, 0.0, 0.0))
    acid_meq = sum(1e3 * acid.volume_l * alkalinity.lactic_meq_per_ml(acid.strength) for acid in program.acid)
    residual -= acid_meq / liquor_kg
    dh = alkalinity.DH_PER_MEQ
    return Expected(dh * untreated, round(dh * residual, 1) + 0.0, _ph(program, residual))


def _ph(program: Program, residual_meq: float) -> tuple[float, float, float] | None:
    """Middle and ends of the band."""
    total_kg = program.grist_kg
    known = [(line.mass_kg, line.ph) for line in program.grist if line.kind in LIGHT and line.ph is not None]
    known_kg = sum(kg for kg, _ in known)
    if total_kg > 0.0 and known_kg >= MOSTLY * total_kg:
        sheet_ph, half = sum(kg * ph for kg, ph in known) / known_kg, BAND
    elif program.grist and not known and all(line.kind in PALE for line in program.grist):
        sheet_ph, half = ASSUMED_PH, BAND_ASSUMED
    else:
        return None
    middle = sum(alkalinity.mash_ph(sheet_ph, residual_meq)) / 2.0
    return middle, middle - half, middle + half


def lines(program: Program, liquor_kg: float) -> Iterator[str]:
    """What is told of it."""
    for salt in program.salt:
        ions = (f"{ion} +{1e6 * salt.mass_kg * share / liquor_kg:.0f} mg/L" for ion, share in salt.ions.items())
        yield f"add {1000.0 * salt.mass_kg:g} g of {salt.name}: {', '.join(ions)}"
    for acid in program.acid:
        yield f"add {1000.0 * acid.volume_l:g} mL of lactic acid, {100.0 * acid.strength:g} %"
    found = expected(program, liquor_kg)
    if found is None:
        return
    then = f", {found.residual_dh:.1f} °dH with what is added" if program.salt or program.acid else ""
    yield f"residual alkalinity {found.untreated_dh:.1f} °dH{then}"
    if not program.grist or program.liquor.expected_ph is not None:
        return
    if found.ph is None:
        yield NO_FIGURE
        return
    middle, low, high = found.ph
    yield f"the mash's pH will be some {middle:.1f} ({low:.1f} to {high:.1f}); measure it"
