"""The sums of heat: strike, additions, decoctions, blending, rises, cooling."""

from __future__ import annotations

from collections.abc import Iterator

from controller.brewing import heat, rules_of_thumb, volumes, water
from controller.brewing.kinetics.decoction import THICK_PULL
from controller.commands.reckon.sums import (
    ALTITUDE,
    GRIST,
    LIQUOR,
    LOSS,
    MOISTURE,
    POWER,
    ROOM,
    VESSEL,
    Answer,
    Input,
    Sum,
    Values,
    mass,
    share,
    temperature,
)
from controller.settings.table import Quantity

_SLAKING = Input("slaking", Quantity("heat", 0, 60), None, needed=False, note="else by the malt's moisture")
_VESSEL_AT = temperature("vessel_temperature", needed=False, note="left out: the liquor is heated in it")
_GRIST_AT = temperature("grist_temperature", 18.0)
_COLD_C = 12.0


def _slaking_j(v: Values) -> float:
    return 1000.0 * v["slaking"] if "slaking" in v else heat.slaking_j_per_kg(v["moisture"])


def _strike(v: Values) -> Iterator[Answer]:
    grist, moisture, metal_c = v["grist"], v["moisture"], v.get("vessel_temperature")
    parts, before = (
        heat.strike_parts(
            grist,
            v["grist_temperature"],
            v["liquor"],
            v["mash"],
            metal_j_per_k=v["vessel"],
            metal_c=at_c,
            moisture_share=moisture,
            slaking_j_per_kg=_slaking_j(v),
        )
        for at_c in (metal_c, None)
    )
    drawn_c = v["mash"] + sum(parts) + v["lost_on_the_way"]
    yield Answer("draw the liquor at", "temperature", drawn_c)
    yield Answer("the tun must read before grain", "temperature", v["mash"] + sum(before))
    yield Answer("for the grain", "difference", parts.grist_k)
    yield Answer("for the vessel", "difference", parts.vessel_k)
    yield Answer("for slaking heat", "difference", parts.slaking_k, "good to a third; so the landing to about 1 K")
    grist_heat = heat.grist_specific_heat_j_per_kg_k(moisture) / heat.WATER
    yield Answer("specific heat of the grist over liquor's", "number", grist_heat)
    boils_c = water.boiling_c(altitude_m=v["altitude"])
    if drawn_c > boils_c:
        yield Answer("that is hotter than water boils there", "temperature", boils_c)
    thick = v["liquor"] / grist
    yield Answer(
        "short form, no vessel", "temperature", rules_of_thumb.strike(thick, v["grist_temperature"], v["mash"])
    )
    if moisture <= 0.08:
        table = (*rules_of_thumb.striking_figures(100.0 * moisture), v["grist_temperature"], v["mash"], thick)
        yield Answer("British table of 1984/85, no vessel", "temperature", rules_of_thumb.striking_heat(*table))


def _landing(v: Values) -> Iterator[Answer]:
    lands_c = heat.landing_c(
        v["grist"],
        v["grist_temperature"],
        v["liquor"],
        v["liquor_temperature"],
        metal_j_per_k=v["vessel"],
        metal_c=v.get("vessel_temperature"),
        moisture_share=v["moisture"],
        slaking_j_per_kg=_slaking_j(v),
    )
    yield Answer("the mash lands at", "temperature", lands_c)
    if v["moisture"] <= 0.08:
        table = (*rules_of_thumb.striking_figures(100.0 * v["moisture"]), v["grist_temperature"])
        by_table_c = rules_of_thumb.initial_heat(*table, v["liquor_temperature"], v["liquor"] / v["grist"])
        yield Answer("British table of 1984/85, no vessel", "temperature", by_table_c)


def _in_us_units(v: Values) -> Iterator[Answer]:
    """The short forms as they stand in American books, in their own units."""
    grist_lb, liquor_qt = v["grist"] / volumes.LB_KG, v["liquor_volume"] / volumes.US_QT_L
    grist_f, mash_f, to_f, hot_f = (1.8 * v[key] + 32.0 for key in ("grist_temperature", "mash", "to", "at"))
    strike_f = rules_of_thumb.strike(liquor_qt / grist_lb, grist_f, mash_f, rules_of_thumb.K_US)
    yield Answer("strike", "temperature", (strike_f - 32.0) / 1.8)
    added_qt = rules_of_thumb.infusion_qt(grist_lb, liquor_qt, mash_f, to_f, hot_f)
    yield Answer("then add", "volume", added_qt * volumes.US_QT_L)


