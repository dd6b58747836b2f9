"""How does a mash go on from a moment that several tests share? In a copy of it, with the faults still to come."""

from __future__ import annotations

from collections.abc import Collection
from copy import deepcopy

from sim.dryrun import DryRun
from sim.world.faults import Fault, Faults


def copied(sound: DryRun, faults: Collection[Fault] = ()) -> DryRun:
    """The same mash at the same moment; what nobody changes is shared, and it goes on as the first would have."""
    kept = (*sound.settings, sound.settings, sound.plan, sound.plan.course)
    hashed = sound.passed._hash
    dry = deepcopy(sound, {id(one): one for one in kept} | {id(hashed): hashed.copy()})
    dry.world.faults = Faults(faults)
    dry.world.live = dry.world.faults.at(dry.world.now)
    dry._machine = Faults(fault for fault in faults if fault.kind in ("loop_stall", "suspend"))
    return dry
