"""Where did the mash land after dough-in, or the liquor stand before it, and what would put it right?

Once the mash has settled, the measured initial heat is put on record beside the predicted one. Where the two lie apart,
a correction is offered in figures: so long of heat, so much hot or cold liquor, or the rest taken as it is. Nothing
waits for an answer; unanswered, the rise to the rest goes on as it would have without the offer. Too hot is said at
once, for heat destroys beta-amylase in minutes and nothing brings it back. Liquor from another vessel, and any that is
hotter than its strike, is judged once it has stood for two minutes; until then nothing heats the former.
"""

from math import isfinite
from typing import NamedTuple

from controller.brewing import heat, volumes, water
from controller.core.control.climb import BAND_K, climb
from controller.core.nouns import Course, Event, Instant, Leg, Measurement, Phase
from controller.core.procedure.questions import MET, POURED, STANDS_S
from controller.core.procedure.run import Offer, Run, leg_of
from controller.core.procedure.who_moves import PUMP_REST_S
from controller.settings.tun import Tun

SETTLING = Phase.SETTLING
CARRIED_K = 5.0  # liquor from the kettle is so far under the boil when it reaches the mash (from memory)
OVER_K = 1.0  # over the rest by more than this, while it settles: said at once (own proposal)
MIXED_S = 30.0  # before that a reading is of a pocket (own proposal)
MOST_FILL = 0.95  # room to stir in (common practice: 5 to 10 % free)

SHORT = ("heat", "hot liquor", "accept")
OVER = ("let it cool", "cold liquor", "accept")


class Correction(NamedTuple):
    """What would bring the mash to its rest?"""

    apart_k: float  # measured less wanted
    heat_s: float | None  # at full heat, within the rise allowed; None where heat is no help
    liquor_kg: float | None  # hot, or cold where it is too warm; None where liquor cannot do it
    liquor_c: float
    thickness_l_per_kg: float | None  # afterwards
    fill_share: float | None  # afterwards


def correction(course: Course, rest: Leg, tun: Tun, measured_c: float) -> Correction:
    """So long of heat, or so much liquor: which brings a mash of `measured_c` (°C) to the rest's temperature?

    Heat balance as for infusions and ramps (brewing formulas 6, 7, 12). Cold liquor is as warm as the room.
    """
    apart = measured_c - rest.target_c
    liquor_c = round(water.boiling_c(tun.altitude_m), 1) - CARRIED_K if apart < 0.0 else tun.room_c
    heat_s = climb(tun, rest.capacity_j_per_k, measured_c, rest.target_c, rest.climb_k_per_s).seconds
    try:
        kg = heat.addition_kg(rest.capacity_j_per_k, measured_c, rest.target_c, liquor_c)
    except ValueError:
        kg = -1.0
    seconds = heat_s if apart < 0.0 and isfinite(heat_s) else None
    if not (isfinite(kg) and kg >= 0.0):
        return Correction(apart, seconds, None, liquor_c, None, None)
    liquor_kg = course.liquor_kg + kg
    thickness = liquor_kg / course.grist_kg if course.grist_kg > 0.0 else None
    fill = volumes.fill_share(volumes.mash_volume_l(liquor_kg, course.grist_kg), tun.volume_l)
    return Correction(apart, seconds, kg, liquor_c, thickness, fill)


def follow(before: Run, run: Run, tun: Tun, seen: Measurement, now: Instant) -> tuple[Run, Event | None]:
    """The run with an offer made, or withdrawn once the rest is in band or over. `before`: the run a tick ago."""
    offer = run.offer
    if offer is not None and offer.leg == 0 and run.phase is Phase.WAITING:
        return run._replace(offer=None), None
    if run.phase is Phase.HEATING and run.progress.reminded == POURED:
        return _met(run, tun, seen, now)
    if offer is not None and (run.leg > offer.leg or (run.leg == offer.leg and run.progress.counting)):
        return run._replace(offer=None), None
    if before.phase is not SETTLING or before.course is None or seen.value_c is None:
        return run, None
    leg = leg_of(before)
    if leg is None or leg.kind != "dough_in" or before.leg + 1 >= len(before.course.legs):
        return run, None
    settled = run.leg == before.leg + 1
    if not settled and not (_too_hot(before, tun, seen.value_c, now) and offer is None):
        return run, None
    return _offered(run, before.leg + 1, tun, seen.value_c, now, settled)


