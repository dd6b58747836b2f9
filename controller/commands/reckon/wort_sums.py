"""The sums of volumes, wort and instruments: what is in the kettle, and what do instruments really say?"""

from __future__ import annotations

from collections.abc import Iterator
from math import inf

from controller.brewing import probe_calibration, runoff, volumes, water, wort
from controller.commands.reckon.sums import (
    ALTITUDE,
    EXTRACT,
    GRIST,
    LIQUOR,
    MOISTURE,
    Answer,
    Input,
    Sum,
    Values,
    gravity,
    mass,
    share,
    temperature,
    volume,
)
from controller.settings.table import Quantity

_CONVERSION = share("conversion", runoff.USUAL_CONVERSION, note="dissolved of what the malt can give")
_HELD = Input("held_back", Quantity("thickness", 0, 2), volumes.HELD_BACK_L_PER_KG, note="wort left in the grain")
_DEAD = volume("dead_space", 0.0)
_BATCHES = Input("batches", Quantity("number", 0, 2), 1.0, note="0 none, 1 or 2 batches of sparge liquor")
_SPARGES: dict[int, runoff.Sparge] = {0: "none", 1: "batch", 2: "twice"}


def _malt(v: Values, grist_kg: float = 1.0) -> runoff.Malt:
    return runoff.Malt(grist_kg, v["extract"], v["moisture"], v["conversion"])


def _wort(name: str, found: runoff.Wort) -> Iterator[Answer]:
    yield Answer(name, "volume", found.volume_l, "at 20 °C")
    yield Answer(f"{name}: strength", "gravity", found.wort_p, f"{wort.gravity(found.wort_p):.4f}")


def _volume(v: Values) -> Iterator[Answer]:
    at_c = v["temperature"]
    kg = v["liquor"] if "liquor" in v else volumes.liquor_kg(v["volume"], at_c) if "volume" in v else 0.0
    yield Answer("liquor", "mass", kg)
    yield Answer("its volume at that temperature", "volume", volumes.liquor_volume_l(kg, at_c))
    yield Answer("its volume at 20 °C", "volume", volumes.liquor_volume_l(kg, wort.ROOM_C))
    if "grist" in v:
        yield Answer("mash", "volume", volumes.mash_volume_l(kg, v["grist"]))
        yield Answer("thickness", "thickness", volumes.thickness_l_per_kg(kg, v["grist"]))
    if "mash_volume" in v:
        most_kg = volumes.grist_kg_for_volume(v["mash_volume"], v["thickness"])
        yield Answer("grist for that much mash", "mass", most_kg)


def _boil(v: Values) -> Iterator[Answer]:
    yield Answer("air pressure, kPa", "number", water.pressure_at_altitude_kpa(v["altitude"]))
    yield Answer("water boils at", "temperature", water.boiling_c(altitude_m=v["altitude"]))


def _probe(v: Values) -> Iterator[Answer]:
    line = probe_calibration.Correction(v["ice"], v["boil_read"], v["boil"])
    yield Answer("it really is", "temperature", probe_calibration.corrected_c(line, v["reading"]))
    for name in ("A", "B"):
        off_k = probe_calibration.platinum_tolerance_k(name, v["reading"])
        yield Answer(f"a class {name} sensor may be off by", "difference", off_k, "IEC 60751")


def _gravity(v: Values) -> Iterator[Answer]:
    """A hydrometer read warm: SG x density of water at 20 °C over that at its temperature, 10 to 40 °C."""
    s = wort.gravity_at_room(wort.gravity(v["gravity"]), v["temperature"])
    yield Answer("specific gravity at 20 °C", "number", s)
    yield Answer("strength", "gravity", wort.plato(s))


def _ph(v: Values) -> Iterator[Answer]:
    yield Answer("at 20 °C it reads", "number", wort.ph_at_room(v["ph"], v["temperature"]))
    yield Answer("were it of 20 °C it would read, hot", "number", wort.ph_at(v["ph"], v["temperature"]))


def _extract(v: Values) -> Iterator[Answer]:
    dry = []
    for name in ("fine", "coarse"):
        if name in v:
            as_is = wort.congress_extract_share(v[name], v["moisture"])
            dry.append(wort.dry_share(as_is, v["moisture"]))
            yield Answer(f"extract as is, {name}", "share", as_is)
            yield Answer(f"extract dry, {name}", "share", dry[-1])
    if len(dry) == 2:
        yield Answer("fine less coarse, dry", "share", dry[0] - dry[1])
    if "constant_65" in v:
        found = wort.hot_water_extract_l_deg_per_kg(wort.gravity(v["constant_65"]))
        yield Answer("hot water extract, L deg/kg", "number", found, "50 g in 515 mL")