def _vessel(v: Values) -> Iterator[Answer]:
    found = heat.vessel_j_per_k(v["water"], v["hot"], v["end"], v["vessel_temperature"])
    yield Answer("heat capacity of the vessel", "capacity", found)


def _rinsed(v: Values) -> Iterator[Answer]:
    parts = [(v["water"] * heat.WATER, v["hot"]), (v["vessel"], v["vessel_temperature"])]
    yield Answer("the vessel stands at", "temperature", heat.mix_c(parts), "rinsed and drained")


def _infusion(v: Values) -> Iterator[Answer]:
    capacity = heat.mash_j_per_k(v["grist"], v["liquor"], v["vessel"])
    at_c = v.get("at", water.boiling_c(altitude_m=v["altitude"]) - 2.0)
    added_kg = heat.addition_kg(capacity, v["from"], v["to"], at_c)
    yield Answer("add", "mass", added_kg)
    yield Answer("which at its temperature is", "volume", volumes.liquor_volume_l(added_kg, at_c))
    yield Answer("its temperature", "temperature", at_c)
    if v["grist"]:
        yield Answer("the mash is then", "thickness", (v["liquor"] + added_kg) / v["grist"])
        short_kg = rules_of_thumb.infusion_kg(v["grist"], v["liquor"], v["from"], v["to"], at_c)
        yield Answer("short form, no vessel", "mass", short_kg)


def _added(v: Values) -> Iterator[Answer]:
    capacity = heat.mash_j_per_k(v["grist"], v["liquor"], v["vessel"])
    lands_c = heat.mixed_with_liquor_c(capacity, v["from"], v["add"], v["at"])
    yield Answer("the mash lands at", "temperature", lands_c)


def _decoction(v: Values) -> Iterator[Answer]:
    """m_d = C (T2 - T1)/[c_d (T_d - T1) - beta c_w (T_d - T2)]: heat balance, first law, boil-off counted."""
    grist, liquor = v["grist"], v["liquor"]
    thick = v.get("pull", min(THICK_PULL, liquor / grist))
    capacity = heat.mash_j_per_k(grist, liquor, v["vessel"])
    whole_kg = heat.thick_pull_kg(capacity, v["from"], v["to"], v["back"], pull_l_per_kg=thick)
    per_kg = (heat.grist_specific_heat_j_per_kg_k() + thick * heat.WATER) / (1.0 + thick)
    boiled = v["boil_off"] * heat.WATER * (v["back"] - v["to"]) / (v["back"] - v["from"])
    pull_kg = whole_kg * per_kg / (per_kg - boiled)
    grain_kg, drawn_kg = pull_kg / (1.0 + thick), pull_kg * thick / (1.0 + thick)
    yield Answer("pull", "mass", pull_kg)
    yield Answer("which is", "volume", volumes.mash_volume_l(drawn_kg, grain_kg))
    yield Answer("grist in it", "mass", grain_kg)
    yield Answer("liquor in it", "mass", drawn_kg)
    yield Answer("of the mash", "share", pull_kg / (grist + liquor))
    yield Answer("of the liquor, where the enzymes are", "share", drawn_kg / liquor)
    yield Answer("boils off", "mass", v["boil_off"] * pull_kg)
    yield Answer("liquor left in the mash", "mass", liquor - v["boil_off"] * pull_kg)
    even = heat.decoction_share(
        v["from"], v["to"], v["back"], mash_j_per_k=capacity - v["vessel"], metal_j_per_k=v["vessel"]
    )
    yield Answer("of the mash, were it drawn as the mash stands", "share", even)


def _merge(v: Values) -> Iterator[Answer]:
    """Cooker and main mash poured together: T = sum of C T over sum of C."""
    malt_j = heat.mash_j_per_k(v["cooker_malt"], v["cooker_liquor"] - v["boil_off"])
    cooker = malt_j + v["cooker_grain"] * heat.grist_specific_heat_j_per_kg_k(v["grain_moisture"])
    main = heat.mash_j_per_k(v["grist"], v["liquor"], v["vessel"])
    yield Answer("together they stand at", "temperature", heat.mix_c([(cooker, v["joined_at"]), (main, v["from"])]))
    if "to" in v:
        waits_c = v["to"] - cooker * (v["joined_at"] - v["to"]) / main
        yield Answer("for that the main mash waits at", "temperature", waits_c)
        larger = main * (v["to"] - v["from"]) / (v["joined_at"] - v["to"]) / cooker
        yield Answer("or the whole cooker is larger, times", "number", larger)


