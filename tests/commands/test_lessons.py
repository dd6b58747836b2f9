"""Do `check --why`, `compare` and `report` teach the same mash in the same words, each figure with its source?"""

from __future__ import annotations

import json
import re
import shutil
import tomllib
from html import unescape
from html.parser import HTMLParser
from pathlib import Path

import pytest

from controller.brewing.kinetics.comparisons import SHIPPED
from controller.brewing.kinetics.enzyme_lanes import WINDOWS
from controller.brewing.kinetics.figures import FIGURES
from controller.edge.record import line_format
from tests.browser import browser
from tests.commands.called import called
from tests.places import CONFIG
from tests.report.recorded import Recorded, two_rests
from tests.sim import brief

MARKS = {"published", "recalled", "calibrated", "common practice", "own proposal", "arithmetic"}


class Anchors(HTMLParser):
    """Which places does a page name, to which does it link, and which marks stand in each place?"""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.ids: set[str] = set()
        self.links: list[str] = []
        self.marks: dict[str, set[str]] = {}
        self._place, self._bold = "", False
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = dict(attrs)
        if tag == "div" and (place := found.get("id")):
            self._place = place
        self.ids |= {place for place in [found.get("id")] if place}
        if tag == "a":
            self.links.append(str(found["href"]))
        self._bold = tag == "b"

    def handle_data(self, data: str) -> None:
        if self._bold and self._place:
            self.marks.setdefault(self._place, set()).add(data)
            self._bold = False


def flat(text: str) -> str:
    return " ".join(text.split())


def rests_of(page: str) -> list[str]:
    """What each rest did, as the page tells it."""
    told = re.findall(r"<dt>What it did here</dt><dd>(.*?)\. <span", page)
    return [unescape(words) for words in told]


@pytest.mark.parametrize("program", ["sandpiper", "dotterel"])
def test_check_teaches_each_rest(program: str, tmp_path: Path) -> None:
    """Terminal and page tell for each rest what it is for, what it did and what would change, in the same words."""
    code, out, _ = called("check", program, "--why", "--html", str(tmp_path / "l.html"))
    page = (tmp_path / "l.html").read_text(encoding="utf-8")
    steps = tomllib.loads((CONFIG / "programs" / f"{program}.toml").read_text(encoding="utf-8"))["step"]
    taught = ["dough-in", *(step["name"] for step in steps if step.get("kind") != "keep")]
    assert code == 0 and re.findall(r"^  \d+\. ([\w -]+), ", out, re.MULTILINE) == taught
    assert len(rests_of(page)) == len(taught)
    for words in rests_of(page):
        assert flat(words).replace("°C", "degC") in flat(out)
    assert page.count("What would change") == len(taught) - 1 - (program == "dotterel")  # where it lands is no rest
    assert page.count("<svg") == 2 and "<script" not in page


def test_every_figure_has_its_source_in_one_click(tmp_path: Path) -> None:
    """Each link of the page leads to a place on it that has at least one of the marks; none of them is empty."""
    called("check", "redstart", "--html", str(tmp_path / "l.html"))
    found = Anchors((tmp_path / "l.html").read_text(encoding="utf-8"))
    targets = {link.removeprefix("#") for link in found.links}
    assert targets and all(link.startswith("#") for link in found.links)
    assert targets <= found.ids and targets <= set(found.marks)
    assert set().union(*found.marks.values()) <= MARKS
    assert {f"s-window-of-{one.name.replace(' ', '-')}" for one in WINDOWS} <= targets


def test_every_figure_has_its_source_with_one_flag() -> None:
    """`--sources` lists each figure and window with a mark; without it the page says that there is such a flag."""
    plain, told = called("check", "linnet", "--why")[1], called("check", "linnet", "--why", "--sources")[1]
    assert "--sources names where each figure and window comes from" in plain and "recalled:" not in plain
    listed = told[told.index("Where each figure and window comes from") :]
    for name in (*FIGURES, *(f"window of {one.name}" for one in WINDOWS)):
        after = listed[listed.index(f"    {name}\n") :].splitlines()[1].strip()
        assert after.split(":")[0] in MARKS, name


