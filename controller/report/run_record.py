"""What is known of one run, whether it was dry or real?

`RunRecord` is plain data: rows of samples, the plan, the steps as they went, what happened, what was signed. It is made
from a dry run's rows (`from_rows`) or from disk (from_disk.py); pages and the batch record are made from it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from controller.brewing.kinetics.model import Deed, Mark, Span

ENZYMES = {
    "beta_left_pct": "beta-amylase",
    "alpha_left_pct": "alpha-amylase",
    "glucanase_left_pct": "beta-glucanase",
    "protease_left_pct": "protease",
    "starch_left_pct": "starch left",
}


class Second(NamedTuple):
    """One second. `step` counts from 0 as in status; -1 where nothing ran."""

    t_s: float
    mash_c: float | None
    setpoint_c: float | None
    target_c: float | None
    duty: float
    step: int
    phase: str
    state: str


class PlanEntry(NamedTuple):
    """One step as it was planned."""

    name: str
    kind: str
    target_c: float
    ramp_s: float
    hold_s: float
    why: str = ""
    addition_kg: float = 0.0  # liquor to add, or mash to pull
    addition_c: float | None = None
    mixing_s: float = 0.0  # of what goes in at this step


class StepRecord(NamedTuple):
    """One step as it went. Times are s since the start of the run; None: it never came to that."""

    name: str
    kind: str
    target_c: float
    planned_s: float
    ramp_started_s: float | None = None
    in_band_s: float | None = None
    ended_s: float | None = None
    credited_s: float = 0.0
    min_c: float | None = None
    mean_c: float | None = None
    max_c: float | None = None
    overshoot_c: float | None = None
    rms_error_c: float | None = None
    climb_c_per_min: float | None = None
    asked_s: float | None = None  # how long it was to be in the end, where somebody changed that

    @property
    def ramp_s(self) -> float | None:
        """How long did the rise to the band take? None: it never came to that."""
        return None if self.in_band_s is None or self.ramp_started_s is None else self.in_band_s - self.ramp_started_s


class EventRecord(NamedTuple):
    """One line of the record."""

    t_s: float
    kind: str
    id: str
    text: str
    value: float | None = None
    limit: float | None = None
    unit: str = ""
    priority: int = 3
    data: Mapping[str, Any] = {}


class Gap(NamedTuple):
    """Between two moments nothing is known of the mash."""

    from_s: float
    to_s: float


@dataclass(frozen=True, slots=True)
class RunRecord:
    """Everything that a page or a batch record tells of a run."""

    title: str
    tun: str
    program: str
    run: str
    state: str  # the state it ended in
    rows: Sequence[Second]
    planned: tuple[PlanEntry, ...] = ()
    steps: tuple[StepRecord, ...] = ()
    events: tuple[EventRecord, ...] = ()
    enzymes: Mapping[str, Sequence[float | None]] = field(default_factory=dict)  # per row, percent left
    prediction: Mapping[str, Any] | None = None
    meta: Mapping[str, str] = field(default_factory=dict)  # further lines for the head: seed, version, calibration ...
    began_s: float | None = None  # unix s; None in a dry run
    energy_kwh: float | None = None
    planned_s: float | None = None  # from first heat to end; None: what the steps come to
    faults: tuple[str, ...] = ()  # put into a dry run
    remarks: tuple[str, ...] = ()  # of a dry run: why it did not complete, which faults could not act
    dry: bool = False
    speed: float = 1.0
    added: tuple[Mapping[str, Any], ...] = ()  # signatures and corrections, in the order they were added
    profile: Sequence[Span | Deed] = ()  # the measured temperatures from dough-in on, with what was done to the mash
    marks: Sequence[Mark] = ()  # where in it each step begins
    malt: Mapping[str, float | None] | None = None  # what the estimate took for the grist
    grist_kg: float = 0.0
    liquor_kg: float | None = None
    landing_c: float | None = None  # where the mash should land after dough-in
    damage: str = ""  # why the record cannot be trusted whole

    @property
    def curve(self) -> str:
        """What is the temperature that is drawn? A dry run knows the mash itself, not only its probe."""
        return "simulated" if self.dry else "measured"

    @property
    def ended_s(self) -> float:
        """Length of the run as far as it is recorded, s."""
        last = self.rows[-1].t_s if self.rows else 0.0
        return max(last, max((e.t_s for e in self.events), default=0.0))


def plan_curve(record: RunRecord) -> list[tuple[float, float]]:
    """The planned course as corner points (s, °C), beginning where the mash was; people answering at once."""
    first = next((row.mash_c for row in record.rows if row.mash_c is not None), None)
    if first is None or not record.planned:
        return []
    at, points = 0.0, [(0.0, first)]
    for index, step in enumerate(record.planned):
        if step.kind == "dough_in":  # heated to strike; then grain goes in, and the mash settles
            at += step.ramp_s
            points.append((at, step.target_c))
            at += step.mixing_s
            after = record.planned[index + 1 : index + 2] or (step,)
            points.append((at, after[0].target_c if record.landing_c is None else record.landing_c))
            continue
        at += step.ramp_s + step.mixing_s
        held_s = 0.0 if step.kind == "keep" else step.hold_s
        points += [(at, step.target_c), (at + held_s, step.target_c)]
        at += held_s
    return points
