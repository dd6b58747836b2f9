"""Which words did a person mean who mistyped them?"""

from __future__ import annotations

import contextlib
import re
import shlex
from collections.abc import Sequence
from difflib import get_close_matches
from pathlib import PurePath

from controller.brewing import units
from controller.commands.order import vocabulary

_PLAIN = re.compile(r"[\w.:+-]+").fullmatch
_CLOCK = re.compile(r"(\d{1,2})(?:[:.h]?(\d{2}))?\s*(am|pm)?", re.IGNORECASE).fullmatch
_NO = frozenset({"no", "not yet", "n", "wait"})


def quoted(text: str) -> str:
    """The word as a shell takes it; double quotes where they do, for they are read more easily."""
    if _PLAIN(text):
        return text
    return shlex.quote(text) if set(text) & set('"$`\\!') else f'"{text}"'


def near(text: str, names: Sequence[str]) -> list[str]:
    """The name that was meant, a file's ending left aside; none where nothing is near."""
    said = PurePath(text.strip()).stem.casefold() if text.strip() else ""
    by_fold = {name.casefold(): name for name in names}
    begins = [name for fold, name in by_fold.items() if said and fold.startswith(said)]
    if said in by_fold or len(begins) == 1:
        return [by_fold.get(said) or begins[0]]
    return [by_fold[one] for one in get_close_matches(said, by_fold, n=1, cutoff=0.6)]


def said(order: str, given: Sequence[str]) -> tuple[dict[str, str], list[str]]:
    """What was said under a key that the order takes, or one that is near; and the words that stand alone."""
    known = [word.key for word in vocabulary.ORDERS[order].words]
    found: dict[str, str] = {}
    loose: list[str] = []
    waiting = ""  # a key whose value comes as the next word: `time 50min`
    for typed in given:
        key, sign, text = typed.partition("=")
        word = vocabulary.word(order, key) if sign or not waiting else None
        meant = word.key if word else (near(key.lstrip("-"), known) or [""])[0] if sign else ""
        if meant and sign:
            found[meant] = text
        elif word and order != "answer":
            waiting = word.key
            continue
        elif waiting and waiting not in found:
            found[waiting] = typed
        else:
            loose.append(text if sign else typed)
        waiting = ""
    return found, loose


def mended(order: str, found: dict[str, str], loose: Sequence[str], steps: Sequence[str]) -> dict[str, str]:
    """Each value as it can be read; amounts among the words that stand alone get their keys, what is left is a step."""
    left = list(loose)
    for word in vocabulary.ORDERS[order].words:
        if word.kind in vocabulary.QUANTITIES and word.key not in found and (text := _taken(word, left)):
            found[word.key] = text
    by_key = {word.key: word for word in vocabulary.ORDERS[order].words}
    if left and "step" in by_key and "step" not in found:
        found["step"] = " ".join(left)
    pairs = {key: _value(by_key[key], text, steps) for key, text in found.items()}
    return {key: pairs[key] for key in by_key if pairs.get(key)}


def _taken(word: vocabulary.Word, left: list[str]) -> str:
    """The one or two words that read as this amount, taken out of those that are left."""
    for wide in (2, 1):
        for at in range(len(left) - wide + 1):
            text = " ".join(left[at : at + wide])
            if _amount(word.kind, text, bare=word.wire == "by_s"):
                del left[at : at + wide]
                return text
    return ""


def _amount(kind: str, text: str, *, bare: bool = True) -> str:
    """The amount with a unit that can be read; a bare number gets the likely one, where that is wanted."""
    clean = re.sub(r"(?<=\d),(?=\d)", ".", text.strip().lstrip("+"))
    clean = re.sub(r"(?<=\d)\s*m$", " min", clean)
    name = vocabulary.QUANTITIES[kind]
    with contextlib.suppress(units.NotAQuantity):
        units.quantity(name, clean)
        return clean
    with contextlib.suppress(ValueError):
        return units.likely(name, float(clean.rstrip("°"))) if bare else ""
    return ""


def _value(word: vocabulary.Word, text: str, steps: Sequence[str]) -> str:
    """The value as the order reads it; empty where that cannot be told."""
    if word.kind in vocabulary.QUANTITIES:
        return _amount(word.kind, text)
    if word.kind == "moment":
        return clock(text)
    if word.kind == "step":
        return text if text.isdigit() else (near(text, steps) or [""])[0]
    return "yes" if word.kind == "mark" else text


def clock(text: str) -> str:
    """6am, 6, 0630 or 6.30 as a time of day; what is a time already stays."""
    found = _CLOCK(text.strip())
    if found is None:
        return text
    hour = int(found[1]) % 12 + 12 * (found[3].lower() == "pm") if found[3] else int(found[1])
    return f"{hour:02d}:{found[2] or '00'}" if hour < 24 else ""


def at_most(kind: units.Kind, text: str, most: float, unit: str) -> str:
    """The amount, or the most that is allowed, in base units."""
    return text if units.quantity(kind, text) <= most else f"{most:g} {unit}"


def apart(kind: units.Kind, text: str, base: float) -> float:
    """How far is the amount from this figure in base units?"""
    return abs(units.quantity(kind, text) - base)


def trip(text: str, standing: Sequence[str]) -> list[str]:
    """Which of the trips that stand is meant? All of them where that cannot be told."""
    digits = re.sub(r"\D", "", text)
    named = [one for one in standing if digits and int(one[1:]) == int(digits)]
    return named or list(standing)


def nearest_answer(text: str, answers: Sequence[str]) -> list[str]:
    """The answer that was meant; every one where that cannot be told, none where `no` was said and is none."""
    bare = {answer.replace(" ", "").casefold(): answer for answer in answers}
    said = text.replace(" ", "").casefold()
    if text.casefold() in _NO and said not in bare:
        return [] if len(answers) == 1 else list(answers)
    found = [bare[said]] if said in bare else [bare[one] for one in get_close_matches(said, bare, n=1, cutoff=0.75)]
    return found or list(answers)
