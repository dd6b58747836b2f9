"""The open recipe formats: what maps, what is said by name, and what is refused."""

from __future__ import annotations

import copy
import json
from pathlib import Path
from typing import Any

import pytest

from controller.cli import main
from controller.edge.files import config_files, recipe_xml
from controller.plan.recipe import Program
from controller.settings.problems import Problems
from tests.places import CONFIG


def unit(value: object, name: str) -> dict[str, object]:
    return {"unit": name, "value": value}


def step(name: str, kind: str, celsius: float, minutes: int, **more: Any) -> dict[str, Any]:
    always = {"step_temperature": unit(celsius, "C"), "step_time": unit(minutes, "min")}
    return {"name": name, "type": kind, **always, **more}


JSON: dict[str, Any] = {
    "beerjson": {
        "version": 1.0,
        "recipes": [
            {
                "name": "Curlew trial",
                "type": "all grain",
                "author": "trial",
                "batch_size": unit(20, "l"),
                "ingredients": {
                    "fermentable_additions": [
                        {"name": "Pale malt", "type": "grain", "amount": unit(10, "lb")},
                        {"name": "Flaked oats", "type": "grain", "amount": unit(500, "g")},
                        {"name": "Candy", "type": "sugar", "amount": unit(0.3, "kg")},
                    ],
                    "hop_additions": [],
                },
                "mash": {
                    "name": "steps",
                    "grain_temperature": unit(64.4, "F"),
                    "mash_steps": [
                        step("Conversion", "infusion", 65, 45, amount=unit(4, "gal")),
                        step("Dextrin", "temperature", 72, 15, ramp_time=unit(10, "min"), end_ph=unit(5.3, "pH")),
                        step("Out", "infusion", 76, 10),
                        step("Rinse", "sparge", 76, 30),
                    ],
                },
            }
        ],
    }
}

XML = """<?xml version="1.0" encoding="UTF-8"?>
<RECIPES>
 <RECIPE>
  <NAME>Curlew märz</NAME><VERSION>1</VERSION><TYPE>All Grain</TYPE>
  <HOPS/>
  <FERMENTABLES>
   <FERMENTABLE><NAME>Pale malt</NAME><VERSION>1</VERSION><TYPE>Grain</TYPE><AMOUNT>4.5</AMOUNT></FERMENTABLE>
   <FERMENTABLE><NAME>Candy</NAME><VERSION>1</VERSION><TYPE>Sugar</TYPE><AMOUNT>0.3</AMOUNT></FERMENTABLE>
  </FERMENTABLES>
  <MASH>
   <NAME>steps</NAME><VERSION>1</VERSION><GRAIN_TEMP>18</GRAIN_TEMP>
   <MASH_STEPS>
    <MASH_STEP><NAME>Conversion</NAME><VERSION>1</VERSION><TYPE>Infusion</TYPE><INFUSE_AMOUNT>15</INFUSE_AMOUNT>
     <STEP_TEMP>66</STEP_TEMP><STEP_TIME>60</STEP_TIME><DISPLAY_STEP_TEMP>66 C</DISPLAY_STEP_TEMP></MASH_STEP>
    <MASH_STEP><NAME>Out</NAME><VERSION>1</VERSION><TYPE>Temperature</TYPE>
     <STEP_TEMP>77</STEP_TEMP><STEP_TIME>10</STEP_TIME><RAMP_TIME>22</RAMP_TIME><END_TEMP>76</END_TEMP></MASH_STEP>
   </MASH_STEPS>
  </MASH>
 </RECIPE>
</RECIPES>
"""


def written(tmp_path: Path, name: str, content: str | bytes) -> str:
    path = tmp_path / name
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return str(path)


def load(tmp_path: Path, content: object, name: str = "trial.json") -> Program:
    text = content if isinstance(content, (str, bytes)) else json.dumps(content)
    return config_files.load_program(CONFIG, written(tmp_path, name, text))


def refusal(tmp_path: Path, content: object, name: str = "trial.json") -> str:
    with pytest.raises(Problems) as wrong:
        load(tmp_path, content, name)
    return str(wrong.value)


def test_json_recipe(tmp_path: Path) -> None:
    """A JSON recipe becomes a program: grist, liquor, grain temperature, rests, and an infusion before its rest; what
    does not map is said by name: sugar, hops, a pH, the rinse and the batch size."""
    program = load(tmp_path, JSON)
    assert [(g.kind, g.flaked) for g in program.grist] == [("malt", False), ("oats", True)]
    assert program.grist_kg == pytest.approx(4.5359237 + 0.5, abs=1e-6)
    assert program.liquor.volume_l == pytest.approx(15.142, abs=0.001)
    assert program.dough_in.grist_temperature_c == 18.0
    assert [(s.kind, s.temperature_c, s.time_s) for s in program.step] == [
        ("rest", 65.0, 2700.0),
        ("rest", 72.0, 900.0),
        ("infusion", 76.0, None),
        ("rest", 76.0, 600.0),
    ]
    assert program.step[1].ramp_k_per_s == pytest.approx(7 / 600)
    unmapped = (
        "'Candy' of type 'sugar'",
        "hop_additions",
        "end_ph",
        "'Rinse' of type 'sparge' is not run",
        "batch_size",
    )
    assert [words for words in unmapped if words not in " ".join(program.notes)] == []


