"""The service on virtual time and the dry run are the same machine."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from controller.edge.files import config_files
from controller.plan import plan
from sim.dryrun import DryRun
from tests.edge.virtual import Rig, site, virtual
from tests.places import CONFIG

SEEDS = int(os.environ.get("UNDERBACK_LIVE_SEEDS", "3"))
LONG, SHORT = 3300.0, 900.0  # seconds: the first seed goes through to the keep, the others as far as the first rest


@pytest.mark.parametrize("seed", range(1, SEEDS + 1))
@virtual
async def test_the_service_sends_what_the_dry_run_sends(seed: int, tmp_path: Path) -> None:
    """For the same seed every heater command is the same, byte for byte: strike, dough-in, rises and rests, which
    take a quarter of their time, in liquor that comes in warm."""
    seconds = LONG if seed == 1 else SHORT
    tun, program = (("gannet", "sandpiper"), ("plover", "linnet"))[seed % 2]
    settings = config_files.settings(CONFIG, tun)
    shipped = config_files.load_program(CONFIG, program)
    short = [step.model_copy(update={"time_s": step.time_s and step.time_s / 4}) for step in shipped.step]
    liquor = shipped.liquor.model_copy(update={"temperature_c": 45.0})
    made = plan.make(shipped.model_copy(update={"step": tuple(short), "liquor": liquor}), settings.tun)
    dry: list[bytes] = []
    counted = DryRun(
        settings,
        made,
        seed,
        listen=lambda t, topic, payload, retained, ours: (
            dry.append(payload) if ours and topic.endswith("heater/command") else None
        ),
    )
    while counted._now < seconds:
        counted.second()
    rig = Rig(settings, site(settings, made, seed), tmp_path, f"dry{seed}")
    await rig.run(lambda service: False, seconds + 2.0)
    sent = rig.commands()
    assert any(b'"duty":0.0,' not in command for command in dry)
    assert sent[: len(dry)] == dry[: len(sent)]
    assert min(len(sent), len(dry)) > 0.95 * seconds
