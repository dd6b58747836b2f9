"""Forty recipes of many styles on several tuns, and what each may be warned of, with the reason in a line."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from types import MappingProxyType
from typing import Any, NamedTuple

from controller.edge.files import config_files
from controller.plan.plan import Plan, make
from controller.plan.recipe import Grist, Program
from controller.settings.tun import Tun
from tests.places import CONFIG

SHEETS: dict[str, dict[str, Any]] = {
    "pale": {"kind": "malt", "kolbach": 0.42, "friability": 0.89, "fine_coarse": 0.011, "diastatic_power": 85.0},
    "pils": {"kind": "malt", "kolbach": 0.39, "friability": 0.85, "fine_coarse": 0.014, "diastatic_power": 100.0},
    "floor": {"kind": "malt", "kolbach": 0.34, "friability": 0.76, "fine_coarse": 0.020},
    "plain": {"kind": "malt"},
    "munich": {"kind": "kilned malt"},
    "wheat": {"kind": "wheat malt", "diastatic_power": 90.0},
    "rye": {"kind": "rye malt"},
    "crystal": {"kind": "caramel malt"},
    "black": {"kind": "roasted malt"},
    "acid": {"kind": "sour malt"},
    "oats": {"kind": "oats", "flaked": True},
    "barley": {"kind": "barley", "flaked": True},
    "raw wheat": {"kind": "wheat"},
    "maize": {"kind": "maize"},
    "corn flakes": {"kind": "maize", "flaked": True},
    "rice flakes": {"kind": "rice", "flaked": True},
    "sorghum": {"kind": "sorghum"},
    "husk": {"kind": "husk"},
    "sugar": {"kind": "sugar"},
}
TUNS: dict[str, tuple[str, dict[str, Any]]] = {
    "gannet": ("gannet", {}),
    "plover": ("plover", {}),
    "insulated tub": ("gannet", {"mixing": "none", "loss_w_per_k": 2.0, "min_liquor_l": 1.0}),
    "weak plate": ("gannet", {"heater": {"power_w": 1800.0}}),
    "brewery": (
        "gannet",
        {"volume_l": 800.0, "metal_j_per_k": 90e3, "heater": {"power_w": 60e3}, "supply_limit_w": 80e3},
    ),
    "shed": ("gannet", {"volume_l": 250.0, "heater": {"power_w": 12e3}, "supply_limit_w": 15e3}),
    "mountain": ("plover", {"altitude_m": 2200.0}),
}
Warned = dict[str, str]


class Recipe(NamedTuple):
    """A beer: its tun, grist in kg, liquor in kg, steps, and what may be said of it."""

    style: str
    tun: str
    grist: str
    liquor_kg: float
    steps: str
    warned: Warned
    more: Mapping[str, Any] = MappingProxyType({})


def _step(word: str) -> dict[str, Any]:
    """`66/60` is a rest, `72/20i` one that ends by iodine; out, inf, dec, sour and keep go before."""
    kind, _, rest = word.rpartition(" ")
    celsius, _, minutes = rest.partition("/")
    kinds = {"": "rest", "out": "mash_out", "inf": "infusion", "dec": "decoction", "sour": "souring", "keep": "keep"}
    step: dict[str, Any] = {"kind": kinds[kind], "name": word, "temperature_c": float(celsius)}
    if kind == "dec":
        return {**step, "away_s": 60.0 * float(minutes)}
    if kind == "sour":
        step["ph_every_s"] = 8 * 3600.0
    if minutes:
        step["time_s"] = 60.0 * float(minutes.rstrip("i"))
    return {**step, "by": "iodine"} if minutes.endswith("i") else step


def _grain(word: str) -> Grist:
    kg, _, name = word.strip().partition(" ")
    return Grist(name=name, mass_kg=float(kg), **SHEETS[name])


@cache
def _tun(name: str) -> Tun:
    shipped, changes = TUNS[name]
    tun = config_files.settings(CONFIG, shipped).tun
    heater = tun.heater.model_copy(update=changes.get("heater", {}))
    return tun.model_copy(update={**changes, "heater": heater})


def planned(recipe: Recipe) -> Plan:
    """The recipe as `check` plans it."""
    data = {
        "title": recipe.style,
        "grist": tuple(_grain(word) for word in recipe.grist.split(",")),
        "liquor": {"mass_kg": recipe.liquor_kg, "temperature_c": 12.0},
        "step": tuple(_step(word.strip()) for word in recipe.steps.split(",")),
        **recipe.more,
    }
    return make(Program.model_validate(data), _tun(recipe.tun))


# What each rule warns of: nobody is warned twice of one.
CAUSES = {
    "A1": "too full", "A2": "heater bare", "A3": "over the limit", "A4": "nothing moves it", "A5": "slow rise",
    "A6": "fast rise", "A7": "falling rests", "A8": "rest after the end", "A9": "modification", "A10": "protein rest",
    "A11": "protein rest", "A12": "gums", "A13": "locked starch", "A14": "too short", "A15": "too cool",
    "A16": "too cool", "A16b": "too thick", "A17": "against the aim", "A18": "against the aim", "A19": "hot end",
    "A20": "starch not tested", "A21": "cool end", "A22": "thickness", "A23": "strike", "A24": "staling",
    "A25": "too short", "A26": "rests too close", "A27": "very long", "A28": "sours", "A29": "souring left open",
    "A30": "boiled enzymes", "A31": "thinned", "A32": "nobody there", "A33": "probe", "A34": "supply",
    "A35": "hot liquor", "A36": "few enzymes", "A37": "acidity", "A38": "falling rests", "A39": "mashing in",
}  # fmt: skip


RECIPES = (
    Recipe("pale ale", "plover", "5 pale", 15, "66/60, out 77/10", {}),
    Recipe(
        "best bitter",
        "insulated tub",
        "18 pale, 1 crystal",
        47.5,
        "66.5/75",
        {"A16b": "2.5 kg/kg is where sugar yield is known to suffer; ordinary, so a note"},
    ),
    Recipe("mild", "plover", "4 pale, 0.5 crystal, 0.2 black", 14, "68/60, out 76/10", {}, {"aim": "full"}),
    Recipe("porter", "gannet", "16 pale, 2 crystal, 1.5 black", 58, "67/60, out 77/10", {}),
    Recipe(
        "dry stout",
        "plover",
        "3.5 pale, 1 barley, 0.5 black",
        16,
        "64/75, 72/10, out 77/10",
        {
            "A12": "a fifth is flaked barley, rich in beta-glucan, and nothing is done about it",
            "A36": "59 °Lintner is enough, but not ample",
        },
        {"aim": "dry"},
    ),
    Recipe("oatmeal stout", "plover", "4.2 pale, 0.5 oats, 0.4 black", 16.5, "67/60, out 77/10", {}),
    Recipe("imperial stout", "gannet", "24 pale, 2 crystal, 2 black", 72, "65/75, out 76/10", {}),
    Recipe(
        "barley wine",
        "gannet",
        "30 pale, 1 crystal",
        62,
        "65/90, out 76/10",
        {"A22": "2.1 L/kg does not move under a stirrer"},
    ),
    Recipe("pilsner", "gannet", "19 pils", 66, "63/40, 72/30, out 78/5", {}, {"aim": "dry"}),
    Recipe("pilsner, floor malt", "gannet", "19 floor", 64, "52/10, 63/40, 72/30i, out 78/5", {}),
    Recipe(
        "floor malt, one rest",
        "plover",
        "5 floor",
        16,
        "66/60, out 77/10",
        {"A9": "Kolbach 34, friability 76 and fine-coarse 2.0 want lower rests"},
    ),
    Recipe(
        "bohemian, two decoctions", "gannet", "18 floor", 60, "52/15, dec 63/30, 63/30, dec 72/25, 72/20, out 77/5", {}
    ),
    Recipe("helles", "gannet", "18 pils, 0.6 acid", 62, "62/30, 67/20, 72/15, out 78/5", {}),
    Recipe("munich dark", "gannet", "19 munich", 64, "63/30, 72/30i, out 77/5", {}),
    Recipe("marzen", "gannet", "10 munich, 10 pils", 66, "64/45, 72/20, out 77/5", {}),
    Recipe(
        "bock",
        "gannet",
        "18 munich, 8 pils",
        72,
        "65/45, 72/20, out 77/5",
        {"A17": "45 min at 65 °C make a dry wort, and full was asked for"},
        {"aim": "full"},
    ),
    Recipe("smoked lager", "plover", "5 plain", 17, "63/30, 72/30, out 77/10", {}),
    Recipe("wheat beer", "gannet", "10 wheat, 9 pils", 67, "45/15, 63/30, 72/20, out 78/5", {}),
    Recipe(
        "wheat beer, protein rest",
        "gannet",
        "10 wheat, 9 pale",
        67,
        "50/20, 63/30, 72/20, out 78/5",
        {"A10": "20 min at 50 °C on malt of Kolbach 42 cost foam"},
    ),
    Recipe(
        "white beer",
        "plover",
        "2.5 pils, 2.2 raw wheat, 0.3 oats",
        18,
        "45/15, 64/45, 72/20i, out 77/10",
        {"A36": "48 °Lintner is enough, but not ample"},
    ),
    Recipe(
        "white beer, one rest",
        "plover",
        "2.5 pils, 2.2 raw wheat, 0.3 oats",
        18,
        "66/60, out 77/10",
        {
            "A12": "half is raw wheat and oats, and no gum rest",
            "A20": "its starch is not tested before mash-out ends the enzymes",
            "A36": "48 °Lintner is enough, but not ample",
        },
    ),
    Recipe("rhenish pale", "plover", "4.6 pils, 0.4 wheat", 16, "63/45, 70/20, out 77/10", {}, {"aim": "dry"}),
    Recipe("rhenish copper", "plover", "3 pils, 2 munich, 0.1 black", 16, "64/45, 72/20, out 77/10", {}),
    Recipe("saison", "plover", "4.5 pils, 0.5 wheat", 16, "62/60, 68/20, out 76/10", {}, {"aim": "dry"}),
    Recipe("tripel", "plover", "5.5 pils, 0.9 sugar", 17.5, "63/60, 72/15, out 77/10", {}, {"aim": "dry"}),
    Recipe("dubbel", "plover", "5 pils, 0.6 munich, 0.4 crystal", 18, "64/60, 72/15, out 77/10", {}),
    Recipe("rye ale", "plover", "3.8 pale, 1.6 rye", 19, "42/20, 65/50, 72/15i, out 77/10", {}),
    Recipe(
        "rye ale, one rest",
        "plover",
        "3.8 pale, 1.6 rye",
        19,
        "66/60, out 77/10",
        {"A12": "a third is rye, and no gum rest, husk or enzyme"},
    ),
    Recipe(
        "hazy pale ale",
        "plover",
        "3.8 pale, 1.2 oats",
        17,
        "68/60, out 77/10",
        {"A12": "a quarter is oats, and no gum rest, husk or enzyme"},
        {"aim": "full"},
    ),
    Recipe("maize lager", "plover", "3.5 pils, 1 corn flakes", 15, "63/40, 70/20, out 77/10", {}),
    Recipe(
        "maize grits as they are",
        "plover",
        "3.5 pils, 1.2 maize",
        15,
        "63/40, 70/20, out 77/10",
        {"A13": "grits paste above mash temperature"},
    ),
    Recipe(
        "maize grits cooked", "plover", "3.5 pils, 1.2 maize", 15, "63/40, 70/20i, out 77/10", {}, {"cereal_mash": True}
    ),
    Recipe("rice lager", "plover", "3.4 pils, 1.2 rice flakes", 15, "63/45, 72/15, out 77/10", {}, {"aim": "dry"}),
    Recipe(
        "sorghum with enzyme", "plover", "4.5 sorghum, 0.3 husk", 16, "66/90i, out 77/10", {}, {"starch_enzyme": True}
    ),
    Recipe(
        "mostly caramel",
        "plover",
        "2 plain, 3 crystal",
        16,
        "66/60, out 77/10",
        {"A36": "two fifths are left to convert all of it, and no sheet says how strong they are"},
    ),
    Recipe("small beer", "plover", "3 pale", 18, "67/45, out 77/10", {"A22": "6 L/kg dilutes the enzymes; a note"}),
    Recipe(
        "stepped by infusion",
        "insulated tub",
        "14 pils",
        32,
        "52/5, inf 64, 64/40, inf 72, 72/20",
        {"A11": "pale malt of Kolbach 39 needs no rest at 52 °C", "A31": "two infusions thin it past 4.5 L/kg"},
    ),
    Recipe(
        "sour wheat",
        "gannet",
        "9 wheat, 9 pils",
        66,
        "65/60, sour 44/1440, keep 77/20",
        {"A38": "the tun takes hours to cool to 44 °C by itself; a note, for it is meant"},
    ),
    Recipe("brewery pale", "brewery", "120 pale", 380, "66/60, out 77/10", {}),
    Recipe(
        "by hand",
        "shed",
        "46 pale",
        150,
        "66/60, out 77/10",
        {"A39": "46 kg by hand take 23 min while the lid is open"},
    ),
    Recipe(
        "slow plate",
        "weak plate",
        "20 pils",
        64,
        "52/5, 63/40, 72/20, out 77/10",
        {
            "A5": "1.8 kW lifts it at a third of the rise that is planned on",
            "A11": "pale malt of Kolbach 39 needs no rest at 52 °C",
        },
    ),
    Recipe(
        "swapped digits",
        "plover",
        "5 pale",
        16,
        "66/60, 72/15, out 67/10",
        {"A38": "67 after 72 °C is 76 written backwards: the mash would wait for hours"},
    ),
    Recipe(
        "on a mountain",
        "mountain",
        "5 pale",
        16,
        "66/60, out 77/10",
        {"A37": "pH 5.9 is over 5.8"},
        {"liquor": {"mass_kg": 16.0, "temperature_c": 12.0, "expected_ph": 5.9}},
    ),
)
