"""The tables in the documentation are those of the code."""

from __future__ import annotations

from tests.house import tables


def test_the_documentation_holds_the_tables_of_the_code() -> None:
    """Run `python -m tests.house.tables` after a change of a limit, an interlock or an order."""
    assert tables.printed() == tables.text()
