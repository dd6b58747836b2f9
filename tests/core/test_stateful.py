"""Any sequence of faults, orders and waits: do the core's invariants hold after every single tick?

Small here; `python -m tests.regimes.evidence.stateful 5000 100` goes on for longer, with sequences of its own.
"""

from __future__ import annotations

import pytest
from hypothesis import Phase

from controller.core.guard import gate as guard
from tests.core.anything import run

SEQUENCES = 20


def test_invariants_hold_whatever_happens() -> None:
    """20 sequences of up to 40 faults, orders and waits; every tick is checked; the command shrinks what fails."""
    run(SEQUENCES, 40, Phase.generate)


def test_a_crippled_guard_is_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    """With the guard's last gate knocked out the same machine finds a broken invariant in as many sequences."""
    monkeypatch.setattr(guard, "_allowed", lambda *given: (given[3].duty, ""))
    with pytest.raises(AssertionError):
        run(SEQUENCES, 40, Phase.generate)
