"""What hangs on this machine: which thermometers, which pins?

`config/nodes/NAME.toml`, one file a tun, read by the field nodes beside `service.toml` and `tuns/NAME.toml`. Topics,
units and limits come from the tun's file, so that they stand in one place.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Literal, NamedTuple

from pydantic import StringConstraints

from controller.edge.files import config_files
from controller.field.lease import CEILING_S, CONTACTOR_REST_S, OUTLET_GAP_K, NodeSettings
from controller.field.thermometer import Hwmon, Max31865, OneWire, Thermometer
from controller.settings.faults_in_words import read
from controller.settings.problems import Problem, Problems, gathered
from controller.settings.service import Broker, Service
from controller.settings.table import Quantity, Table, show
from controller.settings.tun import Probe, Tun

FilePath = Annotated[str, StringConstraints(pattern=r"^/[^\x00]+$", max_length=300)]
PinNumber = Annotated[int | None, Quantity("number", 0, 511)]  # a pin by its number on the chip
WINDOW_S = 2.0  # on and off of a solid-state relay within it, where the tun's file names no window (common practice)
Role = Literal["mash", "second", "outlet"]
Kind = Literal["probe", "heater"]
ROLES: tuple[Role, ...] = ("mash", "second", "outlet")


class Sensor(Table):
    """One thermometer."""

    kind: Literal["onewire", "max31865", "hwmon"]
    path: FilePath
    reference_ohm: Annotated[float, Quantity("number", 10, 100_000)] = 430.0  # commonly 430 for a Pt100 board
    r0_ohm: Annotated[float, Quantity("number", 10, 10_000)] = 100.0  # 100 for a Pt100, 1000 for a Pt1000

    def thermometer(self) -> Thermometer:
        """The thermometer that this describes."""
        place = Path(self.path)
        if self.kind == "max31865":
            return Max31865(place, self.reference_ohm, self.r0_ohm)
        return OneWire(place) if self.kind == "onewire" else Hwmon(place)


class Sensors(Table):
    """The thermometers by their role in the tun's file."""

    mash: Sensor | None = None
    second: Sensor | None = None
    outlet: Sensor | None = None

    def fitted(self) -> Iterator[tuple[Role, Sensor]]:
        """Those that are there."""
        return ((role, sensor) for role in ROLES if (sensor := getattr(self, role)) is not None)


class ProbeTable(Table):
    """What the probe node needs."""

    username: str = ""
    password_file: str = ""
    every_s: Annotated[float, Quantity("duration", 0.5, 3)] = 1.0  # the daemon wants one at least every 3 s
    sensors: Sensors


class HeaterTable(Table):
    """What the heater node needs."""

    username: str = ""
    password_file: str = ""
    chip: FilePath = "/dev/gpiochip0"
    line: Annotated[int, Quantity("number", 0, 511)]
    active_low: bool = False
    window_s: Annotated[float | None, Quantity("duration", 1, 60)] = None
    min_off_s: Annotated[float | None, Quantity("duration", 0, 60)] = None
    limit_probe: Role
    limit_c: Annotated[float | None, Quantity("temperature", 40, 100)] = None
    level_line: PinNumber = None
    flow_line: PinNumber = None
    inputs_active_low: bool = False
    stirrer_line: PinNumber = None
    pump_line: PinNumber = None
    reset_line: PinNumber = None


class NodeTable(Table):
    """One file below `nodes/`."""

    probe: ProbeTable | None = None
    heater: HeaterTable | None = None


class NodeHardware(NamedTuple):
    """The three files together."""

    table: NodeTable
    tun: Tun
    service: Service


def load(config: Path, tun_name: str | None, kind: Kind) -> NodeHardware:
    """What is fitted for this tun on this machine? Raises Problems: those of all three files at once."""
    name = tun_name or config_files.only_tun(config)
    problems: list[Problem] = []
    tun = gathered(problems, lambda: config_files.load_tun(config, name))
    service = gathered(problems, lambda: config_files.load_service(config))
    table = gathered(problems, lambda: load_table(config / "nodes" / f"{name}.toml", tun, kind))
    if problems or tun is None or service is None or table is None:
        raise Problems(problems)
    return NodeHardware(table, tun, service)


def load_table(path: Path, tun: Tun | None, kind: Kind) -> NodeTable:
    """The node's own file. Raises Problems."""
    if not path.is_file():
        raise Problems([Problem(str(path), "no such file", "a file as config/nodes/gannet.toml shows")])
    data, text = config_files.table(path)
    value, problems = read(NodeTable, data, lambda table: agree(table, tun, kind))
    if value is None or problems:
        raise Problems(config_files.at_line(problem, path, text) for problem in problems)
    return value


# ---------------------------------------------------------------- what must fit


