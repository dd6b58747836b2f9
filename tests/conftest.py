"""How are properties searched for? By one profile, in which nothing judges time.

The same examples every time (`derandomize`), so that a run of all tests says the same twice and on every machine; the
search for new ones is the regime's, with sequences of its own: `python -m tests.regimes.evidence.stateful`. No
deadline and no health check of speed: how fast an example is says something of the machine, not of the code.
"""

from __future__ import annotations

from hypothesis import HealthCheck, settings

settings.register_profile(
    "underback", derandomize=True, database=None, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("underback")
