"""The page, the short part: real broker, real browser, the core behind it.

The long part is a command of its own: python -m tests.panel.end_to_end.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from controller.core.nouns import RunState
from controller.core.procedure import entries
from controller.core.procedure.orders.envelope import ALLOWED, LONGEST_VALIDITY_S
from tests.browser import Browser, browser
from tests.core.bench import leg
from tests.core.runs import settled
from tests.edge.statuses import said
from tests.messages.stored import payload_validator
from tests.panel import acts
from tests.panel.stage import PANEL, PREDICTION, Stage, stage
from tests.waiting import until

pytestmark = pytest.mark.browser
EVIL = '<img src=x onerror="window.evil=1"><script>window.evil=1</script>'


@pytest.fixture(scope="module")
def there(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Browser, Stage]]:
    """A broker, two tuns that mash ten times as fast as life, and a browser."""
    with stage(tmp_path_factory.mktemp("broker"), "gannet", "plover", speed=10.0) as on, browser() as page:
        on.tuns["gannet"].begin(leg("low rest", 60.0, 1800.0), leg("hot rest", 72.0, 600.0), grist_kg=0)
        on.tuns["plover"].begin(leg("low rest", 52.0, 900.0))
        on.tuns["plover"].bench.until("dough_in")
        on.go()
        yield page, on


def test_a_mash_is_seen_the_curve_moves_and_a_trip_is_told(there: tuple[Browser, Stage]) -> None:
    """Signed in, the page tells the mash in a sentence, lists its steps and enzymes, and the curve moves; the guard's
    trip stands in its words on the page; they go when the trip is over."""
    page, on = there
    acts.enter(page, on, "operator", "gannet")
    assert acts.text(page, "#headline").startswith("Gannet climbs to 60.0 °C")
    steps = acts.text(page, "#steps")
    assert "low rest" in steps and "hot rest" in steps
    assert "alpha-amylase" in acts.text(page, "#enzymes")
    acts.curve_moves(page)
    acts.trip_shows(page, on, "gannet")


def test_a_prompt_is_answered(there: tuple[Browser, Stage]) -> None:
    """The other tun asks for dough-in; the answer, confirmed by keyboard, reaches the daemon and moves the run."""
    page, on = there
    acts.enter(page, on, "operator", "plover")
    acts.prompt_answered(page, on, "plover")


def test_what_was_poured_is_typed_where_it_is_asked(tmp_path: Path) -> None:
    """The question of the liquor has its own fields; what is typed there corrects the course and answers it."""
    with stage(tmp_path, "plover", speed=1.0) as on, browser() as page:
        on.tuns["plover"].begin(leg("low rest", 52.0, 900.0))
        bench = on.tuns["plover"].bench
        bench.until("liquor")
        on.go()
        acts.enter(page, on, "operator", "plover")
        page.wait("document.querySelector('#prompt .measured')")
        page.eval(
            "(() => { const f = document.querySelector('#prompt .measured').elements;"
            "f.liquor_volume_l.value = 66; f.liquor_at_c.value = 12; })()"
        )
        acts.press(page, "So much is in it", "#prompt")
        page.wait(acts.says("#answer", "66.0 kg of liquor in the tun, 60.0 planned"))
        course = bench.state.run.course
        assert course is not None and round(course.liquor_kg) == 66 and bench.state.run.prompt is None


def test_an_order_needs_a_yes(there: tuple[Browser, Stage]) -> None:
    """Going back from the dialog sends nothing; saying yes pauses the run and tells the daemon's answer; what undoes it
    is one press, as Hold is and what undoes that."""
    page, on = there
    acts.enter(page, on, "operator", "gannet")
    bench = on.tuns["gannet"].bench
    until(lambda: bench.state.run.state is RunState.RUNNING, "running again")
    page.wait("document.querySelector('[data-order=pause]')")
    acts.press(page, "Pause", "#orders")
    acts.press(page, "No, back", "#ask")
    before = bench.state.orders.accepted
    page.eval("new Promise(done => setTimeout(done, 300))")
    assert bench.state.orders.accepted == before
    acts.press(page, "Pause", "#orders")
    acts.confirm(page)
    page.wait(acts.says("#answer", "Accepted: paused"))
    assert bench.state.run.state in (RunState.PAUSED, RunState.PAUSING)
    page.wait("document.querySelector('[data-order=resume]')")
    acts.press(page, "Resume", "#orders")
    page.wait(acts.says("#answer", "Accepted: going on"))
    until(lambda: bench.state.run.state is RunState.RUNNING, "running again")
    acts.press(page, "Hold", "#orders")
    until(lambda: bench.state.run.state is RunState.HELD, "held")
    acts.press(page, "Go on", "#orders")
    until(lambda: bench.state.run.state is RunState.RUNNING, "running again")


def test_who_may_only_look_is_told_so(there: tuple[Browser, Stage]) -> None:
    """An order of a user without the right is refused by the broker, and the page says that."""
    page, on = there
    page.eval("sessionStorage.clear()")
    acts.enter(page, on, "panel", "gannet")
    acts.no_right(page, on, "gannet")
    page.eval("sessionStorage.clear()")
    acts.wrong_password(page, on)


def test_a_lost_broker_is_told(there: tuple[Browser, Stage]) -> None:
    """The broker ends: within ten seconds all is marked old, an order is not sent, and the page comes back."""
    page, on = there
    page.eval("sessionStorage.clear()")
    acts.enter(page, on, "operator", "gannet")
    acts.broker_gone(page, on)


def test_nothing_outside_is_asked_and_nothing_breaks(there: tuple[Browser, Stage]) -> None:
    """Signed in and drawing, here and before, the page asked no address but its own and threw nothing."""
    page, on = there
    acts.enter(page, on, "operator", "gannet")
    acts.curve_moves(page)
    own = (f"http://127.0.0.1:{on.broker.web}/", "data:", "blob:", "about:")
    assert [address for address in page.asked if not address.startswith(own)] == []
    assert page.thrown == []


def test_text_from_the_wire_is_only_text(there: tuple[Browser, Stage]) -> None:
    """Markup in an event's text and in a question is shown as it is and does nothing."""
    page, on = there
    acts.enter(page, on, "operator", "gannet")
    event = {"seq": 1, "at": 1.7e9, "kind": "note", "id": "x", "text": EVIL}
    on.client.publish("underback/gannet/event", json.dumps(event), 1)
    page.wait(acts.says("#events", "onerror"))
    status = {**on.tuns["plover"].status(1.8e9), "tun": EVIL, "prompt": {"id": "p", "text": EVIL, "answers": [EVIL]}}
    on.client.publish("underback/evil/status", json.dumps(status), 1)
    page.eval("location.hash = 'evil'")
    page.wait(acts.says("#prompt", "onerror"))
    assert page.eval("window.evil") is None
    assert page.eval("document.querySelectorAll('#detail img, #detail script').length") == 0


