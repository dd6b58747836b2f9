"""Thirty orders as people mistype them: each answer holds a command that works when it is pasted."""

from __future__ import annotations

import io
import re
import shlex
from datetime import UTC, datetime
from pathlib import Path

import pytest

from controller.commands.order.cautions import due, lines
from controller.commands.order.vocabulary import ORDERS
from controller.commands.order.words import build
from controller.commands.shared import all_tuns
from controller.edge.mqtt import requests
from tests.commands.called import called
from tests.commands.mistyped import MISTYPED
from tests.commands.order_scenes import Daemon
from tests.core.bench import WALL

PASTED = re.compile(r"^(?:Next: |  )underback (.+)$", re.MULTILINE)
TYPED = {"What": "12.1 °C", "Are": "yes", "Do": "yes"}  # to a question that begins so


@pytest.fixture
def told(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> pytest.MonkeyPatch:
    """A person beside a tun at 12 °C who answers what is asked."""
    monkeypatch.setattr("controller.commands.order.words.local_now", lambda: datetime.fromtimestamp(WALL, UTC))
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    monkeypatch.setattr("controller.commands.shared.terminal.answered", lambda text: TYPED[text.split()[0]])
    return monkeypatch


def given(scene: str, line: str, patch: pytest.MonkeyPatch) -> tuple[int, str, str]:
    """What is said to this command line, in this state of the tun?"""
    daemon = Daemon(scene)
    for name in ("present", "answering", "order", "heat_off"):
        patch.setattr(requests, name, getattr(daemon, name))
    patch.setattr(all_tuns, "once", daemon.once)
    return called(*shlex.split(line))


@pytest.mark.parametrize(("scene", "typed"), MISTYPED)
def test_each_answer_holds_a_command_that_works(scene: str, typed: str, told: pytest.MonkeyPatch) -> None:
    """The order is not done, and every command that its answer shows is accepted in the same state."""
    code, out, err = given(scene, f"order {typed}", told)
    shown = PASTED.findall(out + err)
    assert code in (1, 2) and shown, out + err
    for line in shown:
        pasted = given(scene, line, told)
        assert pasted[0] == 0, (line, pasted)


def test_they_are_thirty_and_more() -> None:
    """No order stands twice in the list, and nothing in it is right."""
    assert len(set(MISTYPED)) == len(MISTYPED) >= 30


@pytest.mark.parametrize("name", list(ORDERS))
def test_the_help_of_an_order_speaks_the_words_of_the_command_line(name: str) -> None:
    """Each word that it takes stands there, no key of the wire, and each example can be read."""
    code, out, _ = called("order", name, "--help")
    assert code == 0 and ORDERS[name].what in out
    for word in ORDERS[name].words:
        assert f"--{word.key}" in out or f"{word.key}=" in out
        assert word.key == word.wire or not re.search(rf"\b{word.wire}\b", out)
    for line in re.findall(rf"^  underback order {name}(.*)$", out, re.MULTILINE):
        words = [word for word in shlex.split(line) if not word.startswith("--")]
        assert build(name, words, "Ann")["order"] == name


def test_an_order_without_its_command_is_shown_with_it() -> None:
    """`underback hold` is no command, and the answer holds the one that is."""
    code, _, err = called("hold", "--tun", "gannet")
    assert code == 2 and PASTED.findall(err) == ["order hold --tun gannet"]


def test_cautions_are_heard_once_a_day_and_a_person(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The second start of a day has a line in their place; another person or day, or a note that is lost, hears all."""
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    heard = [len(due(who, day)) for who, day in (("Ann", "1"), ("Ann", "1"), ("Ben", "1"), ("Ann", "1"), ("Ann", "2"))]
    assert heard == [len(lines()), 1, len(lines()), 1, len(lines())]
    monkeypatch.setenv("XDG_STATE_HOME", "/dev/null")
    assert [len(due("Ann", "1")) for _ in range(2)] == [len(lines())] * 2


def test_nobody_is_asked_where_nobody_can_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    """`--ask` without a terminal ends with 2, and nothing was sent."""
    monkeypatch.setattr("sys.stdin", io.StringIO())
    code, out, err = given("idle", "order start sandpiper --ask", monkeypatch)
    assert (code, out) == (2, "") and "nobody answers here" in err
