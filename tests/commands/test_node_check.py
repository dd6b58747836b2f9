"""`underback node check` as it is typed: what it refuses, and how it ends."""

from __future__ import annotations

import io
import json
from pathlib import Path

import pytest

from controller.commands import node_check
from controller.commissioning.node_bench import Stranger
from controller.commissioning.node_rules import HEATER, Verdict
from tests.commands.called import called
from tests.places import edited, own_config

CHECK = ("node", "check", "--tun", "gannet")


@pytest.fixture
def nowhere(tmp_path: Path) -> Path:
    """A configuration whose broker is a port that nobody can listen on."""
    config = own_config(tmp_path)
    edited(config / "service.toml", ("port = 1883", "port = 9"))
    return config


@pytest.mark.parametrize(
    ("typed", "words", "said"),
    [
        ("", (), "nobody answers here"),
        ("yes\n", (), "somebody who says that no element is connected"),
        ("", ("--part", "outlet", "--nothing-connected"), "gannet has no other"),
    ],
)
def test_it_does_not_begin_unconfirmed(
    nowhere: Path, monkeypatch: pytest.MonkeyPatch, typed: str, words: tuple[str, ...], said: str
) -> None:
    """Until somebody says in full that nothing is connected, and for a part that is not there, it ends with 2."""
    monkeypatch.setattr("sys.stdin", io.StringIO(typed))
    code, out, err = called(*CHECK, *words, config=nowhere)
    assert (code, out) == (2, "") and said in err


def test_without_a_broker_it_ends_with_3(nowhere: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Confirmed, it looks for the broker and says where none is."""
    monkeypatch.setattr("sys.stdin", io.StringIO("nothing connected\n"))
    code, _, err = called(*CHECK, config=nowhere)
    assert code == 3 and "broker 127.0.0.1:9: nothing listens" in err


@pytest.mark.parametrize(("results", "code"), [(("passed", "not tried"), 0), (("passed", "failed"), 1)])
def test_its_code_tells_whether_a_rule_is_broken(
    monkeypatch: pytest.MonkeyPatch, results: tuple[str, str], code: int
) -> None:
    """0 where none is broken though some were not tried, else 1; `--json` says the same as one object."""

    async def found(*_: object) -> list[Verdict]:
        return [Verdict("heater", HEATER[n], result, "") for n, result in enumerate(results)]  # type: ignore[arg-type]

    monkeypatch.setattr(node_check, "_go", found)
    told, out, _ = called(*CHECK, "--nothing-connected", "--json")
    said = json.loads(out)
    assert (told, said["passed"], [rule["result"] for rule in said["rules"]]) == (code, code == 0, [*results])
    told, out, _ = called(*CHECK, "--nothing-connected")
    assert told == code and out.splitlines()[-1].startswith("1 passed, ")


def test_a_tun_that_somebody_owns_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """With a daemon there it ends with 1 and says what to do."""

    async def owned(*_: object) -> list[Verdict]:
        raise Stranger("a daemon says its status (idle)")

    monkeypatch.setattr(node_check, "_go", owned)
    code, out, _ = called(*CHECK, "--nothing-connected", "--alone")
    assert (code, out) == (1, "gannet is not free: a daemon says its status (idle). End the daemon first.\n")
