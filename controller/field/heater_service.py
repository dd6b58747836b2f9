"""How does the heater node run: a thread at the switch, a link to the broker, and OFF on every way out?"""

from __future__ import annotations

import secrets
import threading
from collections.abc import Callable
from contextlib import ExitStack, closing
from typing import NamedTuple

from controller.core.nouns import Instant
from controller.edge.clock import MachineClock
from controller.edge.log import Log
from controller.edge.mqtt.broker_link import BrokerLink
from controller.edge.mqtt.connection import Will
from controller.edge.mqtt.transport import Post, ReplyTo, Transport
from controller.edge.systemd import Notifier
from controller.field import hardware_config, reset_line
from controller.field.gpio_output import GpioInput, GpioOutput
from controller.field.hardware_config import HeaterTable, NodeHardware
from controller.field.heater_node import HeaterNode, Limit, Pins, Say
from controller.field.node_service import NodeService
from controller.messages import incoming, outgoing
from controller.messages.topics import topics
from controller.settings.service import Settings

BEAT_S = 0.05  # pace of the switch
NOTIFY_S = 1.0  # the service manager is told so often
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


class HeaterService(NodeService):
    """The node, its thread and its link. `run` ends with everything off, whatever ended it."""

    lost = "; heat goes off with its lease"

    def __init__(
        self,
        node: HeaterNode,
        named: Named,
        transport: Transport,
        clock: Callable[[], Instant],
        notifier: Notifier | None = None,
        log: Log | None = None,
    ) -> None:
        super().__init__(transport, notifier, log, [named.online])
        self.node, self._named, self._clock = node, named, clock
        self._fault = ""
        self._ears = {named.command: node.command, named.reading: node.reading}
        self._ears |= {t: ear for t, ear in ((named.stirrer, node.stirrer), (named.pump, node.pump)) if t}

    def heard(self, topic: str, payload: bytes, retained: bool, reply_to: ReplyTo | None) -> None:
        if (ear := self._ears.get(topic)) is not None:
            ear(payload, self._clock(), retained)

    def linked(self) -> None:
        self._tell_presence(self._named.online, not self._halt.is_set())
        super().linked()

    def _say(self, say: Say) -> None:
        """On the event loop: what the thread found due."""
        for topic, payload in ((self._named.level, say.level), (self._named.flow, say.flow)):
            if payload is not None and topic:
                self._transport.heater(topic, payload, False, LIVES_S)
        if say.report is not None:
            self._transport.post(Post(self._named.report, say.report, "status", lifetime_s=LIVES_S))
            before, self._fault = self._fault, self.node.fault
            if self._fault != before:
                self._log.warning(f"heat is off: {self._fault}" if self._fault else "the fault is gone")

    def _hand(self) -> None:
        """The thread at the switch."""
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
            self._soon(self._ended.set)

    async def reset_until(self, tun: str) -> bool:
        """The service, with a way to reset it from this machine alone. True when it was asked to end."""
        try:
            line = await reset_line.listen(tun, lambda: self.node.reset(self._clock()))
        except OSError as why:
            self._log.error(f"another heater node of {tun} runs on this machine, `node reset` reaches that one: {why}")
            return await self.run()
        async with line:
            return await self.run()

    def off(self) -> None:
        self.node.close()

    def begin(self) -> None:
        threading.Thread(target=self._hand, name="switch", daemon=True).start()
        self._notifier.ready("running; off until commanded")


def open_pins(heater: HeaterTable) -> Pins:
    """The pins, the heater's first, all off. Raises SwitchProblem; those had by then are let go off."""
    with ExitStack() as taken:

        def output(line: int | None, active_low: bool = False) -> GpioOutput | None:
            return None if line is None else taken.enter_context(closing(GpioOutput(heater.chip, line, active_low)))

        def contact(line: int | None) -> GpioInput | None:
            return None if line is None else taken.enter_context(closing(GpioInput(heater.chip, line, inverted)))

        inverted = heater.inputs_active_low
        element = taken.enter_context(closing(GpioOutput(heater.chip, heater.line, heater.active_low)))
        inputs = contact(heater.level_line), contact(heater.flow_line)
        outputs = output(heater.stirrer_line), output(heater.pump_line)
        pins = Pins(element, *inputs, *outputs, contact(heater.reset_line))
        taken.pop_all()  # all are had: who asked for them lets them go
        return pins


def named(fitted: NodeHardware, heater: HeaterTable) -> Named:
    """The node's topics, from the tun's file."""
    table, tun = topics(Settings(fitted.tun, fitted.service, "")), fitted.tun
    lines = {name: getattr(heater, f"{name}_line") for name in ("level", "flow", "stirrer", "pump")}
    parts = {name: getattr(tun, name) for name, line in lines.items() if line is not None}
    return Named(
        table.heater_command,
        hardware_config.limit_of(heater, tun).topic,
        table.heater_report,
        table.heater_online,
        **{name: part.topic for name, part in parts.items() if part is not None},
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
