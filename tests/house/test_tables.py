"""The tables in the documentation are those of the code."""

from __future__ import annotations

from tests.house import tables


def test_the_documentation_holds_the_tables_of_the_code() -> None:
    """Run `python -m tests.house.tables` after a change of a limit, an interlock or an order."""
    assert tables.printed() == tables.text()


def test_the_readme_tells_every_trip_as_the_code_does() -> None:
    """The same command writes it."""
    assert tables.printed("README.md", tables.TRIPS_BEGIN, tables.TRIPS_END) == tables.trips()
