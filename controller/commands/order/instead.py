"""After an order that cannot be read, or was refused: which commands would be accepted in its place?

Nothing guessed is ever sent: a command is shown, and a person pastes it. What only a person can see (a hand reading, an
iodine test) is not filled in; `--ask` asks for it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from difflib import get_close_matches
from typing import Any, NamedTuple

from controller.commands.order import mend, vocabulary
from controller.commands.order.words import build
from controller.commands.shared.exit_codes import Wrong
from controller.core.procedure.orders import envelope

GOES_ON = {"paused": "resume", "held": "restart", "idle": "start", **{str(end): "reset" for end in envelope.ENDED}}
TRANSIENT = frozenset({"checking", "pausing", "holding", "restarting", "stopping", "aborting"})
LEADS_TO_HEAT = frozenset({"start", "resume", "restart", "advance"})
STATUS = "status"  # where no order helps: look


class Known(NamedTuple):
    """What is known where the order was given."""

    status: Mapping[str, Any] = {}  # of the tun's daemon; empty where none answered
    programs: Sequence[str] = ()  # all names
    own: Sequence[str] = ()  # those written for this tun
    legs: Callable[[str], Sequence[tuple[str, float]]] = lambda program: ()  # a program's steps and their °C


def meant(name: str) -> str | None:
    """Which order was meant by this word? None where nothing is near."""
    said = name.casefold().replace("-", "_")
    others = {other: order for order, spoken in vocabulary.ORDERS.items() for other in (order, *spoken.others)}
    near = get_close_matches(said, others, n=1, cutoff=0.6)
    return others[near[0]] if near else None


def commands(name: str, given: Sequence[str], known: Known, *, refused: bool = False) -> list[str]:
    """The commands, without the program's own name, likeliest first; the help where nothing can be known.

    `refused`: the order was understood by the daemon and not accepted.
    """
    if (prompt := known.status.get("prompt")) and name in prompt["answers"]:
        return _answers({"answers": [name]})
    order = meant(name)
    if order is None:
        return ["order --help"]
    found = _because_of_the_run(order, known) or _mended(order, list(given), known, refused)
    typed = _line(name, mend.said(order, given)[0]) if name in vocabulary.ORDERS else ""
    return [line for line in found if not refused or line != typed] or _else(order, known)


def _because_of_the_run(order: str, known: Known) -> list[str]:
    """Where trips, a question or the state of the run are in the way."""
    status = known.status
    latched = [trip for trip in status.get("trips", ()) if trip.get("latched")]
    if order in LEADS_TO_HEAT and latched:
        return [_clearing(trip) for trip in latched]
    prompt = status.get("prompt")
    if prompt and prompt["id"] == "resume" and order in LEADS_TO_HEAT:
        return _answers(prompt)
    turned = _turned(order, str(status.get("state", "")))
    if turned == order:
        return []
    if not turned:
        return [STATUS]
    return _starts(known) if turned == "start" else [f"order {turned}"]


def _turned(order: str, state: str) -> str:
    """Which order does in this state what was wanted? Empty where none does."""
    if not state or state in envelope.ALLOWED[order] or state in TRANSIENT:
        return order
    if order == "reset":
        return "" if state == "idle" else "stop"
    if order in envelope.HEAT_OFF_ORDERS:
        return "reset" if state in envelope.ENDED else ""
    return GOES_ON.get(state, "")


def _clearing(trip: Mapping[str, Any]) -> str:
    return f"order clear {trip['id']}" + (" inspected=yes" if trip["id"] == "G24" else "")


def _starts(known: Known) -> list[str]:
    return [f"order start {program} --ask" for program in known.own or known.programs] or ["order start --help"]


def _answers(prompt: Mapping[str, Any]) -> list[str]:
    return [f"order answer {mend.quoted(answer)}" for answer in prompt["answers"]]


def _else(order: str, known: Known) -> list[str]:
    """Nothing better is known: what is asked, else the order's help, or the machine's state of health for a start."""
    prompt = known.status.get("prompt")
    if prompt and order in ("advance", "extend", "announce", "answer", "restart", "resume"):
        return _answers(prompt)
    return ["doctor"] if order == "start" and known.status else [f"order {order} --help"]


def _mended(order: str, given: list[str], known: Known, refused: bool) -> list[str]:
    match order:
        case "answer":
            return _answered(given, known)
        case "clear" | "acknowledge":
            return _cleared(order, given, known)
        case "start":
            return _started(given, known, refused)
        case "restart" if refused:  # a hand reading was wanted, and only a hand knows it: without one, a small pulse
            return [_line("restart", {"prove": "yes"})]
    said, loose = mend.said(order, given)
    names = [str(step["name"]) for step in known.status.get("steps", ())]
    said = mend.mended(order, said, loose, names)
    if order == "adjust":
        said = _within(said, known, names)
    if order == "extend" and not said:
        said = {"time": "10 min"}
    return _fitting(order, said) or [f"order {order} --help"]


def _fitting(order: str, said: Mapping[str, str], more: str = "") -> list[str]:
    """The command, if it can be read and says enough."""
    try:
        build(order, [f"{key}={text}" for key, text in said.items()], "")
    except Wrong:
        return []
    return [] if order in ("adjust", "extend") and not set(said) - {"step"} else [_line(order, said) + more]


def _line(order: str, said: Mapping[str, str]) -> str:
    """The order as a command line."""
    spoken, words = vocabulary.ORDERS[order], [f"order {order}"]
    for key, text in said.items():
        word = vocabulary.word(order, key)
        if word is not None and word.kind == "mark" and word.option:
            words.append(f"--{word.key}")
        elif word is not None and word.option:
            words.append(f"--{word.key} {mend.quoted(text)}")
        else:
            words.append(mend.quoted(text) if key == spoken.plain else f"{key}={mend.quoted(text)}")
    return " ".join(words)


def _within(said: dict[str, str], known: Known, names: Sequence[str]) -> dict[str, str]:
    """An adjustment brought within what the tun and the run allow."""
    limits, step = known.status.get("limits"), known.status.get("step")
    if limits and "temperature" in said:
        said["temperature"] = mend.at_most("temperature", said["temperature"], limits["hard_limit_c"] - 2.0, "°C")
    if "time" in said:
        said["time"] = mend.at_most("duration", said["time"], 4 * 3600.0, "s")
    over = names[: step["index"]] if step else []
    if said.get("step") in (*over, *(str(number) for number, _ in enumerate(over, 1))):
        del said["step"]
    return said


def _answered(given: Sequence[str], known: Known) -> list[str]:
    """The answer that was meant, else each that there is; entries with their keys put right."""
    said, loose = mend.said("answer", given)
    noted = {key: text for key, text in said.items() if key not in ("answer", "prompt")}
    prompt = known.status.get("prompt") or known.status.get("offer")
    if noted or prompt is None:
        return (
            _fitting("answer", noted) if noted else [STATUS if not known.status.get("run") else "order answer --help"]
        )
    one = mend.nearest_answer(" ".join([said.get("answer", ""), *loose]).strip(), prompt["answers"])
    return _answers({"answers": one}) if one else [STATUS]


def _cleared(order: str, given: Sequence[str], known: Known) -> list[str]:
    said, loose = mend.said(order, given)
    trips = [trip for trip in known.status.get("trips", ()) if trip.get("latched") or order != "clear"]
    if not trips:
        return ["order restart"] if known.status.get("state") == "held" else [STATUS]
    named = mend.trip(said.get("trip", " ".join(loose)), [str(trip["id"]) for trip in trips])
    return [
        _clearing(trip) if order == "clear" else f"order {order} {trip['id']}" for trip in trips if trip["id"] in named
    ]


def _started(given: Sequence[str], known: Known, refused: bool) -> list[str]:
    """A start with its program and words put right; what a person must look for is asked for."""
    said, loose = mend.said("start", given)
    programs = mend.near(said.pop("program", " ".join(loose)), known.programs)
    if len(programs) != 1:
        return _starts(known)
    legs = known.legs(programs[0])
    said = mend.mended("start", said, [], [name for name, _ in legs])
    now_c, margin_k = known.status.get("temperature_c"), known.status.get("limits", {}).get("above_program_k", 3.0)
    if refused and now_c is not None and "from_step" not in said and legs and now_c > legs[0][1] + margin_k:
        fitting = [name for name, target_c in legs if now_c <= target_c + margin_k]
        said |= {"from_step": fitting[0]} if fitting else {}
    if "hand" in said and now_c is not None and mend.apart("temperature", said["hand"], now_c) > 3.0:
        del said["hand"]
    asks = "hand" not in said or "here" not in said or (refused and "attended" not in said)
    return _fitting("start", {"program": programs[0], **said}, " --ask" if asks else "")
