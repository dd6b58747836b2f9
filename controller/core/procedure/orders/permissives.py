"""What is still missing before heat may be allowed at all?

Every missing item is named in one answer, so that a person mends them in one go.
"""

from collections.abc import Iterator
from itertools import pairwise
from math import inf
from statistics import median
from typing import NamedTuple

from controller.core.nouns import Disk, Instant, Link, Measurement, Order, Switch, View
from controller.settings.tun import Tun

HAND_K = 3.0  # the probe and the hand thermometer agree this closely
FREE_MB = 100.0  # room for the record
SPACING_S = 3.0  # readings come at least so often ...
WAVER_S = 0.25  # ... give or take what the network does to them (own proposal)
SPACINGS = 4  # so many gaps show it: those between five readings
SEEN_DRY = "nothing else sees a tun that has run dry while nobody is there"
CHECK_PROBE = "check the probe, its plug and its network, or take it out of the tun file"


class Facts(NamedTuple):
    """What is known at the moment of a start."""

    tun: Tun
    seen: Measurement
    view: View
    link: Link
    disk: Disk
    level: Switch | None
    flow: Switch | None
    heater_boot: str
    now: Instant
    wall_confirmed: bool
    proof_days: float | None  # age of the last proof test, days; None when there is none
    believed_at: tuple[Instant, ...] = ()  # when the last few believed mash readings came
    second_at: Instant = -inf  # when the second probe's newest did
    outlet_at: Instant = -inf  # and the outlet probe's
    heater_fault: str = ""  # what the heater node says of itself


def missing(facts: Facts, order: Order) -> tuple[str, ...]:
    """Which start permissives does this order lack?"""
    return (*_machine(facts), *_tun(facts), *_too_hot(facts, order), *_person(facts, order), *_proof(facts, order))


def _machine(facts: Facts) -> Iterator[str]:
    if not facts.link.up:
        yield "the broker is out of reach"
    if facts.view.lost:
        yield "another controller owns this tun"
    if facts.view.trips:
        yield "a trip is active: " + ", ".join(f"{t.id} ({t.text})" for t in facts.view.trips)
    if not facts.disk.ok:
        yield f"the run record cannot be written ({facts.disk.text or 'disk error'})"
    if facts.disk.free_mb < FREE_MB:
        yield f"only {facts.disk.free_mb:.0f} MB free for the record, {FREE_MB:.0f} MB needed"


def _tun(facts: Facts) -> Iterator[str]:
    seen = facts.seen
    if seen.value_c is None or seen.good_run < 5:
        yield f"five good mash readings in a row (so far {seen.good_run}; {seen.text or 'readings are young'})"
    else:
        yield from _spacing(facts)
    yield from _other_probes(facts)
    if not facts.heater_boot or not facts.view.heater_off:
        yield "the heater node has to report and to acknowledge OFF"
    if facts.heater_fault:
        yield f"the heater node free of its own fault ({facts.heater_fault}; look at it, and reset it there)"
    yield from _switches(facts)


def _switches(facts: Facts) -> Iterator[str]:
    """Does each switch still speak? Its word serves as long as it does for the guard, G13."""
    tun, limit_s = facts.tun, facts.tun.guard.switch_gone_s
    if tun.level is not None and (facts.level is None or not facts.level.ok or facts.now - facts.level.at > limit_s):
        yield "the level switch says no liquid, or nothing"
    if tun.flow is not None and (facts.flow is None or facts.now - facts.flow.at > limit_s):
        yield "the flow switch is silent"


def _spacing(facts: Facts) -> Iterator[str]:
    """Does the mash probe speak often enough? The median gap tells, so that a lost reading counts for nothing."""
    apart = [later - sooner for sooner, later in pairwise(facts.believed_at)]
    often = f"mash readings at least every {SPACING_S:g} s"
    if len(apart) < SPACINGS:
        yield f"{often} (too few so far to tell; try again in a minute)"
    elif median(apart) > SPACING_S + WAVER_S:
        slow = f"they come every {median(apart):.1f} s, and slower firmware does not serve"
        yield f"{often} ({slow}; set the probe node to send more often)"