def test_an_added_enzyme_withholds_its_lane_and_words(config: Path) -> None:
    """With glucanase added the malt's own has no lane and no word, the wort's figures stand; with a starch enzyme they
    do not."""
    path = config / "programs" / "bittern.toml"
    text = path.read_text(encoding="utf-8").replace('aim = "balanced"', 'aim = "balanced"\nenzyme = true')
    path.write_text(text, encoding="utf-8")
    out = called("check", "bittern", "--why", config=config)[1]
    assert "it is added: what the malt has is not told apart" in out and "beta-glucanase fading" not in out
    without = json.loads(called("check", "bittern", "--json", config=config)[1])["prediction"]["withheld"]
    assert "glucanase is added" in [one["why"] for one in without if one["what"] == "glucanase"]
    path.write_text(text.replace("enzyme = true", "starch_enzyme = true"), encoding="utf-8")
    found = json.loads(called("check", "bittern", "--json", config=config)[1])["prediction"]
    assert found["apparent_limit_pct"] is None
    assert {one["what"] for one in found["withheld"]} == {"limit", "extract", "iodine"}
    assert found["withheld"][0]["why"] == "added enzymes are outside the model"


# ---------------------------------------------------------------- compare


@pytest.mark.parametrize("name", SHIPPED)
def test_each_shipped_comparison_is_told_and_drawn(name: str, tmp_path: Path) -> None:
    """Curves over each other, figures side by side, the verdict, and every mash by itself, on terminal and page."""
    code, out, _ = called("compare", name, "--html", str(tmp_path / "c.html"))
    page = (tmp_path / "c.html").read_text(encoding="utf-8")
    found = json.loads(called("compare", name, "--json")[1])
    assert code == 0 and len(found["mashes"]) == len(re.findall(r"^[A-D]  ", out, re.MULTILINE)) / 2
    for words in found["verdict"]:
        assert words.replace("°C", "degC") in flat(out) and words in unescape(page)
    assert page.count("<svg") == 1 + 3 * len(found["mashes"])
    anchors = Anchors(page)
    assert {link.removeprefix("#") for link in anchors.links} <= set(anchors.marks)


def test_compare_lists_what_ships_and_says_what_it_wants() -> None:
    """Without a mash the three are listed; one program alone, water, and a name that is not there are all told."""
    assert [line.split()[0] for line in called("compare")[1].splitlines()] == list(SHIPPED)
    assert called("compare", "linnet")[0] == 2
    code, _, err = called("compare", "linnt", "water-trial", "99")
    assert code == 2 and "linnt" in err and "water alone" in err and "99" in err


def test_two_days_over_each_other(tmp_path: Path, config: Path) -> None:
    """Two runs on record: each is taught by its own temperatures, `report --why` says the same of one of them."""
    folder = config.parent / "data" / "record" / "gannet"
    folder.mkdir(parents=True)
    one = Recorded(tmp_path / "bench")
    one.until("idle")
    one.bench.start(two_rests())
    one.until("dough_in")
    one.answer(answer="begin")
    one.run(60)
    one.answer(answer="yes")
    one.until("resting")
    one.run(120)
    one.scribe.writer.close()
    first = next((tmp_path / "bench").glob("*-run.jsonl"))
    shutil.copy(first, folder / "00000004-run.jsonl")
    (folder / "00000005-run.jsonl").write_bytes(renamed(first.read_bytes(), one.bench.state.run.begun.id))
    code, out, err = called("compare", "4", "5", config=config)
    assert code == 0, err
    assert "run 4" in out and "run 5" in out and "step begins" not in out
    taught = called("report", "5", "--why", config=config)[1]
    did = re.search(r"here +(.*)", taught[taught.index("2. ") :])
    assert did is not None and did[1] in out


def renamed(journal: bytes, run_id: str) -> bytes:
    """The same journal of another run."""
    lines = [line_format.parse(raw) for raw in journal.splitlines()]
    return b"".join(line_format.line(json.loads(json.dumps(values).replace(run_id, "another"))) for values in lines)


@pytest.mark.browser
@pytest.mark.parametrize(
    "words", [("dryrun", "brief", "--report"), ("compare", "modification", "--html")], ids=lambda words: words[0]
)
def test_the_page_is_legible_everywhere(words: tuple[str, ...], tmp_path: Path, config: Path) -> None:
    """In light, dark and on a narrow screen axe is content, each drawing is seen, nothing runs over the edge, and
    nothing is asked for."""
    path = tmp_path / "l.html"
    assert called(*words, str(path), config=brief.laid(config))[0] == 0
    assert "What it did here" in path.read_text(encoding="utf-8")
    with browser() as page:
        for width, dark in ((1100, False), (1100, True), (390, False)):
            page.look(width, 844, dark, phone=width < 500)
            page.open(path.as_uri())
            assert page.complaints() == []
            assert page.eval("document.documentElement.scrollWidth") <= width
            assert page.eval("document.querySelectorAll('figure.drawn').length") > 0
            assert page.eval("[...document.querySelectorAll('figure.drawn')].every(one => one.clientHeight > 100)")
        assert [address for address in page.asked if not address.startswith("file:")] == []