def agree(table: NodeTable, tun: Tun | None, kind: Kind) -> list[Problem]:
    """Does the node's file fit itself and the tun's file?"""
    if getattr(table, kind) is None:
        return [Problem(kind, "nothing", f"the table [{kind}]", (kind,))]
    if tun is None:
        return []
    sensors = _sensors(table.probe, tun) if table.probe is not None else ()
    return [*sensors, *(_heater(table.heater, tun) if table.heater is not None else ())]


def _sensors(probe: ProbeTable, tun: Tun) -> Iterator[Problem]:
    fitted = list(probe.sensors.fitted())
    if not fitted:
        yield Problem("probe: sensors", "no thermometer", "at least one, such as [probe.sensors.mash]", ("probe",))
    for role, _ in fitted:
        if getattr(tun.probes, role) is None:
            wanted = f"[probes.{role}] in the tun's file too, with its topic"
            yield Problem(f"probe: sensors: {role}", "a thermometer", wanted, ("probe", "sensors", role))


def _heater(heater: HeaterTable, tun: Tun) -> Iterator[Problem]:
    if getattr(tun.probes, heater.limit_probe) is None:
        there = ", ".join(role for role in ROLES if getattr(tun.probes, role) is not None)
        wanted = f"a probe of the tun's file: {there}"
        yield Problem("heater: limit_probe", f'"{heater.limit_probe}"', wanted, ("heater", "limit_probe"))
    highest = highest_limit_c(heater, tun)
    if heater.limit_c is not None and heater.limit_c > highest:
        wanted = f"at most the tun's own limit, {show('temperature', highest)}"
        yield Problem("heater: limit", show("temperature", heater.limit_c), wanted, ("heater", "limit"))
    for name in ("level", "flow", "stirrer", "pump"):
        if getattr(heater, f"{name}_line") is not None and getattr(tun, name) is None:
            wanted = f"[{name}] in the tun's file too, with its topic"
            yield Problem(f"heater: {name}_line", "a pin", wanted, ("heater", f"{name}_line"))
    yield from _twice(heater)


def _twice(heater: HeaterTable) -> Iterator[Problem]:
    """A pin serves one purpose."""
    seen: dict[int, str] = {}
    for name in ("line", "level_line", "flow_line", "stirrer_line", "pump_line", "reset_line"):
        pin = getattr(heater, name)
        if pin is not None and (other := seen.setdefault(pin, name)) != name:
            yield Problem(f"heater: {name}", f"pin {pin}, as for {other}", "a pin of its own", ("heater", name))


def highest_limit_c(heater: HeaterTable, tun: Tun) -> float:
    """How high may the node's own limit be? The guard's limit for the same place; a node may only be tighter."""
    return tun.guard.outlet_limit_c if heater.limit_probe == "outlet" else tun.guard.hard_limit_c


# ---------------------------------------------------------------- what follows


def broker(service: Service, node: ProbeTable | HeaterTable) -> Broker:
    """How does this node reach the broker? As the daemon does, under its own name and with its own password."""
    own = {"username": node.username, "password_file": node.password_file} if node.username else {}
    return service.broker.model_copy(update=own)


def limit_of(heater: HeaterTable, tun: Tun) -> Probe:
    """Which probe of the tun does the node look at by itself?"""
    probe: Probe | None = getattr(tun.probes, heater.limit_probe)
    assert probe is not None  # `agree` saw to it
    return probe


MASH_GAP_K = 1.0  # at a mash-side probe: 5 K would hold heat back for good in a keep near the limit (own proposal)
TRIP_K = 2.0  # above the limit of a mash-side probe: latched at once (own proposal; the limiter itself acts below)


def node_settings(heater: HeaterTable, tun: Tun, boot: str) -> NodeSettings:
    """The figures of the node's contract for this heater."""
    at_outlet = heater.limit_probe == "outlet"
    limit = highest_limit_c(heater, tun) if heater.limit_c is None else heater.limit_c
    rest = CONTACTOR_REST_S if tun.heater.kind in ("contactor", "gas") else 0.0
    own_rest = tun.heater.min_off_s if heater.min_off_s is None else heater.min_off_s
    return NodeSettings(
        power_w=tun.heater.power_w,
        boot=boot,
        ceiling_s=min(CEILING_S, tun.heater.lease_s),
        min_off_s=max(rest, own_rest),
        window_s=heater.window_s or tun.heater.window_s or WINDOW_S,
        outlet=True,
        level=heater.level_line is not None,
        flow=heater.flow_line is not None,
        outlet_limit_c=limit,
        outlet_trip_c=max(limit, tun.guard.outlet_trip_c) if at_outlet else limit + TRIP_K,
        outlet_gap_k=OUTLET_GAP_K if at_outlet else MASH_GAP_K,
    )