def test_a_mash_without_a_recipe(tmp_path: Path) -> None:
    """A document of one mash alone lacks only the liquor, and says so."""
    mash = copy.deepcopy(JSON["beerjson"]["recipes"][0]["mash"])
    document = {"beerjson": {"version": 1.0, "mashes": [mash]}}
    assert load(tmp_path, document).grist == ()
    del mash["mash_steps"][0]["amount"]
    assert "liquor: found nothing" in refusal(tmp_path, document)


def test_thickness_gives_the_liquor(tmp_path: Path) -> None:
    """1.25 qt/lb on 10 lb are 12.5 US quarts, when no amount is written."""
    document = copy.deepcopy(JSON)
    recipe = document["beerjson"]["recipes"][0]
    recipe["ingredients"]["fermentable_additions"] = recipe["ingredients"]["fermentable_additions"][:1]
    first = recipe["mash"]["mash_steps"][0]
    first["water_grain_ratio"] = unit(1.25, "qt/lb")
    del first["amount"]
    assert load(tmp_path, document).liquor.volume_l == pytest.approx(12.5 * 0.946352946, abs=0.001)


@pytest.mark.parametrize("encoding", ["UTF-8", "ISO-8859-1", "UTF-16"])
def test_xml_recipe(tmp_path: Path, encoding: str) -> None:
    """An XML recipe in the encoding that it declares becomes a program, its ramp time a rise of 0.5 K/min; display
    fields are passed over."""
    program = load(tmp_path, XML.replace("UTF-8", encoding).encode(encoding), "trial.xml")
    assert program.title == "Curlew märz"
    assert [(s.temperature_c, s.time_s) for s in program.step] == [(66.0, 3600.0), (77.0, 600.0)]
    assert program.step[1].ramp_k_per_s == pytest.approx(0.5 / 60)
    notes = " ".join(program.notes)
    assert "END_TEMP" in notes and "HOPS" in notes and "DISPLAY" not in notes


BOMB = '<!DOCTYPE a [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;">]><RECIPES>&b;</RECIPES>'
OUTSIDE = '<!DOCTYPE a [<!ENTITY x SYSTEM "file:///etc/passwd">]><RECIPES><NAME>&x;</NAME></RECIPES>'


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (BOMB, "document type"),
        (OUTSIDE, "document type"),
        ('<!DOCTYPE RECIPES SYSTEM "http://localhost/x.dtd"><RECIPES/>', "document type"),
        ("<a>" * 1000 + "</a>" * 1000, "deep"),
        ("<RECIPES>" + "<a/>" * 30_000 + "</RECIPES>", "more than 20000 elements"),
        ("<RECIPES><NAME>" + "x" * 30_000 + "</NAME></RECIPES>", "characters in one element"),
        ("<RECIPES>", "no well-formed XML"),
        ("", "no well-formed XML"),
        ("not XML", "no well-formed XML"),
        ("<RECIPES>&nothing;</RECIPES>", "no well-formed XML"),
        (b"<RECIPES>\xff\xfe</RECIPES>", "no well-formed XML"),
        ('<?xml version="1.0" encoding="klingon"?><RECIPES/>', "encoding"),
        ("<RECIPES></RECIPES>", "one RECIPE with its MASH"),
        (XML.replace("<RECIPE>", "<RECIPE><MASH/></RECIPE><RECIPE>"), "one RECIPE with its MASH"),
        (XML.replace("<STEP_TEMP>66", "<STEP_TEMP>warm"), 'STEP_TEMP: found "warm"'),
        (XML.replace("<STEP_TEMP>66", "<STEP_TEMP>nan"), 'STEP_TEMP: found "nan"'),
        (XML.replace("<STEP_TEMP>66", "<STEP_TEMP>6_6"), 'STEP_TEMP: found "6_6"'),
        (XML.replace("<STEP_TEMP>66", "<STEP_TEMP>152"), "Fahrenheit"),
        (XML.replace("<STEP_TIME>60</STEP_TIME>", ""), "STEP_TIME: found nothing"),
        (XML.replace("<AMOUNT>4.5", "<AMOUNT>-4.5"), "mass"),
        ("<x>" + " " * 2_000_000 + "</x>", "at most 1024 kB"),
    ],
)
def test_hostile_or_wrong_xml(tmp_path: Path, content: str | bytes, says: str) -> None:
    """Document types, entities, endless nesting, other shapes and wrong numbers are refused in words."""
    assert says in refusal(tmp_path, content, "trial.xml")


def changed(path: tuple[str | int, ...], value: object) -> dict[str, Any]:
    document: dict[str, Any] = copy.deepcopy(JSON)
    here: Any = document["beerjson"]["recipes"][0]
    for part in path[:-1]:
        here = here[part]
    here[path[-1]] = value
    return document


