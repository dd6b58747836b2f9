"""Files: the shipped ones, names and paths, lines of problems, and what a stranger could do to them."""

from __future__ import annotations

import os
import random
import shutil
from pathlib import Path

import pytest

from controller.edge.files import config_files, plan_by_name
from controller.settings.problems import Problem, Problems
from controller.settings.service import Service
from tests.places import CONFIG, edited

PAGE = CONFIG / "program.md"


def test_shipped_files_are_right() -> None:
    """Every tun, program and the service file that we ship is read without a problem; what stands in the service file
    is what a daemon without one does."""
    for name in config_files.names(CONFIG / "tuns"):
        assert config_files.load_tun(CONFIG, name).simulated
    for name in config_files.names(CONFIG / "programs"):
        assert config_files.load_program(CONFIG, name).name == name
    assert config_files.load_service(CONFIG) == Service()


def test_the_same_program_however_it_is_named_and_saved(config: Path) -> None:
    """By its name, by its path, and saved by an editor of another system; in a file whose name is no UTF-8 it has a
    mark in that place; a folder without a service file has the defaults."""
    path = config / "programs/linnet.toml"
    plain = config_files.load_program(config, "linnet")
    assert config_files.load_program(config, str(path)) == plain
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes().replace(b"\n", b"\r\n"))
    assert config_files.load_program(config, "linnet") == plain
    odd = os.fsdecode(bytes(config / "programs") + b"/caf\xe9.toml")
    shutil.copy(path, odd)
    assert config_files.load_program(config, odd).name == "caf\ufffd"
    (config / "service.toml").unlink()
    assert config_files.load_service(config) == Service()


def test_settings_digest_changes_with_the_files(config: Path) -> None:
    """The digest is that of the bytes of tun and service file, and of no other file."""
    first = config_files.settings(config, "gannet").digest
    assert config_files.settings(config, "gannet").digest == first
    (config / "programs/linnet.toml").unlink()
    assert config_files.settings(config, "gannet").digest == first
    assert config_files.settings(config, "plover").digest != first
    path = config / "tuns/gannet.toml"
    path.write_text(path.read_text(encoding="utf-8") + "\n# a remark\n", encoding="utf-8")
    assert config_files.settings(config, "gannet").digest != first


def test_settings_tell_tun_and_service_together(config: Path) -> None:
    """What is wrong in the tun file and in the service file is told at once."""
    edited(config / "tuns/gannet.toml", ('"100 L"', '"100"'))
    edited(config / "service.toml", ("keep_runs = 50", "keep_runs = 0"))
    with pytest.raises(Problems, match=r"(?s)gannet\.toml:.*service\.toml:"):
        config_files.settings(config, "gannet")


def test_which_tun(config: Path) -> None:
    """The named tun, else the program's own, else the only one; else it is asked for, with those that fit; a wrong tun
    file fits nothing; a program that fits no tun is told so with the tuns there are."""
    linnet = config_files.load_program(config, "linnet")
    assert plan_by_name.tun_for(config, linnet, None).name == "plover"
    assert plan_by_name.tun_for(config, linnet, "gannet").name == "gannet"
    edited(config / "programs/linnet.toml", ('tun = "plover"', ""), to=config / "programs/free.toml")
    with pytest.raises(Problems) as wrong:
        plan_by_name.load_plan(config, "free", None)
    assert wrong.value.problems == (
        Problem("--tun", "nothing", "one of plover, which this program fits: add --tun plover"),
    )
    plover = (config / "tuns/plover.toml").read_bytes()
    (config / "tuns/plover.toml").write_text("volume = 3\n", encoding="utf-8")
    with pytest.raises(Problems, match="one of gannet, plover, though this program fits none"):
        plan_by_name.load_plan(config, "free", None)
    (config / "tuns/plover.toml").write_bytes(plover)
    (config / "tuns/gannet.toml").unlink()
    assert plan_by_name.load_plan(config, "free", None).tun.name == "plover"
    shutil.rmtree(config / "tuns")
    with pytest.raises(Problems, match="at least one, such as tuns/gannet"):
        config_files.settings(config, None)


def test_a_program_that_names_no_tun_of_these(config: Path) -> None:
    """A slip in the program's own `tun` is told at its line, with the nearest tun; no option is blamed."""
    edited(config / "programs/linnet.toml", ('"plover"', '"plovr"'), to=config / "programs/slip.toml")
    with pytest.raises(Problems) as wrong:
        plan_by_name.load_plan(config, "slip", None)
    (told,) = map(str, wrong.value.problems)
    assert told.endswith('slip.toml:7: tun: found "plovr", wanted one of gannet, plover; did you mean "plover"?')
    with pytest.raises(Problems, match=r'^tun: found "plovr", wanted one of gannet, plover; did'):
        plan_by_name.tun_for(config, config_files.load_program(config, "slip"), None)