def _met(run: Run, tun: Tun, seen: Measurement, now: Instant) -> tuple[Run, Event | None]:
    """Does the liquor stand where it must just before grain? What is heated here and too cold yet needs no word."""
    leg, course = leg_of(run), run.course
    if leg is None or course is None or seen.value_c is None or seen.doubtful or now - run.phase_since < STANDS_S:
        return run, None
    run = run._replace(progress=run.progress._replace(reminded=MET))
    value_c, heated_here = seen.value_c, leg.ramp_s > 0.0
    if abs(value_c - leg.target_c) <= BAND_K or (heated_here and value_c < leg.target_c):
        return run, None
    found = correction(course, leg, tun, value_c)
    text = f"the liquor stands at {value_c:.1f} °C; just before grain {leg.target_c:.1f} °C are wanted"
    text += _apart(found)
    if course.landing_c is not None and len(course.legs) > 1:
        share = course.liquor_capacity_j_per_k / course.legs[1].capacity_j_per_k
        text += f"; the mash then lands at {course.landing_c + share * found.apart_k:.1f} °C"
    offer = Offer(run.leg, text, SHORT if found.apart_k < 0.0 else OVER, value_c, now)
    event = Event("note", "strike", text, round(value_c, 2), round(leg.target_c, 2), "°C", priority=2)
    return run._replace(offer=offer), event


def _too_hot(run: Run, tun: Tun, value_c: float, now: Instant) -> bool:
    assert run.course is not None
    return now - run.phase_since >= mixed_s(tun) and value_c > run.course.legs[run.leg + 1].target_c + OVER_K


def mixed_s(tun: Tun) -> float:
    """How long after the grain is in may the reading be of something else than the mash, s? Where the pump alone brings
    the mash to the probe, that probe stands in strike liquor until the pump has run and the liquor has gone by."""
    if tun.mixing != "pump" or tun.stirrer is not None:
        return MIXED_S
    return PUMP_REST_S + tun.guard.dead_time_s + MIXED_S


def _offered(run: Run, index: int, tun: Tun, value_c: float, now: Instant, settled: bool) -> tuple[Run, Event | None]:
    """The event that puts predicted and measured on record, and the offer where they lie apart."""
    course = run.course
    if course is None:
        return run, None
    rest = course.legs[index]
    found = correction(course, rest, tun, value_c)
    text, offer = f"settled at {value_c:.1f} °C, wanted {rest.target_c:.1f} °C", None
    if not settled:
        text = f"too warm while it settles: {value_c:.1f} °C, wanted {rest.target_c:.1f} °C"
    if abs(found.apart_k) > BAND_K:
        text += _apart(found)
        offer = Offer(index, text, SHORT if found.apart_k < 0.0 else OVER, value_c, now)
    predicted = rest.target_c if course.landing_c is None else course.landing_c
    figures = {key: None if value is None else round(value, 3) for key, value in found._asdict().items()}
    data = {"predicted_c": round(predicted, 2), "measured_c": round(value_c, 2), **figures}
    event = Event("settled", rest.name, text, round(value_c, 2), round(rest.target_c, 2), "°C", priority=3, data=data)
    return run._replace(offer=offer), event


def _apart(found: Correction) -> str:
    """By how much, and what may be done."""
    ways = "; ".join(_ways(found))
    return f": {abs(found.apart_k):.1f} K {'short' if found.apart_k < 0.0 else 'over'}. {ways[:1].upper()}{ways[1:]}"


def _ways(found: Correction) -> list[str]:
    """What may be done, the ordinary first."""
    ways = ["stir with the lid open and let it cool"]
    if found.apart_k < 0.0:
        ways = [f"heat {found.heat_s / 60:.1f} min, as it does unless told otherwise"] if found.heat_s else []
    if found.liquor_kg is not None and found.fill_share is not None:
        ways.append(_liquor(found, found.liquor_kg, found.fill_share))
    return [*ways, "or accept it as it is"]


def _liquor(found: Correction, kg: float, fill_share: float) -> str:
    if fill_share > MOST_FILL:
        return f"no room for liquor ({kg:.1f} kg at {found.liquor_c:.0f} °C would fill the tun to {fill_share:.0%})"
    thick = "" if found.thickness_l_per_kg is None else f" (then {found.thickness_l_per_kg:.2f} L/kg)"
    return f"or add {kg:.1f} kg of liquor at {found.liquor_c:.0f} °C{thick}"
