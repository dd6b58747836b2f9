"""What would a careful colleague say about this plan?

Every rule of the advice table is asked; each answer says what, why, what mends it, how sure, and the publication it
rests on, if any.
All of it may be overruled by the brewer, with a reason on record, but what stops for safety or physics.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from math import isfinite
from typing import NamedTuple, cast, get_args

from controller.brewing.advice import grist_rules, step_rules, tun_rules
from controller.brewing.advice.plan_facts import MashPlan
from controller.brewing.advice.rule import Level, Rule
from controller.brewing.advice.table import RULES

Check = Callable[[MashPlan, Mapping[str, float]], dict[str, object] | None]
Changes = Mapping[str, Mapping[str, object]]  # rule id -> figures, "level" (or "off"), and texts

CHECKS: dict[str, Check] = {
    "A1": tun_rules.fill,
    "A2": tun_rules.uncovered,
    "A3": tun_rules.too_hot,
    "A4": tun_rules.unmixed,
    "A5": tun_rules.slow_ramp,
    "A6": tun_rules.fast_ramp,
    "A7": step_rules.falling,
    "A8": step_rules.spent,
    "A9": grist_rules.under_modified,
    "A10": grist_rules.long_protein_rest,
    "A11": grist_rules.needless_protein_rest,
    "A12": grist_rules.sticky,
    "A13": grist_rules.raw_grits,
    "A14": step_rules.unconverted,
    "A15": step_rules.unpasted,
    "A16": step_rules.low_and_thick,
    "A16b": step_rules.thick,
    "A17": step_rules.against_the_aim,
    "A18": step_rules.not_dry_enough,
    "A19": step_rules.too_hot_an_end,
    "A20": grist_rules.locked_in,
    "A21": step_rules.cool_mash_out,
    "A22": grist_rules.thickness,
    "A23": tun_rules.strike,
    "A24": step_rules.staling,
    "A25": step_rules.too_short,
    "A26": step_rules.too_close,
    "A27": step_rules.too_long,
    "A28": step_rules.sours_unmeant,
    "A29": step_rules.souring_left_open,
    "A30": step_rules.boiled_away,
    "A31": grist_rules.thinned,
    "A32": step_rules.nobody_there,
    "A33": tun_rules.probe,
    "A34": tun_rules.supply,
    "A35": tun_rules.hot_liquor,
    "A36": grist_rules.few_enzymes,
    "A37": grist_rules.acidity,
    "A38": step_rules.cools,
    "A39": tun_rules.mashing_in,
}
# The first says nothing where one of the others speaks: one advice a cause.
COVERED_BY: dict[str, tuple[str, ...]] = {
    "A7": ("A8",),
    "A11": ("A10",),
    "A12": ("A9",),
    "A15": ("A14",),
    "A16": ("A14", "A15"),
    "A16b": ("A16", "A22"),
    "A18": ("A14", "A17"),
    "A20": ("A13",),
    "A21": ("A38",),
    "A23": ("A3",),
    "A25": ("A14",),
    "A38": ("A7", "A8", "A20"),
}
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
        if own.get("level") == "off":
            continue
        found = CHECKS[rule.id](plan, {**rule.figures, **_figures(own)})
        if found is not None:
            given[rule.id] = _advice(rule, own, found)
    return tuple(one for one in given.values() if not given.keys() & set(COVERED_BY.get(one.rule, ())))


def unfit(changes: Changes) -> tuple[Unfit, ...]:
    """What in a brewery's own advice settings cannot serve? All of it at once."""
    known = {rule.id: rule for rule in RULES}
    problems: list[Unfit] = []
    for rule_id, own in changes.items():
        if rule_id not in known:
            problems.append(Unfit(rule_id, "no such rule", f"one of {RULES[0].id} to {RULES[-1].id}"))
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
