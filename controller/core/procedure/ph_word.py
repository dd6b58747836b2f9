"""What is there to say of a pH that was measured in the mash?

Referred to a sample of 20 °C. Silent where the mash is meant to be sour, and in a trial with water.
"""

from __future__ import annotations

from typing import NamedTuple

from controller.brewing import wort

SLIP = (3.5, 7.5)  # outside, it is a slip of the meter or of the pen (own proposal)
LAST_P, LAST_PH = 2.5, 5.8  # common practice: 2 to 3 °P, pH 5.8 to 6.0
LOW, LOWISH, HIGHISH, HIGH = 4.9, 5.15, 5.65, 5.85  # own proposal, on the trade's 5.2 to 5.6


class Word(NamedTuple):
    """What is said, and whether somebody should come."""

    text: str
    warns: bool


def referred(ph: float, at_c: float | None) -> float:
    """What would a cooled sample read? A pH without a temperature is taken as of one."""
    return ph if at_c is None else wort.ph_at_room(ph, at_c)


def end_of_collecting(runnings_p: float, ph: float | None, at_c: float | None) -> str | None:
    """What is to be said of the last runnings? None while collecting may go on."""
    if runnings_p < LAST_P:
        return f"last runnings of {runnings_p:.1f} °P: thinner ones bring little but tannin; end of collecting"
    if ph is not None and referred(ph, at_c) > LAST_PH:
        return f"last runnings of pH {referred(ph, at_c):.2f} in a cooled sample bring tannin; end of collecting"
    return None


def word(ph: float, at_c: float | None, souring: bool) -> Word | None:
    """What is to be said of this reading? None: nothing, it is as it should be."""
    cool = referred(ph, at_c)
    shown = f"a mash pH of {ph:.2f}" + ("" if at_c is None else f" at {at_c:g} °C, {cool:.2f} in a cooled sample,")
    if not SLIP[0] <= cool <= SLIP[1]:
        return Word(f"{shown} is hardly one: check the meter and measure again", True)
    if souring or LOWISH <= cool <= HIGHISH:
        return None
    if cool < LOW:
        return Word(f"{shown} is low: conversion slows; check the meter, or it was too much acid", True)
    if cool < LOWISH:
        return Word(f"{shown} is somewhat low, as roasted or sour malt makes it", False)
    if cool <= HIGH:
        return Word(f"{shown} is usual for pale malt in soft water; lower is better for run-off", False)
    mend = "lactic or phosphoric acid in a small first portion, stir 5 min, measure again"
    return Word(f"{shown} is high: conversion and run-off suffer, and husks give off tannin; {mend}", True)
