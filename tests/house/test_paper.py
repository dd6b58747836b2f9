"""The paper is short, where it should be, and names only what is there."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from tests.places import ROOT

GUIDE = ROOT / "DEVELOPERS.md"
GUIDE_LINES, ROOM_LINES, DECISION_LINES = 150, 130, 15
PATH = (
    "README.md",
    "DEVELOPERS.md",
    "controller/core/README.md",
    "controller/core/tick.py",
    "controller/core/guard/README.md",
)
PATH_LINES = 800  # with one interlock of up to 100 lines a newcomer reads under 900
TO_BE_MADE = {"operator/service.toml", "learned-worts.toml", "board_config.py"}  # these are made later
ROOMS = sorted(
    {path.parent for top in ("controller", "sim") for path in (ROOT / top).rglob("*.py") if path.name != "__init__.py"}
    - {ROOT / "controller"}
    - set((ROOT / "controller" / "commands").iterdir())  # a folder there is a command, not a room
)
PAGES = [
    GUIDE,
    *(ROOT / name / "README.md" for name in ("", "config", "config/mosquitto", "config/panel", "systemd", "tests")),
    *sorted(set((ROOT / "config").glob("*.md")) - {ROOT / "config" / "reference.md"}),  # printed
    *(r / "README.md" for r in ROOMS),
]
FILE = re.compile(r"(?:[\w@.-]+/)*[\w@-]+\.(?:py|toml|md|sh|json|js|tun|service|conf)|(?:[\w.-]+/)+")


def name(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def lines(path: Path) -> list[str]:
    return path.read_text(encoding="utf-8").splitlines()


def purpose(text: str) -> str:
    """The first paragraph below the heading."""
    parts = [part.strip() for part in text.split("\n\n")]
    return parts[1] if len(parts) > 1 and parts[0].startswith("# ") else ""


def prose(text: str) -> str:
    """A page without what is typed or drawn, and without its links' addresses."""
    return re.sub(r"```.*?```", "", text, flags=re.DOTALL)


def quoted(text: str) -> set[str]:
    """Which files and folders does a page name, in code quotes or as the aim of a link?"""
    marked = re.findall(r"`([^`\n]+)`", prose(text)) + re.findall(r"\]\(([^)#]+)\)", prose(text))
    return {mark for mark in marked if FILE.fullmatch(mark)}


def there(mark: str, page: Path, marks: set[str]) -> bool:
    """Is it below the page, the top, or a folder from which the page names a file in full?"""
    beside = {
        (ROOT / other).parent for other in marks if other.startswith(("controller/", "sim/", "tests/", "config/"))
    }
    return any((base / mark).exists() for base in {page.parent, ROOT, *beside})


def decisions(text: str) -> list[str]:
    """Each decision of a page, as it stands there."""
    part = text.partition("\n## Decisions\n")[2].partition("\n## ")[0]
    return [found for found in re.split(r"\n(?=\*\*)", part) if found.startswith("**")]


def test_the_guide_is_short() -> None:
    """DEVELOPERS.md is a guide, neither a diary nor a table of figures."""
    assert len(lines(GUIDE)) <= GUIDE_LINES


def test_the_guide_draws_the_floors_of_the_contracts() -> None:
    """The floors in the guide are those that the import contracts hold, in their order."""
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    contracts = settings["tool"]["importlinter"]["contracts"]
    drawn = {c["containers"][0]: " > ".join(c["layers"]) for c in contracts if c["type"] == "layers"}
    told = dict(re.findall(r"^- ([\w.]+): `(.+)`$", GUIDE.read_text(encoding="utf-8"), flags=re.MULTILINE))
    assert told == drawn


@pytest.mark.parametrize("room", ROOMS, ids=name)
def test_each_room_says_on_one_page_what_it_is_for(room: Path) -> None:
    """A folder with modules has a README.md of about a screen that begins with a sentence in words."""
    page = room / "README.md"
    begins = purpose(page.read_text(encoding="utf-8"))
    assert re.match(r"[A-Z][^|#]+[.?:]", begins), begins
    assert len(lines(page)) <= ROOM_LINES


@pytest.mark.parametrize("page", PAGES, ids=name)
def test_each_page_names_only_what_is_there(page: Path) -> None:
    """A file or folder that a page names in code quotes or links to exists."""
    marks = quoted(page.read_text(encoding="utf-8")) - TO_BE_MADE
    assert [mark for mark in sorted(marks) if not there(mark, page, marks)] == []


@pytest.mark.parametrize("page", PAGES, ids=name)
def test_each_decision_is_short_and_dated(page: Path) -> None:
    """A decision has a title with its date, and at most fifteen lines."""
    for decision in decisions(page.read_text(encoding="utf-8")):
        assert re.match(r"\*\*[^*]+ \(\d{4}-\d\d\)\.\*\* ", decision), decision
        assert len(decision.strip().splitlines()) <= DECISION_LINES, decision


def test_a_newcomer_reads_under_nine_hundred_lines() -> None:
    """From the README to the guard's page, with room for one interlock."""
    assert sum(len(lines(ROOT / part)) for part in PATH) <= PATH_LINES
    guide = GUIDE.read_text(encoding="utf-8")
    places = [guide.find(f"`{part}`") for part in PATH if part != "DEVELOPERS.md"]
    assert places == sorted(places) and -1 not in places


def test_the_checks_bite() -> None:
    """A page that names a lost file, opens with a table, or holds a decision without its date would be found."""
    assert not there("tick.py", GUIDE, set()) and there("tick.py", GUIDE, {"controller/core/state.py"})
    assert not there("controller/core/lost.py", GUIDE, {"controller/core/lost.py"})
    assert quoted("see `controller/core/lost.py`, [a page](lost.md) and `tick`") == {
        "controller/core/lost.py",
        "lost.md",
    }
    assert purpose("# room\n\nWhat is it for? This.\n\n## Decisions") == "What is it for? This."
    assert decisions("# room\n\n## Decisions\n\n**No date.** Why.\n\n**Dated (2026-11).** Why.\n") == [
        "**No date.** Why.\n",
        "**Dated (2026-11).** Why.\n",
    ]
