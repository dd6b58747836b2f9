"""Is what is known of the mash good enough for heat?"""

from __future__ import annotations

from controller.core.guard.evidence import Evidence


def test_nothing_is_known_at_first() -> None:
    """No reading counts yet, no gap is on, and where a mash might be is not known."""
    assert Evidence() == (0.0, False, 0.0, None, 0.0, 0.0, None, None, (), False, 0, 0.0)
    assert (Evidence().qualified, Evidence().in_gap) == (False, False)


def test_lost_evidence_begins_anew() -> None:
    """No reading so far counts, three readings will not do any more; where the mash was stays known."""
    before = Evidence(9.0, True, 5.0, 61.0, 4.0, 0.5, gaps=(("G14", 3.0),), in_gap=True, new=2, new_at=6.0)
    assert before.anew(50.0) == before._replace(qualified=False, from_at=50.0, in_gap=False, new=0)
