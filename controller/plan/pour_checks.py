"""Do the values of what comes into the mash fit each other?

Infusions, water as warm as the mash, decoctions with what happens to them in the kettle, and a cooker that joins.
Nothing here depends on a tun.
"""

import itertools
from collections.abc import Iterator

from controller.core.nouns import COMES_IN
from controller.plan.additions import added_at_c
from controller.plan.recipe import KettleRest, Program, Step, degrees, problem_at
from controller.settings.problems import Problem, found_by
from controller.settings.table import show

EVEN_K = 1.0  # water so near the mash's own temperature lifts nothing (own proposal)

NOT_ASIDE = "a thin part set aside cold is not run from here: cook the thick part apart ([cereal]), and let it join"

Placed = tuple[int, Step]  # a step and its place in the list


def poured(program: Program) -> Iterator[Problem]:
    """What does not fit in what comes into the mash?"""
    for pair in itertools.pairwise(enumerate(program.step)):
        yield from found_by((_moves, _hotter, _even), pair)
    for each in enumerate(program.step):
        yield from found_by((_one_amount, _water, _kettle, _away, _series), each)
    yield from _cooker(program)
    yield from _enzymes(program)


def _moves(pair: tuple[Placed, Placed]) -> Iterator[Problem]:
    """What is added lifts the mash."""
    (_, before), (at, step) = pair
    if step.kind not in ("infusion", "decoction") or step.temperature_c is None or before.temperature_c is None:
        return
    if step.temperature_c <= before.temperature_c:
        here, there = degrees(step.temperature_c), degrees(before.temperature_c)
        yield problem_at(at, step, "temperature", here, f"more than the {there} before it")


def _hotter(pair: tuple[Placed, Placed]) -> Iterator[Problem]:
    at, step = pair[1]
    if step.kind not in COMES_IN - {"water_in"} or step.temperature_c is None:
        return
    if added_at_c(step) <= step.temperature_c:
        key = "added_at" if step.kind == "infusion" else "returned_at"
        here = degrees(added_at_c(step))
        apart = f"; {NOT_ASIDE}" if step.kind == "decoction" and step.pull == "thin" else ""
        yield problem_at(at, step, key, here, f"more than the target, {degrees(step.temperature_c)}{apart}")


def _even(pair: tuple[Placed, Placed]) -> Iterator[Problem]:
    """Water that is to change nothing but the thickness is as warm as the mash."""
    (_, before), (at, step) = pair
    if step.kind != "water_in" or step.temperature_c is None or before.temperature_c is None:
        return
    if abs(step.temperature_c - before.temperature_c) > EVEN_K:
        found, there = degrees(step.temperature_c), degrees(before.temperature_c)
        wanted = f"the mash's own, {there}, within {EVEN_K:g} K; what lifts or cools it is an infusion"
        yield problem_at(at, step, "temperature", found, wanted)


def _one_amount(place: Placed) -> Iterator[Problem]:
    step = place[1]
    if step.amount_kg is not None and step.volume_l is not None:
        yield problem_at(*place, "volume", show("volume", step.volume_l), "either amount or volume")


def _water(place: Placed) -> Iterator[Problem]:
    step = place[1]
    if step.kind == "water_in" and step.amount_kg is None and step.volume_l is None:
        yield problem_at(*place, "amount", "nothing", 'how much water, such as amount = "8 L"')


def _kettle(place: Placed) -> Iterator[Problem]:
    """Each rest of a pull has its temperature and time, or is the boil."""
    step = place[1]
    for number, rest in enumerate(step.kettle, 1):
        if told := half_told(rest):
            yield problem_at(*place, f"kettle {number}", told, TEMPERATURE_AND_TIME)


TEMPERATURE_AND_TIME = 'temperature = "72 °C" with time = "15 min", or boil = "15 min"'


def half_told(rest: KettleRest) -> str:
    """What is wrong with a rest in the kettle? Empty where nothing is."""
    if rest.boil_s is not None:
        return "boil beside temperature or time" if rest.temperature_c or rest.time_s else ""
    return "" if rest.temperature_c and rest.time_s else "half a rest"


def _away(place: Placed) -> Iterator[Problem]:
    """How long a pull is away is written, or follows from its kettle."""
    step = place[1]
    if step.away_s is None and step.kettle and step.kettle_power_w is None:
        wanted = 'kettle_power = "3 kW", from which away = "auto" is worked out, or away = "45 min"'
        yield problem_at(*place, "kettle_power", "a kettle without its power", wanted)
    if step.main_mash == "left to cool" and step.away_s is None and not step.kettle:
        wanted = 'away = "45 min", or what happens in the kettle ([[step.kettle]])'
        yield problem_at(*place, "away", "a mash left to cool for nobody knows how long", wanted)


def _series(place: Placed) -> Iterator[Problem]:
    """A series of tests runs beside the rest; a rest that waits for iodine has its own."""
    step = place[1]
    if step.iodine_every_s is not None and step.by == "iodine":
        wanted = 'by = "time": the rest has its length whatever the tests show'
        yield problem_at(*place, "iodine_every", show("duration", step.iodine_every_s), wanted)
    if step.iodine_every_s is None and "iodine_from_s" in step.model_fields_set:
        yield problem_at(*place, "iodine_from", show("duration", step.iodine_from_s), 'with iodine_every = "5 min"')


def _enzymes(program: Program) -> Iterator[Problem]:
    """Each enzyme goes into a step that there is, at which its data sheet says that it works."""
    steps = {step.name: (at, step) for at, step in enumerate(program.step)}
    for number, one in enumerate(program.enzyme, 1):
        path = ("enzyme", number - 1, "added_in")
        if one.added_in not in steps:
            wanted = f"the name of a step: {', '.join(steps)}"
            yield Problem(f"[[enzyme]] {number}: added_in", f'"{one.added_in}"', wanted, path)
            continue
        step_c = steps[one.added_in][1].temperature_c
        if step_c is not None and not one.works_from_c <= step_c <= one.works_to_c:
            wanted = f"a step at {degrees(one.works_from_c)} to {degrees(one.works_to_c)}, where {one.name} works"
            yield Problem(f"[[enzyme]] {number}: added_in", f'"{one.added_in}" at {degrees(step_c)}', wanted, path)
        ph = program.liquor.expected_ph
        if ph is not None and one.ph_from is not None and one.ph_to is not None and not one.ph_from <= ph <= one.ph_to:
            wanted = f"from {one.ph_from:g} to {one.ph_to:g}, where {one.name} works"
            yield Problem("liquor: expected_ph", f"{ph:g}", wanted, ("liquor", "expected_ph"))


def _cooker(program: Program) -> Iterator[Problem]:
    """A cooker joins in one step of its kind, and a step of its kind has a cooker."""
    joins = [(at, step) for at, step in enumerate(program.step) if step.kind == "cereal"]
    if program.cereal is None:
        for at, step in joins:
            yield problem_at(
                at, step, "kind", '"cereal" without a cooker', "a table [cereal] with grist, liquor, steps"
            )
        return
    if len(joins) != 1:
        wanted = 'one [[step]] of kind = "cereal", where the cooker joins the mash'
        yield Problem("cereal", f"{len(joins)} steps in which it joins", wanted, ("cereal",))
    for number, rest in enumerate(program.cereal.step, 1):
        if told := half_told(rest):
            yield Problem(f"cereal: step {number}", told, TEMPERATURE_AND_TIME, ("cereal", "step"))
