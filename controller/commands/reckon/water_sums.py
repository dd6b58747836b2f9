"""The sums of the liquor's salts and acids, and two that are told but never reckoned with."""

from __future__ import annotations

from collections.abc import Iterator

from controller.brewing import alkalinity
from controller.commands.reckon.sums import Answer, Input, Sum, Values, mass, share, volume
from controller.settings.table import Quantity

_PH = Quantity("number", 3.5, 7.5)
_MG = Quantity("concentration", 0, 2_000)


def _alkalinity(v: Values) -> Iterator[Answer]:
    residual = alkalinity.residual_meq_per_l(alkalinity.Liquor(v["calcium"], v["magnesium"], v["bicarbonate"]))
    yield Answer("residual alkalinity, mEq/L", "number", residual)
    yield Answer("residual alkalinity, °dH", "number", alkalinity.DH_PER_MEQ * residual)
    yield Answer("residual alkalinity, mg/L CaCO3", "number", alkalinity.CARBONATE_MG * residual)
    if "malt_ph" in v:
        low, high = alkalinity.mash_ph(v["malt_ph"], residual)
        yield Answer("mash pH from", "number", low, "pale and kilned malts; dark and sour ones lower it: no figure")
        yield Answer("mash pH to", "number", high)
    if "liquor" in v:
        meq = max(0.0, residual - v["wanted_residual"]) * v["liquor"]
        yield from _portion("acid for the liquor", meq, v["strength"])


def _portion(name: str, meq: float, strength: float) -> Iterator[Answer]:
    yield Answer(f"{name}, mEq", "number", meq)
    yield Answer(f"{name}, mL of lactic acid", "number", meq / alkalinity.lactic_meq_per_ml(strength))


def _acid(v: Values) -> Iterator[Answer]:
    least, most = alkalinity.mash_acid_meq(v["grist"], v["measured"] - v["wanted"])
    yield Answer("one mL of the acid gives, mEq", "number", alkalinity.lactic_meq_per_ml(v["strength"]))
    yield from _portion("first portion, then stir 5 min and measure", least, v["strength"])
    yield from _portion("without a new reading at most", most, v["strength"])


def _salt(v: Values) -> Iterator[Answer]:
    calcium = v["gypsum"] * alkalinity.GYPSUM["calcium"] + v["calcium_chloride"] * alkalinity.CHLORIDE["calcium"]
    mg_per_l = 1e6 / v["liquor"]
    yield Answer("calcium, mg/L more", "number", calcium * mg_per_l)
    yield Answer("sulfate, mg/L more", "number", v["gypsum"] * alkalinity.GYPSUM["sulfate"] * mg_per_l)
    yield Answer("chloride, mg/L more", "number", v["calcium_chloride"] * alkalinity.CHLORIDE["chloride"] * mg_per_l)
    change = alkalinity.residual_meq_per_l(alkalinity.Liquor(calcium * mg_per_l, 0.0, 0.0))
    yield Answer("residual alkalinity changes by, °dH", "number", alkalinity.DH_PER_MEQ * change)
    for name, ions in (("gypsum", alkalinity.GYPSUM), ("calcium chloride", alkalinity.CHLORIDE)):
        yield Answer(f"calcium in {name}, with its water", "share", ions["calcium"])


def _colour(v: Values) -> Iterator[Answer]:
    """Two published lines (quoted) differ by a third, so that a colour stays in the sheet's unit."""
    yield Answer("SRM by one line, EBC/1.97", "number", v["ebc"] / 1.97)
    yield Answer("°L by another, 0.375 EBC + 0.56", "number", 0.375 * v["ebc"] + 0.56, "so no figure is converted here")


_STRENGTH = share("strength", 0.80, note="of the lactic acid, by mass")

WATER = (
    Sum(
        "alkalinity",
        "What do the liquor's salts leave of its alkalinity, and which acid takes that away?",
        (
            *(Input(key, _MG, 0.0) for key in ("calcium", "magnesium", "bicarbonate")),
            Input("malt_ph", _PH, needed=False, note="mean of the malt sheets"),
            volume("liquor", needed=False),
            Input("wanted_residual", Quantity("number", -10, 10), 0.0, note="mEq/L"),
            _STRENGTH,
        ),
        _alkalinity,
        'calcium="60 mg/L" magnesium="10 mg/L" bicarbonate="200 mg/L" malt_ph=5.87 liquor="60 L"',
    ),
    Sum(
        "acid",
        "How much lactic acid lowers a measured mash pH?",
        (mass("grist"), Input("measured", _PH), Input("wanted", _PH), _STRENGTH),
        _acid,
        'grist="20 kg" measured=5.80 wanted=5.65',
    ),
    Sum(
        "salt",
        "What do gypsum and calcium chloride add?",
        (volume("liquor"), mass("gypsum", 0.0), mass("calcium_chloride", 0.0)),
        _salt,
        'liquor="60 L" gypsum="8 g"',
    ),
    Sum(
        "colour",
        "What would a malt's colour be in the other unit?",
        (Input("ebc", Quantity("number", 0, 2_000)),),
        _colour,
        "ebc=160",
    ),
)
