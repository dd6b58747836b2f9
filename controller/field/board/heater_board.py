"""What does a heater node on a small board do, whatever the daemon, the broker and the network do?

The rules are those of lease.py, the same file that the Raspberry Pi's node and the simulator run. Here they meet pins
and payloads. `beat` works the pin; the loop that calls it, and nothing else, feeds the watchdog.
"""

from controller.field import lease
from controller.field.board import flat_json

MYPY = False  # true for the type checker alone
if MYPY:
    from collections.abc import Callable

READING_S = 3.0  # the own thermometer's last reading may be so old: three misses at a reading a second
WORD_S = 1.0  # level and flow are told so often, and at once when they change


class Contact:
    """A level or flow contact. `closed()` reads it."""

    def __init__(self, topic: str, closed: "Callable[[], bool]") -> None:
        self.topic, self._closed = topic, closed
        self.ok = False
        self._seq, self._next = 0, 0.0

    def beat(self, now: float) -> dict[str, object] | None:
        """Read it; the word that is due, if any."""
        before, self.ok = self.ok, bool(self._closed())
        if self._seq and self.ok == before and now < self._next:
            return None
        self._seq, self._next = self._seq + 1, now + WORD_S
        return {"ok": self.ok, "seq": self._seq}


class HeaterBoard:
    """The node. `output(on)` switches the pin; `say(topic, payload)` hands a word to the link."""

    def __init__(
        self,
        settings: lease.NodeSettings,
        base: str,
        output: "Callable[[bool], None]",
        say: "Callable[[str, bytes], None]",
        now: float,
        level: "Callable[[], bool] | None" = None,
        flow: "Callable[[], bool] | None" = None,
    ) -> None:
        """`base`: below it lie the tun's topics. `level`, `flow`: what reads the contacts, where they are fitted."""
        output(False)  # before anything else
        self.settings, self._output, self._say = settings, output, say
        self.command_topic, self.report_topic = base + "/heater/command", base + "/heater/report"
        self._level = None if level is None else Contact(base + "/level", level)
        self._flow = None if flow is None else Contact(base + "/flow", flow)
        # No grace at power-up: until its first reading the own thermometer counts as silent.
        self.state = lease.boot(now).but(outlet_at=now - 2.0 * lease.SENSOR_GONE_S)
        self.outlet_c: float | None = None
        self._read_at = now
        self._told, self._next, self._n = self.state, now, 0
        self.refused = 0

    def hear(self, payload: bytes, retained: bool, now: float) -> None:
        """A message on the command's topic."""
        found = "retained" if retained else flat_json.read(payload)
        why: str | None = found if isinstance(found, str) else None
        if not isinstance(found, str):
            self.state, why = lease.obey(self.settings, self.state, found, now)
        if why is None:
            self._next = now  # every accepted command is answered
        else:
            self.refused += 1

    def warm(self, outlet_c: float, now: float) -> None:
        """The own thermometer's reading, believed."""
        self.outlet_c, self._read_at = outlet_c, now

    def press(self) -> None:
        """Somebody at the tun pressed the reset."""
        self.state = lease.reset(self.state)

    def beat(self, now: float) -> bool:
        """Work the pin, once. Is it on? An exception leaves it off."""
        try:
            words = [(one.topic, one.beat(now)) for one in (self._level, self._flow) if one is not None]
            self.state, share = lease.beat(
                self.settings,
                self.state,
                now,
                outlet_c=self.outlet_c if now - self._read_at <= READING_S else None,
                level_ok=None if self._level is None else self._level.ok,
                flow_ok=None if self._flow is None else self._flow.ok,
            )
            self._output(share > 0.0)
        except BaseException:
            self._output(False)
            raise
        for topic, word in words:
            if word is not None:
                self._say(topic, flat_json.write(word))
        if now >= self._next or lease.worth_telling(self._told, self.state):
            self._tell(now)
        return share > 0.0

    def _tell(self, now: float) -> None:
        """Report."""
        self._told, self._next, self._n = self.state, now + lease.REPORT_S, self._n + 1
        said = lease.report(self.settings, self.state, now, outlet_c=self.outlet_c if self.settings.outlet else None)
        said["n"] = self._n
        self._say(self.report_topic, flat_json.write(said))
