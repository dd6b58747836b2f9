"""Which figure is worth finding? The project's rooms, told some of a fair tun's own figures as if found without doubt.

What is gained says where the work lies. `bed`: the probe sits, as it were, where the mash is as warm as in the mean.
"""

from __future__ import annotations

from collections.abc import Iterable

from controller.core.control.belief import Belief
from controller.core.control.plant_model import PlantModel, believed
from controller.core.nouns import Measurement, Target
from controller.settings.tun import Tun
from tests.regimes.bench.fair_site import World
from tests.regimes.bench.fair_tun import WATER
from tests.regimes.bench.laws import Rooms

TOLD = "told "  # before the figures, in the name of the law
LETTERS = {"loss": "l", "rate": "g", "flow": "r", "lag": "d", "bed": ""}  # what kalman.py calls them


class Plate:
    """What laws may know of a tun: its file."""

    def __init__(self, plate: Tun) -> None:
        self.plate = plate


class ToldRooms(Rooms):
    """The rooms, and a voice that tells them the truth of some figures before each tick."""

    def __init__(self, world: World, plate: Tun, figures: Iterable[str]) -> None:
        super().__init__(Plate(plate))  # type: ignore[arg-type]
        self.world, self.letters = world, {name: LETTERS[name] for name in figures}
        self.probe_k = 0.0  # the wort at the probe over the mean of the mash, behind the probe's own lag

    def duty(self, target: Target, seen: Measurement, dt: float) -> float:
        """One tick."""
        belief = self._told(believed(self.plate, target, None, self.loop.belief), self.loop.belief)
        self.loop = self.loop._replace(belief=belief)
        tun = self.world.tun
        self.probe_k += (tun.at_place(tun.made.place) - tun.mean_c - self.probe_k) / (tun.made.lag_s + 0.5)
        if "bed" in self.letters and seen.value_c is not None:
            added_k = believed(self.plate, target, None, belief).added_k(belief)
            seen = seen._replace(value_c=seen.value_c - self.probe_k + added_k)
        return super().duty(target, seen, dt)

    def _told(self, model: PlantModel, belief: Belief) -> Belief:
        """What is believed, with the truth in it."""
        tun, made = self.world.tun, self.world.made
        warmed, at_c = self._warmed_j_per_k(), belief.reading_c
        if "rate" in self.letters:
            belief = belief._replace(gain=made.power_w / warmed * model.capacity_j_per_k / model.path.power_w)
        if "loss" in self.letters and at_c is not None:
            belief = belief._replace(extra_k_per_s=tun.lost_w(tun.mean_c) / warmed - model.loss_k_per_s(at_c))
        if "flow" in self.letters and model.rise_k > 0.0:
            rise_k = made.power_w / (tun.share * made.flow_kg_per_s * WATER)
            belief = belief._replace(rise_k=rise_k - model.rise_k)
        if "lag" in self.letters:
            belief = belief._replace(lag=self._lag_s() / (model.path.lag_s + model.path.dead_s))
        if belief.doubt is None:
            return belief
        sure = {k: 0.0 for k in belief.doubt._fields if set(self.letters.values()) & set(k)}
        return belief._replace(doubt=belief.doubt._replace(**sure))

    def _warmed_j_per_k(self) -> float:
        """All that is warmed, with the wort in pipes and chamber, J/K."""
        tun, made = self.world.tun, self.world.made
        if made.flow_kg_per_s <= 0.0:
            return tun.all_j_per_k
        piped_kg = tun.flow * made.flow_kg_per_s * (len(tun.out) + len(tun.back))
        return tun.all_j_per_k + WATER * (made.chamber_kg + piped_kg)

    def _lag_s(self) -> float:
        """All lags from the heater to the reading but the bed's, s."""
        made, carried_kg = self.world.made, self.world.tun.share * self.world.made.flow_kg_per_s
        if carried_kg <= 0.0:
            return made.lag_s + made.heater_s + 0.5 / made.mix
        pipe_s = made.pipe_s[1] if made.place != "heater outlet" else 0.0
        if made.bath_j_per_k > 0.0:
            return made.lag_s + pipe_s + made.bath_j_per_k / (made.takes * carried_kg * WATER)
        return made.lag_s + pipe_s + made.heater_s + made.chamber_kg / carried_kg
