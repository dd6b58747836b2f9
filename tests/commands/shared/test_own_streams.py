"""What a command says, in the units chosen."""

from __future__ import annotations

import json
from pathlib import Path

from tests.commands.called import called


def test_flag_file_and_machine(config: Path) -> None:
    """--units tells the page and its problems in °F and lb, service.toml does so for good, JSON stays as it is, and a
    word that is no unit is refused."""
    plain, told = (
        called("check", "linnet", config=config)[1],
        called("check", "linnet", "--units", "US", config=config)[1],
    )
    assert "66.0 °C" in plain and "150.8 °F" in told and "33.1 lb liquor (1.44 qt/lb)" in told
    assert "°C" not in told and " kg" not in told
    refused = called("check", "sandpiper", "--tun", "plover", "--units", "US", config=config)
    assert refused[0] == 2 and "at most 7.53 gal" in refused[2]
    as_json = called("check", "linnet", "--json", "--units", "US", config=config)[1]
    assert json.loads(as_json)["plan"]["steps"][1]["target_c"] == 66.0 and "°F" not in as_json
    assert called("check", "linnet", "--units", "furlong", config=config)[2].startswith("--units: found 'furlong'")
    service = config / "service.toml"
    service.write_text(service.read_text("utf-8").replace('units = "metric"', 'units = "US"'), encoding="utf-8")
    assert called("check", "linnet", config=config)[1] == told
    service.write_text(service.read_text("utf-8").replace('units = "US"', 'units = "ell"'), encoding="utf-8")
    assert 'units: found "ell", wanted "metric"' in called("check", "linnet", config=config)[2]