def test_a_name_for_a_file_and_a_file_for_a_name(config: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file name that stands below programs/ is answered with its name; a name that stands here with its file."""
    monkeypatch.chdir(config.parent)
    with pytest.raises(Problems, match=r'linnet.toml: found no such file here, wanted "linnet", which is'):
        config_files.load_program(config, "linnet.toml")
    shutil.copy(config / "programs/linnet.toml", "own.toml")
    with pytest.raises(Problems, match=r'wanted "own.toml" for the file here: a file needs its ending'):
        config_files.load_program(config, "own")
    assert config_files.load_program(config, "own.toml").name == "own"


def test_a_tun_given_as_a_program(config: Path) -> None:
    """A tun file where a program belongs is one problem, not one for every key."""
    with pytest.raises(Problems) as wrong:
        config_files.load_program(config, str(config / "tuns/plover.toml"))
    (told,) = wrong.value.problems
    assert (told.found, told.wanted) == ("a tun file", "a program; for this tun add --tun plover to a program's name")


def test_load_plan_refuses_a_misfit(config: Path) -> None:
    """Where a plan is to be run, a program that does not fit is refused, with the line to change; both files' problems
    come together."""
    with pytest.raises(Problems, match=r"at most 28\.5 L"):
        plan_by_name.load_plan(config, "sandpiper", "plover")
    problems = plan_by_name.look(config, "sandpiper", "plover").problems
    lines = (config / "programs/sandpiper.toml").read_text(encoding="utf-8").splitlines()
    assert lines[int(problems[0].where.split(":")[1]) - 1] == "[liquor]"
    for name in ("tuns/plover.toml", "programs/linnet.toml"):
        (config / name).write_text("x = 1\n", encoding="utf-8")
    with pytest.raises(Problems) as wrong:
        plan_by_name.load_plan(config, "linnet", "plover")
    assert all(name in str(wrong.value) for name in ("plover.toml", "linnet.toml"))


def test_unreadable_file(config: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file that the system will not give is told with the system's reason."""

    def refused(_: Path) -> bytes:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "read_bytes", refused)
    with pytest.raises(Problems, match="found Permission denied, wanted a file that can be read"):
        config_files.load_program(config, "linnet")


def test_learned_figures(config: Path, tmp_path: Path) -> None:
    """What was learned of a tun is read from the data folder, and a wrong file of it is refused, not ignored."""
    service = Service(data_dir=str(tmp_path / "data"))
    assert config_files.load_learned(service, "gannet") is None
    path = tmp_path / "data/learned/gannet.toml"
    path.parent.mkdir(parents=True)
    path.write_text("power_w = 4810.0\nlag_s = 71.0\ndead_s = 12.0\non = 2026-10-03\n", encoding="utf-8")
    learned = config_files.load_learned(service, "gannet")
    assert learned is not None
    assert (learned.power_w, learned.on, learned.capacity_factor) == (4810.0, "2026-10-03", 1.0)
    path.write_text("power_w = -1\n", encoding="utf-8")
    with pytest.raises(Problems):
        config_files.load_learned(service, "gannet")


LINES = """# remark
title = "x"
overrule.A5 = "known"

[liquor]
mass = "60 kg"

[[grist]]
name = "a"   # temperature = here
[[step]]
name = "one"
temperature = "63 °C"
[[step]]
time = "5 min"
temperature = "72 °C"
[probes.mash]
topic = "t"
"""


@pytest.mark.parametrize(
    ("path", "line"),
    [
        (("title",), 2),
        (("overrule", "A5"), 3),
        (("liquor", "mass"), 6),
        (("liquor", "volume"), 5),
        (("grist", 0, "name"), 9),
        (("step", 0, "temperature"), 12),
        (("step", 1, "temperature"), 15),
        (("step", 1, "ramp"), 13),
        (("probes", "mash", "topic"), 17),
        (("nothing",), None),
        ((), None),
    ],
)
def test_line_of_a_key(path: tuple[str | int, ...], line: int | None) -> None:
    """The line of a key is found, else the line of its table, else none."""
    assert config_files.line_of(LINES, path) == line


