"""The whole page end to end, with figures and pictures: python -m tests.panel.end_to_end [FOLDER for the pictures]."""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from pathlib import Path

from tests.browser import Browser, browser
from tests.core.bench import leg
from tests.panel import acts
from tests.panel.real import brewhouse
from tests.panel.stage import Broker, door, stage

MANY = 20
FRAMES_S = 10.0
SPEED = 30.0
FAST, LATE_S = 60.0, 7200.0
# so many seconds of a run stand under the curve
SPAN_S = """(() => {
  const said = document.querySelector('#curve-says')?.innerText ?? '';
  const [, hours, minutes] = said.match(/Curve of (?:(\\d+) h )?(\\d+) min/) ?? [];
  return 3600 * (hours ?? 0) + 60 * (minutes ?? 0);
})()"""
FRESH = "!document.querySelector('[data-stale]') && !document.querySelector('[data-old]')"
SMOOTH_MS = 50.0  # 95 of 100 frames are drawn within this


def told(what: str, figure: str = "") -> None:
    print(f"ok  {what:<58} {figure}", flush=True)


def within(what: str, took_s: float, most_s: float) -> None:
    """Did it take less than it may?"""
    told(what, f"{took_s:.2f} s, at most {most_s:g} s")
    assert took_s < most_s, what


def few(page: Browser, folder: Path) -> None:
    """Two tuns at twenty times real time: curve, trip, prompt, rights, and everything that can go away."""
    with tempfile.TemporaryDirectory() as place, stage(Path(place), "gannet", "plover", speed=20.0) as on:
        legs = (leg("low rest", 52.0, 900.0), leg("maltose rest", 63.0, 2400.0), leg("dextrin rest", 72.0, 1200.0))
        on.tuns["gannet"].begin(*legs, grist_kg=0)
        on.tuns["plover"].begin(*legs)
        on.tuns["plover"].bench.until("dough_in")
        on.go()
        acts.enter(page, on, "operator", "gannet")
        acts.curve_moves(page)
        told("the curve moves")
        within("a trip shows, from the guard's trip to words", acts.trip_shows(page, on, "gannet"), 2.0)
        page.eval("location.hash = 'plover'")
        within("a prompt is answered, from yes to the reply", acts.prompt_answered(page, on, "plover"), 2.0)
        pictures(page, folder)
        within("broker frozen: said", acts.broker_frozen(page, on), 10.0)
        page.eval("location.hash = 'gannet'")
        within("broker gone: said, nothing sent, back by itself", acts.broker_gone(page, on), 10.0)
        within("daemon gone: said, and after a reload too", acts.daemon_gone(page, on), 10.0)
        page.eval("sessionStorage.clear()")
        acts.enter(page, on, "panel", "gannet")
        acts.no_right(page, on, "gannet")
        told("a user without the right is told so")
        page.eval("sessionStorage.clear()")
        acts.wrong_password(page, on)
        told("a wrong password is told")
        page.eval("sessionStorage.clear()")


def pictures(page: Browser, folder: Path) -> None:
    """Screenshots to look at: wide and telephone, light and dark; axe in each."""
    page.eval("location.hash = 'gannet'")
    for width, height, phone in ((1200, 1000, False), (390, 844, True)):
        for dark in (False, True):
            page.look(width, height, dark=dark, phone=phone)
            page.eval("new Promise(done => setTimeout(done, 700))")
            name = f"panel-{'phone' if phone else 'wide'}-{'dark' if dark else 'light'}.png"
            page.picture(folder / name)
            found = page.complaints()
            assert found == [], (name, found)
    page.look()
    told("axe finds nothing serious, wide and telephone, light and dark", str(folder))


def many(page: Browser, folder: Path) -> None:
    """Twenty tuns, each with its status twice a second: how long do frames take?"""
    with tempfile.TemporaryDirectory() as place:
        names = [f"tun{number:02d}" for number in range(1, MANY + 1)]
        with stage(Path(place), *names, speed=4.0) as on:
            for number, name in enumerate(names):
                on.tuns[name].begin(leg("rest", 50.0 + number, 1800.0), grist_kg=0)
            on.go()
            page.look(1200, 1000)
            acts.enter(page, on, "operator", "tun07")
            page.wait(f"document.querySelectorAll('#rail li').length === {MANY}")
            took = sorted(acts.frames(page, FRAMES_S))
            page.picture(folder / "panel-many.png")
            p95, p99 = took[int(0.95 * len(took))], took[int(0.99 * len(took))]
            figures = f"median {statistics.median(took):.1f}, p95 {p95:.1f}, p99 {p99:.1f}, worst {took[-1]:.1f} ms"
            assert p95 < SMOOTH_MS, figures
            told(f"{MANY} tuns, {2 * MANY} statuses a second: frame time", figures)


