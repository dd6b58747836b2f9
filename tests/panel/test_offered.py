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
from tests.panel.scenes import could_start, history
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
    assert {"Stop", "Abort", "Go on"} <= set(offered(page))
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


def test_a_program_is_chosen_not_guessed(there: tuple[Browser, Stage]) -> None:
    """The start offers what the daemon says it could start; what cannot be says why and cannot be chosen; the end is
    told for now and for a time at which the liquor is to be ready; the order is what the daemon wants."""
    page, on = there
    found = could_start()
    on.client.publish("underback/wren/startable", json.dumps(found), 1)
    status = shown(page, on, **IDLE, version="of the start")
    page.wait(acts.says("#about", "underback of the start"))
    acts.press(page, "Start a program", "#orders")
    page.wait("document.querySelectorAll('#ask .program').length === 5")
    assert page.eval("[...document.querySelectorAll('#ask [name=program]:disabled')].map(r => r.value)") == ["shrike"]
    assert "found 178 °C" in acts.text(page, "#ask .program.no")
    page.eval("document.querySelector('#ask [value=sandpiper]').click()")
    sandpiper = next(one for one in found["programs"] if one["name"] == "sandpiper")
    inside = acts.text(page, "#ask .program:has(:checked)")
    assert f"{sandpiper['strike_c']:.1f} °C" in inside and "20 kg Old floor lager malt" in inside and "60 kg" in inside
    assert "heat begins at once, done about" in acts.text(page, "#end-says")
    program, at = json.dumps(sandpiper), json.dumps({**status, "speed": 1.0})
    assert page.eval(f"Start.ends({program}, {at}, null)") == status["at"] + sandpiper["duration_s"]
    ready = status["at"] + 9000.0
    mash_s = sandpiper["duration_s"] - sandpiper["heat_up_s"]
    assert page.eval(f"Start.ends({program}, {at}, {ready})") == pytest.approx(ready + mash_s)
    page.eval("document.querySelector('#ask [value=late]').click()")
    assert page.eval("document.querySelector('#ask [name=ready]').required")
    page.eval(
        "(() => { const f = document.querySelector('#ask-form').elements; f.ready.value = '06:00';"
        "f.hand_c.value = '12.1'; f.here.checked = true; })()"
    )
    args = page.eval(f"Start.args(document.querySelector('#ask-form'), {at})")
    assert {**args, "ready_at": 0} == {
        "program": "sandpiper", "hand_c": 12.1, "here": True, "attended": False, "ready_at": 0,
    }  # fmt: skip
    assert status["at"] < args["ready_at"] <= status["at"] + 86400.0
    assert args["ready_at"] % 1800.0 == 0.0
    acts.press(page, "No, back", "#ask")


def test_nothing_starts_without_what_is_missing(there: tuple[Browser, Stage]) -> None:
    """Where the daemon lacks something for any start the page says what, and sends nothing; without a word of what
    could be started there is no name to type."""
    page, on = there
    on.client.publish("underback/wren/startable", json.dumps(could_start(("the broker is out of reach",))), 1)
    shown(page, on, **IDLE, version="of what lacks")
    page.wait(acts.says("#about", "underback of what lacks"))
    acts.press(page, "Start a program", "#orders")
    page.wait(acts.says("#ask .lacks", "the broker is out of reach"))
    assert page.eval("document.querySelector('#ask .yes').disabled")
    acts.press(page, "No, back", "#ask")


def test_a_held_run_tells_how_it_cools(there: tuple[Browser, Stage]) -> None:
    """No planned end, but by how much the mash has cooled since the heat went off, and how fast."""
    page, _ = there
    told = page.eval(
        """(() => {
          const tun = new Tuns.Tun('x'), more = { speed: 1, run: 'a', step: null, setpoint_c: null, state: 'held' };
          for (let s = 0; s <= 1200; s += 2) {
            const off = Math.max(0, s - 600);
            tun.take({ ...more, at: s, duty: off ? 0 : 0.5, temperature_c: 63 - off / 600 }, false);
          }
          return Tuns.cooling(tun);
        })()"""
    )
    assert told == "Heat is off: 1.0 K cooler than 10 min ago, 6.0 K an hour."


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
          const whole = tun.curve().at;
          say('b', 9);
          return [whole, tun.curve().at];
        })()"""
    )
    assert kept == [[1, 3, 5, 7], [9]]


def test_who_comes_late_sees_the_whole_run(there: tuple[Browser, Stage]) -> None:
    """Two hours of the daemon's points stand before the page's own, nothing twice, with the lowest and highest of each
    minute; the last events are there once, in their order; another run's history is not taken; an odd one neither."""
    page, on = there
    now = time.time()
    began = now - 7200.0
    on.client.publish("underback/wren/history", history(now, "late"), 1)
    status = shown(page, on, run="late", at=now + 1.0)
    on.client.publish("underback/wren/history", b'{"points": [null]}', 1)
    on.client.publish("underback/wren/history", history(now, "other"), 1)
    page.wait("document.querySelectorAll('#events li').length === 40")
    page.wait(acts.says("#curve-says", "Curve of"))
    seqs = page.eval("[...document.querySelectorAll('#events li')].slice(0, 3).map(e => e.innerText)")
    assert [words.split("line ")[-1] for words in seqs] == [f"{n} of the record" for n in (60, 59, 58)]
    curve = page.eval(
        f"""(() => {{
          const tun = new Tuns.Tun('x'), s = {json.dumps({**status, "speed": 1.0})};
          tun.hear({history(now, "late").decode()});
          tun.take(s, false);
          tun.hear({history(now, "late").decode()});
          return tun.curve();
        }})()"""
    )
    at = [x for x, y in zip(curve["at"], curve["mash"], strict=True) if y is not None]
    assert at == sorted(set(at)) and len(at) == 120
    assert at[0] == pytest.approx(began + 30.0) and at[-1] == status["at"]
    assert all(
        low <= mid <= high for low, mid, high in zip(*(curve[k][:9] for k in ("low", "mash", "high")), strict=True)
    )
