"""What happens when on a brewing day: several batches, one tank of hot liquor, one person at the tuns?

Worked forward, each thing with one user at a time. `day.toml` names the batches; times are seconds after midnight.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import inf
from typing import Annotated, Literal, NamedTuple

from pydantic import BeforeValidator, Field

from controller.brewing import heat
from controller.plan.plan import Plan
from controller.plan.recipe import Name, Text
from controller.settings.table import Quantity, Table, wrong

LONG_S = 1200.0  # over this the first grain waits and the lid stands open (own proposal)
MARGIN_SHARE, MARGIN_S = 0.1, 900.0  # on the heat-up of a batch that must be ready (own proposal): the greater
TANK_TO_TUN_S = 600.0  # filling from a hot tank (own proposal)


def _clock(value: object) -> object:
    """A time of day in seconds after midnight."""
    if isinstance(value, (int, float)):
        return value
    hours, _, minutes = value.partition(":") if isinstance(value, str) else ("", "", "")
    if not (hours.isdigit() and minutes.isdigit() and len(minutes) == 2 and int(hours) < 24 and int(minutes) < 60):
        raise wrong('a time of day, such as "06:00"')
    return 3600.0 * int(hours) + 60.0 * int(minutes)


Clock = Annotated[float, BeforeValidator(_clock)]


class Batch(Table):
    """One mash of the day, by its program: from its start, or backwards from when it must be ready for the run-off."""

    program: Name
    tun: Text = ""
    start: Clock | None = None  # of the heat-up, or of filling from the tank
    grain: Clock | None = None
    ready_by: Clock | None = None
    liquor: Literal["tun", "tank"] = "tun"
    run_off_s: Annotated[float, Quantity("duration", 60, 86_400)] = 5400.0
    cleaning_s: Annotated[float, Quantity("duration", 0, 86_400)] = 1800.0


class Tank(Table):
    """A tank of hot liquor that the batches share; it is only timed here, and never heated by this program."""

    volume_l: Annotated[float, Quantity("volume", 1, 100_000)]
    power_w: Annotated[float, Quantity("power", 100, 1_000_000)]
    temperature_c: Annotated[float, Quantity("temperature", 30, 99)] = 78.0
    from_c: Annotated[float, Quantity("temperature", 1, 95)] = 12.0
    start: Clock = 0.0

    @property
    def heat_up_s(self) -> float:
        """How long does a whole filling take, losses left out, s?"""
        return heat.time_for_energy_s(heat.liquor_kwh(self.volume_l, self.from_c, self.temperature_c), self.power_w)


class Day(Table):
    """`day.toml`."""

    batch: Annotated[tuple[Batch, ...], Field(min_length=1, max_length=12)]
    liquor_tank: Tank | None = None


class Done(NamedTuple):
    """One batch by the clock, s after midnight."""

    batch: Batch
    plan: Plan
    begin_s: float
    grain_s: float
    mash_s: float  # the grain is in: the mash clock starts
    mashed_s: float
    run_off_s: float
    clean_s: float


def planned(batches: Sequence[tuple[Batch, Plan]]) -> list[Done]:
    """Every batch by the clock; one without a time of its own begins when its tun is clean."""
    found: list[Done] = []
    for batch, plan in batches:
        free_s = max((done.clean_s for done in found if done.plan.tun.name == plan.tun.name), default=0.0)
        found.append(_by_clock(batch, plan, free_s))
    return found


def _by_clock(batch: Batch, plan: Plan, free_s: float) -> Done:
    """Forward from its start, from the grain or from when the tun is free; backwards from when it must be ready."""
    before_s = TANK_TO_TUN_S if batch.liquor == "tank" else plan.heat_up_s
    in_s = plan.tun.mashing_in_s(plan.program.grist_kg)
    after_s = plan.duration_s - plan.heat_up_s  # what goes in has to mix as well
    spare_s = 0.0 if batch.ready_by is None else max(MARGIN_S, MARGIN_SHARE * before_s)
    if batch.ready_by is not None:
        grain_s = batch.ready_by - after_s - in_s
    elif batch.grain is not None:
        grain_s = batch.grain
    else:
        grain_s = (free_s if batch.start is None else batch.start) + before_s
    mash_s = grain_s + in_s
    mashed_s = mash_s + after_s
    run_off_s = mashed_s + batch.run_off_s
    return Done(
        batch, plan, grain_s - before_s - spare_s, grain_s, mash_s, mashed_s, run_off_s, run_off_s + batch.cleaning_s
    )


def conflicts(day: Day, found: Sequence[Done]) -> Iterator[str]:
    """What cannot be as it stands, and what is worth a word, in sentences with clock times."""
    for at, done in enumerate(found):
        if done.begin_s < 0.0:
            yield f"batch {at + 1} would begin before midnight"
        if done.mash_s - done.grain_s > LONG_S:
            minutes = (done.mash_s - done.grain_s) / 60.0
            yield f"batch {at + 1}: mashing in takes {minutes:.0f} min; the first grain waits: two people, or an auger"
        yield from _with_others(found, at)
    yield from _of_tank(day.liquor_tank, found)


def _with_others(found: Sequence[Done], at: int) -> Iterator[str]:
    """Do two batches want the same tun, the same supply, or the same pair of hands?"""
    one = found[at]
    for number, other in enumerate(found[:at], 1):
        names = f"batches {number} and {at + 1}"
        if one.plan.tun.name == other.plan.tun.name and one.begin_s < other.clean_s and other.begin_s < one.clean_s:
            clean, wanted = clock(other.clean_s), clock(one.begin_s)
            yield f"{names} want {one.plan.tun.name}: it is clean at {clean}, wanted {wanted}"
            continue
        if one.grain_s < other.mash_s and other.grain_s < one.mash_s:
            yield f"{names} both mash in about {clock(max(one.grain_s, other.grain_s))}: that is two people's work"
        limits = [done.plan.tun.supply_limit_w or inf for done in (one, other)]
        drawn_w = sum(done.plan.tun.heater.power_w for done in (one, other))
        if drawn_w > min(limits) and one.begin_s < other.mashed_s and other.begin_s < one.mashed_s:
            from_s = max(one.begin_s, other.begin_s)
            yield f"{names} heat together from {clock(from_s)} and may draw {drawn_w / 1000:g} kW: one waits for power"


def _of_tank(tank: Tank | None, found: Sequence[Done]) -> Iterator[str]:
    """Is there enough hot liquor when it is drawn? A tank that was drawn from is filled and heated again."""
    ready_s = -inf if tank is None else tank.start + tank.heat_up_s
    left_kg = 0.0 if tank is None else tank.volume_l
    for done in sorted((done for done in found if done.batch.liquor == "tank"), key=lambda done: done.begin_s):
        name = f"{done.plan.program.title} draws {done.plan.liquor_kg:.0f} kg at {clock(done.begin_s)}"
        if tank is None:
            yield f"{name}, and there is no [liquor_tank]"
            continue
        if done.plan.liquor_kg > left_kg:
            ready_s, left_kg = max(ready_s, done.begin_s) + tank.heat_up_s, tank.volume_l
            yield f"{name}: too little is left; filled again it is hot at {clock(ready_s)}"
        if done.begin_s < ready_s:
            yield f"{name}; the tank is hot at {clock(ready_s)}"
        left_kg -= done.plan.liquor_kg


def clock(seconds: float) -> str:
    """A time of day; of the next day with a +1."""
    minutes = round(seconds / 60.0)
    days, left = divmod(minutes, 1440)
    return f"{left // 60:02d}:{left % 60:02d}" + (f" +{days}" if days else "")
