"""The files that a small board runs: they compile for it, and its interpreter finds what ours finds."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest

from controller.commissioning.node_refusals import REFUSALS, payload
from controller.field.board import flat_json
from controller.messages.strict_json import Refused, document
from tests.field.board.boards import FILES, MPY_CROSS, interpreted, needed, payloads

PAYLOADS = [
    *payloads(1, 1500),
    *(payload(text, 3, 7) for texts in REFUSALS.values() for text in texts),
    b'{"epoch":1,"seq":2,"valid_s":10.0,"duty":0.4,"reason":"ramping","reading_seq":null,"owner":"a b"}',
    b'{"a":"\\"\\\\\\/\\b\\f\\n\\r\\t\\u0041"}',
    b'{"a":"' + b"x" * 2000 + b'"}',
]
BESIDES = (b"[", b"{}", b"\\ud8", b"1e999")
SHOWN = """
def shown(found):
    if isinstance(found, str):
        return "-"
    plain = {key: value.encode() if isinstance(value, str) else value for key, value in found.items()}
    plain = {key: "%.9g" % value if isinstance(value, float) else value for key, value in plain.items()}
    return " ".join(["%s=%r" % (key, plain[key]) for key in sorted(plain)])
"""
READS = (
    SHOWN
    + """
from controller.field.board import flat_json
for data in PAYLOADS:
    print(shown(flat_json.read(data)))
"""
)
STEPS = (
    SHOWN
    + """
from controller.field import lease

def draw(state):
    return (state * 1103515245 + 12345) % 2147483648

def steps(count):
    own = lease.NodeSettings(5000.0, "b", min_off_s=2.0, window_s=2.0, outlet=True, level=True, flow=True)
    state, at, word = lease.boot(0.0), 0.0, 1
    for _ in range(count):
        word = draw(word)
        kind, at = word // 65536 % 8, at + (word // 1048576 % 16) / 16.0
        word = draw(word)
        figure = word // 65536 % 100
        if kind == 0:
            found = {"duty": (figure % 5) / 4.0, "valid_s": figure / 8.0 - 1.0, "epoch": figure % 3, "seq": figure}
            state, why = lease.obey(own, state, found, at)
            yield why or "taken"
        elif kind == 1 and figure < 10:
            state = lease.reset(state)
        else:
            outlet = 60.0 + figure / 3.0 if figure % 7 else None
            state, output = lease.beat(own, state, at, outlet_c=outlet, level_ok=figure != 3, flow_ok=figure % 29 != 5)
            said = lease.report(own, state, at, outlet_c=outlet)
            yield shown(said)
"""
)


def ours(program: str) -> str:
    """What our own interpreter prints of the same program."""
    said: list[str] = []
    exec(program, {"print": lambda *words: said.append(" ".join(map(str, words)))})
    return "".join(f"{line}\n" for line in said)


@pytest.mark.parametrize("path", FILES, ids=lambda path: "/".join(path.parts[-2:]))
def test_it_compiles_for_a_board(path: Path, tmp_path: Path) -> None:
    """The cross compiler takes each file that is laid on a board."""
    done = subprocess.run(
        [needed(MPY_CROSS), str(path), "-o", str(tmp_path / "file.mpy")], check=False, capture_output=True, text=True
    )
    assert (done.returncode, done.stderr) == (0, "")
    assert (tmp_path / "file.mpy").stat().st_size > 40


def test_both_interpreters_read_the_same(tmp_path: Path) -> None:
    """Of 1,500 payloads near a command each, the board's reader takes the same with the same values on both."""
    program = f"PAYLOADS = {PAYLOADS!r}\n{READS}"
    found = interpreted(program, tmp_path)
    assert found == ours(program)
    assert 100 < found.splitlines().count("-") < len(PAYLOADS) - 100


def test_the_boards_reader_takes_no_more_than_the_daemons() -> None:
    """What it takes the daemon's strict reader takes with the same values; it refuses besides what is nested, half a
    character, and a number that is not finite."""
    taken = [(data, found) for data in PAYLOADS if not isinstance(found := flat_json.read(data), str)]
    assert [data for data, found in taken if document(data) != found] == []
    more = [data for data in PAYLOADS if isinstance(flat_json.read(data), str) and isinstance(document(data), dict)]
    assert [data for data in more if not any(mark in data for mark in BESIDES)] == []
    assert len(taken) > 100 and not any(isinstance(document(data), Refused) for data, _ in taken)


def test_both_interpreters_keep_the_same_rules(tmp_path: Path) -> None:
    """Over 4,000 random steps the node's rules give the same answers and reports, to nine figures."""
    program = STEPS + "for line in steps(4000):\n    print(line)\n"
    found = interpreted(program, tmp_path)
    assert found == ours(program)
    assert {"taken", "duty is no share of 0..1"} & set(found.splitlines()) and "own_limit" in found


def test_a_report_is_written_alike(tmp_path: Path) -> None:
    """A report has the same members and values on both, a number that is not finite is null, and it reads back."""
    program = (
        'from controller.field.board import flat_json\nprint(flat_json.write({"a": float("inf"), "b": 0.4, "c": "x"}))'
    )
    assert flat_json.read(eval(interpreted(program, tmp_path))) == {"a": None, "b": 0.4, "c": "x"}
    assert document(flat_json.write({"a": float("nan"), "b": True, "c": "°"})) == {"a": None, "b": True, "c": "°"}