STEP1 = ("mash", "mash_steps", 0)


@pytest.mark.parametrize(
    ("content", "says"),
    [
        ("{", "no JSON"),
        ("[]", "an object"),
        ("{}", "beerjson: found nothing"),
        ('{"beerjson": {"recipes": []}}', "one recipe, or one mash"),
        ('{"beerjson": {"version": NaN}}', "NaN is no number"),
        ('{"beerjson": {}, "beerjson": {}}', "stands twice"),
        ("[" * 100_000, "no JSON"),
        ('{"a": ' + "9" * 5000 + "}", "no JSON"),
        (b"\xff\xfe{}", "no JSON"),
        (changed((*STEP1, "step_temperature"), 66), "step_temperature"),
        (changed((*STEP1, "step_temperature"), unit(66, "K")), "unit one of"),
        (changed((*STEP1, "step_temperature"), unit("66", "C")), "step_temperature"),
        (changed((*STEP1, "step_temperature"), unit(True, "C")), "step_temperature"),
        (json.dumps(JSON).replace('"value": 65}', '"value": 1e999}'), "step_temperature"),
        (changed((*STEP1, "step_temperature"), unit(152, "C")), "Fahrenheit"),
        (changed((*STEP1, "step_time"), unit(0, "min")), "time"),
        (changed((*STEP1, "step_time"), unit(10, "hr")), "4 h"),
        (changed((*STEP1, "type"), 3), "type"),
        (changed(("mash", "mash_steps"), []), "at least one"),
        (changed(("mash", "mash_steps"), "rest"), "a list"),
        (changed(("mash",), None), "mash: found nothing"),
        (changed(("name",), ["x"]), "name"),
    ],
)
def test_wrong_json(tmp_path: Path, content: object, says: str) -> None:
    """Other shapes, units, values and kinds of number are refused with their place."""
    assert says in refusal(tmp_path, content)


@pytest.mark.parametrize(
    ("litres", "name"), [(1.0, "l"), (3.785411784, "gal"), (0.56826125, "ipt"), (117.347765304, "bbl")]
)
def test_units_of_the_json_standard(tmp_path: Path, litres: float, name: str) -> None:
    """The same water in litres, US gallons, imperial pints and barrels is the same water."""
    program = load(tmp_path, changed((*STEP1, "amount"), unit(20 / litres, name)))
    assert program.liquor.volume_l == pytest.approx(20.0, abs=0.001)


def test_check_reads_both_formats(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The command reads either format by its ending and shows the notes."""
    paths = [written(tmp_path, "a.json", json.dumps(JSON)), written(tmp_path, "b.xml", XML)]
    assert main(["--config", str(CONFIG), "check", *paths, "--tun", "plover"]) == 0
    out = capsys.readouterr().out
    assert "Curlew trial" in out
    assert "remark: " in out


def test_elements_keep_their_order_and_line() -> None:
    """The parsed tree has names, texts, order and lines, and attributes are left out."""
    root = recipe_xml.parse(b"<a x='1'>\n<b>one</b>\n<b>two</b></a>")
    assert [(e.name, e.text, e.line) for e in root.all("B")] == [("B", "one", 2), ("B", "two", 3)]
    assert root.word("C") == ""


def test_the_malt_sheet_of_a_recipe_goes_along(tmp_path: Path) -> None:
    """Yield, moisture and fine-coarse difference become those of the program; colour is left out by name."""
    sheet = "<YIELD>80.5</YIELD><MOISTURE>4</MOISTURE><COARSE_FINE_DIFF>1.5</COARSE_FINE_DIFF><COLOR>3</COLOR>"
    program = load(tmp_path, XML.replace("<AMOUNT>4.5</AMOUNT>", f"<AMOUNT>4.5</AMOUNT>{sheet}"), "trial.xml")
    line = program.grist[0]
    assert (line.extract, line.moisture, line.fine_coarse) == pytest.approx((0.805, 0.04, 0.015))
    assert any("COLOR does not map" in note for note in program.notes)
    with_yield = copy.deepcopy(JSON)
    grain = with_yield["beerjson"]["recipes"][0]["ingredients"]["fermentable_additions"][0]
    grain |= {"yield": {"fine_grind": unit(81, "%")}, "color": unit(3, "EBC")}
    again = load(tmp_path, with_yield)
    assert again.grist[0].extract == pytest.approx(0.81)
    assert any("color does not map" in note for note in again.notes)


def test_a_grain_that_is_not_certain_is_asked(tmp_path: Path) -> None:
    """A recipe with buckwheat is refused with where to say its kind; with the kind in brackets it is taken."""
    says = refusal(tmp_path, XML.replace("Pale malt", "Buckwheat"), "trial.xml")
    assert "Buckwheat" in says and "behind the name" in says
    named = load(tmp_path, XML.replace("Pale malt", "Buckwheat (sorghum)"), "trial.xml")
    assert named.grist[0].kind == "sorghum"
