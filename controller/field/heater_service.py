"""How does the heater node run: a thread at the switch, a link to the broker, and OFF on every way out?"""

from __future__ import annotations

import asyncio
import secrets
import threading
from collections.abc import Callable
from typing import NamedTuple, TypeVar

from controller.core.nouns import Instant
from controller.edge.clock import MachineClock
from controller.edge.log import Log
from controller.edge.mqtt.broker_link import BrokerLink
from controller.edge.mqtt.connection import Will
from controller.edge.mqtt.transport import Post, ReplyTo, Transport
from controller.edge.systemd import Notifier
from controller.field import hardware_config
from controller.field.gpio_output import GpioInput, GpioOutput
from controller.field.hardware_config import HeaterTable, NodeHardware
from controller.field.heater_node import HeaterNode, Limit, Pins, Say
from controller.messages import incoming, outgoing
from controller.messages.topics import topics
from controller.settings.service import Settings

Pin = TypeVar("Pin", GpioOutput, GpioInput)

BEAT_S = 0.05  # pace of the switch
NOTIFY_S = 1.0  # the service manager is told so often
FAREWELL_S = 1.5  # for the last words, once everything is off
LIVES_S = 4.0  # words of the node older than that are of no use to anybody


class Named(NamedTuple):
    """The node's topics."""

    command: str
    reading: str
    report: str
    online: str
    level: str = ""
    flow: str = ""
    stirrer: str = ""
    pump: str = ""

    def heard(self) -> list[str]:
        """What is subscribed to."""
        return [topic for topic in (self.command, self.reading, self.stirrer, self.pump) if topic]


class HeaterService:
    """The node, its thread and its link. `run` ends with everything off, whatever ended it."""

    def __init__(
        self,
        node: HeaterNode,
        named: Named,
        transport: Transport,
        clock: Callable[[], Instant],
        notifier: Notifier | None = None,
        log: Log | None = None,
    ) -> None:
        self.node, self._named, self._transport, self._clock = node, named, transport, clock
        self._notifier, self._log = notifier or Notifier({}), log or Log("error")
        self._halt = threading.Event()
        self._asked = False
        self._loop: asyncio.AbstractEventLoop | None = None
        self._ended: asyncio.Future[None] | None = None
        self._fault = ""
        self._ears = {named.command: node.command, named.reading: node.reading}
        self._ears |= {t: ear for t, ear in ((named.stirrer, node.stirrer), (named.pump, node.pump)) if t}

    # ------------------------------------------------------------ the link

    def heard(self, topic: str, payload: bytes, retained: bool, reply_to: ReplyTo | None) -> None:
        ear = self._ears.get(topic)
        if ear is not None:
            ear(payload, self._clock(), retained)

    def linked(self) -> None:
        here = outgoing.online(not self._halt.is_set())
        self._transport.post(Post(self._named.online, here, "state", retain=True))
        self._log.info("connected to the broker")

    def unlinked(self, why: str) -> None:
        self._log.warning(f"no connection: {why}; heat goes off with its lease")

    def refused(self, topic: str, why: str) -> None:
        self._log.error(f"{topic}: {why}; check the list of rights of the broker")

    def _say(self, say: Say) -> None:
        """On the event loop: what the thread found due."""
        for topic, payload in ((self._named.level, say.level), (self._named.flow, say.flow)):
            if payload is not None and topic:
                self._transport.heater(topic, payload, False, LIVES_S)
        if say.report is not None:
            self._transport.post(Post(self._named.report, say.report, "status", lifetime_s=LIVES_S))
            self._tell_fault()

    def _tell_fault(self) -> None:
        fault = self.node.fault
        if fault != self._fault:
            self._fault = fault
            self._log.warning(f"heat is off: {fault}" if fault else "the fault is gone")

    # ------------------------------------------------------------ the thread at the switch

    def _hand(self) -> None:
        due = 0.0
        try:
            while not self._halt.wait(BEAT_S):
                now = self._clock()
                say = self.node.beat(now)
                if any(say):
                    self._soon(self._say, say)
                if now >= due:
                    due = now + NOTIFY_S
                    self._notifier.beat(f"heater {'on' if self.node.on else 'off'}")
        except Exception as error:
            self._log.error(f"the switch cannot be worked, everything is off: {error}")
        finally:
            self.node.close()
            self._soon(self._end)

    def _soon(self, call: Callable[..., None], *args: object) -> None:
        assert self._loop is not None
        if not self._loop.is_closed():
            self._loop.call_soon_threadsafe(call, *args)

    def _end(self) -> None:
        if self._ended is not None and not self._ended.done():
            self._ended.set_result(None)

    # ------------------------------------------------------------ from beginning to end

    def stop(self) -> None:
        """Asked to end: by a signal, on the event loop."""
        self.node.close()
        self._asked = True
        self._end()

    async def run(self) -> bool:
        """Until `stop`, or until something fails. True when it was asked to end."""
        self._loop = asyncio.get_running_loop()
        self._ended = self._loop.create_future()
        hand = threading.Thread(target=self._hand, name="switch", daemon=True)
        link = asyncio.create_task(self._transport.run(self))
        link.add_done_callback(lambda _: self._end())
        try:
            hand.start()
            self._notifier.ready("running; off until commanded")
            await self._ended
            return self._asked
        finally:
            self.node.close()  # before anything that could wait
            self._halt.set()
            self._notifier.stopping()
            await self._farewell()
            link.cancel()
            await asyncio.gather(link, return_exceptions=True)

    async def _farewell(self) -> None:
        self._transport.post(Post(self._named.online, outgoing.FALSE, "state", retain=True))
        try:
            async with asyncio.timeout(FAREWELL_S):
                await self._transport.flush(FAREWELL_S)
        except TimeoutError:
            return


