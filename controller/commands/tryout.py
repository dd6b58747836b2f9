"""Try a tun out with plain water and a person beside it: the proof test.

Fill the tun with cold water, start no daemon, and say how much is in it:

    underback tryout --tun gannet --water "40 L"

Each trial says what to do. The dated record is the proof that unattended and delayed starts need. With `--yes` a
simulated tun is tried out by a script, in this process alone.
"""

from __future__ import annotations

import argparse
import asyncio
import itertools
import secrets
import signal
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from controller.commands.serve import lock, read
from controller.commands.shared import terminal
from controller.commands.shared.connection import worked_at
from controller.commands.shared.exit_codes import DONE, NO, Wrong
from controller.commissioning import proof_record
from controller.commissioning.proof_record import Trial
from controller.commissioning.tryout import Tryout
from controller.commissioning.tryout_rig import Hands, Hushed, Look, Water, course
from controller.core.nouns import Course
from controller.edge.clock import FASTEST, MachineClock
from controller.edge.log import Log
from controller.edge.mqtt.broker_link import BrokerLink
from controller.edge.mqtt.connection import Will
from controller.edge.mqtt.transport import MemoryBroker, MemoryTransport, Transport
from controller.edge.record import reader
from controller.edge.service import Service
from controller.edge.user import login
from controller.edge.watchdog import Watchdog
from controller.messages.topics import topics
from controller.settings.service import Settings
from sim.people.manual_faults import ScriptedHands
from sim.plant.spec import STEP_S
from sim.simulated_site import SimulatedSite
from sim.world.world import World

SIMULATED_SHARE, SIMULATED_C = 0.5, 12.0  # of the tun's volume, where nothing is said


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--tun", metavar="NAME", help="which tun; not needed where only one answers, or its nodes do")
    parser.add_argument("--water", metavar="VOLUME", help='how much plain water is in the tun, such as "40 L"')
    parser.add_argument("--by", metavar="WHO", help="who tries it out; your login name unless said")
    parser.add_argument("--yes", action="store_true", help="a simulated tun, tried out by a script")
    parser.add_argument("--speed", type=float, default=1.0, help=f"with --yes: times real time, at most {FASTEST:g}")
    parser.add_argument("--json", action="store_true", help="print the record as one JSON object")


def run(args: argparse.Namespace) -> int:
    _, settings = read(args.config, worked_at(args.config, args.tun), args.speed)
    litres = _litres(args.water, settings, args.yes)
    by = args.by or login()
    with lock(reader.record_folder(settings)) as mine:
        if not mine:
            raise Wrong(f"a daemon serves {settings.tun.name} on this machine; end it first (systemctl stop)")
        trials = asyncio.run(_go(settings, litres, by, args.yes, args.speed, args.json))
    document = proof_record.record(settings, trials, by, MachineClock().wall_s())
    path = proof_record.write(settings, document)
    said = "passed" if document["passed"] else "FAILED; unattended and delayed starts are refused until it passes"
    terminal.show(args.json, document, [f"{settings.tun.name}: {said}. Record: {path}"])
    return DONE if document["passed"] else NO


def _litres(text: str | None, settings: Settings, scripted: bool) -> float:
    """How much water? Raises Wrong when it is not said, or when a real tun is to be tried by a script."""
    tun = settings.tun
    if scripted and not tun.simulated:
        raise Wrong(f"--yes: tun {tun.name} is real (simulated = false); a person has to be at it")
    if text is None and scripted:
        return SIMULATED_SHARE * tun.volume_l
    if text is None:
        raise Wrong('--water: found nothing, wanted how much plain water is in the tun, such as --water "40 L"')
    litres = terminal.asked("volume", "--water", text)
    if not (0.0 < litres <= tun.volume_l):
        raise Wrong(f"--water: found {text!r}, wanted above 0 and at most {tun.volume_l:g} L, the tun's volume")
    return litres


class Terminal:
    """A person who reads this screen, or a script that is heard on it."""

    def __init__(self, quiet: bool, script: ScriptedHands | None = None) -> None:
        self._quiet, self._script = quiet, script

    def say(self, key: str, text: str) -> None:
        if self._script is not None:
            self._script.say(key, text)
        if not self._quiet:
            print(text, flush=True)

    async def ask(self, key: str, text: str) -> str:
        return await (self._script.ask(key, text) if self._script else asyncio.to_thread(terminal.answered, text))


async def _go(settings: Settings, litres: float, by: str, scripted: bool, speed: float, quiet: bool) -> list[Trial]:
    """The tun, real or simulated, and the trials on it."""
    clock, named = MachineClock(speed), topics(settings)
    if not scripted:
        hands = Terminal(quiet)
        water = Water(litres, await _hand_c(hands))
        name = f"underback-{settings.tun.name}-tryout-{secrets.token_hex(4)}"
        link = BrokerLink(settings.service.broker, name, named.heard(), Will(named.online, b"false"))
        return await _try(settings, water, clock, link, hands, by)
    water = Water(litres, SIMULATED_C)
    world = World(settings, course(settings, water).course, 1, (), None, water.hand_c)
    broker, hands = MemoryBroker(), Terminal(quiet, ScriptedHands(world))
    transport = MemoryTransport(broker, named.heard())
    turning = asyncio.create_task(_turn(broker, SimulatedSite(world, None), clock))
    try:
        return await _try(settings, water, clock, transport, hands, by)
    finally:
        turning.cancel()


async def _hand_c(hands: Hands) -> float:
    """Who stands there, and how warm is the water? Raises Wrong."""
    ready = "Plain water in, lid open, outlet closed, nobody's hands near the heater? Type yes:"
    if (await hands.ask("ready", ready)).lower() != "yes":
        raise Wrong("tryout: not begun; it needs a person at the tun who says yes")
    text = await hands.ask("hand", 'What does a hand thermometer read in the water, such as "12 °C"?')
    return terminal.asked("temperature", "hand thermometer", text)


async def _try(
    settings: Settings, water: Water, clock: MachineClock, transport: Transport, hands: Hands, by: str
) -> list[Trial]:
    """The real service on this transport, and the trials. Raises Wrong where a run is still open."""
    made, boot = course(settings, water).course, secrets.token_hex(6)
    folder: Path = reader.record_folder(settings)
    begun = reader.begin(settings, folder, clock, boot, lambda program, digest: False)
    if begun.state.pending is not None:
        begun.writer.close(1.0)
        raise Wrong(f"{settings.tun.name}: a run is still open in its record; end it with the daemon first")
    look, hushed = Look(), Hushed(transport, clock)

    def compiled(args: Mapping[str, Any]) -> Course | tuple[str, ...]:
        return made if args.get("program") == "tryout" else ("only the tryout runs now",)

    service = Service(settings, hushed, begun, clock, compiled, watchdog=Watchdog(), log=Log("error"), watcher=look)
    tryout = Tryout(service, look, hushed, hands, by)
    terminal.on_signals(tryout.interrupt, (*terminal.ENDINGS, signal.SIGHUP))
    return await tryout.run(water)


async def _turn(broker: MemoryBroker, site: SimulatedSite, clock: MachineClock) -> None:
    """The simulated tun, half a second at a time."""
    named = site.world.topics
    hears = [t for t in (named.heater_command, named.stirrer_command, named.pump_command) if t]
    broker.listen(hears, lambda topic, payload, retained: site.hear(topic, payload, clock.now()))
    for step in itertools.count():
        await clock.sleep_until(step * STEP_S)
        for message in site.until(step * STEP_S):
            broker.publish(message.topic, message.payload)
