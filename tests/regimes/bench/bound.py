"""How fast could the mash settle at all?

Full power, one switch to nothing, perfect foresight: the earliest time at which the true mean of the mash comes within
0.3 K of its target, with the switch as late as it may be without ever passing target + 0.3 K. The plant is linear, so
one step response of the true mean (the controller's model plays no part) gives the answer for every ramp of a program.
"""

from __future__ import annotations

import numpy as np

from sim.plant.tun import Tun
from tests.regimes.bench.plants import Plant

BAND_K = 0.3


class Bound:
    """Step response of a plant's true mean with grist in, K at full nominal power."""

    def __init__(self, plant: Plant, longest_s: int = 7200) -> None:
        self.plant = plant
        self.capacity = plant.spec.metal_j_per_k + plant.liquor_kg * 4186.0 + plant.grist_kg * 1760.0
        duty = min(1.0, 60.0 * self.capacity / (plant.spec.power_w * longest_s))  # never near the boil; linear
        self.rise = (self._mean(duty, longest_s) - self._mean(0.0, longest_s)) / duty

    def _mean(self, duty: float, seconds: int) -> np.ndarray:
        plant = self.plant
        tun = Tun(plant.spec, plant.liquor_kg, 20.0, 20.0)
        tun.add_grist(plant.grist_kg, 20.0, 0.04, 0.5)
        tun.step(0.5, 0.0)
        out = np.empty(seconds)
        for i in range(seconds):
            out[i] = tun.mash_mean_c
            tun.step(1.0, duty)
        return out

    def seconds(self, from_c: float, target_c: float, climb_k_per_s: float, t_s: float = 0.0) -> float:
        """Shortest time from rest at `from_c` until settled at `target_c`, s; 0 where nothing has to rise. `t_s`: when
        it begins; what the mains give in that time is known beforehand."""
        lift = target_c - from_c
        if lift <= BAND_K:
            return 0.0
        spec = self.plant.spec
        rough_s = lift * self.capacity / spec.power_w
        mains = sum(self.plant.mains(t_s + f * rough_s) for f in (0.0, 0.5, 1.0)) / 3.0
        power_w = spec.power_w * mains
        loss = spec.loss_w_per_k * (0.5 * (from_c + target_c) - self.plant.room_c)
        most = min(1.0, (climb_k_per_s * self.capacity + loss) / power_w)
        hold = loss / power_w
        up = mains * (most - hold) * self.rise
        cross = int(np.searchsorted(up, lift - BAND_K))
        late = self._latest(up, mains * most, lift + BAND_K, cross)
        if late >= cross:
            return float(cross)
        path = up.copy()
        path[late:] -= mains * most * self.rise[: len(path) - late]
        return float(np.argmax(path >= lift - BAND_K))

    def _latest(self, up: np.ndarray, most: float, top: float, cross: int) -> int:
        """Latest switch-off after which the mean never passes `top`, s."""
        low, high = 0, cross
        while high - low > 1:
            mid = (low + high) // 2
            ahead = min(mid + 1800, len(up))
            peak = float(np.max(up[mid:ahead] - most * self.rise[: ahead - mid]))
            low, high = (mid, high) if peak <= top else (low, mid)
        peak = float(np.max(up[cross : cross + 1800] - most * self.rise[: len(up[cross : cross + 1800])]))
        return cross if peak <= top else low
