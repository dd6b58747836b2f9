"""How much heat is in the mash that the reading has not shown yet?

One account, K: heat given over the heat capacity, less the worst loss, less twice what the reading rises. A mash that
follows keeps it near nothing; a probe that is frozen, or not in the mash, lets it grow. Nothing begins it anew but the
filling between two runs: no gap of a link, no hold, no trip, no restart of the process.

What counts as a rise is the filtered reading above its lowest since the last one, beyond the noise, so that noise earns
nothing. Behind the heater the reading moves with the heat itself: there the reading and the reading less the probe's
own rise must both have risen, and the smaller counts, else a frozen probe earns with each pulse.

After a trip that only heat can show, the first heat is one pulse, held against what the reading does then. Where it
shows nothing, the next waits until the worst loss has taken what it brought, whatever a person types: so pulses bring
no more than what no reading can show anyway, however often somebody clears. A reading that falls under a pulse, by
more than the worst loss explains, ends it.
"""

from __future__ import annotations

from math import exp
from typing import NamedTuple

from controller.core.guard.plate import Plate
from controller.core.guard.senses import Senses
from controller.core.nouns import ALONE_K, JUMP_RATE_K_PER_S, Instant, RunState
from controller.quick_records import quick

CREDIT = 2.0  # a rise counts twice: masses and power are typed in (own trial on lumped models)
LEAST_RISE_K = 0.1  # and no less than this is one (own proposal)
FILTER_S, MOST_SHARE = 15.0, 0.3  # of the reading; one reading after a gap never counts for more (own proposal)
NOISE_SHARE, SD_PER_STEP = 0.05, 0.886  # mean step of so many readings; of white noise sqrt(pi) / 2 (arithmetic)
STEADY_S = 5.0  # readings further apart say nothing of noise (own proposal)
PULSE_K, PULSE_SHARE = 1.5, 0.5  # heat of one pulse over the worst loss; so much of it must show (own proposal)
UNRECORDED_S = 15.0  # of full heat that no record has: one comes every 10, and a sync is slow; a lease on top


class Pulse(NamedTuple):
    """One portion of heat after a person has cleared a trip."""

    given_at: Instant | None = None  # it was out
    shown_k: float = 0.0  # the reading has risen by so much since
    before_k: float = 0.0  # owed before it, unless somebody has measured: the mash may be so much hotter than it reads
    least_c: float | None = None  # from its first heat on: what a mash would read at the least


