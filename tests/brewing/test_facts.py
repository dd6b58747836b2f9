"""Does every sentence that tells a fact of the trade stand in the table, with its source?"""

from __future__ import annotations

import ast
import re
import tomllib
from collections.abc import Iterator
from typing import get_args

from controller.brewing.source import Mark
from tests.brewing.facts import PAGE, PROGRAMS, facts
from tests.places import CONFIG, ROOT

TABLE = list(facts())
SAID = {fact.says for fact in TABLE}
ADVICE = sorted((ROOT / "controller" / "brewing" / "advice").glob("*.py"))
REASONS = (ROOT / "controller" / "brewing" / "step_purpose.py",)
# A word of the trade in a sentence of the front page makes it a fact, unless the sentence tells of the program.
TRADE = re.compile(r"enzyme|amylase|glucan|protease|starch|ferment|foam|tannin|modified|Mashes")
OF_THE_PROGRAM = re.compile(r"ferments nothing|is an estimate to compare|no starch")


def sentences(path: object) -> Iterator[str]:
    """Every text in a module that is a sentence: it begins large and ends with a full stop. Docstrings are none."""
    tree = ast.parse(ROOT.joinpath(str(path)).read_text(encoding="utf-8"))
    docs = {
        ast.get_docstring(node, clean=False)
        for node in ast.walk(tree)
        if isinstance(node, (ast.Module, ast.ClassDef, ast.FunctionDef))
    }
    for node in ast.walk(tree):
        text = node.value if isinstance(node, ast.Constant) and isinstance(node.value, str) else ""
        if text not in docs and re.fullmatch(r"[A-Z{].* .*\.", text, re.DOTALL):
            yield text


def test_each_fact_has_a_mark_and_a_source() -> None:
    """Published, recalled and calibrated facts name where they stand; the others say of what kind they are."""
    assert len(TABLE) > 150
    for fact in TABLE:
        assert fact.sources, fact
        for source in fact.sources:
            assert source.mark in get_args(Mark), fact
            assert source.where or source.mark not in ("published", "recalled", "calibrated"), fact


def test_every_sentence_of_advice_stands_in_the_table() -> None:
    """What a check may say instead of its rule's own words is there too."""
    found = [text for path in ADVICE for text in sentences(path)]
    assert len(found) > 100
    assert [text for text in found if text not in SAID] == []


def test_every_reason_stands_in_the_table() -> None:
    """Reasons are the only sentences of their module."""
    found = {text for path in REASONS for text in sentences(path)}
    assert len(found) >= 5 and found <= SAID


def test_what_the_shipped_programs_say_stands_in_the_table() -> None:
    """Each `why` of a shipped program with grain is there, and none is there that no program says."""
    whys = set()
    for path in sorted((CONFIG / "programs").glob("*.toml")):
        program = tomllib.loads(path.read_text(encoding="utf-8"))
        whys |= {step["why"] for step in program["step"] if "why" in step and "grist" in program}
    assert whys == {says for says, _ in PROGRAMS}


def test_what_the_pages_say_of_the_trade_stands_in_the_table() -> None:
    """Every line of the table is on a page for people, and no sentence there with a word of the trade is left out;
    files that are shown as examples say nothing of it."""
    pages = [ROOT / "README.md", *sorted(CONFIG.glob("*.md"))]
    texts = [one.read_text(encoding="utf-8") for one in pages if one.name != "reference.md"]  # it lists names of fields
    page, prose = (
        " ".join(" ".join(these).replace("\n> ", "\n").split())
        for these in (texts, [re.sub(r"^```.*?^```", "", text, flags=re.DOTALL | re.MULTILINE) for text in texts])
    )
    told = [says for says, _ in PAGE]
    assert [says for says in told if says not in page] == []
    parts = [part for part in re.split(r"[.;|#]", prose) if TRADE.search(part) and not OF_THE_PROGRAM.search(part)]
    assert len(parts) >= 4
    assert [part for part in parts if not any(says.strip(".") in part for says in told)] == []


def test_the_marks_of_a_lesson_are_those_that_were_promised() -> None:
    """Figures and windows are published, recalled, calibrated or common practice; a width of our own says so."""
    marks = {source.mark for fact in TABLE if fact.where in ("figure", "window") for source in fact.sources}
    assert marks == {"published", "recalled", "calibrated", "common practice", "own proposal"}
    own = [
        fact.says for fact in TABLE if fact.where == "figure" and any(s.mark == "own proposal" for s in fact.sources)
    ]
    assert own == ["range of the limit"]
