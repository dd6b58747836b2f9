"""What the page offers, and what it keeps: orders that do something, steps counted as everywhere, an unbroken curve."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from typing import Any

import pytest

from tests.browser import Browser, browser
from tests.core.bench import leg
from tests.panel import acts
from tests.panel.stage import Stage, stage

pytestmark = pytest.mark.browser
IDLE: dict[str, Any] = {"state": "idle", "steps": [], **dict.fromkeys(("run", "step", "program", "prompt", "offer"))}
LATCHED = {
    "id": "G06", "text": "The mash is 76.6 °C.", "value": 76.6, "limit": 69.0, "unit": "°C", "priority": 1,
    "latched": True, "first_out": True, "for_s": 99.0,
}  # fmt: skip


@pytest.fixture(scope="module")
def there(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Browser, Stage]]:
    """A broker, a tun in its first rise, and a browser that is signed in."""
    with stage(tmp_path_factory.mktemp("broker"), "gannet", speed=10.0) as on, browser() as page:
        on.tuns["gannet"].begin(leg("low rest", 60.0, 1800.0), leg("hot rest", 72.0, 600.0))
        on.go()
        acts.enter(page, on, "operator", "gannet")
        yield page, on


def shown(page: Browser, on: Stage, **changes: Any) -> dict[str, Any]:
    """A tun of its own on the page, with the other's status but for these changes."""
    status = {**on.tuns["gannet"].status(time.time()), **changes}
    on.client.publish("underback/wren/status", json.dumps(status), 1)
    page.eval("location.hash = 'wren'")
    page.wait(f"document.querySelector('#about').innerText.includes('run {status['run'] or 'none'}')")
    page.wait(acts.says("#headline", "Wren"))
    return status


def offered(page: Browser) -> list[str]:
    found: list[str] = page.eval("[...document.querySelectorAll('#orders [data-order]')].map(b => b.innerText)")
    return found


def test_hold_is_offered_where_it_does_something(there: tuple[Browser, Stage]) -> None:
    """Not in a run that a person holds; where a trip alone holds it, staying held is another thing."""
    page, on = there
    shown(page, on)
    assert {"Hold", "Stop", "Abort", "Pause"} <= set(offered(page))
    shown(page, on, state="held", held_by="person")
    page.wait("!document.querySelector('[data-order=hold]')")
    assert {"Stop", "Abort", "Restart"} <= set(offered(page))
    shown(page, on, state="held", held_by="trip")
    page.wait("document.querySelector('[data-order=hold]')?.innerText === 'Stay held'")


def test_stop_and_abort_are_told_apart(there: tuple[Browser, Stage]) -> None:
    """Each says what becomes of run and program."""
    page, on = there
    shown(page, on)
    for order, words in (
        ("Stop", "filed as stopped"),
        ("Abort", "the program is dropped and the run filed as aborted"),
    ):
        acts.press(page, order, "#orders")
        page.wait(acts.says("#ask", words))
        acts.press(page, "No, back", "#ask")


def test_heat_off_is_in_reach_on_a_telephone(there: tuple[Browser, Stage]) -> None:
    """Hold, Stop and Abort stand whole on the screen without any scrolling; the others unfold above nothing hidden."""
    page, on = there
    page.look(390, 844, phone=True)
    shown(page, on)
    for name in ("hold", "stop", "abort"):
        box = page.eval(f"document.querySelector('[data-order={name}]').getBoundingClientRect().toJSON()")
        assert 0 <= box["left"] < box["right"] <= 390
        assert 0 <= box["top"] < box["bottom"] <= 844
    assert not page.eval("document.querySelector('[data-order=pause]').checkVisibility()")
    acts.press(page, "More", "#orders")
    assert page.eval("document.querySelector('[data-order=pause]').checkVisibility()")
    assert page.eval("document.querySelector('.more').scrollWidth <= document.querySelector('.more').clientWidth")
    assert page.complaints() == []
    page.look()


def test_a_latched_trip_of_an_ended_run_is_said_to_be_that(there: tuple[Browser, Stage]) -> None:
    """With nothing running the page does not say that heat was just cut, but that the trip is still latched."""
    page, on = there
    shown(page, on, **IDLE, trips=[LATCHED])
    page.wait(acts.says("#trips", "Still latched, clear it: G06"))
    shown(page, on, trips=[LATCHED])
    page.wait(acts.says("#trips", "Heat is off: G06"))
    shown(page, on, **IDLE, trips=[])
    page.wait("document.querySelector('#trips').children.length === 0")


def test_steps_are_counted_as_they_are_listed(there: tuple[Browser, Stage]) -> None:
    """The step to change has the number that stands before it in the list; its place on the wire counts from 0."""
    page, on = there
    shown(page, on)
    acts.press(page, "Change a step", "#orders")
    page.wait("document.querySelector('#ask').open")
    options = page.eval("[...document.querySelectorAll('#ask option')].map(o => [o.value, o.innerText.slice(0, 10)])")
    assert options == [["0", "1 dough-in"], ["1", "2 low rest"], ["2", "3 hot rest"]]
    acts.press(page, "No, back", "#ask")


def test_a_program_is_suggested(there: tuple[Browser, Stage]) -> None:
    """The names seen and used before are offered, and a hint says what to write."""
    page, on = there
    page.eval("localStorage.setItem('underback panel programs', '[\"crake\"]')")
    shown(page, on, state="idle", run=None, step=None, steps=[])
    acts.press(page, "Start a program", "#orders")
    page.wait("document.querySelector('#ask').open")
    names = page.eval("[...document.querySelectorAll('#programs option')].map(o => o.value)")
    assert names == ["crake", "test"]
    assert "such as linnet" in acts.text(page, "#programs-say")
    assert page.complaints() == []
    acts.press(page, "No, back", "#ask")


def test_the_planned_line_begins_now_and_ends_with_the_run(there: tuple[Browser, Stage]) -> None:
    """What is left of a rise half-way up is drawn, mixing and all, up to the daemon's own planned end."""
    page, on = there
    status = on.tuns["gannet"].status(1.7e9)
    assert status["step"]["phase"] == "heating"
    when, plan = page.eval(f"Curves.toCome({json.dumps(status)})")
    assert plan[0] == status["temperature_c"]
    assert when[0] == pytest.approx(status["at"], abs=0.1)
    assert (when[-1] - status["at"]) * status["speed"] == pytest.approx(status["finish_in_s"], abs=1.0)
    assert (when[1] - when[0]) * status["speed"] == pytest.approx(status["step"]["rise_left_s"], abs=0.1)
    assert page.eval(f"Curves.toCome({json.dumps({**status, 'state': 'held'})})[0]") == []


def test_the_curve_outlives_the_daemons_restart(there: tuple[Browser, Stage]) -> None:
    """While a daemon that has begun anew checks it names no run; the curve of one run goes on, another's is new."""
    page, _ = there
    kept = page.eval(
        """(() => {
          const tun = new Tuns.Tun('x'), more = { duty: 0, state: 'running', temperature_c: 50, setpoint_c: null };
          const say = (run, at) => tun.take({ ...more, run, at, step: null }, false);
          say('a', 1); say('a', 3); say(null, 5); say('a', 7);
          const whole = tun.history.at.slice();
          say('b', 9);
          return [whole, tun.history.at];
        })()"""
    )
    assert kept == [[1, 3, 5, 7], [9]]
