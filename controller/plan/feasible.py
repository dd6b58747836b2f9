"""Is there a reason of safety or physics why this program may not run on this tun?

Everything about beer is advice and not refused. Each problem names the key to change, what was found and
what is wanted.
"""

import math
from collections.abc import Iterator
from typing import NamedTuple

from controller.brewing import volumes
from controller.brewing.advice.plan_facts import UNMALTED
from controller.core.control.climb import power_w, throttled_end_c
from controller.core.control.heat_path import heat_path
from controller.core.control.outlet import OUTLET_MARGIN_K
from controller.core.nouns import COMES_IN
from controller.plan.additions import added_at_c, boil_c
from controller.plan.recipe import Program, Step, blend_cold_c, degrees, problem_at
from controller.plan.stages import LANDS_K, Stage
from controller.settings.problems import Problem
from controller.settings.table import show
from controller.settings.tun import Tun

MOST_FILL = 0.95  # more spills when stirred; 5 to 10 % stay free (common practice)
UNDER_LIMIT_K = 2.0  # every target at least so far under the hard limit (own proposal)
LONGEST_S = 12 * 3600.0  # own proposal; souring is left out
COOKS_FROM_C = 80.0  # hotter nobody mashes, but cooks (common practice)
SWING_K = 0.5  # a probe behind an on/off heater may swing so much in all: half the band of a rest (own proposal)
PLATE_LOSS = 2.0  # behind the heater the loss is taken so much higher: a plate's loss is a guess (own proposal)
USUAL_L_PER_KG = 3.0  # common practice, 2.5 to 4
THICK_L_PER_KG = 2.0  # with less liquor it is the grain that is too much (own proposal)


class Fit(NamedTuple):
    """What was worked out of the program on this tun."""

    liquor_kg: float
    volume_l: float
    strike_c: float | None
    landing_c: float
    drawn_c: float | None
    mash_s: float
    stages: tuple[Stage, ...]


def problems(program: Program, tun: Tun, fit: Fit) -> tuple[Problem, ...]:
    """Which problems does this program have on this tun? All of them at once."""
    found = [*_swing(tun), *_fill(program, tun, fit), *_strike(program, tun, fit), *_length(program, fit)]
    found += _poured(program, tun, fit)
    for stage in fit.stages:
        if stage.at is not None and program.step[stage.at].temperature_c is not None:  # else as the step before
            found += (*_target(program, tun, stage), *_reach(program, tun, stage))
    return (*found, *_additions(program, tun, fit))


def _swing(tun: Tun) -> Iterator[Problem]:
    """Does a probe behind an on/off heater swing so much that no rest would ever count as begun?"""
    swing_k = heat_path(tun).swing_k(strike=False)
    if swing_k <= SWING_K:
        return
    found = f"{show('duration', tun.heater.window_s)}, by which the probe behind the heater swings by {swing_k:.1f} K"
    shorter = "a solid-state relay with a shorter" if tun.heater.kind == "contactor" else "a shorter"
    wanted = f"a swing of at most {SWING_K:g} K: more flow, a probe in the mash, or {shorter} window"
    yield Problem(f"tun {tun.name}: heater: window", found, wanted)


def _fill(program: Program, tun: Tun, fit: Fit) -> Iterator[Problem]:
    most_l = MOST_FILL * tun.volume_l
    if fit.volume_l > most_l:
        share = f"{100 * fit.volume_l / tun.volume_l:.0f} % of the tun"
        later = ", with what is added later" if _later_l(program, fit) > 0.0 else ""
        found = f"{volumes.beside(fit.volume_l, most_l)} L of mash{later} ({share})"
        wanted = f"at most {most_l:.1f} L (95 % of {tun.volume_l:g} L), or it spills when stirred"
        place, less = _too_much(program, fit, most_l)
        yield Problem(place, found, wanted + less, (place,))
    if fit.liquor_kg < tun.min_liquor_l:
        wanted = f"at least {tun.min_liquor_l:g} L, so that the heater stays covered"
        yield Problem("liquor", f"{volumes.beside(fit.liquor_kg, tun.min_liquor_l)} L", wanted, ("liquor",))


def _later_l(program: Program, fit: Fit) -> float:
    """How much comes in after dough-in, L?"""
    return fit.volume_l - volumes.mash_volume_l(fit.liquor_kg, program.grist_kg)


