"""Which rules ask after the steps of a mash? Rests, ramps, additions and what they do to the beer."""

from __future__ import annotations

from controller.brewing.advice.rule import (
    ALPHA_GONE,
    DATA,
    DE_SCHEPPER,
    KUNZE,
    MULLER,
    OWN,
    OXFORD,
    PRACTICE,
    RITTENAUER,
    TANNIN_WHY,
    WAIT_MEND,
    Rule,
)

STEP_RULES = (
    Rule(
        "A7", "warn", {"high_c": 68.0, "high_min": 5.0, "starch_c": 60.0, "low_c": 66.0},
        "{where} is a low starch rest after {before}.",
        "Beta-amylase is already gone: the lower rest adds nothing.",
        "Put the rests in rising order.",
        DATA, MULLER,
    ),
    Rule(
        "A8", "warn", {"gone_c": 78.0},
        "{where} comes after {before}.",
        "The enzymes are gone; a rest does nothing any more.",
        "Put the rests in rising order, mash-out last.",
        PRACTICE, KUNZE,
    ),
    Rule(
        "A14", "warn", {"low_c": 60.0, "high_c": 73.0, "least_min": 20.0},
        "Rests between 60 and 72 °C last {minutes:.0f} min in all; at least {least:.0f} are wanted.",
        "Starch is not converted.",
        "Rest longer between 60 and 72 °C.",
        PRACTICE, "",
    ),
    Rule(
        "A15", "warn", {"least_c": 61.5},
        "The warmest starch rest is {warmest_c:g} °C.",
        "Malt starch pastes fully only at 61 to 64.5 °C; what is not pasted is hardly converted.",
        "Rest at 62 °C or more, or add a rest near 72 °C.",
        DATA, RITTENAUER,
    ),
    Rule(
        "A16", "note", {"highest_c": 63.0, "least_l_per_kg": 3.0},
        "The warmest starch rest is {warmest_c:g} °C, at {thickness:.2f} L/kg.",
        "Low and thick together leave extract behind.",
        "Thin the mash to 3 L/kg or more, or add a warmer rest.",
        DATA, "Harris and MacWilliam, J. Inst. Brew. 1961",  # abstract
    ),
    Rule(
        "A16b", "note", {"thickest_l_per_kg": 2.5},
        "The mash is {thickness:.2f} L/kg at its first starch rest; {thickest:g} and less is thick.",
        "Thick mashes give less sugar, 66 % at 1:2.5 where 1:6 gave 79 %: starch pastes about 1 K later for each "
        "2.5 g of extract in 100 g.",
        "Thin the mash to 3 L/kg or more, or end with a rest near 72 °C.",
        DATA, DE_SCHEPPER,
    ),
    Rule(
        "A17", "note", {"dry_c": 66.0, "low_c": 60.0, "high_c": 65.0, "longest_min": 20.0},
        "{what}.",
        "That works against the aim.",
        "For a dry beer start at 62 to 64 °C; for a full one go straight to 67 °C or more.",
        PRACTICE, MULLER,
    ),
    Rule(
        "A18", "note", {"low_c": 60.0, "high_c": 66.0, "least_min": 30.0},
        "The aim is dry, but the mash is only {minutes:.0f} min between 60 and 66 °C; {least:.0f} are wanted.",
        "Beta-amylase and limit dextrinase need time.",
        "Rest longer at 62 to 64 °C.",
        PRACTICE, "",  # Sissons et al. 1995, abstract, say it of limit dextrinase alone
    ),
    Rule(
        "A19", "warn", {"highest_c": 78.0, "strong_c": 79.0},
        "{where} is above {highest:g} °C{more}.",
        "Late starch cannot be converted any more, and husks give off tannin, worse above pH 5.8.",
        "Mash out at 76 to 78 °C.",
        PRACTICE, KUNZE, also=(TANNIN_WHY, ALPHA_GONE),
    ),
    Rule(
        "A21", "note", {"least_c": 74.0},
        "{where} is below {least:g} °C.",
        "The wort is thicker, and enzymes carry on in the run-off.",
        "Mash out at 76 to 78 °C.",
        PRACTICE, f"{OXFORD}, temperature-programmed mash",
    ),
    Rule(
        "A24", "note", {"splash_c": 55.0, "pale_c": 60.0},
        "Mashing in at {first_c:g} °C {what}.",
        "Lipoxygenase is active there and brings stale flavour later.",
        "Avoid splashing and long open stirring, or mash in at 60 °C or more.",
        DATA, "Food Sci. Technol. (China) 2013, 10.13386/j.issn1002-0306.2013.09.068",  # abstract
    ),
    Rule(
        "A25", "note", {"least_min": 5.0},
        "{where} lasts {minutes:.1f} min; at least {least:.1f} are needed to settle.",
        "It will not be a rest.",
        "Rest longer, or leave it out.",
        OWN, "",
    ),
    Rule(
        "A26", "note", {"least_k": 2.0},
        "{where} differs by {apart_k:.1f} K from the step before.",
        "A probe may be 0.3 to 0.6 K off: the two are hardly two.",
        "Make one rest of them, or set them further apart.",
        DATA, "IEC 60751: class A 0.28 K, class B 0.63 K at 65 °C",
    ),
    Rule(
        "A27", "note", {"long_h": 3.0, "very_long_h": 5.0},
        "The mash takes {hours:.1f} h from dough-in.",
        "Flavour suffers, souring may begin, and the shift ends.",
        "Shorten rests, or raise the mash faster.",
        PRACTICE, "",
    ),
    Rule(
        "A28", "warn", {"low_c": 30.0, "high_c": 50.0, "longest_min": 60.0},
        "The mash is {minutes:.0f} min between 30 and 50 °C and is not meant to sour.",
        "Lactic bacteria grow there.",
        "Shorten the low rests, or mark the step as souring.",
        PRACTICE, "",  # M. Schwartz, mash temperature chart, citing Noonan 1996
    ),
    Rule(
        "A29", "warn", {"kill_c": 76.0},
        "{where} has no {missing}.",
        "Without them nobody knows when it is done, and contamination is carried on.",
        "Ask for pH every 6 to 12 h, set a latest end, and heat to 76 °C or more afterwards.",
        PRACTICE, "",  # Milk the Funk wiki, Wort Souring (excerpt)
    ),
    Rule(
        "A30", "warn", {"liquor_share": 0.35, "low_c": 45.0, "high_c": 55.0, "longest_min": 30.0, "kolbach": 0.38},
        "{where}: {what}.",
        "Enzymes are boiled away, or the rest of the mash has a long protein rest meanwhile.",
        "Pull less or thicker, or shorten the boil.",
        PRACTICE, "", also=(WAIT_MEND,),
    ),
    Rule(
        "A32", "warn", {},
        "{where} waits for a person{when}.",
        "The mash would wait for ever.",
        "Name who will be there, or let the step go on by time.",
        OWN, "",
    ),
    Rule(
        "A38", "warn", {"longest_min": 60.0, "sours_below_c": 50.0},
        "{where} begins once the tun has cooled by itself from {from_c:g} °C, which takes {hours:.1f} h.",
        "A tun has no cooling: a lower temperature after a higher one is likely a slip.",
        "Put the temperatures in rising order, or cool with cold liquor or a coil.",
        "arithmetic", "",
    ),
)  # fmt: skip
