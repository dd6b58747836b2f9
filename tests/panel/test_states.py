"""Every state and dialog of the page, on every width, light and dark: nothing cut, nothing small, nothing for axe."""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from tests.browser import Browser, browser
from tests.panel import acts
from tests.panel.scenes import Scene, as_bytes, history, scenes
from tests.panel.stage import Stage, stage

pytestmark = pytest.mark.browser
PICTURES = os.environ.get("UNDERBACK_PICTURES", "")
WIDTHS = (1280, 768, 390, 360)
LOW_PX, WET_PX = 44, 60
DRAWN = "new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))"

# Drawn once: what is wider than its box or the screen without being something that scrolls, how high are the buttons,
# and where does Hold stand?
MEASURED = """new Promise((done) => requestAnimationFrame(() => {
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
  done({
    page: document.documentElement.scrollWidth, cut, buttons: high('button'),
    answers: high('#prompt .answer, .bar button, .row.last button'),
    first: first ? first.clientWidth / first.parentElement.clientWidth : 1,
    hold: Boolean(hold && shows(hold)),
  });
}))"""


@pytest.fixture(scope="module")
def there(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Browser, Stage]]:
    """A broker that serves the page, and a browser that is signed in."""
    with stage(tmp_path_factory.mktemp("broker"), "gannet", speed=4.0) as on, browser() as page:
        on.go()
        page.look(1280, 900)
        acts.enter(page, on, "operator", "wren", wait=False)
        yield page, on


@cache
def past(run: str) -> bytes:
    """Two hours of this run."""
    return history(time.time(), run)


def show(page: Browser, on: Stage, name: str, scene: Scene) -> None:
    """This state, fresh, with two hours behind it and its dialog open."""
    now = time.time()
    page.eval("document.querySelector('#ask').close('no')")
    for part, payload in (
        ("startable", as_bytes(scene.startable) if scene.startable else b""),
        ("history", past(scene.status["run"] or "before") if scene.status["steps"] else b""),
        ("status", as_bytes({**scene.status, "at": now, "version": f"1 {name}", "finish_at": now + 5000.0})),
    ):
        on.client.publish(f"underback/wren/{part}", payload, 1)
    page.wait(acts.says("#about", f"underback 1 {name} "))
    for words in scene.press:
        acts.press(page, words, "main")
    page.eval(DRAWN)


def test_every_state_fits_and_can_be_used(there: tuple[Browser, Stage]) -> None:
    """At 1280, 768, 390 and 360 px nothing is wider than the screen or its box; every button is 44 px high or more,
    every answer, Hold and what a dialog sends 60; the due answer is as wide as its place; axe finds no violation, in
    light and dark by turns; Hold is on the screen wherever it serves, without scrolling."""
    page, on = there
    found: list[str] = []
    for number, (name, scene) in enumerate(scenes().items()):
        page.look(WIDTHS[0], 800)
        show(page, on, name, scene)
        for turn, width in enumerate(WIDTHS):
            page.look(width, 800, dark=(number + turn) % 2 == 1, phone=width < 500)
            measured = page.eval(MEASURED)
            found += [f"{name}, {width}: {what}" for what in _wrong(scene, measured, width)]
            alike = name.startswith("asks") and name not in ("asks dough_in", "asks iodine")
            if turn == number % len(WIDTHS) and not alike:
                found += [f"{name}, {width}: {complaint}" for complaint in page.complaints(all_of_them=True)]
            if PICTURES:
                page.picture(Path(PICTURES) / f"{name.replace(' ', '-')}-{width}.png")
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
