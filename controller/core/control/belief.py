"""What is known of the mash and the tun by now, and how surely?"""

from __future__ import annotations

from typing import NamedTuple

from controller.quick_records import quick

STAGES = 3  # equal lags that stand for a dead time: wort in pipe and bed spreads like tanks in series


class Doubt(NamedTuple):
    """Covariance of (x, l, g, d, r) of kalman.py, upper triangle; units are the products of theirs."""

    xx: float
    xl: float
    xg: float
    xd: float
    xr: float
    ll: float
    lg: float
    ld: float
    lr: float
    gg: float
    gd: float
    gr: float
    dd: float
    dr: float
    rr: float


@quick
class Belief(NamedTuple):
    """Where the mash is, which heat is on its way, and what this run has shown of the tun beyond its file."""

    reading_c: float | None = None  # temperature where the probe is, by the model
    arriving: tuple[float, ...] = (0.0,) * (STAGES + 1)  # share of power leaving each lag
    bed: tuple[float, ...] = ()  # layers of a pumped mash over its mean, top first; 1 is the rise at full power
    over: float = 0.0  # the probe over that mean by what the heater adds to the wort, the same
    steady: float = 0.0  # what has arrived on the mean of the last turnover, share of power
    extra_k_per_s: float = 0.0  # loss beyond the plate's
    gain: float = 1.0  # heating rate, over the one believed at the start
    lag: float = 1.0  # lag, over the one believed at the start
    rise_k: float = 0.0  # of the wort past the heater at full power, beyond what was believed at the start
    read_c: float | None = None  # the newest reading, as it came
    step_k: float = 0.0  # the mean step from reading to reading: noise
    doubt: Doubt | None = None
    coming_c: float | None = None  # where the reading ends if from now on heat only covers the loss

    def anew(self) -> Belief:
        """What is left when the mash is lost sight of? Only what was found of the tun."""
        return Belief(gain=self.gain, lag=self.lag, rise_k=self.rise_k)


NOTHING = Belief()
