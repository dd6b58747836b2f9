"""Does the wort move much more slowly than the tun file says?

Past the heater it warms by power over flow, so a rise found larger is a flow found smaller. Seen where the probe feels
that rise: well behind the heater, at a bed's outlet hardly. A note for a person, nothing more: heat goes on.
"""

from __future__ import annotations

from math import sqrt

from controller.core.control.belief import Belief
from controller.core.control.heat_path import HeatPath
from controller.core.nouns import Event

# Of the file's flow, one standard deviation above what is found. Own trial, four tuns behind the heater: at 0.3 of it
# 0.35, 0.45, 0.57 and, not told, 0.68; left alone 0.85 and more.
LITTLE = 0.6
SLOW = (
    "The wort seems to move at {share:.0f} % of the flow in the tun file. Look at pump, valves and bed. Heat goes on."
)


def note(path: HeatPath, belief: Belief) -> Event | None:
    """The note of a flow that is surely little, with grain in; None while it is not."""
    rise_k = path.stream_rise_k(strike=False)
    if rise_k <= 0.0 or belief.doubt is None:
        return None
    surely = rise_k / max(rise_k + belief.rise_k - sqrt(max(belief.doubt.rr, 0.0)), 0.1 * rise_k)
    if surely >= LITTLE:
        return None
    share = rise_k / (rise_k + belief.rise_k)
    return Event("note", "flow", SLOW.format(share=100.0 * share), value=round(share, 2), limit=LITTLE, priority=2)
