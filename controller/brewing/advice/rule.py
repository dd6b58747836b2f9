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


KUNZE = "W. Kunze, Technology Brewing and Malting"  # second hand


IOB_1975 = "J. Inst. Brew. 81(2) 96-104, 1975"  # abstract


MULLER = "R. Muller, Brewing Research Foundation, 1990"  # second hand


RITTENAUER = "Rittenauer et al., Foods 2021, 10, 1733"  # abstract


DE_SCHEPPER = "De Schepper and Courtin, Food Hydrocolloids 2022, 107745"  # abstract


OXFORD = "Oxford Companion to Beer, 2012"  # entries read


PRACTICE: Sure = "established practice"  # handbooks and common practice of the trade


DATA: Sure = "published data"


OWN: Sure = "our own estimate"  # own proposal
