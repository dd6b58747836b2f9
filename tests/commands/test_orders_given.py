"""The `order` command: words on a command line become an order on the wire."""

from __future__ import annotations

import time
from datetime import UTC, datetime
from pathlib import Path

import pytest

from controller.commands.order.words import build, quantity
from controller.commands.shared.exit_codes import Wrong
from controller.commands.shared.step_reference import completed, in_program
from controller.edge.files import config_files
from controller.edge.mqtt.requests import fill
from tests.places import CONFIG


@pytest.mark.parametrize(
    ("name", "given", "args"),
    [
        ("start", ["linnet"], {"program": "linnet"}),
        ("start", ["program=linnet", "hand=53.6 °F", "here=yes"], {"program": "linnet", "hand_c": 12.0, "here": True}),
        (
            "start",
            ["linnet", "from_step=2", "credited=10 min"],
            {"program": "linnet", "from_step": 1, "credited_s": 600.0},
        ),
        ("answer", ["no starch"], {"answer": "no starch"}),
        ("answer", ["ph=5.42", "remark=smells of 5"], {"ph": 5.42, "remark": "smells of 5"}),
        ("extend", ["10 min"], {"by_s": 600.0}),
        ("adjust", ["step=2", "target=64 °C", "time=40 min"], {"step": 1, "target_c": 64.0, "hold_s": 2400.0}),
        ("adjust", ["ramp=0.6 K/min"], {"climb_k_per_s": 0.01}),
        (
            "adjust",
            ["step=3", "target=147.2 °F", "time=40 min", "ramp=0.6 K/min"],
            {"step": 2, "target_c": pytest.approx(64.0), "hold_s": 2400.0, "climb_k_per_s": pytest.approx(0.01)},
        ),
        ("clear", ["inspected=yes"], {"inspected": True}),
        ("hold", ["now"], {}),
    ],
)
def test_words_become_arguments_in_base_units(name: str, given: list[str], args: dict[str, object]) -> None:
    """Quantities with their units, yes and no, plain words and numbers."""
    values = build(name, given, "Ann")
    assert values == {"order": name, "by": "Ann", "args": args}


def test_a_trip_is_named_beside_the_arguments() -> None:
    """`clear G02` and `acknowledge G02` name their trip where the daemon looks for it."""
    assert build("clear", ["G02"], "Ann") == {"order": "clear", "by": "Ann", "args": {}, "trip": "G02"}
    assert build("acknowledge", ["trip=G13"], "Ann")["trip"] == "G13"


@pytest.mark.parametrize(
    ("name", "given", "why"),
    [
        ("boil", [], "wanted one of"),
        ("start", ["linnet", "hand=12"], "hand"),
        ("start", ["hand=twelve"], "hand"),
        ("extend", ["10"], "time"),
        ("pause", ["now"], "takes no plain argument"),
        ("adjust", ["step=0"], "number from 1 on"),
        ("adjust", ["step=2", "target=64"], r"^target: found '64', wanted a number with a unit"),
        ("start", ["ready_at=soon"], "a time is wanted"),
        ("start", ["linnet", "ready_at=6"], "ready_at"),
        ("start", ["linnet", "from_step=-1"], "from_step"),
        ("start", ["linnet", "from_step=0"], "from_step"),
        ("start", ["linnet", "step=1.5"], "step"),
    ],
)
def test_what_cannot_be_read_is_said_with_its_word(name: str, given: list[str], why: str) -> None:
    """Exit 2 with the place and the mend; nothing is sent."""
    with pytest.raises(Wrong, match=why):
        build(name, given, "Ann")


def test_a_bare_number_says_what_is_wanted() -> None:
    """A temperature without its unit is answered with found and wanted, under the name it was typed by."""
    with pytest.raises(Wrong, match=r"^--hand: found '12', wanted a number with a unit such as \"12 °C\"$"):
        quantity("temperature", "--hand", "12")


def test_a_time_of_day_is_the_next_one() -> None:
    """06:00 lies within the next day; a full date is taken as it stands."""
    at = build("start", ["linnet", "ready_at=06:00"], "Ann")["args"]["ready_at"]
    assert 0.0 < at - time.time() <= 86_400.0 + 3600.0  # a day may have an hour more
    assert datetime.fromtimestamp(at, UTC).astimezone().strftime("%H:%M:%S") == "06:00:00"
    fixed = build("start", ["ready_at=2026-11-25T06:00:00+00:00"], "Ann")["args"]["ready_at"]
    assert fixed == 1795586400.0


STATUS = {
    "run": "r1",
    "nonce": "n",
    "trips": [{"id": "G07", "latched": True}, {"id": "G02", "latched": False}],
    "prompt": {"id": "iodine"},
}


def test_what_the_status_tells_is_filled_in() -> None:
    """The run it is meant for, the question it answers, the only latched trip; what was said wins."""
    order = build("clear", [], "Ann")
    fill(order, STATUS)
    assert (order["run"], order["trip"]) == ("r1", "G07")
    answer = build("answer", ["no starch"], "Ann")
    fill(answer, STATUS)
    assert answer["args"] == {"answer": "no starch", "prompt": "iodine"}
    named = build("clear", ["G02"], "Ann")
    fill(named, STATUS)
    assert named["trip"] == "G02"
    entry = build("answer", ["ph=5.4"], "Ann")
    fill(entry, STATUS)
    assert entry["args"] == {"ph": 5.4}
    bare = build("answer", [], "Ann")
    fill(bare, STATUS)
    assert bare["args"] == {"prompt": "iodine"}


NAMES = ("dough-in", "protein rest", "maltose rest", "mash-out", "keep")


@pytest.mark.parametrize(
    ("said", "place"), [("3", 2), ("maltose rest", 2), ("Maltose", 2), ("m", None), ("6", None), ("iodine", None)]
)
def test_a_step_is_meant_by_its_shown_number_or_its_name(said: str, place: int | None) -> None:
    """Shown as 3 it is 2 on the wire; a beginning that fits one name alone will do, else all steps are named."""
    order = build("adjust", [f"step={said}", "time=40 min"], "Ann")
    status = {**STATUS, "steps": [{"name": name} for name in NAMES]}
    if place is not None:
        completed(order, status)
        assert order["args"]["step"] == place
        return
    with pytest.raises(Wrong, match=f"step: found '{said}', wanted one of 1 dough-in, 2 protein rest, 3 maltose rest"):
        completed(order, status)


def test_the_step_to_begin_at_may_be_named() -> None:
    """`from_step` by name is found in the program; a name that is none there is answered with its steps."""
    config = str(CONFIG)
    tun = config_files.settings(Path(config), "gannet")
    args = build("start", ["sandpiper", "from_step=maltose"], "Ann")["args"]
    in_program(config, tun, args)
    assert args["from_step"] == 2
    with pytest.raises(Wrong, match=r"from_step: found 'boil', wanted one of 1 dough-in, 2 "):
        in_program(config, tun, {"program": "sandpiper", "from_step": "boil"})
