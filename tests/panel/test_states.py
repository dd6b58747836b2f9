"""Every state and dialog of the page, on every width, light and dark: nothing cut, nothing small, nothing for axe.

The page stands four times side by side, once in each width, so that every state is shown once.
"""

from __future__ import annotations

import json
import os
import time
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from tests.browser import AXE, Browser, browser
from tests.panel import acts
from tests.panel.scenes import Scene, as_bytes, history, scenes
from tests.panel.stage import Stage, stage

pytestmark = pytest.mark.browser
PICTURES = os.environ.get("UNDERBACK_PICTURES", "")
WIDTHS = (1280, 768, 390, 360)
LOW_PX, WET_PX = 44, 60
HIGH = 800
DRAWN = "new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))"
EACH = "Array.from(frames, (_, n) => frames[n])"
SIDE_BY_SIDE = f"""(() => {{
  document.body.innerHTML = '';
  document.body.style = 'margin:0;display:flex';
  for (const width of {list(WIDTHS)}) {{
    const frame = document.createElement('iframe');
    Object.assign(frame, {{ width, height: {HIGH}, style: 'border:0;flex:none', src: 'index.html#wren' }});
    document.body.append(frame);
  }}
}})()"""

# In each: what is wider than its box or the screen without being something that scrolls, how high are the buttons,
# and where does Hold stand?
MEASURED = """(() => {
  const wide = document.documentElement.clientWidth, ask = document.querySelector('#ask');
  const root = ask.open ? ask : document.body;
  const cut = root.scrollWidth > root.clientWidth + 1 ? [`all of it holds ${root.scrollWidth}`] : [];
  const slides = (e) => ['auto', 'scroll'].includes(getComputedStyle(e).overflowX);
  const within = (e) => e && e !== root && (slides(e) || within(e.parentElement));
  for (const e of root.querySelectorAll('*')) {
    if (!e.checkVisibility() || e.closest('.unseen, .skip, svg, #plot') || within(e.parentElement)) continue;
    const box = e.getBoundingClientRect(), block = getComputedStyle(e).display !== 'inline' && e.clientWidth > 0;
    const what = `${e.tagName} ${e.className}`;
    if (box.right > wide + 0.5 || box.left < -0.5) cut.push(`${what} from ${box.left} to ${box.right}`);
    else if (block && !slides(e) && e.scrollWidth > e.clientWidth + 1) cut.push(`${what} holds ${e.scrollWidth}`);
  }
  const seen = (where) => [...root.querySelectorAll(where)].filter((e) => e.checkVisibility());
  const high = (where) => seen(where).map((e) => Math.round(e.getBoundingClientRect().height));
  const [first] = seen('#prompt .first');
  const hold = document.querySelector('[data-order=hold]')?.getBoundingClientRect();
  const whole = (box) => 0 <= box.left && box.right <= innerWidth && 0 <= box.top && box.bottom <= innerHeight;
  const shows = (box) => box.width > 0 && box.height > 0 && whole(box);
  return {
    page: document.documentElement.scrollWidth, cut, buttons: high('button'),
    answers: high('#prompt .answer, .bar button, .row.last button'),
    first: first ? first.clientWidth / first.parentElement.clientWidth : 1,
    hold: Boolean(hold && shows(hold)),
  };
})()"""
LIT = """(() => {
  const light = document.querySelector('#light');
  while (document.documentElement.dataset.light !== WANTED) light.click();
})()"""


@pytest.fixture(scope="module")
def there(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Browser, Stage]]:
    """A broker that serves the page, and a browser that shows it in every width, signed in."""
    with stage(tmp_path_factory.mktemp("broker"), "gannet", speed=4.0) as on, browser() as page:
        on.go()
        page.look(sum(WIDTHS), HIGH)
        acts.enter(page, on, "operator", "wren", wait=False)
        page.call("Page.setBypassCSP", enabled=True)  # the test looks into its own frames; the page allows none
        page.open(on.broker.page.replace("index.html", "panel.css"))
        page.eval(SIDE_BY_SIDE)
        page.wait(f"{EACH}.every(w => w.document.querySelector('#room')?.hidden === false)")
        in_each(page, AXE.read_text(encoding="utf-8") + ";0")
        yield page, on


