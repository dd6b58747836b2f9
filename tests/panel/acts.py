"""What is done on the page and what must be seen then. Used by the short tests and by the long end-to-end run.

Each act returns the seconds (or figures) that it measured.
"""

from __future__ import annotations

import json
import os
import signal
import time

from tests.browser import Browser
from tests.panel.stage import PASSWORD, Stage, door
from tests.waiting import until

ENTER = 13


def text(page: Browser, where: str) -> str:
    """The visible text of an element."""
    return str(page.eval(f"document.querySelector({json.dumps(where)})?.innerText ?? ''"))


def says(where: str, words: str) -> str:
    """An expression that is true when the element's text holds the words."""
    return f"(document.querySelector({json.dumps(where)})?.innerText ?? '').includes({json.dumps(words)})"


def enter(page: Browser, stage: Stage, user: str, tun: str, wait: bool = True) -> None:
    """Sign in, and wait for the first live status."""
    page.open(stage.broker.page)
    page.eval(door(user, tun))
    if not wait:
        page.wait("!document.querySelector('#room').hidden")
        return
    page.wait("document.querySelector('#about')?.textContent.includes('run') && !document.querySelector('[data-old]')")


def press(page: Browser, words: str, within: str = "body") -> None:
    """Press the button with these words."""
    page.wait(f"!!{button(words, within)}")
    page.eval(f"{button(words, within)}.click()")


def button(words: str, within: str) -> str:
    """An expression for the button with these words."""
    return f"[...document.querySelectorAll('{within} button')].find(b => b.innerText.trim() === {json.dumps(words)})"


def confirm(page: Browser) -> None:
    """Say yes in the dialog, by the keyboard."""
    page.wait("document.querySelector('#ask').open")
    page.key("Enter", "\r", ENTER)
    page.wait("!document.querySelector('#ask').open")


def curve_moves(page: Browser) -> None:
    """The picture of the curve and the temperature beside it change while the mash warms."""
    state = "document.querySelector('#plot canvas').toDataURL() + document.querySelector('#temp').textContent"
    before = page.eval(state)
    page.wait(f"{state} !== {json.dumps(before)}")


def trip_shows(page: Browser, stage: Stage, tun: str) -> float:
    """The probe goes silent; once the guard has tripped the page says so in words. Seconds from trip to words."""
    one = stage.tuns[tun]
    bench = one.bench
    with stage.lock:
        bench.probe = False
    until(lambda: one.tripped_at is not None, "the guard trips")
    page.wait(says("#trips", "Heat is off: G02"))
    took = time.monotonic() - (one.tripped_at or 0.0)
    assert bench.state.guard.trips[0].text in text(page, "#trips")
    with stage.lock:
        bench.probe = True
    page.wait("document.querySelector('#trips').children.length === 0")
    return took


def prompt_answered(page: Browser, stage: Stage, tun: str) -> float:
    """A question is read and answered by one press; the run goes on. Seconds from the press to the daemon's reply."""
    bench = stage.tuns[tun].bench
    until(lambda: bench.state.run.prompt is not None, "something is asked")
    page.wait(says("#prompt", "Begin dough-in?"))
    asked = time.monotonic()
    press(page, "Begin dough-in", "#prompt")
    page.wait(says("#answer", "Accepted"))
    took = time.monotonic() - asked
    page.wait(says("#prompt", "grain all in"))
    assert bench.state.run.phase == "adding"
    return took


def no_right(page: Browser, stage: Stage, tun: str) -> None:
    """A user who may only look presses Hold and is told that the broker refuses; nothing reaches the daemon."""
    bench = stage.tuns[tun].bench
    before = (bench.state.run.state, bench.state.orders.accepted + bench.state.orders.refused)
    press(page, "Hold", "#orders")
    page.wait(says("#answer", "this user may look, but not give orders"))
    assert (bench.state.run.state, bench.state.orders.accepted + bench.state.orders.refused) == before


def wrong_password(page: Browser, stage: Stage) -> None:
    """A wrong password is told at the door."""
    page.open(stage.broker.page)
    page.eval(door("operator").replace(PASSWORD, "wrong"))
    page.wait(says("#door-says", "refuses this user or password"))


def broker_frozen(page: Browser, stage: Stage) -> float:
    """The broker hangs: the page says that all is old. Seconds until then."""
    os.kill(stage.broker.process.pid, signal.SIGSTOP)
    try:
        return old_is_said(page)
    finally:
        os.kill(stage.broker.process.pid, signal.SIGCONT)
        page.wait("!document.querySelector('[data-stale]') && !document.querySelector('[data-old]')")


def broker_gone(page: Browser, stage: Stage) -> float:
    """The broker ends: the page says so, sends nothing, and comes back by itself."""
    stage.broker.stop()
    took = old_is_said(page)
    press(page, "Pause", "#orders")
    confirm(page)
    page.wait(says("#answer", "Not sent"))
    stage.broker.start()
    page.wait("!document.querySelector('[data-stale]') && !document.querySelector('[data-old]')")
    return took


def daemon_gone(page: Browser, stage: Stage) -> float:
    """The daemon falls silent, the broker lives: told within ten seconds; after a reload its kept status is old too."""
    stage.silent = True
    took = old_is_said(page)
    page.open(stage.broker.page)
    page.wait(says("#old", "kept by the broker, age unknown"))
    stage.silent = False
    page.wait("!document.querySelector('[data-stale]') && !document.querySelector('[data-old]')")
    return took


def old_is_said(page: Browser) -> float:
    took = page.wait("document.querySelector('#stale').innerText.includes('below is old')")
    page.wait("document.querySelector('#detail').hasAttribute('data-old')")
    assert page.eval("getComputedStyle(document.querySelector('#temp')).textDecorationLine") == "line-through"
    return took


def frames(page: Browser, seconds: float) -> list[float]:
    """How long does each frame take while the tuns speak, ms?"""
    code = (
        f"new Promise(done => {{ const took = []; let last = performance.now(); const end = last + {1000 * seconds};"
        "const go = () => { const now = performance.now(); took.push(now - last); last = now;"
        "now < end ? requestAnimationFrame(go) : done(took); }; requestAnimationFrame(go); })"
    )
    found: list[float] = page.eval(code)
    return found
