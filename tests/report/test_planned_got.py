"""Planned beside got: conversion and lauter yield apart, and which of them fell short."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from controller.report import EventRecord, planned_got
from tests.report.runs import record

SHEET = {"mass_kg": 20.0, "kind": "malt", "extract": 0.8, "moisture": 0.048}
MALT = EventRecord(0.0, "malt", "pale", "20 kg pale", data=SHEET)
WORT = {"first_wort_p": 20.0, "conversion_share": 0.95}
PLAN = WORT | {"liquor_kg": 60.0, "kettle_l": 91.0, "kettle_p": 13.9, "lauter_share": 0.9}
FILED = (MALT, EventRecord(0.0, "expected", "wort", "what is to be got", data=PLAN))


def got(**entered: Any) -> dict[str, planned_got.Row]:
    """The rows of a run with these entries."""
    late = {"kind": "entry", "by": "x", "data": entered}
    run = replace(record(), grist_kg=20.0, liquor_kg=60.0, events=FILED, added=(late,))
    return {row.title: row for row in planned_got.rows(run)}


def test_w49_conversion_and_lauter_yield_apart() -> None:
    """W49: first wort of 19.3 °P and 86 L of 1.046 in the kettle: 93.5 % is dissolved, 70 % of that came out; with a
    sheet of 80 % dry at 4.8 %, 76.2 % as is, where the example has 78."""
    rows = got(first_wort_p=19.3, final_volume_l=86.0, final_p=11.43)
    scale = 0.78 / (0.8 * 0.952)
    assert rows["conversion"].got == pytest.approx(0.935 * scale, abs=0.001)
    assert rows["lauter yield"].got == pytest.approx(0.704, abs=0.002)
    assert rows["wort in the kettle"][2:] == (91.0, 86.0)
    assert "lautering" in planned_got.verdict(list(rows.values()))


@pytest.mark.parametrize(
    ("entered", "says"), [({"first_wort_p": 15.0}, "the mash"), ({"first_wort_p": 19.5}, ""), ({}, "")]
)
def test_what_fell_short_is_said(entered: dict[str, Any], says: str) -> None:
    """A thin first wort is a matter of the mash; what is as planned, or was not measured, is not spoken of."""
    said = planned_got.verdict(list(got(**entered).values()))
    assert (says in said) if says else said == ""


def test_liquor_measured_hot_is_weighed() -> None:
    """61 L at 78 °C are 59.4 kg where 60 were planned."""
    row = got(liquor_volume_l=61.0, liquor_at_c=78.0)["liquor in the tun"]
    assert row.planned == 60.0 and row.got == pytest.approx(59.35, abs=0.05)
    assert row.words() == "59.4 kg, planned 60 kg"
