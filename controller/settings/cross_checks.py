"""Do the figures of a tun fit each other?

Each check stands by itself, so that one whose values could not be read hides no other.
"""

from collections.abc import Iterator

from controller.settings.problems import Checks, Problem
from controller.settings.table import show
from controller.settings.tun import WARM, Tun

SSR_WINDOW_S, USUAL_WINDOW_S = 1.0, 2.0  # own proposal
ON_OFF = ("ssr", "contactor")
CONTACTOR_WINDOW_S = 30.0  # shorter wears it and its contacts weld (common practice; config/wiring.md)


def _problem(where: str, found: str, wanted: str) -> Problem:
    """A problem whose place in words gives its keys."""
    return Problem(where, found, wanted, tuple(where.split(": ")))


def _vessel(tun: Tun) -> Iterator[Problem]:
    if tun.min_liquor_l >= tun.volume_l:
        wanted = f"less than the volume, {show('volume', tun.volume_l)}"
        yield _problem("min_liquor", show("volume", tun.min_liquor_l), wanted)


def _window(tun: Tun) -> Iterator[Problem]:
    """An on/off heater needs a window; a contactor's contacts wear and weld where it is short (config/wiring.md)."""
    heater = tun.heater
    relay = heater.kind == "contactor"
    least_s, usual_s = (CONTACTOR_WINDOW_S,) * 2 if relay else (SSR_WINDOW_S, USUAL_WINDOW_S)
    if heater.kind not in ON_OFF or heater.window_s >= least_s:
        return
    written = "window_s" in heater.model_fields_set
    found = show("duration", heater.window_s) if written else "nothing"
    wanted = f"at least {show('duration', least_s)}" if written else f'window = "{show("duration", usual_s)}"'
    why = "; a contactor that switches more often wears, and its contacts weld (config/wiring.md)" if relay else ""
    yield _problem("heater: window", found, wanted + why)


def _pulses(tun: Tun) -> Iterator[Problem]:
    heater = tun.heater
    both_s = heater.min_on_s + heater.min_off_s
    held = (
        heater.kind in ON_OFF and heater.window_s >= SSR_WINDOW_S
    )  # without a window there is nothing to hold them to
    if held and both_s > heater.window_s:
        found = f"{show('duration', both_s)} together with min_off"
        yield _problem("heater: min_on", found, f"no more than the window, {show('duration', heater.window_s)}")


def _bath(tun: Tun) -> Iterator[Problem]:
    place, bath_l = tun.heater.place, tun.heater.bath_l
    if place == "coil" and bath_l <= 0:
        yield _problem("heater: bath", "nothing", 'the liquor that the coil lies in, such as bath = "20 L"')
    if place not in ("coil", "jacket") and bath_l > 0:
        wanted = 'only with place "coil" or "jacket", where liquor stands between heater and mash'
        yield _problem("heater: bath", show("volume", bath_l), wanted)


def _fire(tun: Tun) -> Iterator[Problem]:
    if tun.heater.kind != "gas" and tun.heater.min_fire > 0:
        yield _problem("heater: min_fire", show("share", tun.heater.min_fire), "only with a gas burner")


def _mixing(tun: Tun) -> Iterator[Problem]:
    """Heat needs mixing, and what mixes has a table of its own."""
    mover = tun.mixing
    if mover == "none":
        wanted = '"stirrer" or "pump": heat without mixing scorches and misleads the probe'
        yield _problem("mixing", '"none"', wanted)
    elif getattr(tun, mover) is None:
        yield _problem(mover, "nothing", f"the table [{mover}] with topic, such as {_topic(tun, f'{mover}/command')}")


def _flow_switch(tun: Tun) -> Iterator[Problem]:
    if tun.heater.place == "line" and tun.flow is None:
        wanted = f"a flow switch, the table [flow] with topic, such as {_topic(tun, 'flow')}"
        yield _problem("flow", "nothing", f"{wanted}: a heater in the line boils dry in seconds without flow")


def _topic(tun: Tun, end: str) -> str:
    return f'"underback/{tun.name}/{end}"'


def _line_pump(tun: Tun) -> Iterator[Problem]:
    if tun.heater.place == "line" and tun.mixing != "pump":
        yield _problem("mixing", f'"{tun.mixing}"', '"pump", for the heater sits in the recirculation line')


def _flow_rate(tun: Tun) -> Iterator[Problem]:
    if tun.heater.place == "line" and tun.flow_l_per_min is None:
        yield _problem("flow_rate", "nothing", 'the pump\'s flow, such as "6 L/min"')


def _probe_place(tun: Tun) -> Iterator[Problem]:
    """A place on the wort's round needs a round; one behind the heater needs the heater in it."""
    probe, looped = tun.probes.mash, tun.heater.place in ("line", "coil")
    if probe.place is None:
        return
    found, where = f'"{probe.place}"', "probes: mash: place"
    if (probe.place in WARM) != probe.behind_heater:
        wanted = "the line behind_heater deleted: the place says it"
        yield _problem(where, f"{found} with behind_heater = {str(probe.behind_heater).lower()}", wanted)
    elif probe.place in WARM and not looped:
        yield _problem(where, found, '"mash" or "bed outlet", for this heater does not sit in the recirculation')
    elif probe.place == "bed outlet" and not tun.bed:
        yield _problem(where, found, '"mash", for no wort passes a bed in a stirred tun')


def _reading_ages(tun: Tun) -> Iterator[Problem]:
    guard = tun.guard
    if guard.reading_gone_s <= guard.reading_late_s:
        found, least = show("duration", guard.reading_gone_s), show("duration", guard.reading_late_s)
        yield _problem("guard: reading_gone", found, f"more than reading_late, {least}")


def _outlet_limits(tun: Tun) -> Iterator[Problem]:
    guard = tun.guard
    if guard.outlet_trip_c <= guard.outlet_limit_c:
        found, least = show("temperature", guard.outlet_trip_c), show("temperature", guard.outlet_limit_c)
        yield _problem("guard: outlet_trip", found, f"more than outlet_limit, {least}")


def _probe_topics(tun: Tun) -> Iterator[Problem]:
    probes = tun.probes
    seen: dict[tuple[str, str], str] = {}
    for role, probe in (("mash", probes.mash), ("second", probes.second), ("outlet", probes.outlet)):
        if probe is None:
            continue
        other = seen.setdefault((probe.topic, probe.pointer), role)
        if other != role:
            found = f'"{probe.topic}", as for {other}'
            yield _problem(f"probes: {role}: topic", found, "a topic or pointer of its own")


agree: Checks[Tun] = Checks(  # do the figures of this tun fit each other? Places are keys below the file
    _vessel,
    _window,
    _pulses,
    _bath,
    _fire,
    _mixing,
    _flow_switch,
    _line_pump,
    _flow_rate,
    _probe_place,
    _reading_ages,
    _outlet_limits,
    _probe_topics,
)