def _blend(v: Values) -> Iterator[Answer]:
    hot_kg, cold_kg = heat.blend_kg(v["total"], v["wanted"], v["hot"], v["cold"])
    for name, kg, at_c in (("hot", hot_kg, v["hot"]), ("cold", cold_kg, v["cold"])):
        yield Answer(f"{name} liquor", "mass", kg)
        yield Answer(f"which at its temperature is, {name}", "volume", volumes.liquor_volume_l(kg, at_c))


def _mix(v: Values) -> Iterator[Answer]:
    parts = [(v["first"], v["first_temperature"]), (v["second"], v["second_temperature"])]
    yield Answer("together they stand at", "temperature", heat.mix_liquor_c(parts), "water's true heat content")
    yield Answer("with one specific heat", "temperature", heat.mix_c(parts))


def _rise(v: Values) -> Iterator[Answer]:
    capacity, power = heat.mash_j_per_k(v["grist"], v["liquor"], v["vessel"]), v["power"]
    place, mean_c = (v["loss"], v["room"]), (v["from"] + v["to"]) / 2.0
    free_s = heat.ramp_time_s(capacity, power, *place, v["from"], v["to"])
    yield Answer("heat capacity", "capacity", capacity)
    yield Answer("with full power it takes", "duration", free_s)
    yield Answer("rate in the middle", "rate", heat.climb_k_per_s(capacity, power, *place, mean_c))
    yield Answer("heat of the mash", "energy", heat.warming_kwh(capacity, v["from"], v["to"]))
    if not v["grist"]:
        liquor_kwh = heat.liquor_kwh(v["liquor"], v["from"], v["to"])
        yield Answer("heat of the liquor", "energy", liquor_kwh, "water's true heat content")
        yield Answer("without losses", "duration", heat.time_for_energy_s(liquor_kwh, power))
    limit = v["limit"]
    yield Answer(
        "within the limit", "duration", heat.limited_ramp_s(capacity, power, *place, v["from"], v["to"], limit)
    )
    yield Answer("power for the limit", "power", heat.power_for_climb_w(capacity, limit, *place, mean_c))


def _cooling(v: Values) -> Iterator[Answer]:
    """By itself, by cold liquor, by a coil with tau = C/(flow c e), e 0.8 (own proposal)."""
    capacity = heat.mash_j_per_k(v["grist"], v["liquor"], v["vessel"])
    loss, room, from_c = v["loss"], v["room"], v["from"]
    yield Answer("heat capacity", "capacity", capacity)
    yield Answer("falls at first", "rate", -heat.climb_k_per_s(capacity, 0.0, loss, room, from_c))
    if "time" in v:
        yield Answer("then it stands at", "temperature", heat.cooled_c(capacity, loss, room, from_c, v["time"]))
    if "to" in v:
        yield Answer("by itself it takes", "duration", heat.cooling_time_s(capacity, loss, room, from_c, v["to"]))
        yield Answer("or cold liquor", "mass", heat.addition_kg(capacity, from_c, v["to"], v["cold"]))
        coil_w_per_k = 0.8 * v["coil_flow"] / 60.0 * heat.WATER
        coil_s = heat.cooling_time_s(capacity, coil_w_per_k, v["cold"], from_c, v["to"])
        yield Answer("or a coil with cold water", "duration", coil_s)


_MASH = (GRIST, LIQUOR, VESSEL)
_STRIKE = (*_MASH, _GRIST_AT, MOISTURE, _SLAKING, _VESSEL_AT)
_FROM_TO = (temperature("from"), temperature("to"))
_WATER_ONLY = (mass("grist", 0.0), LIQUOR, VESSEL)

