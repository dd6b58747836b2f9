"""Wrong files through the command line: exit 2, the place and the mend, no traceback."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from controller.cli import main
from tests.edge.files.wrong_files import ALL, BLOCKS, LINNET, Slip
from tests.places import edited


def spoil(config: Path, slip: Slip) -> None:
    path = config / slip.file
    if isinstance(slip.new, bytes):
        path.write_bytes(slip.new)
        return
    text = slip.new
    if slip.old is not None:
        before = path.read_text(encoding="utf-8")
        assert slip.old in before, f"{slip.old!r} does not stand in {slip.file}: the slip tests nothing"
        text = before.replace(slip.old, slip.new, 1)
    path.write_text(text, encoding="utf-8")


def command(config: Path) -> list[str]:
    return ["--config", str(config), "check", "linnet", "--tun", "plover"]


def test_there_are_enough_wrong_files() -> None:
    """The corpus holds at least eighty wrong files, and no two have the same name."""
    assert len(ALL) >= 80
    assert len({slip.name + slip.file for slip in ALL}) == len(ALL)


@pytest.mark.parametrize("slip", ALL, ids=lambda slip: f"{slip.file.split('/')[-1]}: {slip.name}")
def test_wrong_file_is_told(slip: Slip, config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Each wrong file ends with exit code 2 and a message that names place, finding and mend, without a traceback."""
    spoil(config, slip)
    code = main(command(config))
    out, err = capsys.readouterr()
    assert code == 2, out + err
    assert "Traceback" not in out + err
    for words in slip.says:
        assert words in err, err
    assert slip.file.split("/")[-1] in err or "linnet.toml:" in err  # a tun that fits no program is told at the program
    lines = [line for line in err.splitlines() if ": found " in line]
    assert lines, err
    assert all(", wanted " in line for line in lines), err


@pytest.mark.parametrize("slip", BLOCKS, ids=lambda slip: slip.name)
def test_one_slip_gives_one_line(slip: Slip, config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A header that is missing or a quote that is not closed is one mistake and told as one, in words of its own."""
    spoil(config, slip)
    assert main(command(config)) == 2
    err = capsys.readouterr().err
    assert err.count("\n") == 1 and "annot" not in err


def test_a_missing_header_hides_nothing_else(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What is wrong beside a forgotten [[grist]] is told with it, each at its own line."""
    slips = ("[[grist]]\n", ""), ('"4.2 %"', '"4.2 x"'), ('"77 °C"', '"77"')
    lines = edited(config / LINNET, *slips).splitlines()
    assert main(command(config)) == 2
    err = capsys.readouterr().err
    for line, key in zip(err.splitlines(), ("name", "moisture", "temperature"), strict=True):
        assert lines[int(line.split("linnet.toml:")[1].split(":")[0]) - 1].startswith(key)


@pytest.mark.parametrize("slip", [s for s in ALL if s.file == LINNET], ids=lambda slip: slip.name)
def test_wrong_program_in_json(slip: Slip, config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With --json the same problems come as one object, and nothing else is on stdout."""
    spoil(config, slip)
    code = main([*command(config), "--json"])
    answer = json.loads(capsys.readouterr().out)
    assert code == 2
    assert answer["ok"] is False
    said = "\n".join(f"{p['where']}: found {p['found']}, wanted {p['wanted']}" for p in answer["problems"])
    for words in slip.says:
        assert words in said


@pytest.mark.parametrize(
    ("words", "told"),
    [
        *([[name], ": found "] for name in ("../tuns/plover", "..", "", "a\0b", "x" * 300)),
        (["lineet"], '"linnet"'),
        (["CONFIG/programs"], "found a folder, wanted a file"),
        (["/dev/zero"], "no ordinary file"),
        (["linnet", "--tun", "heron"], "one of gannet, plover"),
        (["--config", "no/such/folder", "linnet"], "a folder with service.toml"),
    ],
)
def test_no_such_file(words: list[str], told: str, config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A program that is not there is refused, whatever its name looks like, and a near name is offered; a folder and an
    endless device are none; of tuns the known ones are named; of a configuration what should be in it."""
    options = words[:2] if words[0] == "--config" else ["--config", str(config)]
    meant = [word.replace("CONFIG", str(config)) for word in words if word not in options]
    assert main([*options, "check", *meant]) == 2
    err = capsys.readouterr().err
    assert told in err and ": found " in err and "Traceback" not in err


def test_every_problem_at_once(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Four slips in program and tun are all told in one run, each with its line."""
    slips = ('temperature = "66 °C"', 'temprature = "66 °C"'), ('ramp = "1.0 K/min"', 'ramp = "9 K/min"')
    numbered = edited(config / LINNET, *slips, ('time = "10 min"', "time = 10")).splitlines()
    edited(config / "tuns/plover.toml", ('lease = "5 s"', 'lease = "1 h"'))
    assert main(command(config)) == 2
    err = capsys.readouterr().err
    for words in ("temprature", "ramp", "time: found 10", "lease"):
        assert words in err
    for line in err.splitlines():
        if "linnet.toml:" in line:
            number = int(line.split("linnet.toml:")[1].split(":")[0])
            assert any(key in numbered[number - 1] for key in ("temprature", "ramp", "time", "[[step]]")), line
