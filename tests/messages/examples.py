"""Which payload is an example of each topic? `python -m tests.messages.examples` writes them anew, from dry runs.

They stand beside the models (`controller/messages/examples.json`) and in the message document; what no dry run says is
written here. Lists are cut to two entries.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

from controller.edge.files import config_files, plan_by_name
from controller.messages.asyncapi import EXAMPLES
from controller.messages.history import History, Sample
from sim.dryrun import DryRun
from sim.world.faults import parse
from tests.places import CONFIG

TUN, PROGRAM = "plover", "linnet"  # pumped, with a flow switch and an outlet probe
WRITTEN: dict[str, Any] = {
    "startable": {
        "at": 1790000000.0,
        "programs": [
            {
                "name": "linnet",
                "title": "Linnet: one rest",
                "tun": "",
                "missing": [],
                "strike_c": 71.2,
                "landing_c": 66.0,
                "liquor_kg": 24.0,
                "liquor_c": 12.0,
                "grist_c": 18.0,
                "fill_share": 0.71,
                "heat_up_s": 2400.0,
                "duration_s": 9000.0,
                "advice": [],
                "grist": [{"name": "pale malt", "mass_kg": 6.0}],
                "steps": [{"name": "conversion", "target_c": 66.0, "planned_s": 3600.0}],
            }
        ],
        "missing": [],
        "unattended": [],
        "delayed": ["no proof test on record"],
        "cautions": ["Never close a heated vessel."],
        "units": "metric",
    },
    "supply": {"tun": "plover", "seq": 12, "wish_w": 3000.0, "hold_w": 1500.0, "rank": 1, "heard": {"gannet": 40}},
    "horn": False,
    "heaterOnline": True,
    "probeOnline": True,
    "stirrerOnline": True,
    "pumpOnline": True,
    "online": True,
    "level": {"ok": True, "seq": 3},
    "stirrerCommand": {"seq": 3, "on": True, "valid_s": 10.0, "reason": "mixing"},
    "order": {
        "id": "panel-7",
        "order": "restart",
        "args": {"hand": "62 °C"},
        "by": "Ann",
        "at": 1790000000.0,
        "valid_s": 10.0,
        "nonce": "5f0c1d",
    },
}
WANTED: dict[
    str, Callable[[dict[str, Any]], Any]
] = {  # of what is said below the tun's topic: which message shows most?
    "status": lambda said: said["step"] and said["step"]["phase"] == "resting" and said["prediction"],
    "event": lambda said: said["kind"] == "trip",
    "reply": lambda said: said["order"] == "answer",
    "heater/command": lambda said: said["duty"] > 0.0,
    "heater/report": lambda said: said["duty"] > 0.0,
    "pump/command": lambda said: said["on"],
    "flow": lambda said: said["ok"],
    "probe/mash": lambda said: True,
}
NAMES = {"heater/command": "heaterCommand", "heater/report": "heaterReport", "pump/command": "pumpCommand"}


def short(value: Any) -> Any:
    """The same with lists cut to two entries."""
    if isinstance(value, dict):
        return {key: short(part) for key, part in value.items()}
    return [short(part) for part in value[:2]] if isinstance(value, list) else value


def heard() -> dict[str, Any]:
    """What a mash with a silent probe says, one message of each topic."""
    settings, found = config_files.settings(CONFIG, TUN), dict[str, Any]()

    def listen(at: float, topic: str, payload: bytes, *more: bool) -> None:
        name = topic.split("/", 2)[2]
        if name in WANTED and name not in found and WANTED[name](said := json.loads(payload)):
            found[name] = said

    plan = plan_by_name.load_plan(CONFIG, PROGRAM, TUN)
    DryRun(settings, plan, 1, [parse("probe_unplugged@4000+60")], listen=listen).go()
    missing = sorted(WANTED.keys() - found.keys())
    assert not missing, missing
    return {NAMES.get(name, "reading" if name == "probe/mash" else name): said for name, said in found.items()}


def history(event: dict[str, Any]) -> Any:
    """Two minutes of a run and one event."""
    past = History()
    past.happened(event["seq"], json.dumps(event).encode())
    for second in range(120):
        past.ran("plover-1", float(second), Sample(64.0 + second / 60.0, 65.0, 66.0, 0.6))
    return json.loads(past.document(120.0, 1790000120.0, 1.0))


def main() -> None:
    """Write the file anew."""
    found = {**WRITTEN, **heard()}
    found["history"] = history(found["event"])
    text = json.dumps(short(dict(sorted(found.items()))), indent=1, ensure_ascii=False)
    Path(EXAMPLES).write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
