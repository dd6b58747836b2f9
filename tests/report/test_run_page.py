"""The report page: whole, small, quick, safe; on two sheets of paper; for those who see and those who hear it."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
import xml.etree.ElementTree as ET
from dataclasses import replace
from html import unescape
from pathlib import Path
from types import FrameType
from typing import Any

import pytest

from controller.report import from_rows, run_charts, write
from controller.report.run_page import html
from controller.report.svg import LEFT, RIGHT, WIDTH
from tests.browser import browser
from tests.report import paper
from tests.report.runs import EVENTS, EVIL, GAP, MANY, PLAN, record, rows

PICTURES = os.environ.get("UNDERBACK_PICTURES", "")
# what holds more than it shows?
SLIDES = """[...document.querySelectorAll('main *')].filter((e) => e.checkVisibility() && e.clientWidth &&
  !e.closest('svg, #zoom') && getComputedStyle(e).display !== 'inline' && e.scrollWidth > e.clientWidth + 1)
  .map((e) => `${e.tagName} ${e.className} holds ${e.scrollWidth} in ${e.clientWidth}`)"""
LARGEST_BYTES, CALLS_A_ROW = 500_000, 20


def test_three_hours_are_small_and_little_work(tmp_path: Path) -> None:
    """A 3 h run at 1 Hz gives less than 500 kB, by at most 20 calls a row (own bench: 19), whatever the machine."""
    run, calls = record(), 0
    assert len(run.rows) > 10_600

    def count(frame: FrameType, event: str, value: object) -> None:
        nonlocal calls
        calls += event == "call"

    write(tmp_path / "first.html", run)  # what is read and made once is no work of a row
    sys.setprofile(count)
    try:
        write(tmp_path / "r.html", run)
    finally:
        sys.setprofile(None)
    assert (tmp_path / "r.html").stat().st_size < LARGEST_BYTES
    assert 0 < calls < CALLS_A_ROW * len(run.rows)


def test_text_of_people_stays_text() -> None:
    """A title and a remark that try to end the script stand in the page as text only."""
    page = html(record())
    assert EVIL not in page
    assert page.count("</script>") == 2
    assert EVIL in unescape(page)


def test_what_is_drawn_is_called_what_it_is() -> None:
    """A dry run draws the simulated mash, a real one what was measured, in key, picture and zoom alike."""
    for dry, name, other in ((True, "simulated", "measured"), (False, "measured", "simulated")):
        page = html(record(dry=dry))
        assert f"</svg> {name}</li>" in page and f"</svg> {other}</li>" not in page
        assert f"Mash temperature, planned and {name}" in page and f'"curve":"{name}"' in page


def test_the_pictures_are_well_formed_and_described() -> None:
    """Each SVG parses, has a title and a description, and the course says the temperatures in words."""
    drawn = re.findall(r'<svg class="chart(?: small)?".*?</svg>', html(record()), re.S)
    assert len(drawn) == 6  # each for a broad page and for a telephone
    for one in drawn:
        tree = ET.fromstring(one)
        assert tree.find("title") is not None
        assert tree.find("desc") is not None
    assert "maltose rest 63 °C" in drawn[0]


def test_an_added_enzyme_has_no_curve() -> None:
    """Where glucanase was added what the malt's own did is not drawn; elsewhere it is."""
    run = record()
    run = replace(run, enzymes={"glucanase_left_pct": [50.0] * len(run.rows)})
    hidden = [{"what": "glucanase", "why": "glucanase is added"}]
    added = replace(run, prediction={**(run.prediction or {}), "withheld": hidden})
    assert 'class="glucanase"' in run_charts.enzymes(run) and 'class="glucanase"' not in run_charts.enzymes(added)


def test_every_sample_is_in_the_zoom_data() -> None:
    """The packed samples unpack to the rows: times, temperatures to a hundredth, heat to a percent."""
    run = record()
    block = re.search(r'id="samples">(.*?)</script>', html(run), re.S)
    assert block is not None
    packed = json.loads(block[1])

    def unpack(values: list[object]) -> list[object]:
        return [v for entry in values for v in ([entry[0]] * entry[1] if isinstance(entry, list) else [entry])]

    times, at = [], 0
    for step in unpack(packed["t"]):
        assert isinstance(step, int)
        at += step
        times.append(at)
    assert times == [row.t_s for row in run.rows]
    assert unpack(packed["mash"]) == [round(100 * row.mash_c) for row in run.rows if row.mash_c is not None]
    assert unpack(packed["heat"]) == [round(100 * row.duty) for row in run.rows]


def test_what_happened_is_told() -> None:
    """Trip, correction with its author, gap, shortened rest, energy and the wort estimate stand in the page."""
    page = unescape(html(record()))
    for text in (
        "No mash reading for 10 s; limit 10 s.",
        "maltose rest is 10 min longer [technician]",
        "1:23:20 to 1:25:20 (2.0 min)",
        "1 gap in the data, 2.0 min",
        f"{PLAN[0].target_c:.1f} °C planned, ",
        " °C at dough-in",
        "3 maltose rest<title>",
        "5.70 kWh",
        "82 % (78 to 86 %)",
        "91 % of what the malt holds by its sheet, between 84 and 98 %",
        "between 31 and 62 min after dough-in",
    ):
        assert text in page
    assert '<rect class="gap"' in page
    assert '<rect class="held"' in page


