"""Every state that the page can show, made from one status of the real core: what is published, what is pressed."""

from __future__ import annotations

import json
import math
from functools import cache
from typing import Any, NamedTuple

from controller.core.nouns import Event, RunState
from controller.core.procedure.questions import ASKS
from controller.edge import startable
from controller.edge.files import config_files
from controller.messages import outgoing
from controller.messages.history import History, Sample
from controller.messages.status_document import status
from tests.core.bench import Bench, course, leg, settings
from tests.core.runs import settled
from tests.places import CONFIG

Document = dict[str, Any]
LONG = "a remark as long as a person in a hurry writes one, without_any_blank_in_some_of_its_words_at_all, and on"
NONE: Document = dict.fromkeys(
    ("run", "step", "program", "prompt", "offer", "finish_at", "finish_in_s", "finish_span_s", "held_by")
)
LATCHED: Document = {
    "id": "G06", "text": "The mash is 76.6 °C, 4.1 K over the program; limit 4 K. Heat is off.", "value": 76.6,
    "limit": 72.5, "unit": "°C", "priority": 1, "latched": True, "first_out": True, "for_s": 99.0,
}  # fmt: skip
INSPECT = {**LATCHED, "id": "G24", "text": "Three interruptions within half an hour.", "first_out": False}


class Scene(NamedTuple):
    """One state of the page."""

    status: Document
    press: tuple[str, ...] = ()  # buttons, one after the other
    startable: Document | None = None


def mashing(**changes: Any) -> Document:
    """Some minutes into the first rest."""
    bench = Bench(settings(name="wren", title="Wren"), mash_c=48.0)
    bench.until("idle")
    bench.start(course(leg("maltose rest", 62.0, 2400.0), leg("dextrin rest", 72.0, 1200.0), grist_kg=0))
    bench.until("resting")
    bench.run(300)
    return {**said(bench), **changes}


def said(bench: Bench) -> Document:
    return status(
        bench.settings, bench.outcome, wall_s=1.7e9, wall_confirmed=True, speed=1.0, journal_seq=1, counters={}
    )


def asked(which: str) -> Document:
    """This question, with everything filled in that it names."""
    text, answers = ASKS[which]
    grain = ": 20 kg Old floor lager malt, 2.5 kg Wheat malt; the mash should come to 50.0 °C"
    kettle = "; then 20 min at 72 °C and 15 min at the boil; about 1.2 kg of it boils off"
    thick = "the thick of it (2.1 L/kg, about 16 L)"
    values = {"name": "maltose rest", "thick": thick, "grain": grain, "kettle": kettle}
    values |= {"litres": ", 60.1 L at 12 °C", "unsaid": "", "told": "add 20 mL of Hot alpha"}
    figures = {"kg": 18.4, "c": 95.0, "stop": 62.5, "target": 54.2, "tests": 3, "liquor": 60.0, "grain_l_per_kg": 3.4}
    filled = text.format(**values, **figures)
    return {"prompt": {"id": which, "text": filled, "answers": list(answers), "waiting_s": 20.0}, "waiting_for": filled}


@cache
def _shipped() -> Document:
    """What a shipped tun with cold liquor could start."""
    bench = Bench(settings(), mash_c=12.0)
    bench.run(30)
    return startable.document(startable.read(CONFIG, config_files.settings(CONFIG, "gannet")), bench.facts)


def could_start(missing: tuple[str, ...] = (), delayed: tuple[str, ...] = ()) -> Document:
    """The shipped programs on a shipped tun, one of them wrong."""
    found = _shipped()
    wrong = {**startable.NOTHING, "name": "shrike", "title": "shrike", "tun": "gannet"}
    wrong["missing"] = ["programs/shrike.toml:41: step 4: temperature: found 178 °C, wanted a value from 20 to 100 °C"]
    advice = [*found["programs"][0]["advice"], LONG]
    programs = [{**found["programs"][0], "advice": advice}, *found["programs"][1:], wrong]
    return {**found, "at": 1.7e9, "programs": programs, "missing": list(missing), "delayed": list(delayed)}


def scenes() -> dict[str, Scene]:
    """All of them, by name."""
    rest = mashing()
    idle = {**rest, **NONE, "state": "idle", "steps": []}
    step = rest["step"]
    rising = {**step, "phase": "ramping", "rise_left_s": 400.0}
    heating = {**step, "phase": "heating", "kind": "dough_in", "name": "dough-in", "rise_left_s": 1500.0}
    proof = "a proof test not older than 90 days (there is none; run `underback tryout`)"
    found = {
        "rest": Scene({**rest, "notes": [LONG]}),
        "rise": Scene({**rest, "step": rising}),
        "heat-up": Scene({**rest, "step": heating}),
        "more": Scene(rest, ("More",)),
        "stop": Scene(rest, ("More", "Stop")),
        "abort": Scene(rest, ("More", "Abort")),
        "change": Scene(rest, ("More", "Change a step")),
        "longer": Scene(rest, ("More", "Longer rest")),
        "value": Scene(rest, ("More", "Enter a value")),
        "paused": Scene({**rest, "state": "paused"}),
        "held": Scene({**rest, "state": "held", "held_by": "person", "duty": 0.0}),
        "held by a trip": Scene({**rest, "state": "held", "held_by": "trip", "trips": [{**LATCHED, "latched": False}]}),
        "tripped": Scene({**rest, "state": "held", "held_by": "latched", "trips": [LATCHED, INSPECT], "duty": 0.0}),
        "inspect": Scene({**rest, "state": "held", "held_by": "latched", "trips": [INSPECT]}, ("Clear G24",)),
        "cleared": Scene({**rest, "state": "held", "held_by": "latched", "trips": [], "duty": 0.0}),
        "restart": Scene({**rest, "state": "held", "held_by": "latched", "trips": []}, ("Restart",)),
        "offer": Scene(said(_settled())),
        "idle": Scene(idle),
        "start": Scene(idle, ("Start a program",), could_start()),
        "not yet": Scene(idle, ("Start a program",), could_start(("five good mash readings in a row",), (proof,))),
        "latched over": Scene({**idle, "state": "aborted", "trips": [LATCHED]}),
        "complete": Scene({**rest, **NONE, "state": "complete"}),
    }
    return found | {f"asks {which}": Scene({**rest, **asked(which)}) for which in sorted(ASKS)}


def _settled() -> Bench:
    return settled(48.6)


def states() -> set[str]:
    """In which states of a run do the scenes stand?"""
    return {scene.status["state"] for scene in scenes().values()} & set(map(str, RunState))


def history(now_s: float, run: str, seconds: int = 7200) -> bytes:
    """A run of two hours up to now, with its last events."""
    made = History()
    for t_s in range(0, seconds, 10):
        mash_c = min(62.0, 20.0 + t_s / 60.0) + 0.2 * math.sin(t_s / 90.0)
        made.ran(run, float(t_s), Sample(mash_c, min(62.0, 20.0 + t_s / 60.0), 62.0, 0.4))
    for seq in range(1, 61):
        text = f"line {seq} of the record" if seq % 9 else LONG
        made.happened(seq, outgoing.event(seq, now_s - 60.0 * (61 - seq), Event("step", "s", text)))
    return made.document(float(seconds), now_s, 1.0)


def as_bytes(document: Document) -> bytes:
    return json.dumps(document).encode()
