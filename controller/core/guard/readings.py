"""Is there a reading to go by, and which raw ones could be true? Asked by several interlocks."""

from __future__ import annotations

from typing import NamedTuple

from controller.core.guard.interlock import Known
from controller.core.guard.senses import TICK_S, Probed, Senses
from controller.core.nouns import FALSE_VALUES_C, HIGHEST_C, LOWEST_C, Instant, Measurement, Reading, Sample
from controller.settings.tun import Probe

REFUSED_S = 5.0 - TICK_S  # no reading accepted for so long
APART_S = 1.0  # two readings that say the same so far apart are no slip (own proposal)
FELT_S = 60.0  # a probe behind the heater feels its heat for at least so long (own proposal)
FLOW_SHARE = 0.7  # of the plate's flow: a pump may be weaker, a bed denser (own proposal)
NEIGHBOUR_K = 2.0  # a failed sensor's value is believed with a believed reading so near (own proposal)


def gone(senses: Senses) -> bool:
    """Is the mash probe away by its own word, or silent for too long? Written so that no number counts as gone."""
    return senses.mash.gone or not (senses.mash.seen.age_s <= senses.tun.guard.reading_gone_s)


def nonsense(senses: Senses) -> bool:
    """Do the mash readings make no sense: so many in a row, or none accepted for so long?"""
    seen = senses.mash.seen
    none_for = seen.refused_since is not None and senses.now - seen.refused_since >= REFUSED_S
    return seen.refused_run >= senses.tun.guard.nonsense_readings or (none_for and seen.refused_run > 0)


def unproven(seen: Measurement) -> bool:
    """Are the newest readings sound, but not known to be new?"""
    return bool(seen.text) and not seen.refused_run and seen.jump_since is None


def all_under(samples: tuple[Sample, ...], probe: Probe, limit: float) -> bool:
    """Is every message a reading under the limit, raw and calibrated? The usual case, said fast."""
    for sample in samples:
        if not isinstance(sample, Reading):
            return False
        value = sample.value_c
        if not (value < limit and probe.calibrated(value) < limit):
            return False
    return True


class Over(NamedTuple):
    """Readings in a row beyond a limit: one cuts, two that are a second apart are beyond doubt."""

    since: Instant | None = None  # the first of them
    at: Instant = 0.0  # the newest

    @property
    def pair(self) -> bool:
        """Are there two, so far apart?"""
        return self.since is not None and self.at - self.since >= APART_S

    def heard(self, at: Instant, over: bool) -> Over:
        """With one more reading, beyond the limit or not."""
        if not over:
            return self if self.since is None else NOT_OVER
        return Over(at if self.since is None else self.since, at)


NOT_OVER = Over()


def could_be_true(probed: Probed, probe: Probe) -> list[tuple[Instant, float]]:
    """Calibrated values of the raw readings that lie in range and are no failed sensor's value, each with its arrival.
    No filter's opinion."""
    believed = probed.seen.value_c
    return [
        (s.at, probe.calibrated(s.value_c))
        for s in probed.raw
        if isinstance(s, Reading) and LOWEST_C <= s.value_c <= HIGHEST_C and not false_value(s.value_c, believed)
    ]


def false_value(raw_c: float, believed_c: float | None) -> bool:
    """Is it a value failed sensors give, with no believed reading beside it?"""
    return raw_c in FALSE_VALUES_C and not (believed_c is not None and abs(believed_c - raw_c) <= NEIGHBOUR_K)


def any_over(samples: tuple[Sample, ...], limit: float) -> bool:
    """Is there any reading that is not under the limit, true or not, a number or not?"""
    return any(isinstance(s, Reading) and not (s.value_c < limit) for s in samples)


def heater_adds_k(senses: Senses, known: Known) -> float:
    """By how much may a probe behind the heater read over the mash now, K? By the highest duty that it may still feel,
    at seven tenths of the plate's flow."""
    rise_k = senses.tun.plate_rise_k
    if not rise_k:
        return 0.0
    plate = known.plate
    felt_s = max(FELT_S, plate.dead_s + plate.lag_s)
    return max(known.line.duty, known.past.highest_share(felt_s, plate.power_w)) * rise_k / FLOW_SHARE


def missing(probed: Probed, name: str, known_s: float, silent_s: float) -> str:
    """Is a probe beside the mash probe gone by its own word, or silent for so long? In words, or nothing."""
    if probed.gone:
        return f"The {name}'s presence topic says that it is gone."
    age_s = min(probed.seen.age_s, known_s)
    return "" if age_s <= silent_s else f"No good reading of the {name} for {age_s:.0f} s (limit {silent_s:g} s)."
