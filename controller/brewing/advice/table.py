"""Which rules does advice know?

One table: level, figures, what is said, why, what mends it, how sure, and the publication it rests on, if any. How much
of each publication was read, and what else a rule rests on, stands in a comment. A brewery may set level, figures and
texts of its own (see `advice.py`); rules that stop guard people and the vessel and stay as they are. Figures are soft:
temperatures good to 1 or 2 K, times to a fifth, unless the rule is arithmetic.
"""

from __future__ import annotations

from controller.brewing.advice.rule import (
    DATA,
    FEW_WHY,
    HEATER_MEND,
    IOB_1975,
    KUNZE,
    LATER_WHY,
    OWN,
    OXFORD,
    PRACTICE,
    THIN_WHY,
    Rule,
)
from controller.brewing.advice.step_rule_table import STEP_RULES

TUN_RULES = (
    Rule(
        "A1", "stop", {"fill_share": 0.95},
        "The mash needs {volume_l} L, {percent:.1f} % of the tun's {tun_l:g} L; at most {most_percent:g} %.",
        "It spills when stirred.",
        "Less grist, a thicker mash, or a smaller addition.",
        "arithmetic", "",  # grist x 0.67 L/kg + liquor; the share is common practice
    ),
    Rule(
        "A2", "stop", {},
        "{left_kg} kg would be over the heater {when}; at least {least_l:g} L must be.",
        "A heater that runs dry burns out, and may set fire.",
        "More liquor, or a smaller pull.",
        "arithmetic", "",
    ),
    Rule(
        "A3", "stop", {"under_cut_off_k": 2.0},
        "{where} asks for {target_c:.1f} °C; this tun allows {most_c:.1f} °C.",
        "The program would trip its own safety.",
        "A lower target; for strike liquor a thinner mash or warmer grist.",
        OWN, "",
    ),
    Rule(
        "A4", "stop", {},
        "{where} heats a mash that nothing stirs or pumps.",
        "It scorches at the heater, and the reading is false.",
        "Stir or pump while heating, or raise the mash by infusion or decoction.",
        PRACTICE, "",
    ),
    Rule(
        "A5", "warn", {"late_min": 5.0, "late_share": 0.05},
        "{where} climbs {real:.2f} K/min at this heater's power, not {wanted:.2f}; "
        "the mash takes {total_min:.1f} min, not {planned_min:.1f}.",
        "Slow rises are time in the enzymes' windows: the beer ends somewhat drier, and later, than on paper.",
        "Write the rise that the heater gives, use a smaller batch, or shorten the rest before.",
        "arithmetic", "",  # power = heat capacity x climb + loss; the least that is said: own proposal
        also=(LATER_WHY,),
    ),
    Rule(
        "A6", "note", {"climb_k_per_min": 1.0, "slack_share": 1.005},
        "{where} climbs {real:.2f} K/min; {limit:.2f} is the usual ceiling.",
        "The bed lags behind the wort, and the heater's surface may scorch.",
        "Limit the rise.",
        PRACTICE, "Evans and Brauer, BrewingScience 2024",  # abstract: the Congress mash climbs 1 K/min
    ),
    Rule(
        "A23", "warn", {"highest_c": 80.0, "under_boil_k": 3.0},
        "Strike liquor would have to be {strike_c:.1f} °C; water boils here at {boil_c:.1f} °C.",
        "The first grain in is scalded and its enzymes are lost.",
        "Warm the vessel first, thin the mash, or start warmer grain at a lower rest.",
        PRACTICE, "",
    ),
    Rule(
        "A33", "note", {"longest_days": 180.0},
        "{what}.",
        "Rests may run 1 to 3 K off without anybody seeing it.",
        "Check the probe in melting ice and in boiling water, with the pressure of the day or the altitude.",
        DATA, "IAPWS-IF97, ISO 2533, IEC 60751",
    ),
    Rule(
        "A34", "note", {},
        "{what}.",
        "The breaker trips in the middle of a mash.",
        "Let one wait for the other: mash before liquor.",
        "arithmetic", "", also=(HEATER_MEND,),
    ),
    Rule(
        "A39", "note", {"longest_min": 20.0, "kg_per_min": 2.0, "by_hand_kg": 50.0},
        "Mashing in {grist_kg:.4g} kg takes some {minutes:.0f} min by hand.",
        "The first grain waits with the lid open and cools, while the last is still dry.",
        "Take two people or an auger.",
        OWN, "",  # 5 to 15 min is common practice
    ),
    Rule(
        "A35", "warn", {},
        "Hot liquor is ready {late_min:.0f} min after the mash ends.",
        "The bed sits and cools while it waits.",
        "Start heating the liquor earlier, or keep the mash at mash-out.",
        "arithmetic", "",
    ),
)  # fmt: skip

