"""What did the simulated days of a program come to, when `dryrun --days` was last run here?

A file a program and tun in the data folder, valid as long as both mean the same. Only a brewery that has a data folder
keeps any; one that cannot be read is as none, for it is only quoted.
"""

from __future__ import annotations

import contextlib
import json
import time
from math import inf
from pathlib import Path
from typing import Any

from controller.plan.plan import Plan, digest
from controller.settings.service import Service


def path(service: Service, plan: Plan) -> Path:
    """Where do they stand?"""
    return Path(service.data_dir) / "days" / f"{plan.program.name}-{plan.tun.name}.json"


def keep(service: Service, plan: Plan, answer: dict[str, Any], now_s: float) -> None:
    """Keep what the days came to, with the unix time. Nothing happens where there is no data folder or no room."""
    file = path(service, plan)
    if file.parent.parent.is_dir():
        kept = {"digest": digest(plan.program, plan.tun), "at": now_s, **answer}
        with contextlib.suppress(OSError):
            file.parent.mkdir(exist_ok=True)
            file.write_text(json.dumps(kept, ensure_ascii=False) + "\n", encoding="utf-8")


def _kept(service: Service, plan: Plan) -> dict[str, Any]:
    """What was kept of this program on this tun as they are now. Raises OSError, ValueError, KeyError or TypeError."""
    kept: dict[str, Any] = json.loads(path(service, plan).read_text(encoding="utf-8"))
    if kept["digest"] != digest(plan.program, plan.tun):
        raise KeyError("of another program or tun")
    return kept


def ready_s(service: Service, plan: Plan) -> tuple[float, float] | None:
    """Within which times from the start were nine days of ten ready, s? None where none were run."""
    try:
        took = _kept(service, plan)["duration_s"]
        early_s, late_s = float(took["p5"]), float(took["p95"])
        return (early_s, late_s) if 0.0 < early_s <= late_s < inf else None
    except (OSError, ValueError, KeyError, TypeError):
        return None


def quoted(service: Service, plan: Plan) -> str:
    """The days in a line; empty where none were run of this program on this tun as they are now."""
    try:
        kept = _kept(service, plan)
        early, middle, late = (f"{kept['duration_s'][key] / 60.0:.0f}" for key in ("p5", "p50", "p95"))
        on = time.strftime("%d %B %Y", time.localtime(kept["at"]))
        return (
            f"Of {kept['days']} days simulated on {on}, {kept['complete']} completed; "
            f"ready {middle} min after the start, nine days of ten within {early} to {late} min."
        )
    except (OSError, ValueError, KeyError, TypeError):
        return ""
