"""The tables in the documentation are those of the code."""

from __future__ import annotations

import re

import pytest

from controller.settings import guard_limits
from tests.house import tables


@pytest.mark.parametrize("page", tables.PAGES)
def test_each_page_holds_the_tables_of_the_code(page: str) -> None:
    """Run `python -m tests.house.tables` after a change of a limit, an interlock, an order or a stage."""
    assert tables.printed(page) == tables.PAGES[page]()


def test_every_figure_of_the_guard_is_printed_once() -> None:
    """No limit of a tun file's `[guard]` is left out of the table, and none stands there twice."""
    shown = re.findall(r"[|;] (\w+) [\d.]+[^|;]* \(", tables.guard())
    assert sorted(shown) == sorted(row.key for row in guard_limits.table())