def test_damaged_files_never_raise_anything_else(config: Path) -> None:
    """Four hundred programs with a random stretch cut, doubled or overwritten are read or refused in words."""
    path = config / "programs/linnet.toml"
    whole, luck = path.read_bytes(), random.Random(20260331)
    refused = 0
    for _ in range(400):
        start, length = luck.randrange(len(whole)), luck.randrange(1, 40)
        middle = luck.choice((b"", whole[start : start + length] * 2, luck.randbytes(length)))
        path.write_bytes(whole[:start] + middle + whole[start + length :])
        try:
            plan_by_name.load_plan(config, "linnet", "plover")
        except Problems as wrong:
            refused += 1
            assert wrong.problems
            assert all(problem.found and problem.wanted for problem in wrong.problems)
    assert 100 < refused < 400


def test_config_folder(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """The folder is the one named, else that of the environment, else ./config."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("UNDERBACK_CONFIG", raising=False)
    (tmp_path / "config").mkdir()
    (tmp_path / "other").mkdir()
    assert config_files.config_dir(None) == Path("config")
    monkeypatch.setenv("UNDERBACK_CONFIG", "other")
    assert config_files.config_dir(None) == Path("other")
    assert config_files.config_dir("config") == Path("config")
    with pytest.raises(Problems):
        config_files.config_dir("nowhere")
    monkeypatch.delenv("UNDERBACK_CONFIG")
    (tmp_path / "config").rmdir()
    if not Path("/etc/underback").is_dir():
        with pytest.raises(Problems, match=r"change into the folder that holds it\), or --config DIR"):
            config_files.config_dir(None)


@pytest.mark.parametrize("name", config_files.names(CONFIG / "programs"))
def test_the_page_tells_each_shipped_program_as_it_is(name: str) -> None:
    """Tun and rests of the page's row are those of the program's file."""
    (row,) = [line for line in PAGE.read_text(encoding="utf-8").splitlines() if line.startswith(f"| {name} |")]
    program = config_files.load_program(CONFIG, name)
    rests = [
        f"decoction to {step.temperature_c:g}"
        if step.kind == "decoction"
        else f"{step.temperature_c:g} for {step.held_s / 60:g}" + (" by iodine" if step.by == "iodine" else "")
        for step in program.step
        if step.kind not in ("keep", "water_in") and step.held_s != 60.0  # a minute only waits for the water
    ]
    cells = [cell.strip() for cell in row.strip("|").split("|")]
    assert cells[2].startswith(program.tun) and cells[3] == ", ".join(rests)


def test_a_recipe_beside_the_programs_goes_by_its_name(tmp_path: Path) -> None:
    """A file in an exchange format below `programs/` is meant by its name, as a program of our own is, and offered."""
    folder = tmp_path / "programs"
    folder.mkdir()
    for name in ("curlew.json", "wren.xml", "own.toml", "own.json", "notes.txt"):
        (folder / name).write_text("", encoding="utf-8")
    assert config_files.names(folder) == ["curlew", "own", "wren"]
    assert config_files.program_path(tmp_path, "curlew") == folder / "curlew.json"
    assert config_files.program_path(tmp_path, "wren") == folder / "wren.xml"
    assert config_files.program_path(tmp_path, "own") == folder / "own.toml"
    with pytest.raises(Problems, match='wanted "curlew"'):
        config_files.program_path(tmp_path, "curlw")


@pytest.mark.parametrize(
    ("key", "value", "wanted"),
    [
        ("host", "a..b", "a host name"), ("host", "x" * 64, "a host name"), ("host", "", "a host name"),
        ("prefix", "x", "at least two characters"), ("prefix", "a/b/", "no / at either end"),
        ("host", "127.0.0.1", ""), ("host", "::1", ""), ("host", "broker.lan", ""), ("host", "broker.lan.", ""),
        ("host", "mash_pi", ""),
    ],
)  # fmt: skip
def test_names_that_no_broker_has(tmp_path: Path, key: str, value: str, wanted: str) -> None:
    """They are told with what is wanted, before anything is looked up; names and addresses of both kinds may be."""
    text = f'[broker]\n{key} = "{value}"\n' if key == "host" else f'{key} = "{value}"\n'
    (tmp_path / "service.toml").write_text(text, encoding="utf-8")
    if not wanted:
        assert config_files.load_service(tmp_path).broker.host == value
        return
    with pytest.raises(Problems) as wrong:
        config_files.load_service(tmp_path)
    assert [wanted in str(problem) for problem in wrong.value.problems] == [True]
