"""Every quantity that a page prints in other units is read back to what the metric page prints."""

from __future__ import annotations

import re
from itertools import chain
from pathlib import Path

import pytest

from controller.brewing.units import TABLE, quantity
from controller.report.run_page import html
from controller.settings.own_units import own
from tests.commands.called import called
from tests.report.runs import record
from tests.settings.own_choices import METRIC, read_back

METRIC_TOO = "kg"  # metric as printed, and told as any choice is: a unit at each figure of a table
CHOICES = ("US", "UK", "°F oz qt SG", "°F, lb, bbl", "g hL °Bx", "imp bbl SG", "°F mL")
UNITS = sorted({*chain.from_iterable(TABLE[kind].units for kind, _, _ in METRIC.values())}, key=len, reverse=True)
TOLD = re.compile(rf"(?<![\w.,:])([-−]?\d+(?:\.\d+)?)[ \u00a0]?({'|'.join(map(re.escape, UNITS))})(?![\w/°])")


def quantities(page: str) -> list[tuple[str, str]]:
    """Number and unit of each quantity on a page, in order; of a list or a range the last, which stands at the unit."""
    return [(number.replace("−", "-"), unit) for number, unit in TOLD.findall(page)]


def pages(config: Path, choice: str) -> list[str]:
    """What commands and a report print."""
    said = [
        ("check", "dotterel"),
        ("check", "linnet", "--at", "09:00"),
        ("reckon", "volume", "liquor=60 kg", "grist=20 kg"),
    ]
    printed = [called(*words, "--units", choice, config=config)[1] for words in said]
    bare = re.sub(r"(?s)<script.*?</script>|<style.*?</style>|<svg.*?</svg>|<[^>]+>", " ", html(record(), own(choice)))
    return [*printed, bare]


@pytest.mark.parametrize("choice", CHOICES)
def test_each_quantity_printed_is_read_back(config: Path, choice: str) -> None:
    """Plan, sum and report: as many quantities as on the metric page, each the same one to its last digit."""
    for metric, told in zip(pages(config, METRIC_TOO), pages(config, choice), strict=True):
        there, here = quantities(metric), quantities(told)
        assert len(there) >= 10 and len(here) == len(there)
        for (number, unit), (other, name) in zip(there, here, strict=True):
            kind = METRIC[unit][0] if unit in METRIC else None
            if kind is None:  # a unit that people always read, such as g
                assert (number, unit) == (other, name)
                continue
            assert float(read_back(unit, number, quantity(kind, f"{other} {name}"))) == float(number), (other, name)