def _too_much(program: Program, fit: Fit, most_l: float) -> tuple[str, str]:
    """Is it the grain or the liquor that does not fit, and how much grain does?"""
    grist_kg = program.grist_kg
    if grist_kg <= 0.0:
        return "liquor", ""
    grain_l_per_kg = volumes.mash_volume_l(0.0, grist_kg) / grist_kg
    if fit.liquor_kg < THICK_L_PER_KG * grist_kg:
        most_kg = most_l / (USUAL_L_PER_KG + grain_l_per_kg)
        much = f"at most about {most_kg:.1f} kg, with {USUAL_L_PER_KG:g} L/kg of liquor"
        return "grist", f"; {grist_kg:.4g} kg of grain does not fit: {much}"
    if fit.volume_l - _later_l(program, fit) <= most_l:
        return "liquor", "; mash in with less liquor, and less has to be added"
    most_kg = grist_kg - (fit.volume_l - most_l) / grain_l_per_kg
    return "liquor", f"; with this liquor at most about {most_kg:.1f} kg of grain" if most_kg > 0.05 else ""


def highest_c(tun: Tun) -> float:
    """How high may a target be on this tun, °C?"""
    return tun.guard.hard_limit_c - UNDER_LIMIT_K


def _limit_text(tun: Tun) -> str:
    limit_c = tun.guard.hard_limit_c
    return f"at most {highest_c(tun):g} °C, {UNDER_LIMIT_K:g} K under the tun's hard limit of {limit_c:g} °C"


def held_under_c(tun: Tun) -> float:
    """Under which temperature can a heater hold the mash whose probe behind it must stay under the hard limit, °C?"""
    return throttled_end_c(tun, PLATE_LOSS * tun.loss_w_per_k)


def _held_text(tun: Tun) -> str:
    return (
        f"less than {held_under_c(tun):.1f} °C: above, heat that makes up for the loss brings the probe behind the "
        f"heater to the hard limit of {tun.guard.hard_limit_c:g} °C; more flow or a probe in the mash leaves more room"
    )


def _strike(program: Program, tun: Tun, fit: Fit) -> Iterator[Problem]:
    if fit.strike_c is None:
        return
    place = ("dough_in", "strike")
    if fit.strike_c > highest_c(tun) + 1e-9:
        wanted = f"{_limit_text(tun)}: use less grain, more liquor, warmer grain or a lower first rest"
        found = f"{fit.strike_c:.1f} °C"
        if program.dough_in.strike_c is None and program.grist_kg:
            found = f'"auto", worked out as {found} at {fit.liquor_kg / program.grist_kg:.1f} L/kg'
        yield Problem("dough_in: strike", found, wanted, place)
    elif fit.strike_c >= held_under_c(tun):
        yield Problem("dough_in: strike", f"{fit.strike_c:.1f} °C", _held_text(tun), place)
    if fit.drawn_c is None and fit.strike_c < program.liquor.temperature_c - 0.5:
        wanted = f"liquor no warmer than the strike temperature, {fit.strike_c:.1f} °C"
        found = degrees(program.liquor.temperature_c)
        yield Problem("liquor: temperature", found, wanted, ("liquor", "temperature"))
    first_c = program.step[0].temperature_c
    if program.dough_in.strike_c is not None and first_c is not None:
        yield from _landing(fit, first_c)


def _poured(program: Program, tun: Tun, fit: Fit) -> Iterator[Problem]:
    """Can strike liquor from another vessel be as hot as it must be?"""
    liquor, most_c = program.liquor, boil_c(tun.altitude_m)
    if fit.drawn_c is None:
        return
    if fit.drawn_c > most_c:
        wanted = f"at most {degrees(most_c)}, where water boils at {tun.altitude_m:g} m: warm the tun first (preheat)"
        yield Problem("dough_in: strike", f"liquor to be drawn at {fit.drawn_c:.1f} °C", wanted, ("dough_in",))
    if liquor.hot_c is not None and not blend_cold_c(liquor) <= fit.drawn_c <= liquor.hot_c:
        found = f"{degrees(blend_cold_c(liquor))} and {degrees(liquor.hot_c)}"
        yield Problem("liquor: hot", found, f"a hotter and a colder tank than {fit.drawn_c:.1f} °C", ("liquor", "hot"))


def _landing(fit: Fit, first_c: float) -> Iterator[Problem]:
    """A strike written by hand must not land the mash above its first rest: nothing here can cool."""
    if fit.landing_c > first_c + LANDS_K:
        found = f"{fit.strike_c:.1f} °C, which lands the mash at {fit.landing_c:.1f} °C"
        wanted = f'"auto", or less: the first rest is {degrees(first_c)}'
        yield Problem("dough_in: strike", found, wanted, ("dough_in", "strike"))


def _length(program: Program, fit: Fit) -> Iterator[Problem]:
    sours = any(step.kind == "souring" for step in program.step)
    if not sours and math.isfinite(fit.mash_s) and fit.mash_s > LONGEST_S:
        wanted = f"at most {show('duration', LONGEST_S)} in all, ramps included"
        yield Problem("step", f"{show('duration', round(fit.mash_s))} in all", wanted, ("step",))


