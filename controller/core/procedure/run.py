"""What is remembered of a run, and what does every room mean by its words?

`Run` is where we are in a program. `program.py` moves it with time, `orders/effects.py` by orders.
"""

from typing import Literal, NamedTuple

from controller.core.nouns import Course, Event, Fleeting, Instant, Leg, Measurement, Phase, RunState, View
from controller.core.procedure.estimate import Estimate
from controller.quick_records import quick

HeldBy = Literal["", "trip", "latched", "person", "resume"]  # rising strength; only the first goes on by itself

KEPT = frozenset({RunState.RUNNING, RunState.PAUSING, RunState.PAUSED})  # the mash is kept at a temperature
ADDED = frozenset({Phase.ADDING, Phase.SETTLING})  # something goes in: heat is blocked until it has mixed
ADJUST_LOW_C = 20.0  # no target below it


class Prompt(NamedTuple):
    """What is a person asked, and what may the answer be? The first answer is the ordinary one."""

    id: str
    text: str
    answers: tuple[str, ...]
    since: Instant
    repeat_s: float = 300.0  # unanswered so long: alert again


class Offer(NamedTuple):
    """A correction that a person may take up; nothing waits for it."""

    leg: int  # the rest it is about
    text: str
    answers: tuple[str, ...]  # the first is what happens unanswered
    measured_c: float
    since: Instant


@quick
class Progress(NamedTuple):
    """How far has the present step come? The next one begins with a new one."""

    credited_s: float = 0.0  # rest time earned
    band_since: Instant | None = None  # in the narrow band since
    counting: bool = False  # the rest clock has started
    ramp_at: Instant | None = None  # when its rise began
    in_band_at: Instant | None = None  # when its rest clock began (the sixty seconds included)
    pause_c: float | None = None  # temperature kept while paused in the rise
    iodine_tests: int = 0
    iodine_ok: bool = False
    ask_at_s: float | None = None  # the next iodine test is asked for at this credited time
    reminded: int = 0  # of the pH, of a series of iodine tests; before grain: how far liquor was asked for and judged
    reached_at: Instant | None = None  # when it was first so warm, where the step before left it there


class Gap(NamedTuple):
    """What of an outage would count as rest time, if the person goes on here, and by which rule?"""

    credit_s: float = 0.0
    rule: str = ""


class Hold(NamedTuple):
    """What keeps the heat off, and how does it go on after that?"""

    by: HeldBy = ""
    paused: bool = False  # a person had paused it when a trip came: there it goes back to
    gap: Gap = Gap()


@quick
class Beginning(NamedTuple):
    """Which run is it, who started it and when, and which hours of it do not count?"""

    id: str = ""
    at: Instant = 0.0
    by: str = ""  # this and the next are for the report, which reads them in the record
    wall_s: float = 0.0
    excluded_s: float = 0.0  # waited, kept or held: not counted as run time
    armed_until: Instant | None = None  # delayed start: heating begins then


class Told(NamedTuple):
    """What was said once and need not be said again?"""

    nobody: bool = False  # ready for grain or paused, and nobody came
    liquor: bool = False  # heat the liquor for the run-off
    cooker: int = 0  # so many of the things to do at the cooker
    flow: bool = False  # the wort moves slowly


@quick
class Run(NamedTuple):
    """Where are we in which program?"""

    state: RunState = RunState.CHECKING
    course: Course | None = None
    begun: Beginning = Beginning()
    leg: int = 0  # index of the present step; dough-in, where there is one, is 0
    phase: Phase = Phase.RAMPING
    phase_since: Instant = 0.0
    state_since: Instant = 0.0
    progress: Progress = Progress()  # within this step
    key: int = 0  # changes whenever the ramp must start anew
    prompt: Prompt | None = None
    hold: Hold = Hold()
    grain_in: bool = False
    told: Told = Told()
    offer: Fleeting[Offer | None] = None  # after dough-in: how the mash could be put right at that moment
    mash: Estimate = Estimate()  # what the enzymes have done so far; informs, decides nothing


class Situation(NamedTuple):
    """What an order's effect may look at."""

    view: View
    seen: Measurement
    now: Instant
    wall_s: float
    ceiling_c: float  # highest target the tun allows
    missing: tuple[str, ...]  # start permissives not met
    wall_confirmed: bool


class Refused(NamedTuple):
    why: str


Done = tuple[Run, str, tuple[Event, ...]]  # run, what was done in words, events


class Walk(NamedTuple):
    """What came of one step of the program room?"""

    run: Run
    events: tuple[Event, ...] = ()


def leg_of(run: Run) -> Leg | None:
    """Which step are we in? None when nothing runs."""
    course, index = run.course, run.leg
    if course is None:
        return None
    legs = course.legs
    return legs[index] if 0 <= index < len(legs) else None


_HIGHEST: list[tuple[tuple[Leg, ...], int, float | None]] = []  # the last answer: the same from second to second


def highest_remaining_c(run: Run) -> float | None:
    """What is the highest temperature the rest of the program asks for? Strike counts until dough-in ends."""
    if run.course is None:
        return None
    legs, index = run.course.legs, run.leg
    for kept_legs, kept_index, highest_c in _HIGHEST:
        if kept_legs is legs and kept_index == index:  # that very tuple of values that never change
            return highest_c
    highest_c = max((leg.target_c for leg in legs[index:]), default=None)
    _HIGHEST[:] = [(legs, index, highest_c)]
    return highest_c


def capacity_j_per_k(run: Run) -> float | None:
    """What does the tun's content take to warm by one kelvin now? Liquor alone before dough-in."""
    leg, course = leg_of(run), run.course
    if leg is None or course is None:
        return None
    return leg.capacity_j_per_k if run.grain_in else course.liquor_capacity_j_per_k


def with_leg(run: Run, index: int, leg: Leg) -> Run:
    """The run with one step of its course changed."""
    if run.course is None:
        return run
    legs = (*run.course.legs[:index], leg, *run.course.legs[index + 1 :])
    return run._replace(course=run.course._replace(legs=legs))


def credit_gap(run: Run, events: list[Event]) -> Run:
    """The gap rule applied, once, in one event that names it."""
    gap, progress = run.hold.gap, run.progress
    text = f"{gap.credit_s:.0f} s of the outage count as rest time: {gap.rule}"
    events.append(Event("resume", "gap rule", text, value=gap.credit_s, unit="s"))
    credited_s = progress.credited_s + gap.credit_s
    hold = run.hold._replace(gap=gap._replace(credit_s=0.0))
    return run._replace(progress=progress._replace(credited_s=credited_s), hold=hold)


def out_of_band(run: Run) -> Run:
    """The run with its first minute in band to come again."""
    return run._replace(progress=run.progress._replace(band_since=None))


def clock_stopped(run: Run) -> Run:
    """The run whose rest clock has to start anew; what was credited stays."""
    return run._replace(progress=run.progress._replace(band_since=None, counting=False))


def held(run: Run, by: HeldBy, paused: bool | None = None) -> Run:
    """The run held by this; `paused`, where it changes that too."""
    return run._replace(hold=run.hold._replace(by=by, paused=run.hold.paused if paused is None else paused))


def enter(run: Run, phase: Phase, now: Instant) -> Run:
    """The same step, another phase."""
    if phase is run.phase:
        return run
    return run._replace(phase=phase, phase_since=now)


def go(run: Run, state: RunState, now: Instant, why: str = "") -> tuple[Run, Event]:
    """Another state, and the event that says so."""
    event = Event("state", str(state), f"{run.state} -> {state}" + (f": {why}" if why else ""))
    return run._replace(state=state, state_since=now), event
