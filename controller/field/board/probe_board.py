"""What does a probe node on a small board say, and when does it say nothing?

A reading is sent when it is made, once, or never. A thermometer that fails is silent; after three failures in a row
its online topic says `false`.
"""

from controller.field import scratchpad
from controller.field.board import flat_json

MYPY = False  # true for the type checker alone
if MYPY:
    from collections.abc import Callable

FAILURES = 3  # in a row, then the probe counts as gone
LOWEST_C, HIGHEST_C = -55.0, 125.0  # range of the DS18B20, its data sheet


def believed(scratch: bytes | None) -> tuple[float | None, str]:
    """The temperature of the sensor's nine bytes, °C, or why there is none."""
    if scratch is None:
        return None, "the sensor does not answer"
    if why := scratchpad.fault(scratch):
        return None, why
    value = scratchpad.celsius(scratch)
    return (value, "") if LOWEST_C <= value <= HIGHEST_C else (None, "beyond what the sensor can measure")


class ProbeBoard:
    """One thermometer's voice. `say(topic, payload, retain)` hands a word to the link."""

    def __init__(self, topic: str, say: "Callable[[str, bytes, bool], None]") -> None:
        self.topic, self._say = topic, say
        self.seq, self.failures = 0, 0
        self.fault = ""

    @property
    def there(self) -> bool:
        """Does the sensor answer?"""
        return self.failures < FAILURES

    def got(self, scratch: bytes | None) -> None:
        """Nine bytes came from the sensor, or none; a reading is said at once."""
        was = self.there
        value, self.fault = believed(scratch)
        self.failures = self.failures + 1 if value is None else 0
        if self.there != was:
            self._say(self.topic + "/online", b"true" if self.there else b"false", True)
        if value is not None:
            self.seq += 1
            said = flat_json.write({"temperature": round(value, 4), "seq": self.seq, "unit": "C"})
            self._say(self.topic, said, False)