def offering() -> dict[str, Any]:
    """The status of a tun that has landed 1.4 K short and offers a correction, with somebody adding and a forecast."""
    ahead: dict[str, Any] = {"in_s": 5400, "real_limit_pct": None, "extract_share": 0.9, "starch_left_pct": 1.0}
    ahead |= {"apparent_limit_pct": {"low": 76.0, "mid": 80.4, "high": 84.0}, "iodine_negative_min": 71.0}
    return {
        **said(settled(48.6)),
        "live": "58.0 °C: about 13.6 kg more to return; stop at 63.5 °C",
        "prediction": {**PREDICTION, "ahead": ahead},
    }


def wren(page: Browser, on: Stage, **changes: Any) -> dict[str, Any]:
    """Another tun on the page, which offers a correction, but for these changes."""
    status = {**offering(), **changes}
    on.client.publish("underback/wren/status", json.dumps(status), 1, retain=True)
    page.eval("location.hash = 'wren'")
    return status


def test_a_correction_is_offered_in_figures(there: tuple[Browser, Stage]) -> None:
    """Measured, wanted, heat and liquor each stand under their name; too warm, liquor alone; answers are buttons; what
    the daemon says to the person who is adding stands there; the end of the wort beside what is so far."""
    page, on = there
    acts.enter(page, on, "operator", "gannet")
    assert page.eval("document.querySelector('#adding').hidden")
    assert acts.text(page, "#ahead") == ""
    offer = wren(page, on)["offer"]
    page.wait(acts.says("#offer", "Short by"))
    rows = page.eval(
        "[...document.querySelectorAll('#offer dl div')].map(d => [d.children[0].innerText, d.children[1].innerText])"
    )
    told = {
        "Measured": "48.6 °C",
        "Wanted": "50.0 °C",
        "Short by": "1.4 K",
        "Either full heat for": f"{offer['heat_s']:.0f} s",
        "or liquor": f"{offer['liquor_kg']:.1f} kg at 95\u00a0°C",
        "then thickness": f"{offer['thickness_l_per_kg']:.2f} L/kg",
    }
    assert told.items() <= dict(rows).items()
    buttons = page.eval("[...document.querySelectorAll('#offer button')].map(b => b.innerText)")
    assert buttons == ["Mend it with heat", "Hot liquor", "Leave it as it is"]
    page.wait(acts.says("#adding", "about 13.6 kg more to return"))
    plan = "If the rest runs as planned (1 h 30 min more)"
    ahead = f"{plan}: about 80 % (76 to 84), iodine negative from minute 71, by the crush."
    assert acts.text(page, "#ahead") == ahead
    assert re.fullmatch(r"(Limit attenuation [^.]*\. )?[IN].*\.", acts.text(page, "#wort"))
    wren(
        page,
        on,
        offer={**offer, "text": "too warm", "apart_k": 2.0, "heat_s": None, "liquor_kg": 2.73, "fill_share": 0.97},
    )
    page.wait(acts.says("#offer", "Over by"))
    assert "full heat" not in acts.text(page, "#offer")
    assert "97 %, no room" in acts.text(page, "#offer")
    wren(page, on, offer=None, live=None, prediction={**PREDICTION, "ahead": None})
    page.wait("document.querySelector('#offer').hidden && document.querySelector('#adding').hidden")
    assert acts.text(page, "#ahead") == ""


