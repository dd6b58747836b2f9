"""What reached the door since the last tick?"""

from __future__ import annotations

from typing import NamedTuple

from controller.core.nouns import Disk, HeaterReport, Link, Order, Presence, Sample, Switch


class Presences(NamedTuple):
    """What was last said of each node being there? None: nothing yet."""

    heater: Presence | None = None  # its last will; gone is a fault at once, there proves nothing
    mash: Presence | None = None  # of that probe's node
    second: Presence | None = None
    outlet: Presence | None = None
    movers: Presence | None = None  # of the nodes that drive what must move for heat: of two the worse word


class Clocks(NamedTuple):
    """What do this machine's clocks say?"""

    wall_s: float = 0.0  # unix s; a stamp, never a timer
    wall_confirmed: bool = False  # the machine says its clock is in step
    wall_set_s: float = 0.0  # by how much the wall clock was set since the last tick, + = on
    late_s: float = 0.0  # how late this tick begins
    gap_s: float = 0.0  # time by which the suspend-counting clock ran ahead of the other since the last tick


class Inputs(NamedTuple):
    """Everything since the last tick. Queues are short tails: the newest few, never a backlog."""

    mash: tuple[Sample, ...] = ()
    second: tuple[Sample, ...] = ()
    outlet: tuple[Sample, ...] = ()
    heater: HeaterReport | None = None  # newest
    level: Switch | None = None
    flow: Switch | None = None
    there: Presences = Presences()
    orders: tuple[Order, ...] = ()
    link: Link = Link(False, 0.0)
    disk: Disk = Disk(True, 0, 0)
    clocks: Clocks = Clocks()
    supply_w: float | None = None  # share of a supply that several tuns draw on, W; None where none is shared
    epoch_seen: int = 0  # highest owner epoch heard of (journal, heater report, retained status, another's command)
