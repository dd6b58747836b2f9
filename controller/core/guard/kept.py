"""What of the guard outlives the process?

Plain frozen values, written and read by the types alone (plain_values.py): a field put here is on disk from then on,
and so is all of an interlock whose `keep` gives itself. History stands there with a line a minute. Each ten seconds of
full heat make a record, and what none has counts as full heat. Price: 7 to 10 kB each, 3 MB for an hour of full heat.
"""

from __future__ import annotations

from typing import NamedTuple, TypeAlias

from controller.core.guard import gate
from controller.core.guard.heat_account import NEW, UNRECORDED_S, HeatAccount
from controller.core.guard.history import History
from controller.core.guard.interlock import Interlock
from controller.core.guard.interlocks.g12_heat_ledger import HeatLedger
from controller.core.guard.interlocks.g23_run_too_long import RunTooLong
from controller.core.guard.interlocks.g24_keeps_tripping import KeepsTripping
from controller.core.guard.interlocks.g25_does_not_fit import DoesNotFit
from controller.core.guard.registry import ALL
from controller.core.guard.state import GuardState
from controller.core.nouns import Instant, Trip
from controller.settings.tun import Tun

Survivor: TypeAlias = HeatLedger | RunTooLong | KeepsTripping | DoesNotFit  # those whose `keep` gives something


class Kept(NamedTuple):
    """What the next process' guard must know of this one's."""

    epoch: int = 1
    trips: tuple[Trip, ...] = ()
    off_until: Instant = 0.0  # no heat before, whatever else is well
    heat: HeatAccount = NEW
    hand_for: str = ""  # a restart wants a hand reading after this one
    past: History = History()
    interlocks: tuple[Survivor, ...] = ()


NOTHING = Kept()  # the first process ever


def kept(state: GuardState) -> Kept:
    """What must survive of this state?"""
    lasting = (interlock.keep() for interlock in state.interlocks)
    survivors = tuple(each for each in lasting if isinstance(each, Survivor))
    return Kept(
        epoch=state.epoch,
        trips=state.trips,
        off_until=state.evidence.off_until,
        heat=state.heat,
        hand_for=state.hand_for,
        past=state.past.kept(),
        interlocks=survivors,
    )


def recalled(tun: Tun, known: Kept, now: Instant, measured: bool) -> GuardState:
    """The guard of a process that has just started: shut, knowing what the one before it left. Nothing that has
    happened lies ahead. `measured`: the tun was measured with water."""
    back: dict[type[Interlock], Interlock] = {
        type(interlock): interlock.recalled(now) for interlock in known.interlocks
    }
    begun = gate.begin(
        tun,
        now,
        known.epoch,
        measured,
        tuple(trip._replace(at=min(trip.at, now)) for trip in known.trips),
        known.off_until,
        tuple(back.get(type(fresh), fresh) for fresh in ALL),
    )
    begun = begun._replace(hand_for=known.hand_for)
    if known.heat == NEW:
        return begun
    unrecorded_s = tun.heater.lease_s + UNRECORDED_S  # of full heat, at the most
    past = known.past.recalled(unrecorded_s * begun.plate.power_w)
    return begun._replace(heat=known.heat.recalled(unrecorded_s), past=past)
