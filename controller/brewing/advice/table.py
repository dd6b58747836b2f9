"""Which rules does advice know?

One table: level, figures, what is said, why, what mends it, how sure, and the publication it rests on, if any. How much
of each publication was read, and what else a rule rests on, stands in a comment. A brewery may set level, figures and
texts of its own (see `advice.py`); rules that stop guard people and the vessel and stay as they are. Figures are soft:
temperatures good to 1 or 2 K, times to a fifth, unless the rule is arithmetic.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal, NamedTuple

Level = Literal["stop", "warn", "note"]
Sure = Literal["arithmetic", "published data", "established practice", "our own estimate"]


class Rule(NamedTuple):
    """One rule. `what` has places for the figures found."""

    id: str
    level: Level
    figures: Mapping[str, float]  # units last in their names
    what: str
    why: str
    mend: str
    sure: Sure
    source: str  # publications that anybody can cite; empty where there is none


_KUNZE = "W. Kunze, Technology Brewing and Malting"  # second hand
_IOB_1975 = "J. Inst. Brew. 81(2) 96-104, 1975"  # abstract
_MULLER = "R. Muller, Brewing Research Foundation, 1990"  # second hand
_RITTENAUER = "Rittenauer et al., Foods 2021, 10, 1733"  # abstract
_OXFORD = "Oxford Companion to Beer, 2012"  # entries read
_PRACTICE: Sure = "established practice"  # handbooks and common practice of the trade
_DATA: Sure = "published data"
_OWN: Sure = "our own estimate"  # own proposal

TUN_RULES = (
    Rule(
        "A1", "stop", {"fill_share": 0.95},
        "The mash needs {volume_l:.1f} L, {percent:.1f} % of the tun's {tun_l:g} L; at most {most_percent:g} %.",
        "It spills when stirred.",
        "Less grist, a thicker mash, or a smaller addition.",
        "arithmetic", "",  # grist x 0.67 L/kg + liquor; the share is common practice
    ),
    Rule(
        "A2", "stop", {},
        "{left_kg:.1f} kg would be over the heater {when}; at least {least_l:g} L must be.",
        "A heater that runs dry burns out, and may set fire.",
        "More liquor, or a smaller pull.",
        "arithmetic", "",
    ),
    Rule(
        "A3", "stop", {"under_cut_off_k": 2.0},
        "{where} asks for {target_c:.1f} °C; this tun allows {most_c:.1f} °C.",
        "The program would trip its own safety.",
        "A lower target; for strike liquor a thinner mash or warmer grist.",
        _OWN, "",
    ),
    Rule(
        "A4", "stop", {},
        "{where} heats a mash that nothing stirs or pumps.",
        "It scorches at the heater, and the reading is false.",
        "Stir or pump while heating, or raise the mash by infusion or decoction.",
        _PRACTICE, "",
    ),
    Rule(
        "A5", "warn", {"late_min": 5.0, "late_share": 0.05},
        "{where} climbs {real:.2f} K/min at this heater's power, not {wanted:.2f}; "
        "the mash takes {total_min:.1f} min, not {planned_min:.1f}.",
        "Slow rises are time in the enzymes' windows: the beer ends drier and later than the program on paper.",
        "Write the rise that the heater gives, use a smaller batch, or shorten the rest before.",
        "arithmetic", "",  # power = heat capacity x climb + loss; the least that is said: own proposal
    ),
    Rule(
        "A6", "note", {"climb_k_per_min": 1.0, "slack_share": 1.005},
        "{where} climbs {real:.2f} K/min; {limit:.2f} is the usual ceiling.",
        "The bed lags behind the wort, and the heater's surface may scorch.",
        "Limit the rise.",
        _PRACTICE, "Evans and Brauer, BrewingScience 2024",  # abstract: the Congress mash climbs 1 K/min
    ),
    Rule(
        "A23", "warn", {"highest_c": 80.0, "under_boil_k": 3.0},
        "Strike liquor would have to be {strike_c:.1f} °C; water boils here at {boil_c:.1f} °C.",
        "The first grain in is scalded and its enzymes are lost.",
        "Warm the vessel first, thin the mash, or start warmer grain at a lower rest.",
        _PRACTICE, "",
    ),
    Rule(
        "A33", "note", {"longest_days": 180.0},
        "{what}.",
        "Rests may run 1 to 3 K off without anybody seeing it.",
        "Check the probe in melting ice and in boiling water, with the pressure of the day or the altitude.",
        _DATA, "IAPWS-IF97, ISO 2533, IEC 60751",
    ),
    Rule(
        "A34", "note", {},
        "{what}.",
        "The breaker trips in the middle of a mash.",
        "Let one wait for the other: mash before liquor.",
        "arithmetic", "",
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
        _PRACTICE, f"{_OXFORD}, temperature-programmed mash",  # limits: e-malt.com standard specifications
    ),
    Rule(
        "A10", "warn", {"kolbach": 0.40, "low_c": 45.5, "high_c": 55.0, "longest_min": 15.0},
        "The mash is {minutes:.0f} min between 45 and 55 °C, rises counted, with a Kolbach index of {kolbach:.0f}.",
        "Well-modified malt has its protein split already: risk of thinner body and foam.",
        "Leave the protein rest out, or keep it near 55 °C and short.",
        _PRACTICE, f"J. J. Palmer, How to Brew, ch. 14; {_IOB_1975}",  # opening of the chapter seen
    ),
    Rule(
        "A11", "note", {"kolbach": 0.36, "low_c": 45.5, "high_c": 55.0},
        "A rest between 45 and 55 °C with a Kolbach index of {kolbach:.0f}.",
        "Such malt usually needs none.",
        "Mash in at the first starch rest.",
        _PRACTICE, "",  # an encyclopaedia: 36..42 suits a single infusion; a forum: 40..48, no protein rest
    ),
    Rule(
        "A12", "warn", {"sticky_share": 0.175, "beta_glucan_mg_per_l": 190.0, "low_c": 38.0, "high_c": 48.0,
                        "least_min": 10.0},
        "{cause} without a rest of {least:.0f} min between {low:.0f} and {high:.0f} °C, added enzyme or husk.",
        "Gums, beta-glucan and in rye mostly arabinoxylan, cement the fine grains: the bed sticks.",
        "Add a rest at 40 to 45 °C, husk, or enzyme, and thin the mash.",
        _DATA, f"Kettunen et al., J. Food Eng. 29, 1996; {_OXFORD}, stuck mash",  # abstract; mg/L: a maltster
    ),
    Rule(
        "A13", "warn", {"share": 0.0},
        "{percent:.0f} % of the grist is maize, rice or sorghum, neither flaked nor cooked apart.",
        "Their starch stays locked until 70 to 78 °C, above what mash enzymes stand.",
        "Cook it apart with some malt, or use flakes.",
        _PRACTICE, "MEBAK R-100.07.283",  # and an Institute of Brewing textbook, second hand
    ),
    Rule(
        "A20", "warn", {"adjunct_share": 0.20},
        "{what}.",
        "Mash-out destroys the enzymes: starch that is left then stays in the beer as haze.",
        "Put mash-out last, behind a rest that ends by iodine.",
        _PRACTICE, _KUNZE,
    ),
    Rule(
        "A22", "warn", {"thinnest_l_per_kg": 5.0, "thickest_l_per_kg": 2.5, "sticky_l_per_kg": 3.0,
                        "rye_oats_share": 0.10},
        "{thickness:.2f} L/kg is {what}.",
        "A thick mash will not stir or pump; in a thin one enzymes are dilute and die sooner.",
        "Take 3.0 to 3.5 L/kg where it is stirred, 3.0 to 4.0 where it is pumped, up to 4.5 with rye or oats.",
        _PRACTICE, "",  # Managing mash thickness, byo.com (opening seen)
    ),
    Rule(
        "A31", "note", {"thinnest_l_per_kg": 4.5, "fill_share": 0.95},
        "{where} {what}.",
        "Each infusion thins and fills.",
        "Plan the first rest thicker.",
        "arithmetic", "",
    ),
    Rule(
        "A36", "note", {"base_share": 0.55},
        "Base malt is {percent:.0f} % of the grist, kilned malt counted half.",
        "Enzymes may be too few: conversion is slow or stops short.",
        "More base malt, and let the last starch rest end by iodine.",
        _PRACTICE, "",
    ),
    Rule(
        "A37", "note", {"highest_ph": 5.8, "lowest_ph": 5.1},
        "The expected mash pH is {ph:.2f} in a cooled sample; {lowest:.1f} to {highest:.1f} is wanted.",
        "Conversion and run-off suffer; a high pH draws harsh tannin.",
        "High: lactic or phosphoric acid in small steps. Low: chalk or bicarbonate, rarely needed.",
        _PRACTICE, "Briggs et al., Brewing Science and Practice, 2004",  # second hand
    ),
)  # fmt: skip

STEP_RULES = (
    Rule(
        "A7", "warn", {"high_c": 68.0, "high_min": 5.0, "starch_c": 60.0, "low_c": 66.0},
        "{where} is a low starch rest after {before}.",
        "Beta-amylase is already gone: the lower rest adds nothing.",
        "Put the rests in rising order.",
        _DATA, _MULLER,
    ),
    Rule(
        "A8", "warn", {"gone_c": 78.0},
        "{where} comes after {before}.",
        "The enzymes are gone; a rest does nothing any more.",
        "Put the rests in rising order, mash-out last.",
        _PRACTICE, _KUNZE,
    ),
    Rule(
        "A14", "warn", {"low_c": 60.0, "high_c": 73.0, "least_min": 20.0},
        "Rests between 60 and 72 °C last {minutes:.0f} min in all; at least {least:.0f} are wanted.",
        "Starch is not converted.",
        "Rest longer between 60 and 72 °C.",
        _PRACTICE, "",
    ),
    Rule(
        "A15", "warn", {"least_c": 61.5},
        "The warmest starch rest is {warmest_c:g} °C.",
        "Malt starch pastes fully only at 61 to 64.5 °C; what is not pasted is hardly converted.",
        "Rest at 62 °C or more, or add a rest near 72 °C.",
        _DATA, _RITTENAUER,
    ),
    Rule(
        "A16", "note", {"highest_c": 63.0, "least_l_per_kg": 3.0},
        "The only starch rest is {warmest_c:g} °C at {thickness:.2f} L/kg.",
        "Low and thick together leave extract behind.",
        "Thin the mash to 3 L/kg or more, or add a warmer rest.",
        _DATA, "Harris and MacWilliam, J. Inst. Brew. 1961",  # abstract
    ),
    Rule(
        "A17", "note", {"dry_c": 66.0, "low_c": 60.0, "high_c": 65.0, "longest_min": 20.0},
        "{what}.",
        "That works against the aim.",
        "For a dry beer start at 62 to 64 °C; for a full one go straight to 67 °C or more.",
        _PRACTICE, _MULLER,
    ),
    Rule(
        "A18", "note", {"low_c": 60.0, "high_c": 66.0, "least_min": 40.0},
        "The aim is dry, but the mash is only {minutes:.0f} min between 60 and 66 °C; {least:.0f} are wanted.",
        "Beta-amylase and limit dextrinase need time.",
        "Rest longer at 62 to 64 °C.",
        _PRACTICE, "Sissons, Taylor and Proudlove, J. ASBC 53, 1995",  # abstract
    ),
    Rule(
        "A19", "warn", {"highest_c": 78.0, "strong_c": 80.0},
        "{where} is above {highest:g} °C{more}.",
        "Late starch cannot be converted any more, and husks give off tannin, worse above pH 5.8.",
        "Mash out at 76 to 78 °C.",
        _PRACTICE, _KUNZE,
    ),
    Rule(
        "A21", "note", {"least_c": 74.0},
        "{where} is below {least:g} °C.",
        "The wort is thicker, and enzymes carry on in the run-off.",
        "Mash out at 76 to 78 °C.",
        _PRACTICE, f"{_OXFORD}, temperature-programmed mash",
    ),
    Rule(
        "A24", "note", {"splash_c": 55.0, "pale_c": 60.0},
        "Mashing in at {first_c:g} °C {what}.",
        "Lipoxygenase is active there and brings stale flavour later.",
        "Avoid splashing and long open stirring, or mash in at 60 °C or more.",
        _DATA, "Food Sci. Technol. (China) 2013, 10.13386/j.issn1002-0306.2013.09.068",  # abstract
    ),
    Rule(
        "A25", "note", {"least_min": 5.0},
        "{where} lasts {minutes:.1f} min; at least {least:.1f} are needed to settle.",
        "It will not be a rest.",
        "Rest longer, or leave it out.",
        _OWN, "",
    ),
    Rule(
        "A26", "note", {"least_k": 2.0},
        "{where} differs by {apart_k:.1f} K from the step before.",
        "A probe may be 0.3 to 0.6 K off: the two are hardly two.",
        "Make one rest of them, or set them further apart.",
        _DATA, "IEC 60751: class A 0.28 K, class B 0.63 K at 65 °C",
    ),
    Rule(
        "A27", "note", {"long_h": 3.0, "very_long_h": 5.0},
        "The mash takes {hours:.1f} h from dough-in.",
        "Flavour suffers, souring may begin, and the shift ends.",
        "Shorten rests, or raise the mash faster.",
        _PRACTICE, "",
    ),
    Rule(
        "A28", "warn", {"low_c": 30.0, "high_c": 50.0, "longest_min": 60.0},
        "The mash is {minutes:.0f} min between 30 and 50 °C and is not meant to sour.",
        "Lactic bacteria grow there.",
        "Shorten the low rests, or mark the step as souring.",
        _PRACTICE, "",  # M. Schwartz, mash temperature chart, citing Noonan 1996
    ),
    Rule(
        "A29", "warn", {"kill_c": 76.0},
        "{where} has no {missing}.",
        "Without them nobody knows when it is done, and contamination is carried on.",
        "Ask for pH every 6 to 12 h, set a latest end, and heat to 76 °C or more afterwards.",
        _PRACTICE, "",  # Milk the Funk wiki, Wort Souring (excerpt)
    ),
    Rule(
        "A30", "warn", {"pull_share": 0.40, "low_c": 45.0, "high_c": 55.0, "longest_min": 30.0, "kolbach": 0.38},
        "{where}: {what}.",
        "Enzymes are boiled away, or the rest of the mash has a long protein rest meanwhile.",
        "Pull less, keep the main mash at 62 °C or more meanwhile, or shorten the boil.",
        _PRACTICE, "",
    ),
    Rule(
        "A32", "warn", {},
        "{where} waits for a person{when}.",
        "The mash would wait for ever.",
        "Name who will be there, or let the step go on by time.",
        _OWN, "",
    ),
)  # fmt: skip

RULES: tuple[Rule, ...] = tuple(sorted((*TUN_RULES, *GRIST_RULES, *STEP_RULES), key=lambda rule: int(rule.id[1:])))
