"""How do tun and brewer together stand in for the real ones?

The same for a dry run on a counted clock and for a real broker: `hear` what the daemon publishes, ask `until` for what
the tun and the brewer say.
"""

from sim.people.person import Person
from sim.plant.spec import STEP_S
from sim.world.network import Message
from sim.world.world import World


class SimulatedSite:
    """A world and, where wanted, the person beside it."""

    def __init__(self, world: World, person: Person | None) -> None:
        self.world, self.person = world, person
        topics = world.topics
        self._for_person = {topics.status, topics.reply}
        self._for_nodes = {topics.heater_command, topics.stirrer_command, topics.pump_command} - {None}

    def hear(self, topic: str, payload: bytes, t: float, retained: bool = False) -> None:
        """The daemon published this at time t."""
        if topic in self._for_nodes:
            self.world.receive(topic, payload, t, retained)
        elif topic in self._for_person and self.person is not None and self.world.network.up:
            self.person.hear(topic, payload)

    def until(self, t: float) -> list[Message]:
        """Everything that reaches the daemon by time t, in order."""
        world, person = self.world, self.person
        while world.now + STEP_S <= t:
            world.step()
            if person is not None and (orders := person.act(world.now)):
                for order in orders:
                    world.say(world.topics.order, order, world.now)
        return world.network.arrived(t)