def _sheet(v: Values) -> Iterator[Answer]:
    yield Answer("extract as is, fine", "share", v["dry_extract"] * (1.0 - v["moisture"]))
    yield Answer("extract as is, coarse", "share", (v["dry_extract"] - v["fine_coarse"]) * (1.0 - v["moisture"]))


def _diastatic(v: Values) -> Iterator[Answer]:
    """Of a grist the mean by mass; °Lintner and °WK are each other's straight line."""
    power = v["power"]
    if "other_power" in v:
        power = (v["grist"] * power + v["other"] * v["other_power"]) / (v["grist"] + v["other"])
    yield Answer("°Lintner", "number", power)
    yield Answer("°WK", "number", 3.5 * power - 16.0)


def _first_wort(v: Values) -> Iterator[Answer]:
    thick, sheet = v["liquor"] / v["grist"], (v["moisture"], v["extract"])
    yield Answer("first wort, all converted", "gravity", wort.first_wort_p(thick, *sheet))
    yield from _wort("the mash holds", runoff.first_wort(_malt(v, v["grist"]), v["liquor"]))
    converted = wort.conversion_share(v["measured"], thick, *sheet) if "measured" in v else v["conversion"]
    if "measured" in v:
        yield Answer("conversion", "share", converted, "is it dissolved? A low one is a fault of the mash")
    if "kettle" in v and "kettle_gravity" in v:
        got = wort.brewhouse_yield_share(v["kettle"], wort.gravity(v["kettle_gravity"]), v["grist"])
        yield Answer("lauter yield", "share", got / v["extract"] / converted, "did it come out?")
        yield Answer("of the promise", "share", got / v["extract"])
        yield Answer("yield on the grist's mass", "share", got)


def _run_off(v: Values) -> Iterator[Answer]:
    malt, lauter = _malt(v, v["grist"]), runoff.Lauter(v["held_back"], v["dead_space"])
    batch = runoff.run_off(malt, v["liquor"], lauter, _SPARGES[int(v["batches"])], v["sparge"])
    yield from _wort("first wort in the mash", runoff.first_wort(malt, v["liquor"]))
    yield Answer("held back", "volume", lauter.held_l(v["grist"]))
    yield Answer("first run-off", "volume", batch.first_l)
    yield Answer("lauter yield", "share", batch.lauter_share)
    yield from _wort("kettle", batch.kettle)
    yield Answer("extract in the kettle", "mass", batch.kettle.extract_kg)
    if v["sparge"]:
        low = runoff.run_off(malt, v["liquor"], lauter, "continuous", v["sparge"]).lauter_share
        yield Answer("sparged continuously at least", "share", low, "to 100 %: by how evenly the bed is washed")
    if "wanted" in v:
        held = {"held_back_l_per_kg": v["held_back"], "dead_space_l": v["dead_space"]}
        sparge_l = volumes.sparge_l(v["wanted"], v["grist"], v["liquor"], **held)
        yield Answer("sparge liquor for the wanted volume", "volume", sparge_l, "by volumes alone")
    if "spent_moisture" in v:
        yield Answer(
            "held back by that moisture, kg/kg", "number", runoff.held_back_by_moisture(malt, v["spent_moisture"])
        )


def _wanted(v: Values) -> Iterator[Answer]:
    after = runoff.Wort(v["volume"], v["gravity"], runoff.extract_kg(v["volume"], v["gravity"]))
    kettle = runoff.before_boil(after, v["boil_off"]) if v["boil_off"] else after
    lauter, sparge = runoff.Lauter(v["held_back"], v["dead_space"]), _SPARGES[int(v["batches"])]
    found = runoff.grist_for(kettle, _malt(v), lauter, sparge, v["thickness"])
    yield from _wort("in the kettle before the boil", kettle)
    yield Answer("grist", "mass", found.grist_kg)
    yield Answer("mash liquor", "mass", found.liquor_kg)
    yield Answer("sparge liquor", "mass", found.sparge_kg)
    yield Answer("thickness of the mash", "thickness", found.liquor_kg / found.grist_kg)
    yield Answer("lauter yield", "share", found.lauter_share)


