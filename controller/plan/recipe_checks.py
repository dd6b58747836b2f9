"""Do the values of a program fit each other? Nothing here depends on a tun."""

from collections.abc import Iterator
from functools import partial

from controller.brewing.advice.table import RULES
from controller.plan import pour_checks
from controller.plan.recipe import (
    MAX_KEEP_S,
    MAX_LONG_S,
    MAX_REST_S,
    MAX_SOURING_S,
    MIN_REST_S,
    Program,
    Step,
    problem_at,
    time_wanted,
)
from controller.settings.problems import Checks, Problem, found_by
from controller.settings.table import key_of, show


def _overruled(program: Program) -> Iterator[Problem]:
    """A reason is given for a rule that there is; what stops for safety is not overruled."""
    known = {rule.id: rule.level for rule in RULES}
    for rule, reason in program.overrule.items():
        path = ("overrule", rule)
        if known.get(rule, "stop") == "stop":
            yield Problem("overrule", f'"{rule[:20]}"', "the id of a rule that only advises, such as A5", path)
        elif not reason.strip():
            yield Problem(f"overrule: {rule}", "no reason", "a few words that go on record", path)


def _liquor(program: Program) -> Iterator[Problem]:
    if (program.liquor.mass_kg is None) == (program.liquor.volume_l is None):
        found = "nothing" if program.liquor.mass_kg is None else "both mass and volume"
        yield Problem("liquor", found, 'either mass = "60 kg" or volume = "60 L"', ("liquor",))


def _elsewhere(program: Program) -> Iterator[Problem]:
    """Keys for liquor from another vessel say nothing where it is heated in the tun."""
    if program.liquor.heated_in == "other vessel":
        return
    poured = {
        "liquor": (program.liquor, ("hot_c", "cold_c", "lost_on_the_way_k")),
        "dough_in": (program.dough_in, ("tun_temperature_c", "preheat")),
    }
    for block, (table, names) in poured.items():
        for name in (name for name in names if name in table.model_fields_set):
            key = key_of(name)
            wanted = 'heated_in = "other vessel" under [liquor]'
            yield Problem(f"{block}: {key}", "liquor that is heated in the tun", wanted, (block, key))


def _beakers(program: Program) -> Iterator[Problem]:
    """Beakers stand in water: a mash in the tun has no room for them."""
    if program.beaker and program.grist:
        wanted = "either [[grist]] in the tun, or [[beaker]] in its water"
        yield Problem("beaker", "[[beaker]] beside [[grist]]", wanted, ("beaker",))


def _grain(program: Program) -> Iterator[Problem]:
    """A dough-in without grain is a malt forgotten: the strike would be left out without a word."""
    if not program.grist and "dough_in" in program.model_fields_set:
        wanted = "a malt, [[grist]], or no [dough_in] for a water trial"
        yield Problem("dough_in", "[dough_in] but no [[grist]]", wanted, ("grist",))


def _names(program: Program) -> Iterator[Problem]:
    """Names serve to find a step again in orders and records."""
    first: dict[str, int] = {}
    for at, step in enumerate(program.step):
        other = first.setdefault(step.name.casefold(), at)
        if other != at:
            yield problem_at(at, step, "name", f"the name of [[step]] {other + 1} again", "a name of its own")


def _order(program: Program) -> Iterator[Problem]:
    """A rest comes first; what keeps the mash comes last."""
    first = program.step[0]
    if first.kind not in ("rest", "souring"):
        yield problem_at(0, first, "kind", f'"{first.kind}"', "a rest as the first step")
    for at, step in enumerate(program.step[:-1]):
        if step.kind == "keep":
            yield problem_at(at, step, "kind", '"keep" before other steps', "keep as the last step only")


_TAKES: dict[str, frozenset[str]] = {
    "rest": frozenset({"temperature", "time", "ramp", "tolerance", "by", "ask_after", "go_on_after", "long"})
    | {"iodine_every", "iodine_from"},
    "mash_out": frozenset({"temperature", "time", "ramp", "tolerance", "by", "long"}),
    "keep": frozenset({"temperature", "time", "ramp", "tolerance", "long"}),
    "infusion": frozenset({"temperature", "amount", "volume", "added_at"}),
    "water_in": frozenset({"temperature", "amount", "volume"}),
    "decoction": frozenset({"temperature", "amount", "volume", "returned_at", "away", "pull"})
    | {"kettle", "kettle_power", "boil_off", "main_mash"},
    "cereal": frozenset({"temperature", "returned_at"}),
    "souring": frozenset({"temperature", "time", "ramp", "tolerance", "by", "ph_every", "long"}),
}
_NEEDS = {kind: takes & {"temperature", "time"} for kind, takes in _TAKES.items() if kind != "keep"}
_EXAMPLE = {"temperature": 'a temperature such as "66 °C"', "time": 'a time such as "35 min"'}

Placed = tuple[int, Step]  # a step and its place in the list


def _steps(program: Program) -> Iterator[Problem]:
    for each in enumerate(program.step):
        yield from found_by((_keys, _times, _ask_after, _go_on_after, _asked_within), each)


def _keys(place: Placed) -> Iterator[Problem]:
    """Which keys serve, and which are needed, depends on the kind."""
    step = place[1]
    takes, needs = _TAKES[step.kind], _NEEDS.get(step.kind, frozenset())
    written = {Step.model_fields[name].alias or name for name in step.model_fields_set} - {"name", "kind", "why"}
    for key in sorted(needs - written):
        yield problem_at(*place, key, "nothing", _EXAMPLE[key])
    for key in sorted(written - takes):
        found = f"this key in a step of kind {step.kind}"
        yield problem_at(*place, key, found, f"one of {', '.join(sorted(takes))}")


def _longest_s(step: Step) -> float:
    if step.kind == "souring":
        return MAX_SOURING_S
    if step.long:
        return MAX_LONG_S
    return MAX_KEEP_S if step.kind == "keep" else MAX_REST_S


def _times(place: Placed) -> Iterator[Problem]:
    step = place[1]
    if step.time_s is not None and not MIN_REST_S <= step.time_s <= _longest_s(step):
        yield problem_at(*place, "time", show("duration", step.time_s), time_wanted(step.kind))


def _iodine_only(key: str, place: Placed) -> Iterator[Problem]:
    value_s: float | None = getattr(place[1], f"{key}_s")
    if value_s is not None and place[1].by != "iodine":
        yield problem_at(*place, key, show("duration", value_s), 'only together with by = "iodine"')


_ask_after, _go_on_after = partial(_iodine_only, "ask_after"), partial(_iodine_only, "go_on_after")


def _asked_within(place: Placed) -> Iterator[Problem]:
    """The test is asked for within the rest."""
    step = place[1]
    if step.ask_after_s is not None and step.time_s is not None and step.ask_after_s > step.time_s:
        wanted = f"within the rest, {show('duration', step.time_s)}"
        yield problem_at(*place, "ask_after", show("duration", step.ask_after_s), wanted)


agree: Checks[Program] = Checks(  # do the values of this program fit each other? Nothing here depends on a tun
    _liquor, _elsewhere, _grain, _beakers, _names, _order, _steps, pour_checks.poured, _overruled
)