def test_an_empty_record_is_a_page_too() -> None:
    """A run that ended before its first sample still gives a page that says that nothing was recorded; the line about
    gaps is about this run."""
    whole = [{**row, "t_s": float(i)} for i, row in enumerate(rows())]
    words: Any = {"title": "t", "tun": "gannet", "program": "p"}
    page = html(from_rows(whole, PLAN, **words, state="complete"))
    assert "No gaps in the data." in page and "gap in the data" not in page
    page = html(from_rows([], PLAN, **words, state="aborted"))
    assert "No temperature was recorded." in page and "Nothing was recorded." in page


def test_reports_cost_nothing_until_one_is_made() -> None:
    """Importing the package brings neither jinja2 nor the page."""
    late = ("jinja2", "controller.report.run_page")
    code = f"import sys, controller.report; sys.exit(any(name in sys.modules for name in {late}))"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


@pytest.mark.browser
def test_in_a_browser(tmp_path: Path) -> None:
    """Light, dark and on a telephone: nothing asked of any network, no script error, nothing serious found by axe;
    the zoom opens and zooms; without script the picture is there all the same.
    """
    path, bad = tmp_path / "r.html", tmp_path / "bad.html"
    write(path, record())
    bad.write_text("<!doctype html><html><body><img src='data:,'><p style='color:#ccc'>pale</p></body></html>")
    with browser() as page:
        page.open(bad.as_uri())
        assert len(page.complaints()) >= 2  # so that finding nothing means something
        page.open(path.as_uri())
        for dark, width in ((False, 1100), (True, 1100), (False, 390), (True, 360)):
            page.look(width, 900, dark=dark, phone=width < 500)
            assert page.complaints(all_of_them=True) == []
            assert page.eval("document.documentElement.scrollWidth") <= width
            assert page.eval(SLIDES) == []
            if PICTURES:
                page.picture(Path(PICTURES) / f"report-{width}.png", whole=True)
        page.look()
        page.eval("document.querySelector('#zoom summary').click()")
        page.wait("document.querySelector('#zoom canvas')")
        page.eval("document.querySelector('#zoom button').click()")
        assert page.complaints() == []
        assert page.thrown == []
        assert [address for address in page.asked if not address.startswith(("file:", "data:", "blob:"))] == []
        page.call("Emulation.setScriptExecutionDisabled", value=True)
        page.open(path.as_uri())
        page.call("Emulation.setScriptExecutionDisabled", value=False)
        assert page.eval("document.querySelector('#zoom').hidden")
        assert page.eval("document.querySelector('#drawn path.measured').getTotalLength()") > 500


@pytest.mark.browser
def test_the_zoom_has_gaps_and_mean_heat(tmp_path: Path) -> None:
    """No line is drawn across the gap, and a relay's tenth of the heat is a low bar, no solid block."""
    path = tmp_path / "r.html"
    relay = [{**row, "duty": 1.0 if row["t_s"] % 20 < 2 else 0.0} for row in rows()]
    write(path, from_rows(relay, PLAN, title="t", tun="gannet", program="p", state="complete", dry=False))
    with browser() as page:
        page.open(path.as_uri())
        page.look(1100, 900)
        page.eval("uPlot = class extends uPlot { constructor(...all) { super(...all); window.made = this; } }")
        page.eval("document.querySelector('#zoom summary').click()")
        page.wait("window.made?.series[1]._paths")
        page.eval("window.second = (x) => 60 * made.posToVal((x - made.bbox.left) / devicePixelRatio, 'x')")
        gaps = page.eval("made.series[1]._paths.gaps.map((edges) => edges.map(second))")
        assert [[round(s / 60) for s in edges] for edges in gaps] == [[round(s / 60) for s in GAP]]
        assert 0.05 < page.eval(f"({SHARE_OF_HEAT})()") < 0.15


# of the lower quarter of the picture, in which heat is drawn: how much of it has heat's colour?
SHARE_OF_HEAT = """() => {
  const { left, top, width, height } = made.bbox, tall = Math.round(height / 4);
  const ink = made.ctx.getImageData(left, top + height - tall, width, tall).data;
  let heat = 0;
  for (let i = 0; i < ink.length; i += 4) heat += ink[i + 3] > 100 && ink[i] - ink[i + 2] > 60;
  return heat / (width * tall);
}"""


@pytest.mark.browser
def test_it_prints_on_few_sheets_that_are_full(tmp_path: Path) -> None:
    """The usual run, and one with 300 long lines of events and a dozen steps, take three A4 pages at most, and none of
    them is left half empty."""
    long_steps = [step._asdict() for step in record().steps] * 2
    cases = {"usual": record(), "crowded": record(events=EVENTS + MANY, steps=long_steps)}
    with browser() as page:
        for name, run in cases.items():
            write(tmp_path / f"{name}.html", run)
            page.open((tmp_path / f"{name}.html").as_uri())
            filled = paper.filled(page.pdf())
            assert len(filled) <= 3, name
            assert min(filled) >= 0.5, (name, filled)


def test_the_gap_is_where_it_was() -> None:
    """The shaded gap in the picture lies between the two samples around it."""
    page = html(record())
    found = re.search(r'<rect class="gap" x="([\d.]+)" y="[\d.]+" width="([\d.]+)"', page)
    assert found is not None
    per_s = (WIDTH - LEFT - RIGHT) / record().ended_s
    assert abs(float(found[1]) - (LEFT + GAP[0] * per_s)) < 0.1
    assert abs(float(found[2]) - (GAP[1] - GAP[0]) * per_s) < 0.1