def _other_probes(facts: Facts) -> Iterator[str]:
    """A probe that is in the tun file has to speak, for an interlock rests on it; as fresh as G02 wants the mash's."""
    probes, delay_s = facts.tun.probes, max(0.0, facts.link.delay_s)
    limit_s = facts.tun.guard.reading_gone_s
    for probe, name, at, rests in (
        (probes.second, "second mash probe", facts.second_at, "G05, probes differ"),
        (probes.outlet, "outlet probe", facts.outlet_at, "G08, outlet hot"),
    ):
        age_s = facts.now - at + delay_s
        if probe is not None and not (age_s <= limit_s):
            last = "none so far" if at == -inf else f"the last is {age_s:.0f} s old, limit {limit_s:g} s"
            yield f"a fresh reading of the {name} for {rests} ({last}; {CHECK_PROBE})"


def _too_hot(facts: Facts, order: Order) -> Iterator[str]:
    """Is the tun hotter than the step to begin with? It has no cooling, and the guard would end such a run. Liquor that
    was poured in hot may be as hot as anything the program asks for: before grain that is mended with cold liquor."""
    course, first, now_c = order.course, order.args.get("from_step", 0), facts.seen.value_c
    if course is None or now_c is None or not isinstance(first, int | float) or not 0 <= first < len(course.legs):
        return
    leg, margin_k = course.legs[int(first)], facts.tun.guard.above_program_k
    poured_hot = leg.kind == "dough_in" and leg.ramp_s <= 0.0
    hottest = max(course.legs, key=lambda one: one.target_c) if poured_hot else leg
    over_k = now_c - hottest.target_c
    if not (over_k <= margin_k):
        hot = f"it is at {now_c:.1f} °C, {over_k:.1f} K over the {hottest.target_c:.1f} °C of {hottest.name}"
        mend = "let it cool, or begin at a later step with from_step"
        yield f"a tun no hotter than its first step: {hot}, limit {margin_k:g} K; {mend}"


def _person(facts: Facts, order: Order) -> Iterator[str]:
    args, seen = order.args, facts.seen
    if args.get("here") is not True:
        yield "your mark that you are at the tun and have looked at liquid, lid and hoses: here=yes"
    hand = args.get("hand_c")
    if not isinstance(hand, int | float) or isinstance(hand, bool):
        yield 'what a hand thermometer reads in the tun now: hand="12 °C"'
    elif seen.value_c is not None and not (abs(hand - seen.value_c) <= HAND_K):
        apart = f"by hand {hand:.1f} °C, probe {seen.value_c:.1f} °C, {hand - seen.value_c:+.1f} K apart"
        yield f"probe and hand thermometer that agree: {apart}, limit {HAND_K:g} K"


def _proof(facts: Facts, order: Order) -> Iterator[str]:
    """Unattended only with a proof test in date and a switch that shows an empty tun; a delayed start needs the test, a
    level switch and a true clock, attended or not."""
    limit = facts.tun.guard.proof_test_days
    in_date = facts.proof_days is not None and facts.proof_days <= limit
    delayed, attended = order.args.get("ready_at") is not None, order.args.get("attended") is True
    if not in_date and (delayed or not attended):
        have = "there is none" if facts.proof_days is None else f"it is {facts.proof_days:.0f} days old"
        either = "" if delayed else ", or your mark that you stay: attended=yes"
        yield f"a proof test not older than {limit:g} days ({have}; run `underback tryout`){either}"
    if not attended and not delayed and not facts.tun.may_be_left:
        yield f"a level or a flow switch on the tun ({SEEN_DRY}), or your mark that you stay: attended=yes"
    if delayed and facts.tun.level is None:
        yield "a delayed start needs a level switch on the tun"
    if delayed and not facts.wall_confirmed:
        yield "a delayed start needs a clock that is confirmed to be in step"