GRIST_RULES = (
    Rule(
        "A9", "warn", {"kolbach": 0.35, "friability": 0.80, "fine_coarse": 0.018},
        "A single infusion with under-modified malt: Kolbach index {kolbach:.0f}, {second}.",
        "Poor yield, slow run-off and haze are likely.",
        "Use a program with lower rests, such as 50, 63, 72 °C, or better modified malt.",
        PRACTICE, f"{OXFORD}, temperature-programmed mash",  # limits: e-malt.com standard specifications
    ),
    Rule(
        "A10", "warn", {"kolbach": 0.40, "low_c": 45.5, "high_c": 55.0, "longest_min": 15.0},
        "The mash is {minutes:.0f} min between 45 and 55 °C, rises counted, with a Kolbach index of {kolbach:.0f}.",
        "Well-modified malt has its protein split already: risk of less foam.",
        "Leave the protein rest out, or keep it at 54 to 56 °C and 10 min at most.",
        PRACTICE, f"J. J. Palmer, How to Brew, ch. 14; {IOB_1975}",  # opening of the chapter seen
    ),
    Rule(
        "A11", "note", {"kolbach": 0.36, "low_c": 45.5, "high_c": 54.0, "least_min": 3.0},
        "A rest between 45 and 54 °C with a Kolbach index of {kolbach:.0f}.",
        "Such malt usually needs none.",
        "Mash in at the first starch rest.",
        PRACTICE, "",  # an encyclopaedia: 36..42 suits a single infusion; a forum: 40..48, no protein rest
    ),
    Rule(
        "A12", "warn", {"sticky_share": 0.175, "beta_glucan_mg_per_l": 190.0, "low_c": 38.0, "high_c": 50.0,
                        "least_min": 10.0, "thin_l_per_kg": 4.5, "rye_share": 0.30},
        "{cause} without a rest of {least:.0f} min between {low:.0f} and {high:.0f} °C, added enzyme or husk.",
        "Gums, beta-glucan and in rye mostly arabinoxylan, cement the fine grains: the bed sticks.",
        "Add a rest at 40 to 48 °C, husk, or enzyme, and thin the mash.",
        PRACTICE, f"{OXFORD}, stuck mash",  # mg/L: a maltster; least glucan when mashed in at 48: Kettunen 1996
    ),
    Rule(
        "A13", "warn", {"share": 0.0},
        "{percent:.0f} % of the grist is maize, rice or sorghum, neither flaked nor cooked apart.",
        "Their starch pastes at 62 to 78 °C by grain, mostly above where beta-amylase lives; alpha-amylase would work "
        "at 70 to 75 °C, but little is open for it.",
        "Cook it apart with some malt, or use flakes.",
        PRACTICE, "MEBAK R-100.07.283",  # and an Institute of Brewing textbook, second hand
    ),
    Rule(
        "A20", "warn", {"adjunct_share": 0.20},
        "{what}.",
        "Mash-out destroys the enzymes: starch that is left then stays in the beer as haze.",
        "Put mash-out last, behind a rest that ends by iodine.",
        PRACTICE, KUNZE,
    ),
    Rule(
        "A22", "warn", {"thinnest_l_per_kg": 5.5, "thickest_l_per_kg": 2.5, "sticky_l_per_kg": 3.0,
                        "rye_oats_share": 0.10},
        "{thickness:.2f} L/kg is {what}.",
        "A thick mash will not stir or pump.",
        "Take 3.0 to 3.5 L/kg where it is stirred, 3.0 to 4.0 where it is pumped, up to 4.5 with rye or oats.",
        PRACTICE, "", also=(THIN_WHY,),  # Managing mash thickness, byo.com (opening seen)
    ),
    Rule(
        "A31", "note", {"thinnest_l_per_kg": 4.5},
        "{where} thins the mash to {thickness:.2f} L/kg; {thinnest:g} at most.",
        "Each infusion thins and fills.",
        "Plan the first rest thicker.",
        "arithmetic", "",
    ),
    Rule(
        "A36", "note", {"base_share": 0.50, "least_lintner": 40.0, "ample_lintner": 60.0},
        "{what}.",
        "Whether the enzymes are enough is not known: conversion may be slow or stop short.",
        "More malt that converts itself, and let the last starch rest end by iodine.",
        PRACTICE, "", also=(FEW_WHY,),  # two pages of brewers: 40 °Lintner at least, 35 converts itself
    ),
    Rule(
        "A37", "note", {"highest_ph": 5.8, "lowest_ph": 5.1},
        "The expected mash pH is {ph:.2f} in a cooled sample; {lowest:.1f} to {highest:.1f} is wanted.",
        "Conversion and run-off suffer; a high pH draws harsh tannin.",
        "High: lactic or phosphoric acid in small steps. Low: chalk or bicarbonate, rarely needed.",
        PRACTICE, "Briggs et al., Brewing Science and Practice, 2004",  # second hand
    ),
)  # fmt: skip


RULES: tuple[Rule, ...] = tuple(
    sorted((*TUN_RULES, *GRIST_RULES, *STEP_RULES), key=lambda rule: (int(rule.id[1:].rstrip("b")), rule.id))
)