def _swapped(value_c: float, highest: float) -> str:
    """Two digits typed the wrong way round?"""
    other = 10 * (int(value_c) % 10) + int(value_c) // 10
    likely = value_c == int(value_c) and 20 <= other <= highest
    return f" (is {other} °C meant?)" if likely else ""


def _cooker(program: Program, target_c: float) -> str:
    """Is raw grain to be cooked in the tun? That wants a vessel with its own protection."""
    raw = any(line.kind in UNMALTED for line in program.grist)
    cooks = raw and target_c > COOKS_FROM_C
    return "; raw grain is cooked hotter in a cooker with its own protection, which joins by [cereal]" if cooks else ""


def _target(program: Program, tun: Tun, stage: Stage) -> Iterator[Problem]:
    if stage.at is not None and stage.target_c > highest_c(tun) + 1e-9:
        wanted = _limit_text(tun) + _swapped(stage.target_c, highest_c(tun)) + _cooker(program, stage.target_c)
        yield problem_at(stage.at, program.step[stage.at], "temperature", degrees(stage.target_c), wanted)


def _reach(program: Program, tun: Tun, stage: Stage) -> list[Problem]:
    """Can the heater get there at all, the tun cool down there, and the wort leave the heater cool enough?"""
    if stage.at is None:
        return []
    step, found = program.step[stage.at], degrees(stage.target_c)
    if stage.limited_by != "cooling" and stage.target_c >= held_under_c(tun):
        return [problem_at(stage.at, step, "temperature", found, _held_text(tun))]
    if not math.isfinite(stage.ramp_s):
        if stage.limited_by == "cooling":
            wanted = f"more than the room's {tun.room_c:g} °C: this tun cannot cool"
        else:
            most_c = tun.room_c + power_w(tun) / tun.loss_w_per_k
            wanted = f"less than {most_c:.0f} °C, where the heater only just makes up for the loss"
        return [problem_at(stage.at, step, "temperature", found, wanted)]
    loss_w = max(0.0, tun.loss_w_per_k * (stage.target_c - tun.room_c))
    needed_w = min(power_w(tun), stage.capacity_j_per_k * stage.climb_k_per_s + loss_w)
    rise_k = heat_path(tun).line_rise_k(needed_w)
    if rise_k is None or stage.limited_by in ("addition", "cooling"):
        return []
    outlet_c = stage.target_c + rise_k
    if outlet_c <= tun.guard.outlet_limit_c - OUTLET_MARGIN_K:
        return []
    found += f", with wort leaving the heater at {outlet_c:.1f} °C"
    wanted = f"under {tun.guard.outlet_limit_c - OUTLET_MARGIN_K:g} °C there: a slower ramp or a lower target"
    return [problem_at(stage.at, step, "temperature", found, wanted)]


def _additions(program: Program, tun: Tun, fit: Fit) -> Iterator[Problem]:
    """Does an addition of a written amount land near its target, and does a pull leave the heater covered?"""
    for stage in fit.stages:
        if stage.at is not None and stage.kind in COMES_IN:
            yield from _lands(stage.at, program.step[stage.at], stage)
            yield from _boils(stage.at, program.step[stage.at], tun)
        if stage.at is not None and stage.kind == "decoction":
            yield from _pull(program, tun, stage.at, stage)


def _lands(at: int, step: Step, stage: Stage) -> Iterator[Problem]:
    """A written amount must not land the mash above its target: nothing here can cool."""
    lands_c, written = stage.comes.lands_c, step.amount_kg is not None or step.volume_l is not None
    if not written or lands_c is None or stage.kind == "water_in" or lands_c <= stage.target_c + LANDS_K:
        return
    found = f"{stage.comes.kg:g} kg, which lands the mash at {lands_c:.1f} °C"
    yield problem_at(at, step, "amount", found, f'"auto", or less: the target is {stage.target_c:g} °C')


def _boils(at: int, step: Step, tun: Tun) -> Iterator[Problem]:
    """Is what is added hotter than water can be at this altitude?"""
    most_c = boil_c(tun.altitude_m)
    if added_at_c(step, most_c) > most_c:
        found = f"{degrees(added_at_c(step, most_c))}, hotter than water boils at {tun.altitude_m:g} m"
        key = "added_at" if step.kind == "infusion" else "returned_at"
        yield problem_at(at, step, key, found, f"at most {degrees(most_c)}")


def _pull(program: Program, tun: Tun, at: int, stage: Stage) -> Iterator[Problem]:
    mash_kg = program.grist_kg + stage.liquor_kg
    left_kg = mash_kg - stage.comes.kg
    if left_kg < tun.min_liquor_l:
        found = f"a pull of {stage.comes.kg:.1f} kg out of {mash_kg:.1f} kg"
        wanted = f"at least {tun.min_liquor_l:g} kg left in the tun, so that the heater stays covered"
        yield problem_at(at, program.step[at], "amount", found, wanted)
