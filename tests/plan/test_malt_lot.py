"""Malts by their lot: what a program takes from the maltster's certificate."""

from __future__ import annotations

from pathlib import Path

import pytest

from controller.edge.files import config_files
from controller.settings.problems import Problems
from tests.commands.called import called

PROGRAM = """title = "m"
tun = "gannet"
[[grist]]
lot = "{lot}"
mass = "20 kg"
{own}
[liquor]
mass = "60 kg"
[[step]]
temperature = "63 °C"
time = "40 min"
"""


def written(config: Path, lot: str, own: str = "") -> Path:
    path = config / "programs" / "m.toml"
    path.write_text(PROGRAM.format(lot=lot, own=own), encoding="utf-8")
    return path


def test_a_line_takes_its_figures_from_the_lot(config: Path) -> None:
    """Name, kind and every figure come from the sheet; one that the program holds itself counts, and that is said."""
    written(config, "FH-0422")
    (line,) = config_files.load_program(config, "m").grist
    assert (line.name, line.moisture, line.kolbach, line.lot) == ("Old floor lager malt", 0.048, 0.34, "FH-0422")
    written(config, "FH-0422", 'moisture = "8 %"')
    program = config_files.load_program(config, "m")
    assert program.grist[0].moisture == 0.08
    assert program.notes == ("lot FH-0422: moisture 8 % as the program has it, not 4.8 % of the sheet",)


def test_extract_as_is_becomes_that_of_dry_malt(config: Path) -> None:
    """77.40 % as it is at 4.8 % moisture are 81.3 % of dry malt (W62, backwards)."""
    sheet = 'name = "a"\nmoisture = "4.8 %"\nextract = "77.40 %"\nbasis = "as is"\ndiastatic_power = "250 °WK"\n'
    (config / "malts" / "A-1.toml").write_text(sheet, encoding="utf-8")
    written(config, "A-1")
    (line,) = config_files.load_program(config, "m").grist
    assert line.extract == pytest.approx(0.813, abs=1e-4)
    assert line.diastatic_power == pytest.approx(76.0)  # W61


def test_a_sheet_of_the_other_mash_is_not_taken_for_a_congress_mash_s(config: Path) -> None:
    """What a 65 °C wort says of Kolbach and extract draws no advice and no arithmetic, and that is said; moisture and
    friability are the malt's own."""
    sheet = 'name = "a"\nmash = "65"\nmoisture = "4.5 %"\nfriability = "70 %"\nkolbach = "34 %"\nextract = "79 %"\n'
    (config / "malts" / "I-1.toml").write_text(sheet, encoding="utf-8")
    written(config, "I-1")
    program = config_files.load_program(config, "m")
    (line,) = program.grist
    assert (line.moisture, line.friability, line.kolbach, line.extract) == (0.045, 0.7, None, None)
    assert program.notes == ("lot I-1: extract, kolbach of a 65 °C mash are not taken for a Congress mash's",)


def test_a_wrong_sheet_is_told_at_its_own_line(config: Path) -> None:
    """What is wrong with a certificate is told in its file, and a lot without a file is only a word for the record."""
    (config / "malts" / "B-2.toml").write_text('name = "b"\nmoisture = "48 %"\n', encoding="utf-8")
    written(config, "B-2")
    with pytest.raises(Problems, match=r"B-2.toml:2: moisture"):
        config_files.load_program(config, "m")
    written(config, "C-3", 'name = "c"')
    assert config_files.load_program(config, "m").grist[0].lot == "C-3"


def test_shipped_programs_and_lots_agree(config: Path) -> None:
    """No shipped program says another figure than the sheet of its lot."""
    for name in config_files.names(config / "programs"):
        assert not [note for note in config_files.load_program(config, name).notes if note.startswith("lot ")]


def test_beakers_take_their_moisture_from_the_lot(config: Path) -> None:
    """In a bath of water the sheet's moisture is the beaker's, its own counts before it, and page and record name both;
    beakers beside a mash in the tun are refused."""
    text = 'title = "b"\ntun = "gannet"\n[liquor]\nmass = "60 kg"\n[[beaker]]\nlot = "FH-0417"\n'
    text += '[[beaker]]\nlot = "FH-0417"\ngrist = "49.98 g"\ngrind = "coarse"\nmoisture = "5 %"\n'
    text += '[[step]]\ntemperature = "45 °C"\ntime = "30 min"\n'
    (config / "programs" / "b.toml").write_text(text, encoding="utf-8")
    sheet, own = config_files.load_program(config, "b").beaker
    assert (sheet.moisture, own.moisture) == (0.042, 0.05)
    page = called("check", "b", config=config)[1]
    assert "1: 50.00 g, fine, lot FH-0417" in page and "2: 49.98 g, coarse, lot FH-0417" in page
    (config / "programs" / "b.toml").write_text(f'{text}[[grist]]\nname = "m"\nmass = "5 kg"\n', encoding="utf-8")
    assert "either [[grist]] in the tun" in called("check", "b", config=config)[2]
