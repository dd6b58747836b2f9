"""What of the guard outlives the process?"""

from __future__ import annotations

from controller.core.guard import kept
from controller.core.guard.evidence import Evidence
from controller.core.guard.heat_account import NEW, UNRECORDED_S, HeatAccount
from controller.core.guard.history import History
from controller.core.guard.interlocks.g12_heat_ledger import HeatLedger
from controller.core.guard.interlocks.g25_does_not_fit import DoesNotFit
from controller.core.guard.registry import ALL
from tests.core.guard.looks import LATCHED, NOW, OPEN, TUN, having, memory_of

FULL = kept.Kept(
    epoch=7,
    trips=(LATCHED._replace(at=NOW - 9.0),),
    off_until=NOW + 500.0,
    heat=HeatAccount(owed_k=2.0),
    hand_for="G09",
    past=History(energy_j=5.0),
    interlocks=(DoesNotFit(told=(3,)),),
)


def test_what_is_kept() -> None:
    """Owner's number, trips, time off, account, the hand reading wanted, history, and what interlocks keep."""
    state = having(DoesNotFit(told=(3,)), OPEN)._replace(
        epoch=7, trips=FULL.trips, hand_for="G09", heat=FULL.heat, past=FULL.past,
        evidence=Evidence(off_until=NOW + 500.0),
    )  # fmt: skip
    found = kept.kept(state)
    assert found._replace(interlocks=()) == FULL._replace(interlocks=())
    assert DoesNotFit(told=(3,)) in found.interlocks and len(found.interlocks) < len(ALL)


def test_the_next_process_begins_with_it() -> None:
    """Shut as long as the last one was, its trips no younger than they are, and what no record has as full heat."""
    begun = kept.recalled(TUN, FULL, NOW, measured=True)
    assert (begun.epoch, begun.trips, begun.hand_for) == (7, FULL.trips, "G09")
    assert begun.evidence == Evidence(off_until=NOW + 500.0, from_at=NOW, quiet_at=NOW)
    unrecorded_s = TUN.heater.lease_s + UNRECORDED_S
    assert begun.heat == HeatAccount(owed_k=2.0, unrecorded_s=unrecorded_s)
    assert begun.past.energy_j == 5.0 + unrecorded_s * begun.plate.power_w
    assert memory_of(begun, DoesNotFit) == DoesNotFit(told=(3,))
    assert memory_of(begun, HeatLedger) == HeatLedger()


def test_a_trip_of_a_later_clock_is_as_old_as_the_process() -> None:
    """Nothing that has happened lies ahead."""
    ahead = FULL._replace(trips=(LATCHED._replace(at=NOW + 9.0),))
    assert [trip.at for trip in kept.recalled(TUN, ahead, NOW, measured=False).trips] == [NOW]


def test_the_first_process_ever() -> None:
    """It is owner number one and owes nothing, and no heat went unrecorded before it."""
    assert tuple(kept.Kept()) == (1, (), 0.0, NEW, "", History(), ())
    begun = kept.recalled(TUN, kept.NOTHING, NOW, measured=False)
    assert (begun.epoch, begun.trips, begun.heat, begun.hand_for, begun.past) == (1, (), NEW, "", History())
    assert begun.evidence.off_until == NOW + TUN.guard.start_lock_s
