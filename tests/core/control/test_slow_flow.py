"""Is a person told where the wort moves much more slowly than the tun file says?"""

from __future__ import annotations

import pytest

from controller.core.control import kalman, slow_flow
from controller.core.control.belief import NOTHING
from controller.core.control.heat_path import heat_path
from tests.core.control.tuns import tun

LINE = heat_path(tun("line", behind=True, pumped=True))
RISE_K = LINE.stream_rise_k(strike=False)


@pytest.mark.parametrize(
    ("found", "sd", "share"),
    [(1.0, 0.1, 0.5), (0.9, 0.2, 0.53), (0.7, 0.0, 0.59), (0.9, 0.3, None), (0.6, 0.0, None), (-0.5, 0.6, None)],
)
def test_a_flow_that_is_surely_little_is_told(found: float, sd: float, share: float | None) -> None:
    """A rise found so many times the file's larger, by one standard deviation less, is a flow under 0.6 of it."""
    doubt = kalman.prior(0.01, 0.001, 0.1, 0.1, sd * RISE_K)
    event = slow_flow.note(LINE, NOTHING._replace(rise_k=found * RISE_K, doubt=doubt))
    assert (event and event.value) == share
    if event is not None and share == 0.5:
        text = "The wort seems to move at 50 % of the flow in the tun file. Look at pump, valves and bed. Heat goes on."
        assert (event.id, event.text, event.limit, event.priority) == ("flow", text, 0.6, 2)


def test_nothing_is_told_where_nothing_is_known() -> None:
    """Nothing was read yet, or the heater is not in the line."""
    assert slow_flow.note(LINE, NOTHING._replace(rise_k=9.0)) is None
    found = NOTHING._replace(rise_k=9.0, doubt=kalman.prior(0.01, 0.001, 0.1, 0.1, 0.0))
    assert slow_flow.note(heat_path(tun()), found) is None
