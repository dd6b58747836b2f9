"""What is odd about the heater node, short of a trip? It starts again and again, or says 0 whatever its meter shows."""

from __future__ import annotations

from collections.abc import Iterator

from controller.core.guard.interlock import Note
from controller.core.guard.senses import Senses
from controller.core.guard.state import Noted

BOOTS, BOOTS_S = 3, 600.0  # starts within so long are told: a supply that sags, a watchdog that bites (own proposal)
ZERO_REPORTS = 8  # in a row, some 16 s: a meter may lag behind an output by a few (own proposal)
POWER_SHARE = 0.1  # of the plate: so much on the meter is heat (own proposal)
REBOOTS = f"The heater node has started {BOOTS} times within {BOOTS_S / 60:.0f} min. Look at its supply and its wiring."
ZERO = "The heater node reports that it is off, and its meter shows heat. Its report is worth nothing: look at it."


def remembered(noted: Noted, senses: Senses) -> Noted:
    """The last few starts, and how many reports in a row said 0 over a meter that showed heat."""
    report = senses.heater.report
    if report is None:
        return noted
    if report.boot != noted.boot:
        noted = noted._replace(boot=report.boot, boots=(*noted.boots, senses.now)[-BOOTS:] if noted.boot else ())
    draws = report.power_w is not None and report.power_w > POWER_SHARE * senses.tun.heater.power_w
    zero = noted.zero_reports + 1 if report.duty <= 0.0 and draws else 0
    return noted if zero == noted.zero_reports else noted._replace(zero_reports=zero)


def found(noted: Noted, senses: Senses) -> Iterator[Note]:
    """What is told of it now?"""
    if len(noted.boots) >= BOOTS and senses.now - noted.boots[0] < BOOTS_S:
        yield Note("boots", REBOOTS, 2)
    if noted.zero_reports >= ZERO_REPORTS:
        yield Note("zero", ZERO, 2)
