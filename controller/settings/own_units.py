"""How is a finished sentence told in the units that people here think in?

Inside, and in every document for machines, all is metric. What a person reads is rewritten at the very last: each
number that stands before its unit, or a few of them ("35 to 45 °C"), in the unit chosen, with as many digits as it
takes to read the same value back.
"""

import re
from collections.abc import Callable
from math import ceil, log10
from typing import Annotated, NamedTuple

from pydantic import AfterValidator

from controller.brewing import units, wort
from controller.settings.table import wrong

SETS = {"metric": "", "US": "°F lb gal SG", "UK": "imp gal SG"}  # common practice
WANTED = '"metric", "US", "UK", or units such as "°F lb gal SG"'
_KINDS: tuple[units.Kind, ...] = ("temperature", "mass", "volume", "gravity")
_FINER = {"lb": "oz", "gal": "qt", "imp gal": "imp gal", "bbl": "gal", "imp bbl": "imp gal"}  # under 1 of the larger
_NUMBER = r"[-−]?\d+(?:\.\d+)?"
_JOINED = r"(?:\.\.| to | and | or | -> )"
_LISTED = rf"(?:, {_NUMBER}(?=(?:, {_NUMBER})*(?: and | or )))"  # "65, 70 and 75 °C"
_METRIC = ("K/min", "L/kg", "L/min", "°C", "°P", "kg", "K", "L")
_SAID = re.compile(
    rf"(?<![\w.,:])(?P<pad> *)(?P<numbers>{_NUMBER}{_LISTED}*(?:{_JOINED}{_NUMBER})*)(?P<gap>[ \u00a0]?)"
    rf"(?P<unit>{'|'.join(map(re.escape, _METRIC))})(?![\w/])"
)


class Told(NamedTuple):
    """A unit that people read: how much of the metric one it is, and how its figures are made."""

    name: str
    size: float  # of it, in the metric unit; for the number of digits
    of: Callable[[float], float]
    back: Callable[[float], float]


Own = dict[str, Told]  # by metric unit


def _scaled(kind: units.Kind, name: str, base: float = 1.0) -> Told:
    """The unit `name` beside a metric one of so much of the kind's base unit."""
    factor, offset = units.TABLE[kind].units[name]
    size, start = float(factor), float(offset)
    return Told(name, size / base, lambda x: (x * base - start) / size, lambda x: (x * size + start) / base)


def own(text: str) -> Own:
    """What is told in which unit, by the name of a set or by units? Raises ValueError that says what is wanted."""
    chosen: dict[str, str] = {}
    for name in re.findall(r"imp (?:gal|bbl)|[^\s,]+", SETS.get(text, text)):
        kind = next((kind for kind in _KINDS if name in units.TABLE[kind].units), None)
        if kind is None or kind in chosen:
            raise ValueError(WANTED)
        chosen[kind] = name
    found: Own = {}
    if chosen.get("temperature") == "°F":
        found |= {"°C": _scaled("temperature", "°F"), "K": _scaled("difference", "°F")}
        found["K/min"] = _scaled("rate", "°F/min", 1.0 / 60.0)
    if "mass" in chosen:
        found["kg"] = _scaled("mass", chosen["mass"])
    if "volume" in chosen:
        found["L"] = _scaled("volume", chosen["volume"])
    if chosen.get("volume") in ("gal", "qt", "bbl"):
        found["L/min"] = _scaled("flow", "gal/min")
        if chosen.get("mass") in ("lb", "oz"):
            found["L/kg"] = _scaled("thickness", "qt/lb")
    if chosen.get("gravity") == "SG":
        found["°P"] = Told("SG", 1e3, wort.gravity, wort.plato)  # some 0.004 SG a °P
    elif "gravity" in chosen:
        found["°P"] = _scaled("gravity", chosen["gravity"])
    return found


def in_own_units(text: str, own: Own) -> str:
    """The text with its quantities in these units; what has no other unit stays as it is."""
    return _SAID.sub(lambda match: _instead(match, own), text) if own else text


def _instead(match: re.Match[str], own: Own) -> str:
    told = own.get(match["unit"])
    if told is None:
        return match[0]
    numbers = re.split(f"({_JOINED}|, )", match["numbers"].replace("−", "-"))
    try:
        told = _finer(told, max(abs(float(one)) for one in numbers[::2]))
        numbers[::2] = [_figure(told, one) for one in numbers[::2]]
    except ValueError:  # no wort is as strong
        return match[0]
    text = f"{''.join(numbers)}{match['gap'] or ' '}{told.name}"
    pad = match["pad"]
    return f" {text.rjust(len(match[0]) - 1)}" if len(pad) > 3 else pad + text  # a column of a table stays one


def _finer(told: Told, most: float) -> Told:
    """A smaller unit where there is less than one of the larger."""
    smaller = _FINER.get(told.name, told.name)
    if told.of(most) >= 1.0 or smaller == told.name or not most:
        return told
    return _scaled("mass" if smaller == "oz" else "volume", smaller)


def _figure(told: Told, written: str) -> str:
    """The number in the other unit, with the digits that it takes to read the same one back."""
    decimals = len(written.partition(".")[2])
    most = decimals + max(0, ceil(log10(told.size)))
    least = most if decimals else max(1, most)
    if decimals > 1 and told.of(0.0) != 0.0:  # a temperature written in °F: as short as it was
        shorter = (n for n in range(most) if f"{told.back(float(_fixed(told, written, n))):.{decimals}f}" == written)
        least = next(shorter, most)
    text = _fixed(told, written, least)
    return text if decimals or most else text.removesuffix(".0")


def _fixed(told: Told, written: str, decimals: int) -> str:
    """So many decimals; zero has no sign."""
    text = f"{told.of(float(written)):.{decimals}f}"
    return text if float(text) else text.lstrip("-")


def _checked(text: str) -> str:
    try:
        own(text)
    except ValueError as why:
        raise wrong(str(why)) from None
    return text


UnitsName = Annotated[str, AfterValidator(_checked)]
