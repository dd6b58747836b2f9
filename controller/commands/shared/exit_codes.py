"""How does a command end?"""

from __future__ import annotations

DONE, NO, WRONG, UNREACHABLE, BUG = 0, 1, 2, 3, 70  # exit codes, as the contract has them


class Wrong(Exception):
    """Input that is wrong: every problem at once. Ends with exit code 2."""

    def __init__(self, *problems: object) -> None:
        super().__init__("\n".join(str(p) for p in problems))


class Unreachable(Exception):
    """The broker or the daemon does not answer. Ends with exit code 3."""
