"""What would a careful colleague say about this plan?

Every rule of the advice table is asked; each answer says what, why, what mends it, how sure, and the publication it
rests on, if any.
All of it may be overruled by the brewer, with a reason on record, but what stops for safety or physics.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from math import isfinite
from typing import NamedTuple, cast, get_args

from controller.brewing.advice import grist as advice_grist
from controller.brewing.advice import steps as advice_steps
from controller.brewing.advice import tun as advice_tun
from controller.brewing.advice.facts import MashPlan
from controller.brewing.advice.table import RULES, Level, Rule

Check = Callable[[MashPlan, Mapping[str, float]], dict[str, object] | None]
Changes = Mapping[str, Mapping[str, object]]  # rule id -> figures, "level" (or "off"), and texts

CHECKS: dict[str, Check] = {
    "A1": advice_tun.fill,
    "A2": advice_tun.uncovered,
    "A3": advice_tun.too_hot,
    "A4": advice_tun.unmixed,
    "A5": advice_tun.slow_ramp,
    "A6": advice_tun.fast_ramp,
    "A7": advice_steps.falling,
    "A8": advice_steps.spent,
    "A9": advice_grist.under_modified,
    "A10": advice_grist.long_protein_rest,
    "A11": advice_grist.needless_protein_rest,
    "A12": advice_grist.sticky,
    "A13": advice_grist.raw_grits,
    "A14": advice_steps.unconverted,
    "A15": advice_steps.unpasted,
    "A16": advice_steps.low_and_thick,
    "A17": advice_steps.against_the_aim,
    "A18": advice_steps.not_dry_enough,
    "A19": advice_steps.too_hot_an_end,
    "A20": advice_grist.locked_in,
    "A21": advice_steps.cool_mash_out,
    "A22": advice_grist.thickness,
    "A23": advice_tun.strike,
    "A24": advice_steps.staling,
    "A25": advice_steps.too_short,
    "A26": advice_steps.too_close,
    "A27": advice_steps.too_long,
    "A28": advice_steps.sours_unmeant,
    "A29": advice_steps.souring_left_open,
    "A30": advice_steps.boiled_away,
    "A31": advice_grist.thinned,
    "A32": advice_steps.nobody_there,
    "A33": advice_tun.probe,
    "A34": advice_tun.supply,
    "A35": advice_tun.hot_liquor,
    "A36": advice_grist.few_enzymes,
    "A37": advice_grist.acidity,
}
COVERED_BY = {"A11": "A10"}  # the first says nothing where the second has spoken: one advice a cause
TEXTS = ("why", "mend", "sure", "source")
CHANGED = "own figure of this brewery"


class Advice(NamedTuple):
    """One piece of advice."""

    rule: str
    level: Level
    text: str
    why: str
    mend: str
    sure: str
    source: str


class Unfit(NamedTuple):
    """One entry of a brewery's own advice settings that cannot serve."""

    where: str
    found: str
    wanted: str


def advise(plan: MashPlan, changes: Changes | None = None) -> tuple[Advice, ...]:
    """What is there to say about this plan? In the order of the rules; nothing said is nothing found.

    `changes` are a brewery's own figures, levels and texts by rule, as `unfit` lets them pass; what does not pass is
    left out here, so that bad settings never silence a rule.
    """
    given: dict[str, Advice] = {}
    for rule in RULES:
        own = _fit(rule, (changes or {}).get(rule.id, {}))
        if own.get("level") == "off" or COVERED_BY.get(rule.id) in given:
            continue
        found = CHECKS[rule.id](plan, {**rule.figures, **_figures(own)})
        if found is not None:
            given[rule.id] = _advice(rule, own, found)
    return tuple(given.values())


def unfit(changes: Changes) -> tuple[Unfit, ...]:
    """What in a brewery's own advice settings cannot serve? All of it at once."""
    known = {rule.id: rule for rule in RULES}
    problems: list[Unfit] = []
    for rule_id, own in changes.items():
        if rule_id not in known:
            problems.append(Unfit(rule_id, "no such rule", f"one of A1 to A{len(RULES)}"))
            continue
        problems += [Unfit(f"{rule_id}: {key}", repr(value), want) for key, value, want in _slips(known[rule_id], own)]
    return tuple(problems)


def _slips(rule: Rule, own: Mapping[str, object]) -> list[tuple[str, object, str]]:
    """Key, value and what is wanted, for each entry that cannot serve."""
    if rule.level == "stop":
        return [(key, value, "nothing: this rule guards people and vessel") for key, value in own.items()]
    slips: list[tuple[str, object, str]] = []
    for key, value in own.items():
        if key == "level":
            wanted = "" if value in ("warn", "note", "off") else '"warn", "note" or "off"'
        elif key in TEXTS:
            wanted = "" if isinstance(value, str) else "a text"
        elif key in rule.figures:
            wanted = "" if _number(value) else "a number"
        else:
            wanted = f"one of {', '.join(['level', *TEXTS, *rule.figures])}"
        if wanted:
            slips.append((key, value, wanted))
    return slips


def _number(value: object) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and isfinite(value)


def _fit(rule: Rule, own: Mapping[str, object]) -> dict[str, object]:
    """The entries that can serve."""
    bad = {key for key, _, _ in _slips(rule, own)}
    return {key: value for key, value in own.items() if key not in bad}


def _figures(own: Mapping[str, object]) -> dict[str, float]:
    return {key: float(value) for key, value in own.items() if isinstance(value, (int, float))}


def _advice(rule: Rule, own: Mapping[str, object], found: dict[str, object]) -> Advice:
    level = own.get("level") or found.get("level") or rule.level
    texts = {key: str(own.get(key, found.get(key, getattr(rule, key)))) for key in TEXTS}
    if _figures(own) and "source" not in own:
        texts["source"] = "; ".join(filter(None, (texts["source"], CHANGED)))
    return Advice(
        rule.id, cast(Level, level if level in get_args(Level) else rule.level), rule.what.format(**found), **texts
    )
