"""How are properties searched for, and with which files do the tests work? By one profile, in which nothing judges
time; with the shipped files.

The same examples every time (`derandomize`), so that a run of all tests says the same twice and on every machine; the
search for new ones is the regime's, with sequences of its own: `python -m tests.regimes.evidence.stateful`. No
deadline and no health check of speed: how fast an example is says something of the machine, not of the code.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from tests.places import own_config

settings.register_profile(
    "underback", derandomize=True, database=None, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("underback")
os.environ["XDG_STATE_HOME"] = os.devnull  # who has heard the cautions today is noted nowhere


WAIT = ("tests/processes/", "tests/field/board/test_boards_live", "tests/commands/shared/")  # for a broker or time


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Which tests go first? Those that wait, so that others are done beside them and nothing waits at the end."""
    items.sort(key=lambda item: not item.nodeid.startswith(WAIT))


@pytest.fixture
def config(tmp_path: Path) -> Path:
    """The shipped configuration, to spoil, with a data folder of its own beside it."""
    return own_config(tmp_path)
