"""Where does each figure of the lesson come from?

By the constants of the model that it rests on, each with its own source in constants.py.
"""

from __future__ import annotations

from controller.brewing.kinetics.constants import CALIBRATED, PUBLISHED, SHARED
from controller.brewing.source import Source, Sources, of_constants


def _by(*names: str) -> Sources:
    return of_constants(SHARED[name] if name in SHARED else CALIBRATED[name] for name in names)


FIGURES: dict[str, Sources] = {
    "apparent limit": _by("k1_dextrin", "debranching"),
    "real limit": _by("real_per_apparent"),
    "range of the limit": (
        Source("calibrated", "spread of 24 refits, about 2 points to each side"),
        Source("published", "a model fitted to its own malt missed by up to 10 %: Koljonen et al. 1995, abstract"),
        Source("own proposal", "6 points at 60 to 68 °C, 10 at 70 to 75, from both and the gap to the second set"),
    ),
    "points of the limit": _by("k1_dextrin"),
    "extract": _by("release_lag", "wetting_lag"),
    "iodine": _by("coarse_lag", "iodine_starch"),
    "starch": _by("paste_low", "paste_low_energy", "paste_width", "small_share", "small_later"),
    "thickness": _by("paste_shift", "paste_reference"),
    "beta-amylase left": _by("beta_loss", "beta_loss_scale"),
    "alpha-amylase left": _by("alpha_loss", "alpha_loss_energy"),
    "limit dextrinase left": _by("debranching_half_life", "debranching_loss_energy"),
    "beta-glucanase left": _by("glucanase_half_life", "glucanase_loss_energy"),
    "protease left": _by("protease_half_life", "protease_loss_energy"),
    "another published set": of_constants(
        (PUBLISHED["k1_maltose"], PUBLISHED["beta_rise"], PUBLISHED["beta_per_alpha"])
    ),
    "path of a boiled part": (
        Source(
            "common practice",
            "assumed: a thick pull of 1.8 L/kg, a rest at 72 °C, the boil, a quarter of the time each",
        ),
    ),
}
