"""A made-up history for the slow interlocks: told line by line, ten seconds each, or written down at once."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, Generic, Literal

from controller.core.guard import plate
from controller.core.guard.heat_account import NEW, HeatAccount
from controller.core.guard.history import History, Line
from controller.core.guard.interlock import Finding, Known
from controller.core.guard.plate import Plate
from controller.core.nouns import Target
from controller.settings.tun import Heater, Output, Tun
from tests.core.bench import tun
from tests.core.guard.looks import OFF, SEEN, Kind, senses

CAPACITY = 100_000.0  # J/K
POWER = 2_000.0  # W: 0.2 K in ten seconds, 1.2 K/min
STEP_K = POWER * 10.0 / CAPACITY
NO_LOSS: dict[str, Any] = {"loss_w_per_k": 0.0, "room_c": 60.0}
JACKET = tun(heater=Heater(kind="proportional", power_w=POWER, place="jacket")).model_copy(update=NO_LOSS)
Course = Callable[[float], float]


def hold(target_c: float | None, capacity: float = CAPACITY) -> Target:
    """Heat as needed towards this target."""
    return Target("hold", target_c, 0.02, 1, capacity)


BLOCKED = Target("blocked", 63.0, 0.02, 1, CAPACITY)


def limited(which: Tun = JACKET, **limits: float) -> Tun:
    """The tun with other limits."""
    return which.model_copy(update={"guard": which.guard.model_copy(update=limits)})


def heated(which: Tun = JACKET, **changes: Any) -> Tun:
    """The tun with another heater."""
    return which.model_copy(update={"heater": which.heater.model_copy(update=changes)})


def probed(which: Tun = JACKET, **changes: Any) -> Tun:
    """The tun with another mash probe."""
    mash = which.probes.mash.model_copy(update=changes)
    return which.model_copy(update={"probes": which.probes.model_copy(update={"mash": mash})})


BEHIND = probed(behind_heater=True)
COIL = heated(place="coil")


def bathed(litres: float, place: Literal["jacket", "coil"] = "coil") -> Tun:
    """So much liquor round the heater."""
    return heated(place=place, bath_l=litres)


def pumped(litres: float, flow_l_per_min: float | None, stirred: bool = False) -> Tun:
    """Moved by a pump (and by a stirrer as well, if it has one), with no dead time and no lag."""
    stirrer = Output(topic="s") if stirred else None
    return vessel(mixing="pump", volume_l=litres, flow_l_per_min=flow_l_per_min, stirrer=stirrer)


def flat(value_c: float) -> Course:
    """Always the same."""
    return lambda at: value_c


def rising(from_c: float, k_per_min: float) -> Course:
    """An even rise."""
    return lambda at: from_c + k_per_min * at / 60.0


class Story(Generic[Kind]):
    """One interlock in a tun told line by line; asked in the states that it names, as the gate does."""

    def __init__(self, interlock: Kind, which: Tun = JACKET, measured: bool = False, **changes: Any) -> None:
        values = {"tun": which, "target": hold(78.0), "setpoint_c": 78.0, "capacity_j_per_k": CAPACITY, "report": None}
        self.base = senses(**{**values, **changes})
        self.interlock, self.plate = interlock, plate.of(which, measured)
        self.past, self.heat, self.now = History(), NEW, 0.0
        self.finding: Finding | None = None

    def line(self, value_c: float | None, duty: float, **changes: Any) -> Finding | None:
        """Ten seconds at this duty, then a reading."""
        self.now += 10.0
        seen = SEEN._replace(value_c=value_c, at=self.now - 0.5)
        tick = senses(self.base, **{"now": self.now, "dt": 10.0, "seen": seen, **changes})
        self.past, self.finding = self.past.follow(tick, duty, self.plate), None
        self.heat = self.heat.follow(tick, duty, self.plate)
        if tick.run.state in self.interlock.STATES:
            known = Known(line=OFF, past=self.past, heat=self.heat, plate=self.plate, started_at=0.0)
            self.interlock, self.finding = self.interlock.watch(tick, known)
        else:
            self.interlock = self.interlock.asleep(tick)
        return self.finding

    def go(self, value: Course, duty: Course | float, most_s: float = 4000.0, **changes: Any) -> float | None:
        """Until something is found: after how many seconds? None when nothing is."""
        start = self.now
        while self.now - start < most_s:
            at = self.now - start + 10.0
            share = duty(at) if callable(duty) else duty
            if self.line(value(at), share, **changes) is not None:
                return self.now - start
        return None

    @property
    def found(self) -> tuple[Any, Any]:
        """Value and limit of what was found."""
        assert self.finding is not None
        return self.finding.value, self.finding.limit


def vessel(which: Tun = JACKET, /, **changes: Any) -> Tun:
    """No dead time, no lag, no loss, a room of 0 °C: what is due is arithmetic."""
    bare = probed(limited(which, dead_time_s=0.0), lag_s=0.0)
    return bare.model_copy(update={"room_c": 0.0, **changes})


def told(temperatures: Sequence[float], energies: Sequence[float], **changes: Any) -> History:
    """A line every ten seconds from 0 on, with these temperatures and energies; the last is new."""
    pairs = zip(temperatures, energies, strict=True)
    lines = tuple(Line(10.0 * at, temperature, energy) for at, (temperature, energy) in enumerate(pairs))
    return History(lines=lines, fresh=True)._replace(**changes)


def straight(lines: int, rise: float, energy: float, span: int, **changes: Any) -> History:
    """So many lines; over the last `span` of them this rise and this energy, the same from line to line."""
    last = lines - 1
    temperatures = [0.0 if at < last else rise for at in range(lines)]
    return told(temperatures, [energy * at / span for at in range(lines)], **changes)


def watt(which: Tun | None = None, measured: bool = False, **changes: Any) -> Plate:
    """The plate of a tun with one watt."""
    return plate.of(which or vessel(), measured)._replace(power_w=1.0)._replace(**changes)


def judged(
    interlock: Kind,
    past: History,
    which: Tun | None = None,
    figures: Plate | None = None,
    heat: HeatAccount = NEW,
    **changes: Any,
) -> tuple[Kind, Finding | None]:
    """What does it say of this history? One watt, one joule a kelvin, so that energy is rise."""
    values = {"tun": which or vessel(), "now": past.lines[-1].at, "target": hold(1000.0, 1.0), "setpoint_c": None}
    tick = senses(**{**values, "capacity_j_per_k": 1.0, "report": None, **changes})
    known = Known(line=OFF, past=past, heat=heat, plate=figures or watt(which), started_at=0.0)
    return interlock.watch(tick, known)
