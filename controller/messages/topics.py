"""Which topics belong to a tun? One table for the service, the stand-in, the commands and the dashboards."""

from __future__ import annotations

from typing import Literal, NamedTuple

from controller.settings.service import Settings
from controller.settings.tun import Probe

Role = Literal["mash", "second", "outlet"]


class Topics(NamedTuple):
    """Every topic of one tun, in one place."""

    probes: tuple[tuple[Role, str], ...]
    probe_online: str  # of the mash probe's node
    second_online: str | None
    outlet_online: str | None
    heater_report: str
    heater_online: str
    level: str | None
    flow: str | None
    order: str
    heater_command: str
    stirrer_command: str | None
    pump_command: str | None
    movers_online: tuple[str, ...]  # of the nodes that drive what must move for heat, where they are nodes of their own
    status: str
    reply: str
    event: str
    history: str
    startable: str
    online: str

    def heard(self) -> tuple[str, ...]:
        """What is subscribed to: own heater commands (echo, strangers) and the retained status (epoch) too."""
        probes = (*(topic for _, topic in self.probes), *self.presences())
        own = (self.order, self.heater_command, self.status)
        switches = (t for t in (self.level, self.flow) if t)
        nodes = (self.heater_online, *self.movers_online)
        return tuple(dict.fromkeys((*probes, self.heater_report, *nodes, *own, *switches)))

    def may_answer_on(self, topic: str) -> bool:
        """Is this a response topic that the daemon writes to? Elsewhere a sender would borrow the daemon's rights."""
        return topic.startswith(f"{self.reply}/") and topic.isprintable() and not set("+#") & set(topic)

    def presences(self) -> tuple[str, ...]:
        """Where do the probes' nodes say whether they are there?"""
        return tuple(t for t in (self.probe_online, self.second_online, self.outlet_online) if t)

    def passing(self) -> tuple[str, ...]:
        """Of which is only the newest message of use? They are repeated every few seconds, whatever gets lost."""
        return (*(topic for _, topic in self.probes), self.heater_report, *(t for t in (self.level, self.flow) if t))


def base(prefix: str, tun: str) -> str:
    """Below which topic lies all of this tun that has no topic of its own?"""
    return f"{prefix}/{tun}"


def topics(settings: Settings) -> Topics:
    """Which topics belong to this tun? A topic named in the tun file wins, the rest lie below `<prefix>/<tun>/`."""
    tun, below = settings.tun, base(settings.service.prefix, settings.tun.name)
    probes = tun.probes
    motors = {"stirrer": tun.stirrer, "pump": tun.pump}
    movers = {name: motor for name, motor in motors.items() if motor is not None and motor.required_for_heat}
    fitted: dict[Role, Probe | None] = {"mash": probes.mash, "second": probes.second, "outlet": probes.outlet}
    return Topics(
        probes=tuple((role, probe.topic) for role, probe in fitted.items() if probe is not None),
        probe_online=f"{probes.mash.topic}/online",
        second_online=f"{probes.second.topic}/online" if probes.second else None,
        outlet_online=f"{probes.outlet.topic}/online" if probes.outlet else None,
        heater_report=tun.heater.report_topic or f"{below}/heater/report",
        heater_online=tun.heater.online_topic or f"{below}/heater/online",
        level=tun.level.topic if tun.level else None,
        flow=tun.flow.topic if tun.flow else None,
        order=f"{below}/order",
        heater_command=tun.heater.command_topic or f"{below}/heater/command",
        stirrer_command=tun.stirrer.topic if tun.stirrer else None,
        pump_command=tun.pump.topic if tun.pump else None,
        movers_online=tuple(motor.online_topic or f"{below}/{name}/online" for name, motor in movers.items()),
        status=f"{below}/status",
        reply=f"{below}/reply",
        event=f"{below}/event",
        history=f"{below}/history",
        startable=f"{below}/startable",
        online=f"{below}/online",
    )