def in_each(page: Browser, code: str) -> list[Any]:
    """The value of an expression in each of the pages."""
    found: list[Any] = page.eval(f"Promise.all({EACH}.map(w => w.eval({json.dumps(code)})))")
    return found


def every(code: str) -> str:
    """An expression that is true when the expression is, in every page."""
    return f"{EACH}.every(w => w.eval({json.dumps(code)}))"


@cache
def past(run: str) -> bytes:
    """Two hours of this run."""
    return history(time.time(), run)


def show(page: Browser, on: Stage, name: str, scene: Scene) -> None:
    """This state, fresh, with two hours behind it and its dialog open."""
    now = time.time()
    in_each(page, "document.querySelector('#ask').close('no')")
    for part, payload in (
        ("startable", as_bytes(scene.startable) if scene.startable else b""),
        ("history", past(scene.status["run"] or "before") if scene.status["steps"] else b""),
        ("status", as_bytes({**scene.status, "at": now, "version": f"1 {name}", "finish_at": now + 5000.0})),
    ):
        on.client.publish(f"underback/wren/{part}", payload, 1)
    page.wait(every(acts.says("#about", f"underback 1 {name} ")))
    for words in scene.press:
        page.wait(every(f"!!{acts.button(words, 'main')}"))
        in_each(page, f"{acts.button(words, 'main')}.click()")
    page.eval(DRAWN)


def test_every_state_fits_and_can_be_used(there: tuple[Browser, Stage]) -> None:
    """At 1280, 768, 390 and 360 px nothing is wider than the screen or its box; every button is 44 px high or more,
    every answer, Hold and what a dialog sends 60; the due answer is as wide as its place; axe finds no violation, in
    light and dark by turns; Hold is on the screen wherever it serves, without scrolling."""
    page, on = there
    found: list[str] = []
    for number, (name, scene) in enumerate(scenes().items()):
        show(page, on, name, scene)
        in_each(page, LIT.replace("WANTED", json.dumps(("light", "dark")[number % 2])))
        for width, measured in zip(WIDTHS, in_each(page, MEASURED), strict=True):
            found += [f"{name}, {width}: {what}" for what in _wrong(scene, measured, width)]
        if not name.startswith("asks") or name in (
            "asks dough_in",
            "asks iodine",
            "asks liquor",
        ):  # the others look like these
            found += [f"{name}: {complaint}" for complaint in page.complaints(True, f"frames[{number % len(WIDTHS)}]")]
        if PICTURES:
            page.picture(Path(PICTURES) / f"{name.replace(' ', '-')}.png")
    assert found == [], "\n".join(found)
    assert page.thrown == []


def _wrong(scene: Scene, measured: dict[str, Any], width: int) -> list[str]:
    """What of this picture breaks the rules?"""
    return [
        *measured["cut"],
        *([f"the page is {measured['page']} wide"] if measured["page"] > width else []),
        *([f"buttons {measured['buttons']} high"] if min(measured["buttons"]) < LOW_PX else []),
        *([f"answers {measured['answers']} high"] if min(measured["answers"], default=60) < WET_PX else []),
        *(["the due answer is not as wide as its place"] if measured["first"] < 0.99 else []),
        *([] if measured["hold"] or not _offers_hold(scene) else ["Hold is out of sight"]),
    ]


def _offers_hold(scene: Scene) -> bool:
    """Must Hold be whole on the screen, without scrolling? Wherever it serves and no dialog is open."""
    return not scene.press and scene.status["state"] in ("running", "paused")
