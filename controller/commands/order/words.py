"""What do the words of a command line become on the wire?"""

from __future__ import annotations

import time
from datetime import datetime, timedelta
from typing import Any

from controller.brewing.units import Kind
from controller.commands.order import vocabulary
from controller.commands.shared import step_reference, terminal, typed_entries
from controller.commands.shared.exit_codes import Wrong
from controller.core.procedure import answers, entries
from controller.core.procedure.orders import envelope

MARKS = {"yes": True, "true": True, "no": False, "false": False}


def build(name: str, given: list[str], by: str) -> dict[str, Any]:
    """The order's keys and arguments as they go over the wire. Raises Wrong with everything that cannot be read."""
    if name not in envelope.ALLOWED:
        raise Wrong(f"order: found {name!r}, wanted one of {', '.join(envelope.ALLOWED)}")
    values: dict[str, Any] = {"order": name, "by": by, "args": {}}
    if name in envelope.HEAT_OFF_ORDERS:
        return values  # obeyed whatever else is said
    problems: list[str] = []
    for typed in given:
        key, sign, text = typed.partition("=")
        if not sign:
            key, text = vocabulary.ORDERS[name].plain, typed
        try:
            _put(values, key, text)
        except ValueError as wrong:
            problems.append(f"{typed}: {wrong}")
        except Wrong as wrong:
            problems.append(str(wrong))
    if name == "answer":
        problems += entries.problems(values["args"], answers.WORDS)
    if problems:
        raise Wrong(*problems)
    return values


def _put(values: dict[str, Any], key: str, text: str) -> None:
    """One argument into the order; ValueError or Wrong with the reason."""
    name, args = values["order"], values["args"]
    if not key:
        raise ValueError(f"`{name}` takes no plain argument; {vocabulary.takes(name)}")
    word = vocabulary.word(name, key)
    if name == "answer" and (word is None or word in vocabulary.ENTRIES):
        filed = typed_entries.filed(key if word is None else word.key, text)
        args |= {key: MARKS.get(text.lower(), value) for key, value in filed.items()}
    elif word is None:
        raise ValueError(vocabulary.takes(name))
    elif word.kind == "trip":
        values["trip"] = text
    else:
        args[word.wire] = read(word, key, text)


def read(word: vocabulary.Word, key: str, text: str) -> Any:
    """The value of one word. ValueError or Wrong with the reason."""
    match word.kind:
        case "temperature" | "duration" | "rate" | "volume":
            return quantity(word.kind, key, text)
        case "moment":
            return _moment(text)
        case "step":
            return step_reference.typed(text)
        case "mark":
            return MARKS.get(text.lower(), text)
        case _:
            return text


def quantity(kind: Kind, key: str, text: str) -> float:
    """The quantity in base units. Raises Wrong with the key that it was typed by."""
    return terminal.asked(kind, key, text)


def local_now() -> datetime:
    """What time is it here?"""
    return datetime.now().astimezone()


def _moment(text: str) -> float:
    """06:00 (the next time it is so) or 2026-11-25T06:00, local time, as unix seconds."""
    try:
        if "T" in text or "-" in text:
            return datetime.fromisoformat(text).astimezone().timestamp()
        clock = time.strptime(text, "%H:%M")
    except ValueError:
        raise ValueError("a time is wanted, such as 06:00 or 2026-11-25T06:00") from None
    now = local_now()
    at = now.replace(hour=clock.tm_hour, minute=clock.tm_min, second=0, microsecond=0)
    return (at if at > now else at + timedelta(days=1)).timestamp()
