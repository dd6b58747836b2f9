"""What is one rule of the advice, and how sure can it be?"""

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
    also: tuple[str, ...] = ()  # what is said instead of `why` or `mend`, or besides, in one of its cases


KUNZE = "W. Kunze, Technology Brewing and Malting"  # second hand


IOB_1975 = "J. Inst. Brew. 81(2) 96-104, 1975"  # abstract


MULLER = "R. Muller, Brewing Research Foundation, 1990"  # second hand


RITTENAUER = "Rittenauer et al., Foods 2021, 10, 1733"  # abstract


DE_SCHEPPER = "De Schepper and Courtin, Food Hydrocolloids 2022, 107745"  # abstract


OXFORD = "Oxford Companion to Beer, 2012"  # entries read


THIN_WHY = "Enzymes are dilute and die sooner, and there is less left to sparge with."
LATER_WHY = "The mash ends later than on paper; the enzymes of dryness are gone by then."
FEW_WHY = "Few enzymes: conversion is slow or stops short."
TANNIN_WHY = "Husks give off tannin, worse above pH 5.8."
ALPHA_GONE = "at 80 °C alpha-amylase is gone within some 10 min"
WAIT_MEND = "Keep the main mash at 60 °C or more meanwhile, or shorten the boil."
HEATER_MEND = "Fit a smaller heater or a stronger supply, or write what the supply really gives."


PRACTICE: Sure = "established practice"  # handbooks and common practice of the trade


DATA: Sure = "published data"


OWN: Sure = "our own estimate"  # own proposal
