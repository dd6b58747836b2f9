"""Wrong files through the command line: exit 2, the place and the mend, no traceback."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from controller.cli import main
from tests.edge.files.wrong_files import ALL, BLOCKS, LINNET, Slip


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
    path = config / LINNET
    text = path.read_text(encoding="utf-8").replace("[[grist]]\n", "", 1).replace('"4.2 %"', '"4.2 x"')
    path.write_text(text.replace('"77 °C"', '"77"'), encoding="utf-8")
    assert main(command(config)) == 2
    err = capsys.readouterr().err
    lines = text.splitlines()
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


def test_a_folder_instead_of_a_file(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A folder where a program should be is refused by name."""
    assert main(["--config", str(config), "check", str(config / "programs")]) == 2
    assert "found a folder, wanted a file" in capsys.readouterr().err


def test_a_device_instead_of_a_file(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """An endless device is not read."""
    assert main(["--config", str(config), "check", "/dev/zero"]) == 2
    assert "no ordinary file" in capsys.readouterr().err


@pytest.mark.parametrize("name", ["lineet", "../tuns/plover", "..", "", "a\0b", "x" * 300])
def test_no_such_program(name: str, config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A program that is not there is refused, whatever its name looks like; a near name is offered."""
    assert main(["--config", str(config), "check", name]) == 2
    err = capsys.readouterr().err
    assert ": found " in err
    assert "Traceback" not in err
    assert name != "lineet" or '"linnet"' in err


def test_no_such_tun(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A tun that is not there is refused and the known ones are named."""
    assert main(["--config", str(config), "check", "linnet", "--tun", "heron"]) == 2
    assert "one of gannet, plover" in capsys.readouterr().err


def test_no_such_config_folder(capsys: pytest.CaptureFixture[str]) -> None:
    """A folder that is not there is refused with what should be in it."""
    assert main(["--config", "no/such/folder", "check", "linnet"]) == 2
    assert "a folder with service.toml" in capsys.readouterr().err


def test_every_problem_at_once(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Four slips in program and tun are all told in one run, each with its line."""
    program = config / LINNET
    text = program.read_text(encoding="utf-8")
    text = text.replace('temperature = "66 °C"', 'temprature = "66 °C"').replace(
        'ramp = "1.0 K/min"', 'ramp = "9 K/min"'
    )
    program.write_text(text.replace('time = "10 min"', "time = 10"), encoding="utf-8")
    vessel = config / "tuns/plover.toml"
    vessel.write_text(vessel.read_text(encoding="utf-8").replace('lease = "5 s"', 'lease = "1 h"'), encoding="utf-8")
    assert main(["--config", str(config), "check", "linnet", "--tun", "plover"]) == 2
    err = capsys.readouterr().err
    for words in ("temprature", "ramp", "time: found 10", "lease"):
        assert words in err
    numbered = text.replace('time = "10 min"', "time = 10").splitlines()
    for line in err.splitlines():
        if "linnet.toml:" in line:
            number = int(line.split("linnet.toml:")[1].split(":")[0])
            assert any(key in numbered[number - 1] for key in ("temprature", "ramp", "time", "[[step]]")), line
