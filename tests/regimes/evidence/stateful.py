"""Do the core's invariants hold in long sequences of faults, orders and waits that no run before has had?

    python -m tests.regimes.evidence.stateful [SEQUENCES [STEPS]]    5000 of up to 100 by itself

Whatever breaks one is made as short as it gets and shown; the exit code is then not 0.
"""

from __future__ import annotations

import sys

from tests import conftest as profile
from tests.core.anything import run


def main(words: list[str]) -> int:
    """0 where all hold; an AssertionError with the shortest sequence where one does not."""
    sequences, steps = (*map(int, words), *(5000, 100)[len(words) :])
    run(sequences, steps, same=False)
    print(f"{sequences} sequences of up to {steps} steps by the profile of {profile.__name__}: nothing broken")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
