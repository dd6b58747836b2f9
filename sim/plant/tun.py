"""How does a heated mash tun warm and cool?

A heat balance of lumped nodes, stepped by explicit Euler with a fixed step of 0.5 s: the heater's own mass (sheath,
burner plate, or the hot liquor round a coil), the vessel's metal, the mash in layers, and a recirculation loop with
plug flow. It shares no constant with the controller on purpose: a plant that shares the controller's figures shares its
errors. All enthalpies count from 0 °C, and every joule that comes or goes is booked, so that a test can close the
balance.

What it leaves out: radial gradients within a layer, channels in the bed, the change of water's heat capacity with
temperature (0.5 % between 20 and 80 °C).
"""

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from sim.plant import spec as figures
from sim.plant.spec import BOIL_C, STEP_S, WATER_J_PER_KG_K, Energy, Flow, Pour, Spot, TunSpec

CONTENTS = (  # with what is on its way, all that a pause in the simulation must not lose
    *("liquor_kg", "grist_kg", "grist_j_per_kg_k", "layers", "metal_c", "heater_c", "chamber_c"),
    *("before", "after", "heads"),
)
__all__ = ["STEP_S", "Energy", "Spot", "Tun", "TunSpec"]


class Tun:
    """A tun with something in it. `step` moves it on; the rest is what people, pumps and the weather do to it."""

    def __init__(self, spec: TunSpec, liquor_kg: float, liquor_c: float, room_c: float = 18.0) -> None:
        if not liquor_kg > 0:
            raise ValueError(f"liquor {liquor_kg} kg: a tun is heated with liquor in it")
        self.spec = spec
        self.liquor_kg, self.grist_kg = liquor_kg, 0.0
        self.room_c = room_c
        self.mains = 1.0  # factor on the heater's power
        self.lid_open = False
        self.stirring = spec.stirrer
        self.pumping = 1.0 if spec.flow_kg_per_s > 0 else 0.0
        self.grist_j_per_kg_k = spec.malt_dry_j_per_kg_k
        self.layers = [liquor_c] * spec.layers  # bottom first
        self.metal_c = self.heater_c = self.chamber_c = liquor_c
        self.cell_kg = spec.flow_kg_per_s * STEP_S
        self.before = [liquor_c] * round(spec.dead_before_s / STEP_S)
        self.after = [liquor_c] * round(spec.dead_after_s / STEP_S)
        self.heads = [0, 0]
        self._moved = 0.0
        self._pours: list[Pour] = []
        self._pulled = (0.0, 0.0)
        self._heater_j = self._added_j = self._removed_j = self._lost_j = self._boiled_j = 0.0
        self._flow: Flow | None = None
        if liquor_kg <= self._loop_kg():
            raise ValueError(f"liquor {liquor_kg} kg only just fills the loop ({self._loop_kg():.1f} kg)")
        self._start_j = self._stored_j()

    # ------------------------------------------------------------ what may be seen

    @property
    def mash_mean_c(self) -> float:
        """How warm is the mash (or the plain liquor), averaged over its layers? °C"""
        return sum(self.layers) / len(self.layers)

    @property
    def hottest_c(self) -> float:
        """How warm is the hottest liquid: layers, heater chamber, return line? °C"""
        loop = (self.chamber_c, *self.after) if self.spec.flow_kg_per_s > 0 else ()
        return max(*self.layers, *loop, self.layers[0])

    @property
    def level_l(self) -> float:
        """How full is the tun? Grist takes up 0.67 L/kg (common practice)."""
        return self.liquor_kg + 0.67 * self.grist_kg

    @property
    def capacity_j_per_k(self) -> float:
        """Heat capacity of the contents and the metal, J/K; the heater's own mass is left out."""
        contents = self.liquor_kg * WATER_J_PER_KG_K + self.grist_kg * self.grist_j_per_kg_k
        return contents + self.spec.metal_j_per_k

    def spot_c(self, spot: Spot) -> float:
        """How warm is it where a probe could sit? °C"""
        layers = self.layers
        match spot:
            case "centre":
                return layers[len(layers) // 2]
            case "wall":
                inside = layers[len(layers) // 2]
                return inside if self.spec.metal_film_w_per_k is None else 0.8 * inside + 0.2 * self.metal_c
            case "before_heater":
                return self.before[self.heads[0]] if self.before else self.layers[0]
            case "outlet":
                return self.chamber_c if self.spec.flow_kg_per_s > 0 else self.layers[0]
            case "return":
                return self.after[self.heads[1]] if self.after else self.spot_c("outlet")
            case "top":
                return self.layers[-1]
            case "bottom":
                return self.layers[0]

    def energy(self) -> Energy:
        """What has come and gone? See Energy."""
        booked = (self._heater_j, self._added_j, self._removed_j, self._lost_j, self._boiled_j)
        return Energy(*booked, self._stored_j(), self._start_j)

    def contents(self) -> dict[str, Any]:
        """What is in it and how warm is each part, as JSON has it? `refill` takes it up again."""
        pours = [asdict(pour) for pour in self._pours]
        return {**{key: getattr(self, key) for key in CONTENTS}, "pulled": list(self._pulled), "pours": pours}

    # ------------------------------------------------------------ what is done to it

    def refill(self, contents: Mapping[str, Any]) -> None:
        """Stand as it stood: KeyError, TypeError or ValueError where this is no tun of the same make."""
        pours, pulled = [Pour(**pour) for pour in contents["pours"]], contents["pulled"]
        kept = {key: contents[key] for key in CONTENTS}
        if any(len(kept[key]) != len(getattr(self, key)) for key in ("layers", "before", "after", "heads")):
            raise ValueError("another make of tun")
        for key, value in kept.items():
            setattr(self, key, value)
        self._pours, self._pulled, self._flow = pours, (float(pulled[0]), float(pulled[1])), None
        self._start_j = self._stored_j()

    def stir(self, on: bool) -> None:
        """Turn the stirrer on or off (nothing happens where there is none)."""
        self.stirring, self._flow = on and self.spec.stirrer, None

    def pump(self, share: float) -> None:
        """Let the pump run at this share of its full flow, 0..1."""
        self.pumping, self._flow = min(1.0, max(0.0, share)) if self.spec.flow_kg_per_s > 0 else 0.0, None

    def lid(self, is_open: bool) -> None:
        """Open or close the lid."""
        self.lid_open, self._flow = is_open, None

    def add_grist(self, kg: float, c: float, moisture: float, over_s: float) -> None:
        """Dough in: kg of grist at c °C with this moisture (share), poured over so many seconds."""
        over_s = max(STEP_S, over_s)
        self._pours.append(Pour(over_s, kg / over_s, 0.0, c, figures.wetting_j_per_kg(moisture), moisture, False))

    def add_liquor(self, kg: float, c: float, over_s: float) -> None:
        """Pour kg of liquor at c °C onto the mash over so many seconds."""
        over_s = max(STEP_S, over_s)
        self._pours.append(Pour(over_s, 0.0, kg / over_s, c, 0.0, 0.0, True))

    def pull(self, kg: float, liquor_per_grist: float | None = None) -> float:
        """Take kg of mash out, as thick as said, else as it stands (at most nine tenths). Returns its °C."""
        free_kg = self.liquor_kg - self._loop_kg()
        share = min(0.9, kg / (free_kg + self.grist_kg))
        grist, liquor = share * self.grist_kg, share * free_kg
        if liquor_per_grist is not None:
            grist = min(0.9 * self.grist_kg, kg / (1.0 + liquor_per_grist))
            liquor = min(0.9 * free_kg, grist * liquor_per_grist)
        warmth = self.mash_mean_c
        self._removed_j += (grist * self.grist_j_per_kg_k + liquor * WATER_J_PER_KG_K) * warmth
        self.grist_kg, self.liquor_kg = self.grist_kg - grist, self.liquor_kg - liquor
        self._pulled = (self._pulled[0] + grist, self._pulled[1] + liquor)
        self._flow = None
        return warmth

    def boil_down(self, kg: float) -> None:
        """Boil so much water off what was pulled."""
        self._pulled = (self._pulled[0], max(0.0, self._pulled[1] - kg))

    def add_cooked(self, grist_kg: float, liquor_kg: float, c: float, over_s: float) -> None:
        """Pour cooked grain with its liquor in, over so many seconds."""
        over_s = max(STEP_S, over_s)
        self._pours.append(Pour(over_s, grist_kg / over_s, liquor_kg / over_s, c, 0.0, -1.0, True))

    def put_back(self, kg: float, c: float, over_s: float) -> None:
        """Pour pulled mash back at c °C over so many seconds, as thick as it was pulled."""
        grist, liquor = self._pulled
        share = 0.0 if grist + liquor <= 0 else min(1.0, kg / (grist + liquor))
        over_s = max(STEP_S, over_s)
        self._pours.append(Pour(over_s, share * grist / over_s, share * liquor / over_s, c, 0.0, -1.0, True))
        self._pulled = (grist * (1 - share), liquor * (1 - share))

    # ------------------------------------------------------------ time

    def step(self, dt_s: float, duty: float) -> None:
        """Move on by dt_s (a multiple of 0.5 s) with the heater at this duty, 0..1."""
        for _ in range(round(dt_s / STEP_S)):
            self.half(duty)

    def half(self, duty: float) -> None:
        """Move on by half a second."""
        if self._pours:
            self._pour()
        flow = self._flow
        if flow is None:
            flow = self._flow = self._coefficients()
        self._once(flow, duty * self.spec.power_w * self.mains)

    def _once(self, f: Flow, watts: float) -> None:
        """One Euler step: every flow from the state before it, then the loop moves on."""
        film_j, per_heater_j, per_heated_j, heats, mix, metal_mash, metal_from_mash, loss, steam, room_pa, *_ = f
        layer_j = f.layer_j_per_k
        layers = self.layers
        given = watts * STEP_S
        self._heater_j += given
        if film_j:
            heated = self.chamber_c if not heats else layers[0] if heats == 1 else sum(layers) / heats
            put_in, given = given, film_j * (self.heater_c - heated)
            self.heater_c += per_heater_j * (put_in - given)
        warmed = per_heated_j * given
        if not heats:
            self.chamber_c += warmed
        room, total, n = self.room_c, sum(layers), len(layers)
        around = zip([layers[0], *layers[:-1]], layers, [*layers[1:], layers[-1]])  # noqa: B905 - a keyword costs 10 %
        if metal_from_mash:  # with a film between: the metal exchanges with the layers, and it alone with the room
            metal = self.metal_c
            new = [t + mix * (below - t + above - t) + metal_mash * (metal - t) for below, t, above in around]
            lost = loss * (metal - room)
            self.metal_c = metal + metal_from_mash * (total - n * metal) - lost
            self._lost_j += lost * self.spec.metal_j_per_k
        else:
            new = [t + mix * (below - t + above - t) - loss * (t - room) for below, t, above in around]
            self._lost_j += loss * (total - n * room) * layer_j
        if heats == n:
            new = [t + warmed for t in new]
        elif heats:  # the bottom layer alone
            new[0] += warmed
        if steam:
            over_pa = figures.saturation_pa(layers[-1]) - room_pa
            if over_pa > 0.0:
                new[-1] -= steam * over_pa
                self._lost_j += steam * over_pa * layer_j
        self.layers = new
        if f.shifts:
            self._circulate(f)
        if max(new) > BOIL_C or self.chamber_c > BOIL_C:
            self._boil(layer_j)

    def _circulate(self, f: Flow) -> None:
        """Move the loop's liquid on, one cell of 0.5 s of full flow at a time."""
        self._moved += f.shifts
        layers, bed = self.layers, f.bed
        while self._moved >= 1.0 - 1e-9:
            self._moved -= 1.0
            parcel = self._through(self.before, 0, layers[0])
            leaving = self.chamber_c
            self.chamber_c = leaving + f.chamber * (parcel - leaving)
            parcel = self._through(self.after, 1, leaving)
            for i in range(len(layers) - 1, -1, -1):
                t = layers[i]
                layers[i] = t + bed * (parcel - t)
                parcel = t

    def _through(self, pipe: list[float], which: int, parcel: float) -> float:
        """Push a parcel into a pipe; what comes out at the other end?"""
        if not pipe:
            return parcel
        head = self.heads[which]
        out, pipe[head] = pipe[head], parcel
        self.heads[which] = head + 1 if head + 1 < len(pipe) else 0
        return out

    def _boil(self, layer_j: float) -> None:
        """What is above the boil leaves as steam; the mass lost is neglected."""
        for i, t in enumerate(self.layers):
            if t > BOIL_C:
                self._boiled_j += (t - BOIL_C) * layer_j
                self.layers[i] = BOIL_C
        if self.chamber_c > BOIL_C:
            self._boiled_j += (self.chamber_c - BOIL_C) * self.spec.chamber_kg * WATER_J_PER_KG_K
            self.chamber_c = BOIL_C

    def _pour(self) -> None:
        """Let what is on its way into the tun come in for one step."""
        for pour in self._pours:
            dt = min(STEP_S, pour.left_s)
            pour.left_s -= dt
            grist, liquor = pour.grist_kg_per_s * dt, pour.liquor_kg_per_s * dt
            malt = self.grist_j_per_kg_k
            if pour.moisture >= 0:  # fresh grist; a returned decoction is what was pulled
                malt = (1 - pour.moisture) * self.spec.malt_dry_j_per_kg_k + pour.moisture * WATER_J_PER_KG_K
            capacity = grist * malt + liquor * WATER_J_PER_KG_K
            heat = capacity * pour.c + grist * pour.wetting_j_per_kg
            self._take_in(capacity, heat / capacity if capacity else pour.c, pour.top)
            self._added_j += heat
            if grist:
                self.grist_j_per_kg_k = (self.grist_kg * self.grist_j_per_kg_k + grist * malt) / (self.grist_kg + grist)
            self.grist_kg, self.liquor_kg = self.grist_kg + grist, self.liquor_kg + liquor
        self._pours = [pour for pour in self._pours if pour.left_s > 1e-9]
        self._flow = None

    def _take_in(self, capacity: float, c: float, top: bool) -> None:
        """Mix an addition in; one on top pushes every layer's surplus down, so that all stay equally thick."""
        n, layer_j = len(self.layers), self._layer_j()
        if not top:
            self.layers = [(layer_j * t + capacity / n * c) / (layer_j + capacity / n) for t in self.layers]
            return
        for i in range(n - 1, -1, -1):
            comes = capacity * (i + 1) / n
            self.layers[i] = (layer_j * self.layers[i] + comes * c) / (layer_j + comes)
            c = self.layers[i]

    # ------------------------------------------------------------ figures

    def _loop_kg(self) -> float:
        if self.spec.flow_kg_per_s <= 0:
            return 0.0
        return self.cell_kg * (len(self.before) + len(self.after)) + self.spec.chamber_kg

    def _layer_j(self) -> float:
        """Heat capacity of one layer, J/K, the metal with it where it follows the mash."""
        mash = (self.liquor_kg - self._loop_kg()) * WATER_J_PER_KG_K + self.grist_kg * self.grist_j_per_kg_k
        metal = self.spec.metal_j_per_k if self.spec.metal_film_w_per_k is None else 0.0
        return (mash + metal) / len(self.layers)

    def _stored_j(self) -> float:
        """All heat in layers, metal, heater mass and loop, J from 0 °C."""
        loop = sum(self.before) + sum(self.after)
        stored = self._layer_j() * sum(self.layers) + self.spec.heater_j_per_k * self.heater_c
        if self.spec.metal_film_w_per_k is not None:
            stored += self.spec.metal_j_per_k * self.metal_c
        if self.spec.flow_kg_per_s > 0:
            stored += WATER_J_PER_KG_K * (self.cell_kg * loop + self.spec.chamber_kg * self.chamber_c)
        return stored

    def _coefficients(self) -> Flow:
        """All that stays the same until somebody does something."""
        spec, layer_j, n = self.spec, self._layer_j(), len(self.layers)
        chamber_j = spec.chamber_kg * WATER_J_PER_KG_K
        heats = {"jacket": n, "element": 1, "burner": 1, "line": 0, "coil": 0}[spec.place]
        metal_film = spec.metal_film_w_per_k if spec.metal_j_per_k else None
        carrier_j = layer_j * n if metal_film is None else spec.metal_j_per_k
        open_m2 = spec.surface_m2 * (1.0 if self.lid_open else spec.lid_leak)
        still_s = spec.still_mixing_s if self.grist_kg > 0 else spec.liquor_mixing_s  # layers even out in it
        bed_flow = spec.flow_in_grist if self.grist_kg > 0 else 1.0
        return Flow(
            film_j=STEP_S * spec.film_w_per_k if spec.heater_j_per_k else 0.0,
            per_heater_j=1 / spec.heater_j_per_k if spec.heater_j_per_k else 0.0,
            per_heated_j=1 / (layer_j * heats) if heats else 1 / chamber_j,
            heats=heats,
            mix=STEP_S / (min(still_s, spec.mixing_s) if self.stirring else still_s),
            metal_mash=STEP_S * (metal_film or 0.0) / n / layer_j,
            metal_from_mash=STEP_S * metal_film / n / spec.metal_j_per_k if metal_film else 0.0,
            loss=STEP_S * spec.loss_w_per_k / carrier_j,
            steam=STEP_S * figures.STEAM_W_PER_M2_PA * open_m2 / layer_j,
            room_pa=figures.ROOM_HUMIDITY * figures.saturation_pa(self.room_c),
            shifts=self.pumping * bed_flow,
            bed=self.cell_kg * WATER_J_PER_KG_K / layer_j,
            chamber=self.cell_kg / spec.chamber_kg,
            layer_j_per_k=layer_j,
        )
