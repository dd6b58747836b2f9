"""What do hands at a simulated tun do, when a script asks them to?

Probes taken out of the water, a level float lifted, a valve closed: faults that begin and end by hand instead of by the
clock, beside whatever faults the run has anyway.
"""

from sim.world.faults import FOREVER_S, Fault, Faults
from sim.world.world import World

WARM_K = 6.0  # a hand of some 30 °C against the water's reading; the figure matters to nobody

TAKES: dict[str, tuple[str, float]] = {  # what is asked for: the fault that plays it, its value
    "mash": ("probe_jump", WARM_K),
    "second": ("second_offset", WARM_K),
    "outlet": ("outlet_hot", WARM_K),
    "level": ("level_lost", 0.0),
    "flow": ("flow_lost", 0.0),
}


class ByHand(Faults):
    """The faults of a run, and those that a hand has begun."""

    def __init__(self, clocked: Faults) -> None:
        super().__init__(clocked.all)
        self._held: dict[str, Fault] = {}
        self._both: dict[str, Fault] = {}
        self._seen: dict[str, Fault] | None = None

    def begin(self, kind: str, value: float, now: float) -> None:
        self._held = {**self._held, kind: Fault(kind, now, FOREVER_S, value)}
        self._seen = None

    def end(self, kind: str) -> None:
        self._held = {name: fault for name, fault in self._held.items() if name != kind}
        self._seen = None

    def at(self, now: float) -> dict[str, Fault]:
        """Both kinds together; a new dictionary only when something has begun or ended."""
        clocked = super().at(now)
        if self._seen is not clocked:
            self._seen, self._both = clocked, {**clocked, **self._held}
        return self._both


class ScriptedHands:
    """Hands that do what they are told at once. Keys: `lift ROLE`, `back ROLE`, `trip SWITCH`, `restore SWITCH`."""

    def __init__(self, world: World) -> None:
        self.world = world
        self.faults = world.faults = ByHand(world.faults)
        self.said: list[tuple[str, str]] = []

    def say(self, key: str, text: str) -> None:
        self.said.append((key, text))
        deed, _, what = key.partition(" ")
        if deed in ("lift", "trip"):
            self.faults.begin(*TAKES[what], self.world.now)
        elif deed in ("back", "restore"):
            self.faults.end(TAKES[what][0])
            self.world.heater.reset()

    async def ask(self, key: str, text: str) -> str:
        """The hand thermometer, where that is asked; else yes."""
        self.said.append((key, text))
        return f"{self.world.hand_c():.1f} °C" if key == "hand" else "yes"
