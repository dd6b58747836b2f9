"""The water's sheet, salts and acid of a program, on its page: W54, W55, W56 and W57 without typing a sum."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.commands.called import called

PROGRAM = """title = "Water"
tun = "gannet"
[[grist]]
name = "Pale malt"
mass = "14 kg"
ph = 5.90
[[grist]]
name = "Second malt"
kind = "kilned malt"
mass = "6 kg"
ph = 5.80
[liquor]
mass = "60 kg"
[water]
calcium = "60 mg/L"
magnesium = "10 mg/L"
bicarbonate = "200 mg/L"
[dough_in]
[[step]]
temperature = "66 °C"
time = "60 min"
"""
SALT = '[[salt]]\nname = "gypsum"\nmass = "8 g"\n'
ACID = '[[acid]]\nvolume = "12.1 mL"\nstrength = "88 %"\n'  # W56b: takes all of it away


@pytest.mark.parametrize(
    ("found", "instead", "told"),
    [
        ("", "", ["residual alkalinity 6.5 °dH", "some 6.0 (5.9 to 6.2)"]),
        ('bicarbonate = "200 mg/L"', 'alkalinity = "164 mg/L CaCO3"', ["residual alkalinity 6.5 °dH"]),
        ("[dough_in]", f"{SALT}[dough_in]", ["calcium +31 mg/L, sulfate +74 mg/L", "6.5 °dH, 5.2 °dH with what"]),
        ("[dough_in]", f"{ACID}[dough_in]", ["12.1 mL of lactic acid, 88 %", "6.5 °dH, 0.0 °dH", "5.9 (5.7 to 6.0)"]),
        ("ph = 5.90\n", "", ["no figure for the mash's pH"]),
        ('kind = "kilned malt"', 'kind = "roasted malt"', ["no figure for the mash's pH"]),
    ],
)
def test_what_water_salts_and_acid_come_to(config: Path, found: str, instead: str, told: list[str]) -> None:
    """Residual alkalinity with and without what is added, and the mash's pH as a band, or that there is no figure; page
    and brew sheet say the same."""
    (config / "programs" / "water.toml").write_text(PROGRAM.replace(found, instead, 1), encoding="utf-8")
    code, page, err = called("check", "water", "--sheet", str(config / "sheet.html"), config=config)
    assert code == 0, err
    sheet = (config / "sheet.html").read_text("utf-8").replace("&#x27;", "'")
    assert [words for words in told if words not in page or words not in sheet] == []


def test_pale_malt_without_a_sheet_and_a_ph_that_is_written(config: Path) -> None:
    """Without any sheet pale malt is taken as 5.8, with a wider band; `expected_ph` stands above any figure."""
    pale = PROGRAM.replace("ph = 5.90\n", "").replace("ph = 5.80\n", "").replace('kind = "kilned malt"\n', "")
    written = pale.replace('mass = "60 kg"', 'mass = "60 kg"\nexpected_ph = 5.5')
    for text, told in ((pale, "some 5.9 (5.7 to 6.1)"), (written, "")):
        (config / "programs" / "water.toml").write_text(text, encoding="utf-8")
        page = called("check", "water", config=config)[1]
        assert ("the mash's pH will be" in page) is bool(told) and told in page
