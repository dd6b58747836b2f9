"""What does a plan look like on one page, for a person to read before the mash, and what is there to remark on it?"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal, NamedTuple

from controller.brewing import heat, volumes
from controller.core.nouns import COMES_IN, GOES_IN
from controller.plan import kettle, water_sheet
from controller.plan.advise import Said
from controller.plan.plan import Plan
from controller.plan.recipe import blend_cold_c, degrees
from controller.plan.stages import LANDS_K, Stage, mixing_s, moisture_share, open_lid_k, vessel_c
from controller.report import pour_words
from controller.settings.table import show

_LIMITS = {
    "heater": "the heater gives no more",
    "limit": "the tun's ceiling",
    "program": "as written",
    "cooling": "cools by itself",
}


def page(plan: Plan, said: tuple[Said, ...] = (), dough_in_s: float | None = None) -> str:
    """The plan in words and figures. `dough_in_s`: dough-in in seconds after midnight; without it times are elapsed."""
    remarks, wished = notes(plan), plan.program.aim
    aim = f"{100 * wished:.0f} % limit attenuation" if isinstance(wished, float) else wished
    lines = [
        plan.program.title,
        f"  {plan.program.name} on {plan.tun.title or plan.tun.name}; aim: {aim}",
        "",
        *facts(plan),
        "",
        *_table(plan, dough_in_s),
        *[f"  remark: {remark}" for remark in plan.program.notes],
        *(["", *[f"  {note}" for note in remarks]] if remarks else []),
        *(["", *advice_lines(said)] if said else []),
    ]
    return "\n".join(lines)


def advice_lines(said: tuple[Said, ...]) -> Iterator[str]:
    """What there is to say, with why, what mends it, how sure, and the publication it rests on, if any."""
    for line in said:
        advice = line.advice
        yield f"  {advice.level} {advice.rule}: {advice.text}"
        yield f"    {advice.why} {advice.mend}"
        yield f"    How sure: {advice.sure}{f' ({advice.source})' if advice.source else ''}."
        if line.overruled is not None:
            yield f"    You know: {line.overruled}"


def facts(plan: Plan) -> Iterator[str]:
    yield f"  Strike   {_strike(plan)}"
    yield from (f"  Liquor   {line}" for line in _poured(plan))
    yield from (f"  Grain    {line}" for line in _mashing_in(plan))
    if figures := assumed(plan):
        yield f"  Assumed  {figures}; where that is not so, write it under [dough_in] or [liquor]"
    thick = "" if plan.thickness_l_per_kg is None else f" ({plan.thickness_l_per_kg:.1f} L/kg)"
    grain = f", {round(plan.program.grist_kg, 2):g} kg grain" if plan.program.grist else ", no grain"
    full = f"{plan.volume_l:.1f} L, {100 * plan.fill_share:.0f} % full"
    yield f"  In tun   {plan.liquor_kg:.1f} kg liquor{thick}{grain}: {full}"
    for number, one in enumerate(plan.program.beaker, 1):
        yield f"  Beaker   {number}: {1000.0 * one.grist_kg:.2f} g, {one.grind}, lot {one.lot or 'not known'}"
    yield from (f"  Water    {line}" for line in water_sheet.lines(plan.program, plan.liquor_kg))
    heat_up = f"heat-up {_minutes(plan.heat_up_s)}, then " if plan.heat_up_s else ""
    whole = f"{_minutes(plan.duration_s)} from first heat to end{_going_in(plan)}"
    yield f"  Time     {heat_up}{_minutes(plan.mash_s)} of mash; {whole}"
    cost = "" if plan.cost is None else f"; {plan.cost:.2f} {plan.tun.currency}".rstrip()
    parts = f" (strike {plan.strike_kwh:.2f}, mash {plan.mash_kwh:.2f})" if plan.strike_kwh else ""
    yield f"  Energy   {plan.energy_kwh:.2f} kWh{parts}{cost}"
    yield from (f"  Kettle   {line}" for line in _kettle(plan))
    if plan.extract_kg is not None and plan.first_wort_p is not None:
        extract = f"{plan.extract_kg:.1f} kg by the malt sheets, first wort {plan.first_wort_p:.1f} °P"
        yield f"  Extract  {extract}, if all is converted; run-off and sparge are not known here"


def _kettle(plan: Plan) -> Iterator[str]:
    """What comes into the kettle, against what is wanted there; and that nothing is said beyond it."""
    try:
        found = kettle.expected(plan.program, plan.tun)
    except ValueError as why:
        yield f"no figure: {why}"
        return
    if found is None or plan.program.wanted is None:
        return
    got, need, wanted = found.got, found.needed, plan.program.wanted
    assumed = " (78 % extract assumed: a sheet does not say)" if found.assumed else ""
    yield f"before the boil {got.volume_l:.0f} L at {got.wort_p:.1f} °P, to 3 % and 0.3 °P{assumed}"
    if found.sparge_kg:
        hot = degrees(wanted.sparge_temperature_c)
        yield f"sparge liquor {found.sparge_kg:.1f} kg, {found.sparge_l:.1f} L at {hot}, hot when the mash ends"
    grist = f"{need.grist_kg:.1f} kg grist in {need.liquor_kg:.1f} kg liquor, {need.sparge_kg:.1f} kg sparge"
    yield f"wanted {found.wanted.volume_l:.0f} L at {found.wanted.wort_p:.1f} °P: {grist}"
    dissolved, out = 100 * wanted.conversion, 100 * found.lauter_share
    yield f"reckoned with {dissolved:.0f} % dissolved, and {out:.0f} % of that run off"


def _strike(plan: Plan) -> str:
    if plan.strike_c is None or plan.strike_parts is None:
        return "none: water alone"
    if plan.program.dough_in.strike_c is not None:
        return f"{plan.strike_c:.1f} °C as written; the mash lands at {plan.landing_c:.1f} °C"
    parts, dough = plan.strike_parts, plan.program.dough_in
    text = f"{plan.strike_c:.1f} °C = {plan.landing_c:.1f} °C + {parts.grist_k:.1f} K for the grain"
    text += f" at {degrees(dough.grist_temperature_c)}"
    if abs(parts.slaking_k) >= 0.05:
        text += f" - {-parts.slaking_k:.1f} K of slaking heat{_wet(plan)}"
    if parts.lid_k >= 0.05:
        text += f" + {parts.lid_k:.1f} K for the open lid"
    if plan.drawn_c is not None:
        return f"{text}; so much must the tun read just before grain"
    round_it = f", with the liquor of its {plan.tun.heater.place}," if plan.tun.heater.bath_l else ""
    return f"{text}; the vessel{round_it} is heated with the liquor"


def _poured(plan: Plan) -> Iterator[str]:
    """Strike liquor from another vessel: how hot it is drawn, how it is blended, and what mends a miss."""
    liquor, kg = plan.program.liquor, plan.liquor_kg
    if plan.drawn_c is None or plan.strike_c is None:
        return
    tun_c = vessel_c(plan.program, plan.tun)
    yield f"draw {kg:.1f} kg at {plan.drawn_c:.1f} °C in the other vessel, for a tun at {tun_c:.1f} °C; then start"
    cold_c = blend_cold_c(liquor)
    if liquor.hot_c is not None and cold_c <= plan.drawn_c <= liquor.hot_c:
        hot_kg, cold_kg = heat.blend_kg(kg, plan.drawn_c, liquor.hot_c, cold_c)
        hot_l, cold_l = volumes.liquor_volume_l(hot_kg, liquor.hot_c), volumes.liquor_volume_l(cold_kg, cold_c)
        hot = f"{hot_kg:.2f} kg, {hot_l:.2f} L, of {show('temperature', liquor.hot_c)}"
        yield f"blended: {hot} and {cold_kg:.2f} kg, {cold_l:.2f} L, of {show('temperature', cold_c)}"
    off_kg = heat.addition_kg(kg * heat.WATER + plan.tun.metal_j_per_k, plan.strike_c + 1.0, plan.strike_c, cold_c)
    cold = show("temperature", cold_c)
    yield f"should the tun read too much: {off_kg:.2f} kg of {cold} for each 1.0 K; too little is heated"


def _mashing_in(plan: Plan) -> Iterator[str]:
    """How long does mashing in take, and what does the open lid take meanwhile?"""
    in_s = plan.tun.mashing_in_s(plan.program.grist_kg)
    if plan.strike_c is None or not in_s:
        return
    lid = f"an open lid takes some {plan.lid_k:.1f} K of it back, which is heated again"
    lid = lid if plan.lid_k >= 0.05 else "lid open"
    yield f"all in after {_minutes(in_s)}; {lid}; so it lands to about 1 K"
    if plan.lid_k >= 0.05 and plan.program.dough_in.strike_c is None:
        more_k = open_lid_k(plan.program, plan.tun, plan.liquor_kg, plan.landing_c)[1]
        hotter = f"where the lid stays open while you stir in, strike at {plan.strike_c + more_k:.1f} °C"
        yield f'{hotter}: lid = "open" under [dough_in]'


def _wet(plan: Plan) -> str:
    """By which moisture is the slaking heat? Nothing where the brewer wrote the heat itself."""
    if plan.program.dough_in.slaking_kj_per_kg is not None:
        return ""
    written = all(line.moisture is not None for line in plan.program.grist)
    return f" ({100 * moisture_share(plan.program):.1f} % moisture{'' if written else ', in part assumed'})"


def _going_in(plan: Plan) -> str:
    """What is in the whole time besides heating and mash?"""
    kinds = [stage.kind for stage in plan.stages if stage.kind in GOES_IN]
    if not kinds:
        return ""
    what = " and additions" if set(kinds) != {"dough_in"} else ""
    mixing = f", with {_minutes(sum(mixing_s(kind, plan.tun) for kind in kinds))} for grain{what} to mix in"
    in_s = plan.tun.mashing_in_s(plan.program.grist_kg)
    return mixing + (f"; {_minutes(in_s)} of mashing in come on top" if in_s else "")


def _minutes(seconds: float) -> str:
    return show("duration", 60.0 * round(seconds / 60.0)) if seconds < 1e7 else "for ever"


class Row(NamedTuple):
    """One step as it is shown."""

    clock: str
    name: str
    target: str
    hold: str
    rise: str
    why: str


def rows(plan: Plan, dough_in_s: float | None) -> Iterator[Row]:
    """The steps in order. `dough_in_s`: seconds after midnight; without it times are elapsed."""
    now_s = 0.0 if dough_in_s is None else dough_in_s - plan.heat_up_s
    for number, stage in enumerate(plan.stages, 1):
        now_s += stage.rising_s if stage.at is None else 0.0
        clock, target = _clock(now_s, dough_in_s is None), f"{stage.target_c:4.1f} °C"
        yield Row(clock, f"{number} {stage.name}", target, _hold(plan, stage), _rise(plan, stage), stage.why)
        now_s += 0.0 if stage.at is None else stage.rising_s + stage.hold_s * (stage.kind != "keep")
        now_s += mixing_s(stage.kind, plan.tun)
        now_s += 0.0 if stage.at is None else stage.comes.away_s


def _table(plan: Plan, dough_in_s: float | None) -> Iterator[str]:
    """One line a step, and below it why it is there."""
    found = list(rows(plan, dough_in_s))
    width = max(len(row.name) for row in found) + 3  # room for longer figures, in other units
    wide = max(len(row.hold) for row in found)
    yield f"  {'from' if dough_in_s is None else 'clock':>6}  {'step':<{width}}   target  {'hold':>{wide}}  rise"
    for row in found:
        yield f"  {row.clock:>6}  {row.name:<{width}}  {row.target}  {row.hold:>{wide}}  {row.rise}".rstrip()
        if row.why:
            yield f"  {'':>6}  {'':<{width}}  {row.why}"


def _clock(now_s: float, elapsed: bool) -> str:
    if not now_s < 1e7:
        return "-"
    hours, minutes = divmod(round(now_s / 60.0), 60)
    return f"+{hours}:{minutes:02d}" if elapsed else f"{hours % 24:02d}:{minutes:02d}"


def _hold(plan: Plan, stage: Stage) -> str:
    if stage.kind == "keep":
        return f"<= {_minutes(stage.hold_s)}"
    if stage.at is None or stage.limited_by == "addition":
        return "you"
    iodine = plan.program.step[stage.at].by
    return _minutes(stage.hold_s) + {"iodine": ", iodine", "person": ", you", "time": ""}[iodine]


def _rise(plan: Plan, stage: Stage) -> str:
    if stage.kind in COMES_IN:
        return pour_words.poured(plan, stage)
    if stage.ramp_s <= 0.0:
        return "-"
    if stage.at is None:
        return f"after {_minutes(stage.ramp_s)} of heating at full power"
    rate = f" at {stage.climb_k_per_s * 60:.2f} K/min" if stage.climb_k_per_s > 0 else ""
    return f"{_minutes(stage.ramp_s)}{rate} ({_LIMITS[stage.limited_by]}{_asked(plan, stage)})"


def _asked(plan: Plan, stage: Stage) -> str:
    """Was a faster rise asked for than the tun allows?"""
    asked = plan.program.step[stage.at or 0].ramp_k_per_s or 0.0
    if asked <= plan.tun.climb_k_per_s or stage.limited_by == "cooling":
        return ""
    return f"; you asked for {60.0 * asked:.2f} K/min, the tun allows {60.0 * plan.tun.climb_k_per_s:.2f} K/min"


WASH = "for a wash; making spirits needs a licence almost everywhere, and nothing is said here of yield or alcohol"
HOT_LIQUOR_C = 45.0  # warmer than a cold or a mixed tap gives (own proposal)


class Note(NamedTuple):
    """One remark on a plan."""

    level: Literal["warn", "note"]
    text: str

    def __str__(self) -> str:
        return f"{self.level}: {self.text}"


def notes(plan: Plan) -> tuple[Note, ...]:
    """What is there to remark?"""
    water = (
        []
        if plan.program.all_grist or plan.program.beaker
        else [Note("note", "no malt in this program: a water trial?")]
    )
    alone = "this tun has neither a level nor a flow switch: every start needs attended=yes"
    unseen = [] if plan.tun.may_be_left else [Note("note", f"{alone}, and nothing sees that it has run dry")]
    wash = [Note("note", WASH)] if plan.program.purpose == "wash" else []
    return (*water, *wash, *unseen, *_hot_liquor(plan), *_low_strike(plan), *_probe_place(plan))


def _hot_liquor(plan: Plan) -> Iterator[Note]:
    """Liquor that comes hot is rare; a figure in °F without its F is not."""
    liquor_c = plan.program.liquor.temperature_c
    meant_c = (liquor_c - 32.0) * 5.0 / 9.0
    if liquor_c > HOT_LIQUOR_C and "temperature_c" in plan.program.liquor.model_fields_set:
        meant = f"did you mean {liquor_c:.3g} °F ({meant_c:.0f} °C)?"
        yield Note("note", f"liquor at {liquor_c:.3g} °C is already hot: {meant}")


def _low_strike(plan: Plan) -> Iterator[Note]:
    """A strike written by hand may land the mash below its first rest: the heater has to make up for it."""
    first_c = plan.program.step[0].temperature_c
    if plan.program.dough_in.strike_c is None or plan.strike_c is None or first_c is None:
        return
    if (under_k := first_c - plan.landing_c) > LANDS_K:
        lands = f"strike {plan.strike_c:.3g} °C: the mash lands {under_k:.1f} K under the first rest"
        yield Note("warn", f'{lands} and is heated up to it; write strike = "auto" unless that is meant')


PLACES = {
    "mash": "in the middle of the mash",
    "bed outlet": "where the wort leaves the bed, before the heater",
    "return": "where the wort comes back into the tun, behind the heater",
    "heater outlet": "right behind the heater",
}


def _probe_place(plan: Plan) -> Iterator[Note]:
    """A pumped mash is not as warm everywhere; which place was assumed where the file does not say it?"""
    tun = plan.tun
    if tun.bed and tun.probes.mash.place is None:
        taken = f'taken for "{tun.probe_place}", {PLACES[tun.probe_place]}'
        others = ", ".join(f'"{place}"' for place in PLACES if place != tun.probe_place)
        yield Note(
            "note", f"tun {tun.name} does not say where its mash probe sits: {taken}; write place = that, or {others}"
        )


def assumed(plan: Plan) -> str:
    """Which figures does the strike rest on that nobody wrote? Empty where all were written."""
    program, parts = plan.program, []
    if not program.grist:
        return ""
    if "grist_temperature_c" not in program.dough_in.model_fields_set:
        parts.append(f"grain at {degrees(program.dough_in.grist_temperature_c)}")
    if plan.drawn_c is None and "temperature_c" not in program.liquor.model_fields_set:
        parts.append(f"liquor at {degrees(program.liquor.temperature_c)}")
    return ", ".join(parts)
