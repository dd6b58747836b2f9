"""Words that are wrong on the command line, a slip in a command's name, and a broker that is not there."""

from __future__ import annotations

import io
import json
import socket
from pathlib import Path

import pytest

from controller.cli import main
from controller.commands.shared import terminal
from tests.places import edited


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["learn", "--tun", "gannet", "--water", "60 kg"], "--water: found '60 kg', wanted a unit of L"),
        (["tryout", "--tun", "gannet", "--water", "20"], "--water: found '20', wanted a number with a unit"),
        (["tryout", "--tun", "gannet", "--yes", "--water=-5 L"], "--water: found '-5 L', wanted above 0 and at most"),
        (["dryrun", "linnet", "--seed", "x"], 'found "x", wanted a whole number'),
        (["dryrun", "linnet", "--day", "0"], "--day: found without --days, wanted both"),
        (["report", __file__], "holds no run"),
        (["program", "new", "x", "--tun", "gannet", "--aim", "dry"], "--malts: found nothing, wanted: Which malts"),
        (["program", "new", "x", "--tun", "gannet", "--aim", "dry"], "--rests: found nothing, wanted: How many"),
        (["reckon", "strike", "grist=20 kg", "liquor=60 kg", "mash=64 °C", "mash=66 °C"], "mash: found 2 times"),
        (["demo", "--speed", "fast"], 'found "fast", wanted a number'),
        (["calibrate", "--tun", "gannet", "--pressure", "3 bar"], "pressure 300 kPa: wanted 60 to 108.5 kPa"),
    ],
)
def test_what_was_found_stands_beside_what_is_wanted(
    words: list[str], told: str, config: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Exit 2 each time, and nothing on standard output."""
    monkeypatch.setattr("sys.stdin", io.StringIO())
    assert main(["--config", str(config), *words]) == 2
    out = capsys.readouterr()
    assert told in out.err and out.out == ""


def test_a_whole_number_too_great_for_anything_is_told(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A 1 with 400 zeros in a JSON recipe: a problem with its place."""
    amount = {"unit": "kg", "value": 10**400}
    rest = {"name": "one", "type": "temperature", "step_temperature": {"unit": "C", "value": 10**400},
            "step_time": {"unit": "min", "value": 30}}  # fmt: skip
    mash = {"name": "m", "grain_temperature": {"unit": "C", "value": 20}, "mash_steps": [rest]}
    malt = {"name": "Malt", "type": "grain", "amount": amount}
    recipe = {"name": "Huge", "type": "all grain", "author": "trial", "batch_size": {"unit": "l", "value": 20},
              "ingredients": {"fermentable_additions": [malt]}, "mash": mash}  # fmt: skip
    path = config / "huge.json"
    path.write_text(json.dumps({"beerjson": {"version": 1.0, "recipes": [recipe]}}))
    assert main(["--config", str(config), "check", str(path), "--tun", "gannet"]) == 2
    out = capsys.readouterr()
    assert (out.out + out.err).count("wanted an object such as") == 2


def test_a_question_is_asked_on_standard_error(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Standard output is for the answer alone."""
    monkeypatch.setattr("builtins.input", lambda prompt="": f"{prompt}yes ")
    assert terminal.answered("Ready?") == "yes"
    assert capsys.readouterr() == ("", "Ready? ")


def test_what_belongs_to_a_command_may_stand_after_its_options(
    config: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """`check linnet --json crake`: both are looked at, in this order."""
    assert main(["--config", str(config), "check", "linnet", "--json", "crake"]) == 0
    answers = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert [answer["program"] for answer in answers] == ["linnet", "crake"]


@pytest.mark.parametrize(("typed", "meant"), [("chek", "check"), ("dry-run", "dryrun"), ("stauts", "status")])
def test_a_slip_in_a_command_is_answered_with_the_nearest(
    typed: str, meant: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """An unknown command ends with 2 and the one that was likely meant; without a near one nothing is guessed."""
    assert main([typed]) == 2
    assert f"no command {typed!r}; did you mean {meant!r}?" in capsys.readouterr().err
    assert main(["xyzzy"]) == 2
    assert "did you mean" not in capsys.readouterr().err


@pytest.mark.parametrize(
    ("command", "said"), [("status", "underback serve --tun plover"), ("calibrate", "need not run")]
)
def test_without_a_broker_the_next_step_is_told(
    command: str, said: str, config: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Where nothing listens the command ends with 3 and says what to start."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
        edited(config / "service.toml", ("port = 1883", f"port = {port}"))
        assert main(["--config", str(config), command, "--tun", "plover"]) == 3
    err = capsys.readouterr().err
    assert err.count("\nNext: start the broker") == 1 and said in err