def _enzyme(v: Values) -> Iterator[Answer]:
    left = wort.left_share(v["time"], v["half_life"])
    yield Answer("left of the enzyme", "share", left, "for illustration: real losses slow down")


def _any(*keys: str) -> tuple[Input, ...]:
    return tuple(gravity(key, needed=False) for key in keys)


_POWER = Quantity("diastatic power", 0, 300)
_MALT = (EXTRACT, MOISTURE, _CONVERSION)
_TUN = (_HELD, _DEAD, _BATCHES)

WORT = (
    Sum(
        "volume",
        "What does liquor weigh and take up, how much mash is it, and how thick?",
        (
            temperature("temperature", 20.0),
            mass("liquor", needed=False),
            volume("volume", needed=False),
            mass("grist", needed=False),
            volume("mash_volume", needed=False),
            Input("thickness", Quantity("thickness", 1, 10), 3.0),
        ),
        _volume,
        'volume="100 L" temperature="75 °C" grist="20 kg"',
    ),
    Sum("boil", "Where does water boil at this altitude?", (ALTITUDE,), _boil, 'altitude="1600 m"'),
    Sum(
        "probe",
        "What is it really when a probe says so?",
        (
            temperature("reading"),
            temperature("ice", 0.0, note="read in ice"),
            temperature("boil_read", 100.0),
            temperature("boil", 100.0, note="of boiling water there"),
        ),
        _probe,
        'reading="65.4 °C" ice="0.4 °C" boil_read="97.1 °C" boil="96.65 °C"',
    ),
    Sum(
        "gravity",
        "How strong is a wort, by °P, SG or °Bx of unfermented wort, and by a hydrometer read warm?",
        (gravity("gravity"), Input("temperature", Quantity("temperature", 10, 40), 20.0, note="hotter: cool it")),
        _gravity,
        'gravity="1.040 SG" temperature="40 °C"',
    ),
    Sum(
        "ph",
        "What does a hot sample's pH come to at 20 °C, and the other way round?",
        (Input("ph", Quantity("number", 3, 8)), temperature("temperature")),
        _ph,
        'ph=5.5 temperature="65 °C"',
    ),
    Sum(
        "extract",
        "What does a laboratory's wort say of the malt?",
        (*_any("fine", "coarse", "constant_65"), MOISTURE),
        _extract,
        'fine="8.80 °P" coarse="8.63 °P" moisture="4.5 %"',
    ),
    Sum(
        "sheet",
        "What is a malt sheet's extract, dry, of the malt as it is?",
        (share("dry_extract"), share("fine_coarse", 0.0), MOISTURE),
        _sheet,
        'dry_extract="81.3 %" fine_coarse="2 %"',
    ),
    Sum(
        "diastatic",
        "What is a diastatic power in the other unit, and of two malts together?",
        (Input("power", _POWER), mass("grist", 1.0), mass("other", 0.0), Input("other_power", _POWER, needed=False)),
        _diastatic,
        'power="300 °WK" grist="12 kg" other="8 kg" other_power="120 °WK"',
    ),
    Sum(
        "first-wort",
        "How strong is the first wort, how much is converted, and how much came out?",
        (GRIST, LIQUOR, *_MALT, *_any("measured"), volume("kettle", needed=False), *_any("kettle_gravity")),
        _first_wort,
        'grist="20 kg" liquor="60 kg" measured="19.3 °P" kettle="86 L" kettle_gravity="1.046 SG"',
    ),
    Sum(
        "run-off",
        "What comes into the kettle, with so much sparge liquor?",
        (
            GRIST,
            LIQUOR,
            mass("sparge", 0.0),
            *_MALT,
            *_TUN,
            volume("wanted", needed=False),
            share("spent_moisture", needed=False),
        ),
        _run_off,
        'grist="20 kg" liquor="60 kg" sparge="42 kg" dead_space="2 L"',
    ),
    Sum(
        "wanted",
        "How much grist and liquor for so much wort?",
        (
            volume("volume"),
            gravity("gravity"),
            volume("boil_off", 0.0),
            Input("thickness", Quantity("thickness", 1.5, 8), 3.0),
            *_MALT,
            *_TUN,
        ),
        _wanted,
        'volume="85 L" gravity="1.048 SG" dead_space="2 L"',
    ),
    Sum(
        "enzyme",
        "How much of an enzyme is left after so long?",
        (Input("time", Quantity("duration", 0, inf)), Input("half_life", Quantity("duration", 1, inf))),
        _enzyme,
        'time="20 min" half_life="10 min"',
    ),
)
