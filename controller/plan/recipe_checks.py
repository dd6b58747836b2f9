"""Do the values of a program fit each other? Nothing here depends on a tun."""

from __future__ import annotations

import itertools
from collections.abc import Iterator

from controller.brewing.advice.table import RULES
from controller.plan.recipe import (
    MAX_KEEP_S,
    MAX_LONG_S,
    MAX_REST_S,
    MAX_SOURING_S,
    MIN_REST_S,
    Program,
    Step,
    added_at_c,
    degrees,
    problem_at,
    time_wanted,
)
from controller.settings.problems import Checks, Problem, found_by
from controller.settings.table import show


def _overruled(program: Program) -> list[Problem]:
    """A reason is given for a rule that there is; what stops for safety is not overruled."""
    known = {rule.id: rule.level for rule in RULES}
    problems = []
    for rule, reason in program.overrule.items():
        path = ("overrule", rule)
        if known.get(rule, "stop") == "stop":
            problems.append(
                Problem("overrule", f'"{rule[:20]}"', "the id of a rule that only advises, such as A5", path)
            )
        elif not reason.strip():
            problems.append(Problem(f"overrule: {rule}", "no reason", "a few words that go on record", path))
    return problems


def _liquor(program: Program) -> list[Problem]:
    both = (program.liquor.mass_kg is None) == (program.liquor.volume_l is None)
    found = "nothing" if program.liquor.mass_kg is None else "both mass and volume"
    return [Problem("liquor", found, 'either mass = "60 kg" or volume = "60 L"', ("liquor",))] if both else []


def _grain(program: Program) -> list[Problem]:
    """A dough-in without grain is a malt forgotten: the strike would be left out without a word."""
    if program.grist or "dough_in" not in program.model_fields_set:
        return []
    wanted = "a malt, [[grist]], or no [dough_in] for a water trial"
    return [Problem("dough_in", "[dough_in] but no [[grist]]", wanted, ("grist",))]


def _names(program: Program) -> list[Problem]:
    """Names serve to find a step again in orders and records."""
    problems = []
    first: dict[str, int] = {}
    for at, step in enumerate(program.step):
        other = first.setdefault(step.name.casefold(), at)
        if other != at:
            problems.append(
                problem_at(at, step, "name", f"the name of [[step]] {other + 1} again", "a name of its own")
            )
    return problems


def _first(program: Program) -> list[Problem]:
    step = program.step[0]
    if step.kind in ("rest", "souring"):
        return []
    return [problem_at(0, step, "kind", f'"{step.kind}"', "a rest as the first step")]


def _last(program: Program) -> list[Problem]:
    problems = []
    for at, step in enumerate(program.step[:-1]):
        if step.kind == "keep":
            problems.append(problem_at(at, step, "kind", '"keep" before other steps', "keep as the last step only"))
    return problems


_TAKES: dict[str, frozenset[str]] = {
    "rest": frozenset({"temperature", "time", "ramp", "tolerance", "by", "ask_after", "go_on_after", "long"}),
    "mash_out": frozenset({"temperature", "time", "ramp", "tolerance", "by", "long"}),
    "keep": frozenset({"temperature", "time", "ramp", "tolerance", "long"}),
    "infusion": frozenset({"temperature", "amount", "added_at"}),
    "decoction": frozenset({"temperature", "amount", "added_at", "away"}),
    "souring": frozenset({"temperature", "time", "ramp", "tolerance", "by", "ph_every", "long"}),
}
_NEEDS: dict[str, frozenset[str]] = {
    "rest": frozenset({"temperature", "time"}),
    "mash_out": frozenset({"temperature", "time"}),
    "keep": frozenset(),
    "infusion": frozenset({"temperature"}),
    "decoction": frozenset({"temperature"}),
    "souring": frozenset({"temperature", "time"}),
}
_EXAMPLE = {"temperature": 'a temperature such as "66 °C"', "time": 'a time such as "35 min"'}

Fault = tuple[str, str, str]  # key, found, wanted
Placed = tuple[int, Step]  # a step and its place in the list


def _steps(program: Program) -> Iterator[Problem]:
    """What is wrong within one step?"""
    for each in enumerate(program.step):
        yield from found_by((_keys, _times, _ask_after, _go_on_after, _asked_within), each)


def _problems_at(place: Placed, *faults: Fault) -> list[Problem]:
    return [problem_at(*place, *what) for what in faults]


def _keys(place: Placed) -> list[Problem]:
    """Which keys serve, and which are needed, depends on the kind."""
    step = place[1]
    written = {Step.model_fields[name].alias or name for name in step.model_fields_set} - {"name", "kind", "why"}
    faults = [(key, "nothing", _EXAMPLE[key]) for key in sorted(_NEEDS[step.kind] - written)]
    faults += [
        (key, f"this key in a step of kind {step.kind}", f"one of {', '.join(sorted(_TAKES[step.kind]))}")
        for key in sorted(written - _TAKES[step.kind])
    ]
    return _problems_at(place, *faults)


def _longest_s(step: Step) -> float:
    if step.kind == "souring":
        return MAX_SOURING_S
    if step.long:
        return MAX_LONG_S
    return MAX_KEEP_S if step.kind == "keep" else MAX_REST_S


def _times(place: Placed) -> list[Problem]:
    step = place[1]
    if step.time_s is None or MIN_REST_S <= step.time_s <= _longest_s(step):
        return []
    return _problems_at(place, ("time", show("duration", step.time_s), time_wanted(step.kind)))


def _ask_after(place: Placed) -> list[Problem]:
    return _iodine_only(place, "ask_after", place[1].ask_after_s)


def _go_on_after(place: Placed) -> list[Problem]:
    return _iodine_only(place, "go_on_after", place[1].go_on_after_s)


def _iodine_only(place: Placed, key: str, value_s: float | None) -> list[Problem]:
    if value_s is None or place[1].by == "iodine":
        return []
    return _problems_at(place, (key, show("duration", value_s), 'only together with by = "iodine"'))


def _asked_within(place: Placed) -> list[Problem]:
    """The test is asked for within the rest."""
    step = place[1]
    if step.ask_after_s is None or step.time_s is None or step.ask_after_s <= step.time_s:
        return []
    found, wanted = show("duration", step.ask_after_s), f"within the rest, {show('duration', step.time_s)}"
    return _problems_at(place, ("ask_after", found, wanted))


def _ways(program: Program) -> Iterator[Problem]:
    """Does the temperature go where each kind of step can take it?"""
    for pair in itertools.pairwise(enumerate(program.step)):
        yield from found_by((_rises, _hotter), pair)


def _rises(pair: tuple[Placed, Placed]) -> list[Problem]:
    (_, before), (at, step) = pair
    if step.kind not in ("infusion", "decoction") or step.temperature_c is None or before.temperature_c is None:
        return []
    if step.temperature_c > before.temperature_c:
        return []
    here, there = degrees(step.temperature_c), degrees(before.temperature_c)
    return [problem_at(at, step, "temperature", here, f"more than the {there} before it")]


def _hotter(pair: tuple[Placed, Placed]) -> list[Problem]:
    at, step = pair[1]
    if step.kind not in ("infusion", "decoction") or step.temperature_c is None:
        return []
    if added_at_c(step) > step.temperature_c:
        return []
    here = degrees(added_at_c(step))
    return [problem_at(at, step, "added_at", here, f"more than the target, {degrees(step.temperature_c)}")]


agree: Checks[Program] = Checks(  # do the values of this program fit each other? Nothing here depends on a tun
    _liquor, _grain, _names, _first, _last, _steps, _ways, _overruled
)
