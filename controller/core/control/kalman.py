"""What does the reading say about the tun: its temperature, loss, heating rate and lag?

An extended Kalman filter (R. E. Kalman, J. Basic Engineering 82 (1960) 35; linearised at every step) over five numbers:

    x  model's temperature where the probe is, K         x' = x + (rate g w - loss - l) dt
    l  loss beyond the plate's, K/s                      at rest it is what the heater must make up
    g  heating rate over the one believed                seen on ramps
    d  lag over the one believed                         seen where the heat changes: dx = -rate lag d (change of w)
    r  how much more the heater warms the wort           at full power, K; seen where the probe feels the stream

`w` is the share of power that arrives at the probe after dead time and lag. The filter weighs what is doubtful against
what the reading can tell: near full power an error is taken for one of rate, at rest for one of loss, and while heat
is on its way for one of lag. That is what a plain observer must be told by switching, and what makes it safe here: a
quantity about which nothing can be learned now is left alone.
"""

from __future__ import annotations

from typing import NamedTuple

from controller.core.control.belief import Doubt
from controller.quick_records import maker

PRIOR_K = 0.5  # K: how far a first reading may be from the mash
PRIOR_LOSS = 1.0  # of the plate's loss: the truth was 0.7 to 4 times the rule of thumb (own bench)
PRIOR_LOSS_RATE = 0.01  # of the heating rate, added to it
CAPACITY_SD = 0.05  # relative: grist and liquor are measured to some per cent (own proposal)
NOISE_K = 0.06  # K, reading: 0.0625 K steps and up to 0.1 K noise (own bench: 0.05..0.08 alike)
WALK_K = 0.004  # K per root second: draughts, stirring, what no model knows (own bench)
SHAPE = 0.15  # of the heat in the lags: error of their shape while the heat changes (own bench: 0.1..0.2 alike)
WALK_LOSS = 0.004  # of the heating rate, per root hour: lids move, rooms cool
WALK_RATE = 0.02  # per root hour: mains wander


class Correction(NamedTuple):
    """By how much does one reading move x (K), l (K/s), g, d (relative) and r (K)?"""

    x: float
    loss: float
    gain: float
    lag: float
    rise: float


_doubt, _correction = maker(Doubt), maker(Correction)


def prior(rate: float, plate_loss: float, gain_sd: float, lag_sd: float, rise_sd_k: float) -> Doubt:
    """What is doubtful before anything was seen? `rate` and `plate_loss` in K/s."""
    loss_sd = PRIOR_LOSS * abs(plate_loss) + PRIOR_LOSS_RATE * rate
    known = Doubt(*(0.0,) * len(Doubt._fields))
    return known._replace(xx=PRIOR_K**2, ll=loss_sd**2, gg=gain_sd**2, dd=lag_sd**2, rr=rise_sd_k**2)


def alone(doubt: Doubt) -> Doubt:
    """The reading stands alone: something was added or moved, nothing is learned from what led up to it."""
    return doubt._replace(xx=PRIOR_K**2, xl=0.0, xg=0.0, xd=0.0, xr=0.0)


def kept(doubt: Doubt, gain_sd: float, lag_sd: float, rise_sd_k: float) -> Doubt:
    """What is doubtful once something else may be in the tun? Loss and heating rate as before, the latter by the new
    heat capacity as well; lag and bed anew."""
    known = Doubt(*(0.0,) * len(Doubt._fields))
    gg = min(max(doubt.gg, CAPACITY_SD**2), gain_sd**2)
    return known._replace(xx=PRIOR_K**2, ll=doubt.ll, gg=gg, dd=lag_sd**2, rr=rise_sd_k**2)


def forward(doubt: Doubt, rate: float, arrives: float, change: float, lag_s: float, dt: float) -> Doubt:
    """F P F' + Q over `dt` s: how doubt grows while nothing is read. `change` is that of `arrives` within the step."""
    xx, xl, xg, xd, xr, ll, lg, ld, lr, gg, gd, gr, dd, dr, rr = doubt
    a = rate * arrives * dt  # dx/dg
    b = -rate * lag_s * change  # dx/dd
    nl = xl - dt * ll + a * lg + b * ld
    ng = xg - dt * lg + a * gg + b * gd
    nd = xd - dt * ld + a * gd + b * dd
    nr = xr - dt * lr + a * gr + b * dr
    nx = xx - dt * (xl + nl) + a * (xg + ng) + b * (xd + nd)
    hours = dt / 3600.0
    nx += WALK_K * WALK_K * dt + (SHAPE * rate * lag_s) ** 2 * abs(change)
    ll += (WALK_LOSS * rate) ** 2 * hours
    gg += WALK_RATE * WALK_RATE * hours
    return _doubt(
        xx=nx, xl=nl, xg=ng, xd=nd, xr=nr, ll=ll, lg=lg, ld=ld, lr=lr, gg=gg, gd=gd, gr=gr, dd=dd, dr=dr, rr=rr
    )


def correct(doubt: Doubt, error_k: float, felt: float, late_k: float, rough_k: float) -> tuple[Doubt, Correction]:
    """What does one reading change? It shows x + `felt` r + `late_k` d and was off by `error_k`; by `rough_k` mash or
    probe may stray from the model just now, which makes it that much more doubtful."""
    xx, xl, xg, xd, xr, ll, lg, ld, lr, gg, gd, gr, dd, dr, rr = doubt
    hx, hl, hg = xx + felt * xr + late_k * xd, xl + felt * lr + late_k * ld, xg + felt * gr + late_k * gd
    hd, hr = xd + felt * dr + late_k * dd, xr + felt * rr + late_k * dr
    weight = 1.0 / (hx + felt * hr + late_k * hd + NOISE_K * NOISE_K + rough_k * rough_k)
    kx, kl, kg, kd, kr = hx * weight, hl * weight, hg * weight, hd * weight, hr * weight
    after = _doubt(
        xx=xx - kx * hx,
        xl=xl - kx * hl,
        xg=xg - kx * hg,
        xd=xd - kx * hd,
        xr=xr - kx * hr,
        ll=ll - kl * hl,
        lg=lg - kl * hg,
        ld=ld - kl * hd,
        lr=lr - kl * hr,
        gg=gg - kg * hg,
        gd=gd - kg * hd,
        gr=gr - kg * hr,
        dd=dd - kd * hd,
        dr=dr - kd * hr,
        rr=rr - kr * hr,
    )
    return after, _correction(x=kx * error_k, loss=kl * error_k, gain=kg * error_k, lag=kd * error_k, rise=kr * error_k)
