"""Which figures hold the guard's interlocks, and how far may a brewery move them?

One table for the code, the documentation and the tests: each field carries its default, its range, its unit, the
interlock it belongs to, and where the figure comes from. Limits come from the local tun file alone; a program or a
message can only be tighter. "Own proposal" means: tried on simulated plants, no authority behind it.
"""

from typing import Annotated, Final, NamedTuple

from pydantic import Field

from controller.settings.table import FieldKind, Quantity, Table, mark_of


class LimitRow(NamedTuple):
    """One line of the table of limits."""

    name: str  # attribute of Limits
    key: str  # key in the tun file, below [guard]
    interlock: str
    kind: str
    default: float
    low: float
    high: float
    unit: str
    source: str


_S: Final = "duration"
_K: Final = "difference"
_C: Final = "temperature"
_N: Final = "number"


def _limit(kind: FieldKind, low: float, high: float, interlock: str, source: str = "own proposal") -> Quantity:
    return Quantity(kind, low, high, interlock, source)


class Limits(Table):
    """The guard's figures, `[guard]` in a tun file. Defaults serve; every one has a range it may be moved in."""

    reading_late_s: Annotated[float, _limit(_S, 2, 10, "late")] = 5.0
    reading_gone_s: Annotated[float, _limit(_S, 5, 20, "G02", "10 s of blind heat warm a mash by 0.13 to 0.29 K")] = (
        10.0
    )
    nonsense_readings: Annotated[int, _limit(_N, 2, 10, "G02")] = 3
    jump_k: Annotated[float, _limit(_K, 1, 5, "G04")] = 2.0
    probes_differ_k: Annotated[float, _limit(_K, 2, 8, "G05")] = 4.0
    probes_differ_s: Annotated[float, _limit(_S, 10, 300, "G05")] = Field(60.0, alias="probes_differ_for")
    above_program_k: Annotated[float, _limit(_K, 1, 5, "G06")] = 3.0
    hard_limit_c: Annotated[
        float, _limit(_C, 60, 85, "G07", "alpha-amylase is destroyed at 80 °C (Kunze, second hand); range own proposal")
    ] = 80.0
    outlet_limit_c: Annotated[float, _limit(_C, 65, 90, "G08")] = 85.0
    outlet_trip_c: Annotated[float, _limit(_C, 70, 95, "G08")] = 92.0
    outlet_over_mash_k: Annotated[
        float, _limit(_K, 5, 30, "G08", "own proposal; or twice what the plate's flow warms by, if that is more")
    ] = 12.0
    dead_time_s: Annotated[
        float,
        _limit(_S, 0, 180, "G09", "own proposal, for beds and pipes of up to 60 s; a coil has at least 300 s on top"),
    ] = 60.0
    unasked_rise_k: Annotated[float, _limit(_K, 0.5, 2, "G10", "own trial on random tuns")] = 0.8
    cannot_keep_up_k: Annotated[float, _limit(_K, 2, 8, "G11")] = 4.0
    cannot_keep_up_s: Annotated[float, _limit(_S, 300, 1800, "G11")] = Field(900.0, alias="cannot_keep_up_for")
    ledger_k: Annotated[
        float, _limit(_K, 1, 5, "G12", "own proposal; on top 30 % of the heat put in, at 1.7 times the plate's loss")
    ] = 2.0
    switch_gone_s: Annotated[float, _limit(_S, 3, 20, "G13")] = 10.0
    flow_proof_s: Annotated[float, _limit(_S, 2, 60, "G13")] = 10.0
    heater_silent_s: Annotated[float, _limit(_S, 5, 20, "G14")] = 10.0
    heater_contradicts_s: Annotated[float, _limit(_S, 2, 10, "G15")] = 3.0
    echo_gone_s: Annotated[float, _limit(_S, 5, 20, "G14")] = 10.0
    beat_late_s: Annotated[float, _limit(_S, 1, 4, "G17")] = 2.0
    clock_odd_s: Annotated[float, _limit(_S, 2, 30, "clock")] = 5.0
    start_lock_s: Annotated[float, _limit(_S, 10, 120, "start")] = 10.0
    flood_per_s: Annotated[float, _limit(_N, 10, 500, "flood")] = Field(50.0, alias="flood_per_s")
    run_factor: Annotated[float, _limit(_N, 1.1, 3, "G23")] = 1.5
    run_extra_s: Annotated[float, _limit(_S, 600, 10800, "G23")] = 3600.0
    heat_on_s: Annotated[float, _limit(_S, 3600, 86400, "G23")] = 57600.0
    trips_in_window: Annotated[int, _limit(_N, 2, 5, "G24")] = 3
    fit_low: Annotated[float, _limit(_N, 0.3, 0.8, "G25")] = 0.5
    fit_high: Annotated[float, _limit(_N, 1.2, 2, "G25")] = 1.6
    requalify_off_s: Annotated[float, _limit(_S, 60, 600, "after any trip")] = 60.0
    proof_test_days: Annotated[int, _limit(_N, 1, 365, "start")] = 90


def table() -> tuple[LimitRow, ...]:
    """Which limits are there? In the order of the interlocks."""
    return tuple(
        LimitRow(name, field.alias or name, m.note, m.kind, field.default, m.low, m.high, m.unit, m.source)
        for name, field in Limits.model_fields.items()
        if (m := mark_of(field.metadata)) is not None
    )
