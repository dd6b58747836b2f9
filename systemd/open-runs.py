"""Which runs are open? A run is open until it is complete, stopped or aborted; a damaged record counts as open.

Asked by the installer and by the package before anything is changed: with the configuration's folder and the records'.
"""

import sys
import tomllib
from pathlib import Path

from controller.edge.record.line_format import find

etc, data = map(Path, sys.argv[1:])
service = etc / "service.toml"
named = tomllib.loads(service.read_text("utf-8")).get("data_dir", "") if service.exists() else ""
for folder in sorted({f for d in (data, data / "data", data / named) for f in d.glob("record/*") if f.is_dir()}):
    found = find(folder)
    state = ((found.kept or {}).get("run") or {}).get("state", "idle")
    if found.damage:
        print(f"{folder.name} (its record is damaged: {found.damage})")
    elif state not in ("idle", "complete", "stopped", "aborted"):
        print(f"{folder.name} ({state})")
