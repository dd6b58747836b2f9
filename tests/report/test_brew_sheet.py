"""The page to print before the day."""

from __future__ import annotations

import re
from pathlib import Path

from tests.commands.called import called


def sheet(config: Path, *words: str) -> str:
    path = config.parent / "sheet.html"
    code, _, err = called("check", *words, "--sheet", str(path), config=config)
    assert code == 0, err
    return path.read_text("utf-8")


def test_what_stands_on_it(config: Path) -> None:
    """Malts with lot and mass, strike, every step by the clock, each question, a box for all that is measured."""
    page = sheet(config, "sandpiper", "--at", "06:00")
    for words in ("Old floor lager malt", "20 kg", "FH-0422", "52.8 °C", "06:14", "3 maltose rest", "Taken over?"):
        assert words in page
    assert "How much liquor is in the tun" in page and "Iodine test from minute 15 on" in page
    assert "gravity of the first wort" not in page
    assert "first wort: gravity" in page
    assert page.count('<td class="box">') == 3 + 1 + 2 * 6 + 5 + 14
    assert re.search(r"td\.box\{[^}]*;height:7mm\}", page), "a hand needs room to write in"
    assert not re.search(r"<script|https?:", page)


def test_in_own_units_and_of_a_wrong_program(config: Path) -> None:
    """Told in the units asked for; a program that does not fit gets no sheet, and a sheet is of one program."""
    page = sheet(config, "sandpiper", "--units", "US")
    assert "127.0 °F" in page and "44.1 lb" in page and "°C" not in page
    path = config.parent / "none.html"
    assert called("check", "sandpiper", "--tun", "plover", "--sheet", str(path), config=config)[0] == 2
    assert called("check", "linnet", "sandpiper", "--sheet", str(path), config=config)[0] == 2
    assert not path.exists()
    missing = called("check", "linnet", "--sheet", str(config / "no" / "x.html"), config=config)
    assert missing[0] == 2 and "--sheet" in missing[2]