# ---------------------------------------------------------------- from files to a service


def open_pins(heater: HeaterTable) -> Pins:
    """The pins, the heater's first, all off. Raises SwitchProblem; those had by then are let go off."""
    taken: list[GpioOutput | GpioInput] = []

    def output(line: int | None, active_low: bool = False) -> GpioOutput | None:
        return None if line is None else _kept(taken, GpioOutput(heater.chip, line, active_low))

    def contact(line: int | None) -> GpioInput | None:
        return None if line is None else _kept(taken, GpioInput(heater.chip, line, heater.inputs_active_low))

    try:
        element = _kept(taken, GpioOutput(heater.chip, heater.line, heater.active_low))
        inputs = contact(heater.level_line), contact(heater.flow_line)
        return Pins(element, *inputs, output(heater.stirrer_line), output(heater.pump_line))
    except BaseException:
        for pin in taken:
            pin.close()
        raise


def _kept(taken: list[GpioOutput | GpioInput], pin: Pin) -> Pin:
    taken.append(pin)
    return pin


def named(fitted: NodeHardware, heater: HeaterTable) -> Named:
    """The node's topics, from the tun's file."""
    table, tun = topics(Settings(fitted.tun, fitted.service, "")), fitted.tun
    return Named(
        table.heater_command,
        hardware_config.limit_of(heater, tun).topic,
        table.heater_report,
        table.heater_online,
        level=tun.level.topic if tun.level and heater.level_line is not None else "",
        flow=tun.flow.topic if tun.flow and heater.flow_line is not None else "",
        stirrer=tun.stirrer.topic if tun.stirrer and heater.stirrer_line is not None else "",
        pump=tun.pump.topic if tun.pump and heater.pump_line is not None else "",
    )


def make(fitted: NodeHardware, heater: HeaterTable, pins: Pins, log: Log) -> HeaterService:
    """The service for these files and pins."""
    clock, boot = MachineClock(), secrets.token_hex(6)
    probe = hardware_config.limit_of(heater, fitted.tun)
    shape = incoming.form(probe.pointer, probe.unit, probe.unit_pointer, probe.seq_pointer, probe.at_pointer)
    settings = hardware_config.node_settings(heater, fitted.tun, boot)
    node = HeaterNode(settings, pins, Limit(shape), heater.limit_probe, clock.now())
    topic = named(fitted, heater)
    transport = BrokerLink(
        hardware_config.broker(fitted.service, heater),
        f"underback-heater-{fitted.tun.name}-{boot}",
        topic.heard(),
        Will(topic.online, outgoing.FALSE),
    )
    return HeaterService(node, topic, transport, clock.now, Notifier(), log)
