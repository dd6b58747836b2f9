"""What is still missing before heat may be allowed at all?

Every missing item is named in one answer, so that a person mends them in one go.
"""

from __future__ import annotations

from typing import NamedTuple

from controller.core.model import Disk, Instant, Link, Measurement, Order, Switch, View
from controller.core.settings import Tun

HAND_K = 3.0  # the probe and the hand thermometer agree this closely
HERE_S = 600.0  # the "I am here" mark is good for so long
FREE_MB = 100.0  # room for the record


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
    wall_s: float
    wall_confirmed: bool
    proof_days: float | None  # age of the last proof test, days; None when there is none


def missing(facts: Facts, order: Order) -> tuple[str, ...]:
    """Which start permissives does this order lack?"""
    gaps = [*_machine(facts), *_tun(facts), *_person(facts, order)]
    return tuple(gaps)


def _machine(facts: Facts) -> list[str]:
    gaps: list[str] = []
    if not facts.link.up:
        gaps.append("the broker is out of reach")
    if facts.view.lost:
        gaps.append("another controller owns this tun")
    if facts.view.trips:
        gaps.append("a trip is active: " + ", ".join(f"{t.id} ({t.text})" for t in facts.view.trips))
    if not facts.disk.ok:
        gaps.append(f"the run record cannot be written ({facts.disk.text or 'disk error'})")
    if facts.disk.free_mb < FREE_MB:
        gaps.append(f"only {facts.disk.free_mb:.0f} MB free for the record, {FREE_MB:.0f} MB needed")
    return gaps


def _tun(facts: Facts) -> list[str]:
    gaps: list[str] = []
    seen, tun = facts.seen, facts.tun
    if seen.value_c is None or seen.good_run < 5:
        gaps.append(f"five good mash readings in a row (so far {seen.good_run}; {seen.text or 'readings are young'})")
    if not facts.heater_boot or not facts.view.heater_off:
        gaps.append("the heater node has to report and to acknowledge OFF")
    if tun.level is not None and (facts.level is None or not facts.level.ok or facts.now - facts.level.at > 10.0):
        gaps.append("the level switch says no liquid, or nothing")
    if tun.flow is not None and (facts.flow is None or facts.now - facts.flow.at > 10.0):
        gaps.append("the flow switch is silent")
    return gaps


def _person(facts: Facts, order: Order) -> list[str]:
    gaps: list[str] = []
    args, seen = order.args, facts.seen
    if args.get("here") is not True:
        gaps.append("your mark that you are at the tun and have looked at liquid, lid and hoses: here=yes")
    hand = args.get("hand_c")
    if not isinstance(hand, int | float) or isinstance(hand, bool):
        gaps.append('what a hand thermometer reads in the tun now: hand="12 °C"')
    elif seen.value_c is not None and not (abs(hand - seen.value_c) <= HAND_K):
        apart = hand - seen.value_c
        gaps.append(
            f"probe and hand thermometer that agree: by hand {hand:.1f} °C, probe {seen.value_c:.1f} °C, "
            f"{apart:+.1f} K apart, limit {HAND_K:g} K"
        )
    gaps.extend(_proof(facts, order))
    return gaps


def _proof(facts: Facts, order: Order) -> list[str]:
    """Unattended only with a proof test in date; a delayed start always needs it, a level switch and a true clock."""
    limit = facts.tun.guard.proof_test_days
    in_date = facts.proof_days is not None and facts.proof_days <= limit
    delayed = order.args.get("ready_at") is not None
    gaps: list[str] = []
    if not in_date and (delayed or order.args.get("attended") is not True):
        have = "there is none" if facts.proof_days is None else f"it is {facts.proof_days:.0f} days old"
        either = "" if delayed else ", or your mark that you stay: attended=yes"
        gaps.append(f"a proof test not older than {limit:g} days ({have}; run `underback tryout`){either}")
    if delayed and facts.tun.level is None:
        gaps.append("a delayed start needs a level switch on the tun")
    if delayed and not facts.wall_confirmed:
        gaps.append("a delayed start needs a clock that is confirmed to be in step")
    return gaps