HEAT = (
    Sum(
        "strike",
        "How hot must the liquor be, and how hot must the tun read before grain?",
        (*_STRIKE, temperature("mash"), Input("lost_on_the_way", Quantity("difference", 0, 20), 0.0), ALTITUDE),
        _strike,
        'grist="20 kg" liquor="60 kg" mash="64 °C" vessel="12.5 kJ/K" vessel_temperature="18 °C"',
    ),
    Sum(
        "landing",
        "Where does the mash land with liquor of this temperature?",
        (*_STRIKE, temperature("liquor_temperature")),
        _landing,
        'grist="20 kg" liquor="60 kg" liquor_temperature="72 °C"',
    ),
    Sum(
        "us-rules",
        "What do the short forms of American books say?",
        (
            GRIST,
            Input("liquor_volume", Quantity("volume", 0.1, 20_000)),
            _GRIST_AT,
            temperature("mash"),
            temperature("to"),
            temperature("at", 98.0),
        ),
        _in_us_units,
        'grist="8 lb" liquor_volume="8 qt" mash="104 °F" to="140 °F" at="210 °F"',
    ),
    Sum(
        "vessel",
        "What is the heat capacity of a vessel, by hot water poured into it?",
        (mass("water"), temperature("hot"), temperature("end"), temperature("vessel_temperature")),
        _vessel,
        'water="20 kg" hot="75 °C" end="67.3 °C" vessel_temperature="18 °C"',
    ),
    Sum(
        "rinse",
        "How warm is a vessel that was rinsed with hot water and drained?",
        (mass("water"), temperature("hot"), VESSEL, temperature("vessel_temperature")),
        _rinsed,
        'water="10 kg" hot="78 °C" vessel="12.5 kJ/K" vessel_temperature="18 °C"',
    ),
    Sum(
        "infusion",
        "How much hot (or cold) liquor brings the mash, or the liquor in the tun, there?",
        (*_WATER_ONLY, *_FROM_TO, temperature("at", needed=False, note="else 2 K under the boil"), ALTITUDE),
        _infusion,
        'grist="20 kg" liquor="50 kg" vessel="12.5 kJ/K" from="52 °C" to="64 °C" altitude="1600 m"',
    ),
    Sum(
        "added",
        "Where does the mash land when so much liquor is added?",
        (*_WATER_ONLY, temperature("from"), mass("add"), temperature("at")),
        _added,
        'grist="20 kg" liquor="50 kg" from="52 °C" add="20 kg" at="95 °C"',
    ),
    Sum(
        "decoction",
        "How much mash must be pulled and boiled?",
        (
            *_MASH,
            *_FROM_TO,
            temperature("back", 95.0),
            share("boil_off", 0.0),
            Input("pull", Quantity("thickness", 0.5, 10), None, needed=False, note="else 1.8 L/kg at most"),
        ),
        _decoction,
        'grist="20 kg" liquor="60 kg" vessel="12.5 kJ/K" from="52 °C" to="64 °C" boil_off="5 %"',
    ),
    Sum(
        "cereal",
        "Where do a cooked cereal mash and the main mash land together?",
        (
            *_MASH,
            temperature("from"),
            mass("cooker_grain"),
            share("grain_moisture", 0.12),
            mass("cooker_malt", 0.0),
            mass("cooker_liquor"),
            mass("boil_off", 0.0),
            temperature("joined_at", 95.0),
            temperature("to", needed=False),
        ),
        _merge,
        'grist="16 kg" liquor="48 kg" from="50 °C" cooker_grain="4 kg" cooker_liquor="24 kg"',
    ),
    Sum(
        "blend",
        "How much hot and how much cold liquor?",
        (mass("total"), temperature("wanted"), temperature("hot"), temperature("cold", _COLD_C)),
        _blend,
        'total="60 kg" wanted="72.4 °C" hot="78 °C" cold="12 °C"',
    ),
    Sum(
        "mix",
        "How hot are two portions of liquor together?",
        (mass("first"), temperature("first_temperature"), mass("second"), temperature("second_temperature")),
        _mix,
        'first="40 kg" first_temperature="90 °C" second="20 kg" second_temperature="12 °C"',
    ),
    Sum(
        "rise",
        "How long does a rise take, and how much power does a rate want?",
        (*_WATER_ONLY, POWER, LOSS, ROOM, *_FROM_TO, Input("limit", Quantity("rate", 0.05 / 60, 5 / 60), 1.0 / 60.0)),
        _rise,
        'grist="20 kg" liquor="60 kg" vessel="12.5 kJ/K" power="5 kW" loss="4 W/K" from="63 °C" to="72 °C"',
    ),
    Sum(
        "cooling",
        "How does it cool by itself, by cold liquor, by a coil?",
        (
            *_WATER_ONLY,
            LOSS,
            ROOM,
            temperature("from"),
            temperature("to", needed=False),
            Input("time", Quantity("duration", 0, 1e6), None, needed=False),
            temperature("cold", _COLD_C),
            Input("coil_flow", Quantity("flow", 0.01, 500), 2.0),
        ),
        _cooling,
        'grist="20 kg" liquor="60 kg" loss="4 W/K" from="65 °C" to="44 °C" time="40 min"',
    ),
)
