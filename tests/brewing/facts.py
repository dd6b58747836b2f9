"""Which facts of the trade are told to people, word for word, and where does each come from?

One table over all rooms: reasons of steps, windows, figures of the estimate, advice, and what the front page and the
shipped programs say. A new sentence has to stand here, or `tests/brewing/test_facts.py` fails.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from controller.brewing import step_purpose
from controller.brewing.advice.rule import Rule, Sure
from controller.brewing.advice.table import RULES
from controller.brewing.kinetics.enzyme_lanes import WINDOWS
from controller.brewing.kinetics.figures import FIGURES
from controller.brewing.source import Mark, Source, Sources

HABIT = (Source("common practice"),)
OWN = (Source("own proposal"),)
SUMS = (Source("arithmetic"),)
_MARKS: dict[Sure, Mark] = {
    "arithmetic": "arithmetic",
    "published data": "published",
    "established practice": "common practice",
    "our own estimate": "own proposal",
}


class Fact(NamedTuple):
    """One sentence as it is told; figures of a plan stand as {places}."""

    where: str
    says: str
    sources: Sources


# The shipped programs say why each of their steps is there.
PROGRAMS: tuple[tuple[str, Sources], ...] = (
    (
        "beta-glucanase, 35 to 45 °C: less beta-glucan, a looser bed; rye's gum is mostly arabinoxylan, which malt "
        "enzymes break down less",
        step_purpose.RESTS[1][1].sources,
    ),
    (
        "beta-amylase with some alpha-amylase: most of the sugar is made here",
        (Source("calibrated", "this model"), *HABIT),
    ),
    ("alpha-amylase takes what starch is left", HABIT),
    ("thinner wort for run-off, which rye needs badly", HABIT),
    (
        "as the standard has it: every enzyme of the malt at work for a while",
        (Source("published", "EBC Analytica 4.5.1"),),
    ),
    ("as the standard has it: amylases convert the starch", (Source("published", "EBC Analytica 4.5.1"),)),
    (
        "as the standard has it: 25 min of even rise; the clock of the iodine series begins",
        (Source("recalled", "EBC Analytica 4.5.1"),),
    ),
    ("as the standard has it: 100 mL to 50 g of malt", (Source("recalled", "EBC Analytica 4.5.1"),)),
    (
        "one temperature at which beta-amylase still lives and starch is pasted: nearer to a brewery's mash",
        (Source("published", "MEBAK R-205.03.730, scope"), *HABIT),
    ),
    ("where the mash waits while a decoction is boiled", HABIT),
    (
        "boiling a good quarter of the mash bursts its starch and darkens it; the thin part keeps the enzymes",
        (Source("published", f"{step_purpose.OXFORD}, decoction"), *HABIT),
    ),
    ("beta-amylase: fermentable sugar", (Source("published", step_purpose.HAMILTON),)),
    ("alpha-amylase: dextrins that stay in the beer", (Source("published", step_purpose.HAMILTON),)),
    ("thinner wort for run-off", HABIT),
    ("both amylases work here: a beer between dry and full", HABIT),
    (
        "thinner wort for run-off; alpha-amylase lasts a few minutes more (78 °C is the usual ceiling)",
        (Source("recalled", "half of it is lost in some 4 min at 78 °C: Brandam et al. 2003"), *HABIT),
    ),
    (
        "frees ferulic acid, which the yeast turns into clove aroma (Vanbeneden et al., Food Chem. 111, 2008)",
        (Source("published", step_purpose.VANBENEDEN),),
    ),
    (
        "proteases, 45 to 55 °C; short, and only because this malt is under-modified",
        (Source("published", step_purpose.OSMAN), *HABIT),
    ),
    (
        "beta-amylase and limit dextrinase make maltose: a dry beer, once the starch is converted",
        (Source("published", step_purpose.HAMILTON),),
    ),
    ("alpha-amylase takes what starch is left; iodine-normal before mash-out", HABIT),
    ("thinner wort for run-off; 78 °C is the usual ceiling", HABIT),
)
# What the front page says of the trade.
PAGE: tuple[tuple[str, Sources], ...] = (
    ("Mashes are 62 to 78 °C.", HABIT),
    ("a cold store moves the strike by about 2 K", SUMS),
    ("enzymes go on working", HABIT),
    (
        "Malts whose starch pastes hotter than their enzymes bear",
        (Source("published", "Beverages 2021 7 53, abstract"),),
    ),
    ("the **limit of attenuation** is how far the wort can ferment", HABIT),
    ("lager from little-modified malt", HABIT),
    ("30 % rye malt", HABIT),
)


def facts() -> Iterator[Fact]:
    """The whole table."""
    yield from (Fact("reason", purpose.says, purpose.sources) for _, purpose in step_purpose.RESTS)
    yield from (Fact("reason", purpose.says, purpose.sources) for _, _, purpose in step_purpose.SPENT)
    whole = (step_purpose.COOL_OUT, step_purpose.OUT, *step_purpose.KINDS.values())
    yield from (Fact("reason", purpose.says, purpose.sources) for purpose in whole)
    yield from (
        Fact("window", f"{w.name}: {w.works_c[0]:g} to {w.works_c[1]:g} °C; {w.lost}", w.sources) for w in WINDOWS
    )
    yield from (Fact("figure", name, found) for name, found in FIGURES.items())
    for rule in RULES:
        told = (rule.what, rule.why, rule.mend, *rule.also)
        yield from (Fact(rule.id, says, _of_rule(rule)) for says in told)
    yield from (Fact("program", says, found) for says, found in PROGRAMS)
    yield from (Fact("front page", says, found) for says, found in PAGE)


def _of_rule(rule: Rule) -> Sources:
    return (Source(_MARKS[rule.sure], rule.source),)
