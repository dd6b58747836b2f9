"""Which orders do people mistype, as they type them, and in what state is the tun then?

The first twenty were written down before any answer to them was.
"""

from __future__ import annotations

TOLD = '--hand "12 °C" --here --attended'

MISTYPED: tuple[tuple[str, str], ...] = (  # the scene, and what stands behind `underback order`
    ("idle", f"strat sandpiper {TOLD}"),
    ("idle", f"start sandpipper {TOLD}"),
    ("idle", "start"),
    ("idle", "start sandpiper"),
    ("idle", "start sandpiper --hand 12 --here --attended"),
    ("idle", f"begin sandpiper {TOLD}"),
    ("idle", f"start sandpiper.toml {TOLD}"),
    ("proven", f"start sandpiper {TOLD} --ready-at 6am"),
    ("resting", "adjust temp=64"),
    ("resting", 'adjust step=matlose time="50 min"'),
    ("resting", "adjust maltose rest 50 min"),
    ("resting", "extend 10"),
    ("resting", "extend 10 min"),
    ("resting", "pauze"),
    ("resting", "skip"),
    ("iodine", "answer nostarch"),
    ("iodine", "answer"),
    ("held", "resume"),
    ("tripped", "restart"),
    ("tripped", "clear g4"),
    ("idle", f"start program sandpipr {TOLD}"),
    ("hot", 'start sandpiper --hand "63 °C" --here --attended'),
    ("stopped", f"start sandpiper {TOLD}"),
    ("strike", "answer yes"),
    ("strike", "advance"),
    ("strike", "begin"),
    ("paused", "restart"),
    ("resting", "resume"),
    ("resting", "reset"),
    ("resting", "adjust temperature=90 °C"),
    ("resting", "adjust step=1 time=30m"),
    ("resting", "holt"),
    ("resting", "answer pH 5.4"),
    ("iodine", "answer blau"),
    ("held", "go"),
    ("held", "clear"),
    ("tripped", "resume"),
    ("idle", "stop"),
)
