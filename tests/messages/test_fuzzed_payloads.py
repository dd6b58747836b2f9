"""A short fuzzing of every reader; `python -m tests.regimes.evidence.fuzz` goes on for longer."""

from __future__ import annotations

import pytest

from tests.regimes.evidence.fuzz import READERS, fuzz


@pytest.mark.parametrize("reader", READERS)
def test_no_payload_escapes(reader: str) -> None:
    """Three thousand damaged payloads: none raises, none is taken for what it cannot be, some still are messages."""
    taken, escapes = fuzz(reader, 3000)
    assert escapes == []
    assert 0 < taken < 3000
