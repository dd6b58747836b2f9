"""How does heat leave the house? As a lease that the guard alone can make."""

from __future__ import annotations

from dataclasses import InitVar, dataclass

_GUARD_SEAL = object()  # imported by the guard's gate alone; tests/house holds that


class Sealed(Exception):
    """A heater command with power was made outside the guard."""


@dataclass(frozen=True, slots=True)
class HeaterCommand:
    """One lease on the heater. Any duty other than 0 needs the guard's seal, else `Sealed` is raised."""

    epoch: int
    seq: int
    duty: float
    valid_s: float
    reason: str
    reading_seq: int | None = None
    reading_age_s: float | None = None
    seal: InitVar[object] = None

    def __post_init__(self, seal: object) -> None:
        if not (self.duty == 0.0) and seal is not _GUARD_SEAL:
            raise Sealed("a heater command with power leaves through guard.check only")
