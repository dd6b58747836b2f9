"""Which orders are there, in the words of a command line, and what does each take?

The help, the man page, the shell's completion and the advice after a slip of the pen are all read from this table.
"""

from __future__ import annotations

from typing import Literal, NamedTuple

from controller.brewing import units
from controller.core.procedure import entries

Kind = Literal["temperature", "duration", "rate", "volume", "moment", "mark", "step", "program", "trip", "text"]
QUANTITIES: dict[str, units.Kind] = {
    "temperature": "temperature",
    "duration": "duration",
    "rate": "rate",
    "volume": "volume",
}


class Word(NamedTuple):
    """One thing that an order takes, written `key=value`."""

    key: str
    wire: str  # its key in the message
    kind: Kind
    example: str
    what: str
    others: tuple[str, ...] = ()  # what else people call it
    option: bool = False  # also the command's own option, `--hand`


class Spoken(NamedTuple):
    """One order."""

    what: str
    words: tuple[Word, ...] = ()
    plain: str = ""  # the key that may be left out
    examples: tuple[str, ...] = ()
    others: tuple[str, ...] = ()  # what else people call it


PROGRAM = Word("program", "program", "program", "sandpiper", "its name, as `check` takes it", ("name",))
HAND = Word(
    "hand", "hand_c", "temperature", '"12 °C"', "what a hand thermometer reads in the tun now", ("hand_c",), True
)
HERE = Word("here", "here", "mark", "yes", "you are at the tun and have looked at liquid, lid and hoses", (), True)
ATTENDED = Word(
    "attended", "attended", "mark", "yes", "you stay with it: no proof test needed", ("attend", "stay"), True
)
READY_AT = Word("ready-at", "ready_at", "moment", "06:00", "delayed: liquor is ready for grain then", ("ready",), True)
FROM_STEP = Word("from_step", "from_step", "step", '"maltose rest"', "begin at this step, by name or number", ("from",))
ADDED = Word("added", "added", "mark", "yes", "cold liquor was added meanwhile, so that the mash is colder")
LIQUOR = Word("liquor", "added_l", "volume", '"4 L"', "so much liquor was added meanwhile, in place of a hand reading")
LIQUOR_AT = Word("liquor_at", "added_c", "temperature", '"12 °C"', "as warm as this it was")
PROVE = Word(
    "prove", "prove", "mark", "yes", "no thermometer at hand: one small pulse of heat shows whether the probe feels it"
)
CREDITED = Word(
    "credited", "credited_s", "duration", '"12 min"', "so much of that step's time is over already", ("credited_s",)
)
TRIP = Word("trip", "trip", "trip", "G05", "which trip; where only one stands it may be left out", ("id",))
INSPECTED = Word("inspected", "inspected", "mark", "yes", "the cause is found, not only seen (G24 wants it)")
LONGER = Word("time", "by_s", "duration", '"10 min"', "by how much", ("by", "by_s", "duration", "minutes"))
STEP = Word(
    "step", "step", "step", '"maltose rest"', "which one, by name or number as in `status`; this one unless said"
)
TEMPERATURE = Word(
    "temperature", "target_c", "temperature", '"64 °C"', "its temperature from now on", ("target", "target_c", "temp")
)
TIME = Word(
    "time", "hold_s", "duration", '"50 min"', "its whole length from now on", ("hold", "hold_s", "duration", "minutes")
)
RAMP = Word("ramp", "climb_k_per_s", "rate", '"0.6 K/min"', "the fastest rise to it; it can only be slowed", ("rise",))
ANSWER = Word("answer", "answer", "text", '"no starch"', "the answer to what is asked, as `status` shows it", ("word",))
PROMPT = Word("prompt", "prompt", "text", "iodine", "to which question; the open one unless said")
ENTRIES = tuple(
    Word(key, key, "text", "...", f"{figure.title}{', ' if figure.unit else ''}{figure.unit}")
    for key, figure in entries.FIGURES.items()
) + tuple(Word(key, key, "text", "...", title) for key, title in entries.TEXTS.items())

ORDERS: dict[str, Spoken] = {
    "start": Spoken(
        "begin a program",
        (PROGRAM, HAND, HERE, ATTENDED, READY_AT, FROM_STEP, CREDITED),
        "program",
        (
            "sandpiper --ask",
            'sandpiper --hand "12 °C" --here --attended',
            'sandpiper --hand "12 °C" --here --ready-at 06:00',
            'sandpiper --hand "63 °C" --here --attended from_step="maltose rest" credited="12 min"',
        ),
        ("begin", "run", "mash", "brew", "launch", "strt"),
    ),
    "pause": Spoken("keep the temperature, stop the rest's clock, for two hours at most", others=("wait", "freeze")),
    "resume": Spoken("go on after a pause", others=("unpause", "continue", "go", "proceed")),
    "hold": Spoken("heat off, program kept", others=("halt", "heat_off", "off")),
    "restart": Spoken(
        "go on after a hold or a cleared trip, once all checks are good",
        (HAND, ADDED, LIQUOR, LIQUOR_AT, PROVE),
        "",
        ("", 'hand="62 °C"', 'liquor="4 L" liquor_at="12 °C"'),
        ("retry",),
    ),
    "stop": Spoken("heat off, the run ends", others=("end", "finish", "quit", "exit")),
    "abort": Spoken("heat off, the program is dropped", others=("cancel", "kill")),
    "reset": Spoken("make ready for a new run, after one has ended", others=("new", "ready")),
    "clear": Spoken(
        "the cause of a trip is found; no heat before `restart`",
        (TRIP, INSPECTED),
        "trip",
        ("", "G05"),
        ("untrip",),
    ),
    "advance": Spoken("leave this step now, for the next one", others=("next", "skip", "forward")),
    "extend": Spoken("make this rest longer", (LONGER,), "time", ('"10 min"',), ("longer", "prolong", "more")),
    "adjust": Spoken(
        "change this step, or a later one",
        (STEP, TEMPERATURE, TIME, RAMP),
        "",
        ('temperature="64 °C"', 'step="maltose rest" time="50 min"', 'step=4 ramp="0.6 K/min"'),
        ("set", "change", "modify"),
    ),
    "answer": Spoken(
        "answer what is asked, or put on record what was measured or added",
        (ANSWER, PROMPT, *ENTRIES),
        "answer",
        ("", '"no starch"', "ph=5.42 gypsum_g=8", 'remark="lid left open"'),
        ("reply", "say", "enter", "yes", "ok", "note"),
    ),
    "announce": Spoken(
        "an addition is coming: heat off until it is stirred in; one that is in already wants a hand reading",
        (HAND,),
        "",
        ("", 'hand="58 °C"'),
        ("add", "addition"),
    ),
    "acknowledge": Spoken("an alert is heard; it goes on standing", (TRIP,), "trip", ("",), ("ack", "mute", "heard")),
}


def word(order: str, key: str) -> Word | None:
    """What does the order take under this key, or under another name of it?"""
    plain = key.strip("-").replace("-", "_").casefold()
    names = {name.replace("-", "_"): one for one in ORDERS[order].words for name in (one.key, *one.others)}
    return names.get(plain)


def takes(order: str) -> str:
    """What an order takes, for a person who gave it something else."""
    said = [f"{one.key}={one.example}" for one in ORDERS[order].words if one not in ENTRIES]
    return f"`{order}` takes {', '.join(said) or 'nothing'}"
