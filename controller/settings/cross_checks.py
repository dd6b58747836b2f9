"""Do the figures of a tun fit each other?

Each check stands by itself, so that one whose values could not be read hides no other.
"""

from __future__ import annotations

from controller.settings.problems import Checks, Problem
from controller.settings.table import show
from controller.settings.tun import Tun

SSR_WINDOW_S, USUAL_WINDOW_S = 1.0, 2.0  # own proposal
CONTACTOR_WINDOW_S = 30.0  # shorter wears it and its contacts weld (common practice; config/wiring.md)


def _problem(where: str, found: str, wanted: str) -> Problem:
    """A problem whose place in words gives its keys."""
    return Problem(where, found, wanted, tuple(where.split(": ")))


def _vessel(tun: Tun) -> list[Problem]:
    if tun.min_liquor_l < tun.volume_l:
        return []
    return [
        _problem(
            "min_liquor", show("volume", tun.min_liquor_l), f"less than the volume, {show('volume', tun.volume_l)}"
        )
    ]


def _window(tun: Tun) -> list[Problem]:
    """An on/off heater needs a window; a contactor's contacts wear and weld where it is short (config/wiring.md)."""
    heater = tun.heater
    if heater.kind not in ("ssr", "contactor"):
        return []
    relay = heater.kind == "contactor"
    least_s, usual_s = (CONTACTOR_WINDOW_S,) * 2 if relay else (SSR_WINDOW_S, USUAL_WINDOW_S)
    if heater.window_s >= least_s:
        return []
    written = "window_s" in heater.model_fields_set
    found = show("duration", heater.window_s) if written else "nothing"
    wanted = f"at least {show('duration', least_s)}" if written else f'window = "{show("duration", usual_s)}"'
    why = "; a contactor that switches more often wears, and its contacts weld (config/wiring.md)" if relay else ""
    return [_problem("heater: window", found, wanted + why)]


def _pulses(tun: Tun) -> list[Problem]:
    heater = tun.heater
    if heater.kind not in ("ssr", "contactor") or heater.window_s < SSR_WINDOW_S:
        return []  # without a window there is nothing to hold them to
    both_s = heater.min_on_s + heater.min_off_s
    if both_s <= heater.window_s:
        return []
    found = f"{show('duration', both_s)} together with min_off"
    return [_problem("heater: min_on", found, f"no more than the window, {show('duration', heater.window_s)}")]


def _bath(tun: Tun) -> list[Problem]:
    if tun.heater.place == "coil" and tun.heater.bath_l <= 0:
        return [_problem("heater: bath", "nothing", 'the liquor that the coil lies in, such as bath = "20 L"')]
    if tun.heater.bath_l <= 0 or tun.heater.place in ("coil", "jacket"):
        return []
    wanted = 'only with place "coil" or "jacket", where liquor stands between heater and mash'
    return [_problem("heater: bath", show("volume", tun.heater.bath_l), wanted)]


def _fire(tun: Tun) -> list[Problem]:
    if tun.heater.kind == "gas" or tun.heater.min_fire <= 0:
        return []
    return [_problem("heater: min_fire", show("share", tun.heater.min_fire), "only with a gas burner")]


def _motion(tun: Tun) -> list[Problem]:
    if tun.mixing != "none":
        return []
    return [_problem("mixing", '"none"', '"stirrer" or "pump": heat without mixing scorches and misleads the probe')]


def _mover(tun: Tun) -> list[Problem]:
    """What mixes has a table of its own."""
    mover = tun.mixing
    if mover == "none" or getattr(tun, mover) is not None:
        return []
    return [_problem(mover, "nothing", f"the table [{mover}] with topic, such as {_topic(tun, f'{mover}/command')}")]


def _flow_switch(tun: Tun) -> list[Problem]:
    if tun.heater.place != "line" or tun.flow is not None:
        return []
    wanted = f"a flow switch, the table [flow] with topic, such as {_topic(tun, 'flow')}"
    return [_problem("flow", "nothing", f"{wanted}: a heater in the line boils dry in seconds without flow")]


def _topic(tun: Tun, end: str) -> str:
    return f'"underback/{tun.name}/{end}"'


def _line_pump(tun: Tun) -> list[Problem]:
    if tun.heater.place != "line" or tun.mixing == "pump":
        return []
    return [_problem("mixing", f'"{tun.mixing}"', '"pump", for the heater sits in the recirculation line')]


def _flow_rate(tun: Tun) -> list[Problem]:
    if tun.heater.place != "line" or tun.flow_l_per_min is not None:
        return []
    return [_problem("flow_rate", "nothing", 'the pump\'s flow, such as "6 L/min"')]


def _reading_ages(tun: Tun) -> list[Problem]:
    guard = tun.guard
    if guard.reading_gone_s > guard.reading_late_s:
        return []
    found, least = show("duration", guard.reading_gone_s), show("duration", guard.reading_late_s)
    return [_problem("guard: reading_gone", found, f"more than reading_late, {least}")]


def _outlet_limits(tun: Tun) -> list[Problem]:
    guard = tun.guard
    if guard.outlet_trip_c > guard.outlet_limit_c:
        return []
    found, least = show("temperature", guard.outlet_trip_c), show("temperature", guard.outlet_limit_c)
    return [_problem("guard: outlet_trip", found, f"more than outlet_limit, {least}")]


def _probe_topics(tun: Tun) -> list[Problem]:
    problems = []
    probes = tun.probes
    topics = {"mash": probes.mash, "second": probes.second, "outlet": probes.outlet}
    seen: dict[tuple[str, str], str] = {}
    for role, probe in topics.items():
        if probe is None:
            continue
        other = seen.setdefault((probe.topic, probe.pointer), role)
        if other != role:
            problems.append(
                _problem(f"probes: {role}: topic", f'"{probe.topic}", as for {other}', "a topic or pointer of its own")
            )
    return problems


agree: Checks[Tun] = Checks(  # do the figures of this tun fit each other? Places are keys below the file
    _vessel,
    _window,
    _pulses,
    _bath,
    _fire,
    _motion,
    _mover,
    _flow_switch,
    _line_pump,
    _flow_rate,
    _reading_ages,
    _outlet_limits,
    _probe_topics,
)
