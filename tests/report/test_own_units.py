"""The report of a run in the units that people chose."""

from __future__ import annotations

import json
import re

from controller.report.run_page import html
from controller.settings.own_units import own
from tests.report.runs import record


def test_nothing_metric_is_left_on_a_page_in_us_units() -> None:
    """No figure in °C, kg, L or °P is told; each mark of the temperature axis reads as its line lies; the samples
    behind the curve are in °F; and the metric page is as it was."""
    run = record()
    page, metric = html(run, own("US")), html(run)
    text = re.sub(r"(?s)<script.*?</script>|<style.*?</style>|<[^>]+>", " ", page)
    assert not re.findall(r"\d (?:°C|kg|L|°P|K)\b", text)
    marks, told = (re.findall(r'class="tick warm" x="[^"]+" y="([^"]+)"[^>]*>([\d.]+)<', one) for one in (metric, page))
    assert marks and [place for place, _ in marks] == [place for place, _ in told]
    for (_, celsius), (_, fahrenheit) in zip(marks, told, strict=True):
        assert abs(float(fahrenheit) - (1.8 * float(celsius) + 32.0)) <= 0.5
    samples = [json.loads(re.findall(r'id="samples"[^>]*>(.*?)</script>', one)[0]) for one in (metric, page)]
    assert [one["unit"] for one in samples] == ["°C", "°F"]
    known = next(n for n, value in enumerate(samples[0]["mash"]) if value is not None)
    assert samples[1]["mash"][known] == 180 * samples[0]["mash"][known] // 100 + 3200 or (
        abs(samples[1]["mash"][known] - (1.8 * samples[0]["mash"][known] + 3200)) <= 1
    )
