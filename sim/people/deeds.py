"""What do hands do at the tun before a question can be answered?

Grain poured and stirred in, mash pulled, boiled and brought back, liquor fetched and added: each in its parts, with the
time that each takes.
"""

import re
from collections.abc import Callable, Iterator, Mapping
from functools import partial
from typing import Any

from sim.people.manner import Manner
from sim.world.world import World

BOIL_S = 900.0  # a decoction whose program does not say


class Deeds:
    """One brewer's hands at one tun."""

    def __init__(self, world: World, manner: Manner, away_s: Mapping[int, float]) -> None:
        """`away_s`: how long the program lets the decoction of a step be away."""
        self.world, self.manner, self._away_s = world, manner, away_s
        self._amount = (0.0, 98.0)
        self._thick = 0.0  # of the cooker
        self.pulled: set[int] = set()  # steps for which mash has been taken out

    def asked(self, prompt: dict[str, Any], status: dict[str, Any]) -> Iterator[float] | None:
        """What has to be done at the tun before this can be answered? Yields how long each part takes, s."""
        deeds: dict[str, Callable[[str, dict[str, Any]], Iterator[float]]] = {
            "grain_in": self._grain,
            "pull": self._pull,
            "returned": partial(self._portions, self.world.tun.put_back),
            "add": self._fetch,
            "added": partial(self._portions, self.world.tun.add_liquor),
            "water_in": partial(self._portions, self.world.tun.add_liquor),
            "join": self._fetch,
            "joined": partial(self._portions, self._cooked),
        }
        deed, step = deeds.get(str(prompt["id"])), int(status["step"]["index"])
        if prompt["id"] == "pull":
            if step in self.pulled:  # asked again after an outage: the mash is in the kettle already
                return None
            self.pulled.add(step)
        return None if deed is None else deed(str(prompt["text"]), status)

    def _grain(self, text: str, status: dict[str, Any]) -> Iterator[float]:
        """Pour and stir with the lid off, look at the thermometer, temper with cold liquor if it is too warm."""
        tun, manner = self.world.tun, self.manner
        tun.lid(True)
        if tun.grist_kg == 0.0:  # else asked again after an outage: it is in already
            self.world.dough_in(manner.pour_s)
        yield manner.pour_s
        yield manner.stir_s
        following = status["steps"][min(int(status["step"]["index"]) + 1, len(status["steps"]) - 1)]
        if self.world.temper(float(following["target_c"])) > 0:
            yield 60.0
        tun.lid("lid_open" in self.world.live)

    def _pull(self, text: str, status: dict[str, Any]) -> Iterator[float]:
        """Take out what is asked for, and boil it; some of its water goes."""
        kg, boils_off = _number(r"([\d.]+) kg", text, 1.0), _number(r"about ([\d.]+) kg of it boils off", text, 0.0)
        self._amount = (kg - boils_off, 95.0)
        thick, extract = _number(r"\(([\d.]+) L/kg", text, 0.0), _number(r"\(([\d.]+) °P", text, 0.0) / 100.0
        self.world.tun.pull(kg, (1.0 - extract) / extract if extract else thick or None)
        own_s = self.manner.boil_s
        yield self._away_s.get(int(status["step"]["index"]), BOIL_S) if own_s is None else own_s
        self.world.tun.boil_down(boils_off)

    def _fetch(self, text: str, status: dict[str, Any]) -> Iterator[float]:
        """Hot liquor, or the cooker, is fetched first."""
        self._amount = (_number(r"([\d.]+) kg", text, 1.0), _number(r"at ([\d.]+) °C", text, 98.0))
        self._thick = _number(r"([\d.]+) L/kg", text, 0.0)
        yield 10.0

    def _cooked(self, kg: float, c: float, over_s: float) -> None:
        """Grain and liquor of the cooker, as thick as the question says."""
        self.world.tun.add_cooked(kg / (1.0 + self._thick), kg * self._thick / (1.0 + self._thick), c, over_s)

    def _portions(
        self, pour: Callable[[float, float, float], None], text: str, status: dict[str, Any]
    ) -> Iterator[float]:
        """In portions, as long as the thermometer is below what was said."""
        (kg, c), stop_c = self._amount, _number(r"stop[^.]* at ([\d.]+) °C", text.lower().replace("°c", "°C"), 100.0)
        for _ in range(20):
            if self.world.hand_c() >= stop_c:
                break
            pour(kg / 20.0, c, 10.0)
            yield 12.0
        yield self.manner.stir_s


def _number(pattern: str, text: str, otherwise: float) -> float:
    match = re.search(pattern, text)
    return float(match[1]) if match else otherwise