def real(page: Browser, folder: Path) -> None:
    """The real daemon and a stand-in that loses its probe: started, watched, answered and stopped from the page."""
    with tempfile.TemporaryDirectory() as place:
        broker = Broker(Path(place))
        try:
            with brewhouse(Path(place), broker, "plover", SPEED, "probe_unplugged@1500+40"):
                page.open(broker.page)
                page.eval(door("operator", "plover"))
                _start(page, "linnet")
                told("daemon and stand-in: started from the page", f"{SPEED:g} times real time")
                acts.curve_moves(page)
                page.wait(acts.says("#trips", "Heat is off: G02"), 120.0)
                page.picture(folder / "panel-trip.png")
                told("its trip is shown in words")
                page.wait("document.querySelector('#trips').children.length === 0", 60.0)
                page.wait(acts.says("#prompt", "Begin dough-in?"), 120.0)
                for question, answer in (("Begin dough-in?", "Begin dough-in"), ("grain all in", "Grain is in")):
                    page.wait(acts.says("#prompt", question), 30.0)
                    acts.press(page, answer, "#prompt")
                    page.wait(acts.says("#answer", "Accepted"))
                told("its questions are answered")
                page.wait("document.querySelector('#enzymes .pct')", 120.0)
                told("its enzymes are shown once the grain is in")
                acts.press(page, "Stop", "#orders")
                acts.confirm(page)
                page.wait(acts.says("#headline", "is stopped"), 30.0)
                told("it is stopped from the page")
        finally:
            broker.stop()


def late(page: Browser, folder: Path) -> None:
    """Two hours into a run, after a trip: how long does whoever opens the page wait for the whole curve and the last
    events? Also on a broker that was restarted and forgot everything, and from a daemon that was restarted too."""
    with tempfile.TemporaryDirectory() as place:
        broker = Broker(Path(place))
        try:
            with brewhouse(Path(place), broker, "gannet", FAST, "probe_unplugged@6000+40") as daemon_again:
                page.open(broker.page)
                page.eval(door("operator", "gannet"))
                _start(page, "sandpiper")
                page.wait(f"{SPAN_S} > {LATE_S}", 2.0 * LATE_S / FAST)
                opened(page, broker, "opened two hours into the run")
                broker.stop()
                broker.start()
                page.wait(FRESH, 60.0)
                opened(page, broker, "on a broker that was restarted and kept nothing")
                daemon_again()
                page.wait(FRESH, 60.0)
                opened(page, broker, "from a daemon that was restarted")
                page.picture(folder / "panel-late.png")
        finally:
            broker.stop()


def opened(page: Browser, broker: Broker, what: str) -> None:
    """A page that knows nothing is opened: the whole curve and the last events stand there in time."""
    page.open("about:blank")
    page.open(broker.page)
    began = time.monotonic()
    page.wait(f"{SPAN_S} > {LATE_S - 240:g} && document.querySelectorAll('#events li').length > 10", 60.0)
    within(what, time.monotonic() - began, 2.0)


def _start(page: Browser, program: str) -> None:
    """Choose a program and fill in the form as a person at the tun would, and start it."""
    there = f"Boolean(document.querySelector('#ask [value={program}]'))"
    page.wait("Boolean(document.querySelector('[data-order=start]'))", 30.0)
    acts.press(page, "Start a program", "#orders")
    while not page.eval(there):  # the daemon has just begun
        acts.press(page, "No, back", "#ask")
        page.eval("new Promise(done => setTimeout(done, 500))")
        acts.press(page, "Start a program", "#orders")
    page.eval(
        "(() => { const f = document.querySelector('#ask-form').elements;"
        f"document.querySelector('#ask [value={program}]').click();"
        "f.hand_c.value = document.querySelector('#temp').textContent; f.here.checked = f.attended.checked = true;"
        "document.querySelector('#ask .yes').click(); })()"
    )
    page.wait(acts.says("#answer", "Accepted"))


def main() -> int:
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(tempfile.mkdtemp(prefix="panel-"))
    folder.mkdir(parents=True, exist_ok=True)
    with browser() as page:
        few(page, folder)
        many(page, folder)
        page.eval("sessionStorage.clear()")
        real(page, folder)
        page.eval("sessionStorage.clear()")
        late(page, folder)
        assert page.thrown == [], page.thrown
        told("no script error in all of it")
    return 0


if __name__ == "__main__":
    sys.exit(main())
