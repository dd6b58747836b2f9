"""What does everybody hear before heat is asked for, on the command line and on a screen?

The README's cautions in their short form; a test holds their number to it.
"""

CAUTIONS = (
    "This program is not a safety device; a relay that sticks closed boils the mash whatever the screen says.",
    "A separate cut-out with manual reset and a wired level or flow switch are fitted, and tried not long ago.",
    "Mains beside hot liquid can kill: test the residual-current device today; pull the plug before touching.",
    "Scalding: 60 °C burns to the full depth in 5 s. No children, no animals; a pump that restarts spits.",
    "Someone can be there within minutes, awake; alerts may not arrive. Nothing that burns near the vessel.",
    "Never heat dry: liquid over the element, valve closed, lid vented.",
    "Screen and hand thermometer disagree? Believe neither; switch off at the mains.",
    "After a trip find the cause first. Never bridge a cut-out, a switch or a residual-current device.",
    "Broker: only the daemon may command the heater; never open to the internet. The node falls off by itself.",
    "Never close a heated vessel.",
    "Making alcohol is limited, taxed or forbidden in many places: ask locally.",
    "No warranty: you carry the risk.",
    "The simulator proves the logic, not your wiring: the first run is water only, somebody present.",
)