@pytest.mark.parametrize("width", [1200, 390])
def test_an_offer_can_be_read_by_anybody(there: tuple[Browser, Stage], width: int) -> None:
    """With offer, addition and forecast at once, wide and on a telephone: axe is content and nothing is cut off."""
    page, on = there
    page.look(width, 844, phone=width < 500)
    acts.enter(page, on, "operator", "gannet")
    wren(page, on)
    page.wait(acts.says("#offer", "Short by"))
    assert page.complaints() == []
    assert page.eval("document.documentElement.scrollWidth") <= width
    on.client.publish("underback/wren/status", b"", 1, retain=True)
    page.look()


def test_one_odd_tun_does_not_stop_the_others(there: tuple[Browser, Stage]) -> None:
    """What is no status is said to be unreadable; the page throws nothing and the mash goes on being drawn."""
    page, on = there
    acts.enter(page, on, "operator", "gannet")
    good = on.tuns["plover"].status(1.8e9)
    wrong: dict[str, Any] = {"trips": None, "steps": [None], "prompt": {}, "duty": "full", "heater": None}
    wrong |= {"state": 3, "prediction": 7}
    odd: list[Any] = [1, [], {}, {"at": "x"}, *({**good, key: value} for key, value in wrong.items())]
    for number, status in enumerate(odd):
        on.client.publish(f"underback/odd{number}/status", json.dumps(status), 1)
    on.client.publish("underback/odd/status", b"\xff\x00{", 1)
    strange = {**good, "temperature_c": "hot", "reading_age_s": "x", "prediction": {"beta_left_pct": "x"}, "step": {}}
    on.client.publish("underback/strange/status", json.dumps(strange), 1)
    page.wait(
        "[...document.querySelectorAll('#rail .what')].filter(w => w.innerText === 'cannot be read').length === 12"
    )
    page.eval("location.hash = 'strange'")
    page.wait(acts.says("#headline", "Strange"))
    page.eval("location.hash = 'gannet'")
    page.wait(acts.says("#headline", "Gannet"))
    acts.curve_moves(page)
    assert page.thrown == []


@pytest.mark.parametrize(("width", "dark"), [(1200, False), (1200, True), (390, True), (390, False)])
def test_anybody_can_use_it(there: tuple[Browser, Stage], width: int, dark: bool) -> None:
    """Wide and on a telephone, light and dark, a dialog open too: axe finds nothing serious, nothing is cut off."""
    page, on = there
    page.look(width, 844, dark=dark, phone=width < 500)
    acts.enter(page, on, "operator", "plover")
    assert page.complaints() == []
    assert page.eval("document.documentElement.scrollWidth") <= width
    page.wait("document.querySelector('[data-order=extend]')")
    acts.press(page, "Longer rest", "#orders")
    page.wait("document.querySelector('#ask').open")
    assert page.complaints() == []
    acts.press(page, "No, back", "#ask")
    page.look()


def test_by_keyboard_alone(there: tuple[Browser, Stage]) -> None:
    """The second link of the page leads to the orders: Tab reaches Hold with a visible mark on it, Enter holds, and
    Enter again, where Hold was, goes on; Stop lies behind More, and Escape leaves its dialog with nothing sent."""
    page, on = there
    acts.enter(page, on, "operator", "gannet")
    bench = on.tuns["gannet"].bench
    until(lambda: bench.state.run.state is RunState.RUNNING, "running")
    page.wait("document.querySelector('[data-order=hold]')")
    page.eval("document.querySelectorAll('.skip')[1].click()")
    assert page.eval("location.hash") == "#gannet"
    tabbed(page, "hold")
    assert page.eval("getComputedStyle(document.activeElement).outlineStyle") == "solid"
    page.key("Enter", "\r", 13)
    until(lambda: bench.state.run.state is RunState.HELD, "held")
    page.wait("document.activeElement.dataset.order === 'restart'")
    page.key("Enter", "\r", 13)
    until(lambda: bench.state.run.state is RunState.RUNNING, "running again")
    page.wait("document.activeElement.dataset.order === 'hold'")
    accepted = bench.state.orders.accepted
    page.key("Tab", code=9)
    page.key("Enter", "\r", 13)
    page.eval("document.querySelector('#orders').focus()")
    tabbed(page, "stop")
    page.key("Enter", "\r", 13)
    page.wait("document.querySelector('#ask').open")
    page.key("Escape", code=27)
    page.wait("!document.querySelector('#ask').open")
    assert bench.state.orders.accepted == accepted