@quick
class HeatAccount(NamedTuple):
    """What is owed, and where the reading stood when it was last credited."""

    owed_k: float = 0.0
    last_c: float | None = None  # the newest believed reading
    read_at: Instant | None = None
    level_c: float | None = None  # the filtered reading
    low_c: float = 0.0  # its lowest since it was last credited
    low_mash_c: float = 0.0  # the same less the probe's own rise
    own_k: float = 0.0  # of a probe behind the heater: what the heater adds there now
    step_k: float = 0.0  # the mean step from reading to reading: noise
    unrecorded_s: float = 0.0  # of full heat may have been given before the process began
    pulse: Pulse | None = None
    vain_k: float = 0.0  # brought by pulses that did not show, the worst loss taken off

    def follow(self, senses: Senses, duty: float, plate: Plate) -> HeatAccount:
        """A tick further; `duty` is what was let out since the last one."""
        capacity = senses.run.capacity_j_per_k
        known = senses.run.state is not RunState.CHECKING  # until then nobody knows what is in the tun
        heat_s = duty * min(senses.dt, senses.tun.heater.lease_s) + (self.unrecorded_s if known else 0.0)
        level_c = plate.room_c if self.level_c is None else self.level_c
        lost_k = plate.worst_loss_per_s(capacity) * max(0.0, level_c - plate.room_c) * senses.dt
        vain_k = max(0.0, self.vain_k - lost_k)
        owed_k = max(0.0, self.owed_k + heat_s * plate.power_w / capacity - lost_k)
        own_k = self.own_k
        if plate.own_rise_k:
            own_k += (duty * plate.own_rise_k - own_k) * (1.0 - exp(-senses.dt / FILTER_S))
        unrecorded_s = 0.0 if known else self.unrecorded_s
        after = self._replace(owed_k=owed_k, own_k=own_k, unrecorded_s=unrecorded_s, vain_k=vain_k)._read(senses, plate)
        return after if after.pulse is None else after._pulsed(after.pulse, senses.now, lost_k, heat_s)

    @property
    def hottest_c(self) -> float | None:
        """How hot may the mash be, at the most? °C"""
        before_k = 0.0 if self.pulse is None else self.pulse.before_k
        return None if self.last_c is None else self.last_c - self.own_k + self.owed_k + before_k

    def _read(self, senses: Senses, plate: Plate) -> HeatAccount:
        """With what the newest believed reading shows."""
        seen = senses.mash.seen
        if not seen.fresh or seen.value_c is None or seen.at is None:
            return self
        if self.level_c is None or self.read_at is None or self.last_c is None:
            value_c = seen.value_c
            return self._replace(
                last_c=value_c, read_at=seen.at, level_c=value_c, low_c=value_c, low_mash_c=value_c - self.own_k
            )
        before, noise_k, apart_s, step_k = self, self.step_k, seen.at - self.read_at, seen.value_c - self.last_c
        if abs(step_k) > senses.tun.guard.jump_k + JUMP_RATE_K_PER_S * apart_s + (ALONE_K if plate.own_rise_k else 0.0):
            before = self._moved(step_k)
        elif apart_s <= STEADY_S:
            noise_k += NOISE_SHARE * (abs(step_k) - noise_k)
        return before._risen(seen.value_c, seen.at, apart_s, noise_k)

    def _risen(self, value_c: float, at: Instant, apart_s: float, noise_k: float) -> HeatAccount:
        """With what it rose by, beyond the noise, credited."""
        before_c = value_c if self.level_c is None else self.level_c
        level_c = before_c + (value_c - before_c) * min(MOST_SHARE, 1.0 - exp(-apart_s / FILTER_S))
        low_c, low_mash_c = min(self.low_c, level_c), min(self.low_mash_c, level_c - self.own_k)
        beyond_k = max(LEAST_RISE_K, SD_PER_STEP * noise_k)
        new_k = max(0.0, min(level_c - low_c, level_c - self.own_k - low_mash_c) - beyond_k)
        pulse = self.pulse
        if pulse is not None:
            pulse = pulse._replace(shown_k=pulse.shown_k + new_k)
        return self._replace(
            owed_k=self.owed_k if pulse is not None else max(0.0, self.owed_k - CREDIT * new_k),
            level_c=level_c,
            low_c=low_c + new_k,
            low_mash_c=low_mash_c + new_k,
            step_k=noise_k,
            last_c=value_c,
            read_at=at,
            pulse=pulse,
        )

    def _moved(self, step_k: float) -> HeatAccount:
        """On another level, faster than a mash may change: neither a rise nor a fall, and the heat still counts."""
        level_c = None if self.level_c is None else self.level_c + step_k
        return self._replace(level_c=level_c, low_c=self.low_c + step_k, low_mash_c=self.low_mash_c + step_k)

    # ------------------------------------------------------------ one pulse

    def on_trial(self) -> HeatAccount:
        """A person has cleared a trip that only heat can show: the next heat is one pulse."""
        before_k = self.owed_k + (0.0 if self.pulse is None else self.pulse.before_k)
        return self._replace(owed_k=0.0, pulse=Pulse(before_k=before_k), vain_k=self._in_vain_k)

    def measured(self) -> HeatAccount:
        """A person has measured: what the mash was owed before says nothing more."""
        return self._replace(owed_k=0.0, pulse=None if self.pulse is None else Pulse(), vain_k=self._in_vain_k)

    @property
    def _in_vain_k(self) -> float:
        """What have pulses brought that did not show, K, with the one that is under way?"""
        return self.vain_k + (0.0 if self.pulse is None else self.owed_k)

    @property
    def fell_k(self) -> float:
        """By how much more than any mash has the reading fallen since the pulse began, K?"""
        least_c = None if self.pulse is None else self.pulse.least_c
        return 0.0 if least_c is None or self.level_c is None else max(0.0, least_c - self.level_c)

    def _pulsed(self, pulse: Pulse, now: Instant, lost_k: float, heat_s: float) -> HeatAccount:
        """Is the pulse out, or has the reading shown half of it?"""
        least_c = self.level_c if pulse.least_c is None and heat_s > 0.0 else pulse.least_c
        least_c = None if least_c is None else least_c - lost_k
        pulse = pulse._replace(before_k=max(0.0, pulse.before_k - lost_k), least_c=least_c)
        if pulse.shown_k >= PULSE_SHARE * PULSE_K:
            return self._replace(owed_k=0.0, pulse=None, vain_k=0.0)
        out = pulse.given_at is None and self.owed_k >= PULSE_K
        return self._replace(pulse=pulse._replace(given_at=now) if out else pulse)

    # ------------------------------------------------------------ from run to run, from process to process

    def next_run(self) -> HeatAccount:
        """Nobody knows what was filled in between two runs."""
        return self if self == NEW else NEW

    def recalled(self, unrecorded_s: float) -> HeatAccount:
        """As an earlier process kept it: what was given since was not recorded, so many s of full heat at the most."""
        return self._replace(unrecorded_s=unrecorded_s)


NEW = HeatAccount()
