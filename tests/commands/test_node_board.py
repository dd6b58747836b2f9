"""`underback node board`: what is laid out is what the boards of the tests run, and its file fits."""

from __future__ import annotations

import json
import runpy
from pathlib import Path
from types import SimpleNamespace

import pytest

from controller.field.board import settings
from controller.field.lease import NodeSettings
from tests.commands.called import called
from tests.field.board.boards import FILES
from tests.places import ROOT, edited, own_config


@pytest.mark.parametrize(
    ("tun", "kind", "filled"),
    [
        ("gannet", "heater", {"THERMOMETER": 4, "OUTPUT": 17}),
        ("plover", "heater", {"THERMOMETER": 4, "OUTPUT": 17, "FLOW": 24}),
        ("gannet", "probe", {"THERMOMETER": 4}),
    ],
)
def test_what_is_laid_out_runs_once_the_pins_are_filled_in(
    tmp_path: Path, tun: str, kind: str, filled: dict[str, int]
) -> None:
    """Every file a board needs, byte for byte, and its own file with the tun's figures, to be completed by hand."""
    folder = tmp_path / "board"
    code, out, _ = called("node", "board", str(folder), "--tun", tun, "--board", kind, "--json")
    assert code == 0
    laid = {path.relative_to(folder).as_posix() for path in folder.rglob("*.py")}
    assert laid == {path.relative_to(ROOT).as_posix() for path in FILES} | {"main.py", "board_config.py"}
    assert len(json.loads(out)["files"]) == len(laid)
    assert all((folder / name).read_bytes() == (ROOT / name).read_bytes() for name in laid if "/" in name)
    raw = runpy.run_path(str(folder / "board_config.py"))
    named = {name: value for name, value in raw.items() if name.isupper()}
    with pytest.raises(settings.Unfit, match="THERMOMETER"):
        settings.read(SimpleNamespace(**named))
    found = settings.read(SimpleNamespace(**{**named, **filled}))
    if kind == "heater":
        assert found["BASE"] == f"underback/{tun}"
        assert isinstance(settings.node(found, "b"), NodeSettings)


@pytest.mark.parametrize(
    ("change", "kind", "said"),
    [
        (('kind = "ssr"', 'kind = "proportional"'), "heater", 'wanted "ssr" or "contactor"'),
        (('pointer = "/temperature"', 'pointer = "/t"'), "probe", 'wanted pointer = "/temperature"'),
    ],
)
def test_a_tun_that_no_board_can_serve_is_refused(
    tmp_path: Path, change: tuple[str, str], kind: str, said: str
) -> None:
    """A heater of another kind, and a reading of another form, are named; nothing is laid out."""
    config = own_config(tmp_path)
    edited(config / "tuns" / "gannet.toml", change)
    code, _, err = called("node", "board", str(tmp_path / "b"), "--tun", "gannet", "--board", kind, config=config)
    assert code == 2 and said in err and not (tmp_path / "b").exists()


def test_nothing_is_overwritten(tmp_path: Path) -> None:
    """A folder that is there already is left alone."""
    code, _, err = called("node", "board", str(tmp_path), "--tun", "gannet")
    assert code == 2 and "a name that is free" in err