def test_going_on_asks_for_what_the_daemon_wants_to_know(there: tuple[Browser, Stage]) -> None:
    """In a person's hold one tap goes on; where the daemon refuses it, since no mash can be what the probe reads, the
    questions of a restart open with its reason, and their answer goes on."""
    page, on = there
    acts.enter(page, on, "operator", "gannet")
    bench = on.tuns["gannet"].bench
    until(lambda: bench.state.run.state is RunState.RUNNING, "running")
    acts.press(page, "Hold", "#orders")
    until(lambda: bench.state.run.state is RunState.HELD, "held")
    bench.offset_k = -10.0
    until(lambda: (bench.state.mash.value_c or 99.0) < bench.mash_c - 9.0, "read")
    acts.press(page, "Go on", "#orders")
    page.wait("document.querySelector('#ask').open")
    page.wait(acts.says("#ask", "Refused: not restarted: the probe reads"))
    assert page.complaints() == []
    bench.offset_k = 0.0
    until(lambda: (bench.state.mash.value_c or 0.0) > bench.mash_c - 1.0, "read")
    page.eval(f"document.querySelector('#ask [name=hand_c]').value = {bench.mash_c:.1f}")
    acts.press(page, "Yes, send it", "#ask")
    until(lambda: bench.state.run.state is RunState.RUNNING, "running again")


def tabbed(page: Browser, order: str) -> None:
    """Tab until this order's button has the focus."""
    for _ in range(20):
        page.key("Tab", code=9)
        if page.eval("document.activeElement.dataset.order") == order:
            return
    raise AssertionError(f"{order} is not reached")


def test_the_pages_table_and_orders_are_the_daemons(there: tuple[Browser, Stage]) -> None:
    """Which order is offered in which state is what the core allows, and its validity is within the core's bound; an
    order as the page builds it validates against the AsyncAPI document, and no two have the same id."""
    page, _ = there
    found = page.eval("Orders.STATES")
    assert {name: set(states) for name, states in found.items()} == {k: set(map(str, v)) for k, v in ALLOWED.items()}
    assert 0 < page.eval("Orders.VALID_S") <= LONGEST_VALIDITY_S
    status = {"at": 1.7e9, "nonce": "n", "run": "r"}
    build = f"Orders.build('clear', {{trip: 'G02'}}, {json.dumps(status)}, performance.now(), 'operator')"
    one, other = page.eval(build), page.eval(build)
    payload_validator("order").validate(one)
    assert one["trip"] == "G02"
    assert one["id"] != other["id"]


def test_every_figure_of_the_batch_can_be_entered(there: tuple[Browser, Stage]) -> None:
    """The page offers exactly what the daemon takes; a first wort's gravity entered on it is on the daemon's record."""
    page, on = there
    offered = {key for key, _ in page.eval("Orders.FILED")} | {"ph", "gravity_p", "remark"}
    assert offered == {*entries.FIGURES, *entries.TEXTS}
    assert {*page.eval("Orders.WORDS"), "remark"} == {*entries.TEXTS}
    acts.enter(page, on, "operator", "gannet")
    page.wait("document.querySelector('[data-order=entry]')")
    acts.press(page, "Enter a value", "#orders")
    page.wait("document.querySelector('#ask').open")
    assert page.complaints() == []
    page.eval(
        "(() => { const f = document.querySelector('#ask-form').elements; f.what.value = 'first_wort_p';"
        "f.value.value = '19.3'; document.querySelector('#ask .yes').click(); })()"
    )
    page.wait(acts.says("#answer", "Accepted: recorded: gravity of the first wort: 19.3 °P"))
    filed = [event for event in on.tuns["gannet"].bench.events if event.kind == "entry"]
    assert filed[-1].data == {"first_wort_p": 19.3, "by": "operator"}


def test_what_is_vendored_has_its_licence() -> None:
    """Each file of others lies beside a licence file that names its terms, and the page loads only files that exist."""
    vendor = PANEL / "vendor"
    for licence in ("LICENSE-mqtt.md", "LICENSE-uPlot.txt"):
        assert "MIT" in (vendor / licence).read_text(encoding="utf-8")
    markup = (PANEL / "index.html").read_text(encoding="utf-8")
    for part in markup.split('src="')[1:] + markup.split('href="')[1:]:
        name = part.split('"', 1)[0]
        assert name.startswith(("#", "data:")) or (PANEL / Path(name)).is_file(), name
