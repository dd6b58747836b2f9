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

Placed = tuple[int, Step]  # a step and its place in the list


def poured(program: Program) -> Iterator[Problem]:
    """What does not fit in what comes into the mash?"""
    for pair in itertools.pairwise(enumerate(program.step)):
        yield from found_by((_moves, _hotter, _even), pair)
    for each in enumerate(program.step):
        yield from found_by((_one_amount, _water, _kettle, _away, _series), each)
    yield from _cooker(program)


def _moves(pair: tuple[Placed, Placed]) -> Iterator[Problem]:
    """What is added lifts the mash; a thin part that was set aside may cool it."""
    (_, before), (at, step) = pair
    if step.kind not in ("infusion", "decoction") or step.temperature_c is None or before.temperature_c is None:
        return
    if step.temperature_c <= before.temperature_c and not cools(step):
        here, there = degrees(step.temperature_c), degrees(before.temperature_c)
        yield problem_at(at, step, "temperature", here, f"more than the {there} before it")


def cools(step: Step) -> bool:
    """Does this step bring back a thin part that was set aside, colder than the mash is to be?"""
    written_c = step.returned_at_c
    aside = step.pull == "thin" and not step.kettle and written_c is not None
    return aside and step.temperature_c is not None and written_c is not None and written_c < step.temperature_c


def _hotter(pair: tuple[Placed, Placed]) -> Iterator[Problem]:
    at, step = pair[1]
    if step.kind not in COMES_IN - {"water_in"} or step.temperature_c is None or cools(step):
        return
    if added_at_c(step) <= step.temperature_c:
        key = "added_at" if step.kind == "infusion" else "returned_at"
        here = degrees(added_at_c(step))
        yield problem_at(at, step, key, here, f"more than the target, {degrees(step.temperature_c)}")


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
