"""Does what hangs on this tun's topics keep the rules of a field node?

The heater's node and each probe's, one after the other. The last word to the heater is OFF, however it ends.
"""

from __future__ import annotations

from collections.abc import Collection

from controller.commissioning.heater_check import HeaterCheck
from controller.commissioning.heater_hands import POWER, PROVOKED, HeaterHands
from controller.commissioning.heater_line import HeaterLine
from controller.commissioning.node_bench import Bench
from controller.commissioning.node_rules import Hands, Sheet, Verdict
from controller.commissioning.probe_check import ProbeCheck
from controller.commissioning.proof_record import ROLES
from controller.settings.tun import Tun

PARTS = ("heater", *ROLES)


def fitted(tun: Tun) -> tuple[str, ...]:
    """Which parts has this tun?"""
    return ("heater", *(role for role in ROLES if getattr(tun.probes, role) is not None))


async def check(bench: Bench, tun: Tun, hands: Hands, parts: Collection[str]) -> list[Verdict]:
    """Every rule of these parts, and what became of it. Raises Stranger when somebody else commands the heater."""
    verdicts: list[Verdict] = []
    for part in fitted(tun):
        if part in parts:
            sheet = Sheet(part, tun)
            await (_heater(bench, sheet, tun, hands) if part == "heater" else _probe(bench, sheet, tun, hands))
            verdicts += sheet.verdicts()
    return verdicts


async def _heater(bench: Bench, sheet: Sheet, tun: Tun, hands: Hands) -> None:
    line = HeaterLine(bench, sheet, tun)
    try:
        if await HeaterCheck(line).run():
            await HeaterHands(line, hands).run()
        else:
            sheet.untried("it does not heat on command", *(one.rule for one in PROVOKED), *POWER)
    finally:
        await line.bare_off()
        await line.off()


async def _probe(bench: Bench, sheet: Sheet, tun: Tun, hands: Hands) -> None:
    probe = getattr(tun.probes, sheet.part)
    await ProbeCheck(bench, sheet, probe, hands, sheet.part == fitted(tun)[1]).run()
