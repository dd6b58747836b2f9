"""What do the simulator's tests share? The shipped files, read once."""

from __future__ import annotations

from functools import cache

import pytest

from controller.edge.files import config_files
from controller.plan import plan
from controller.plan.plan import Plan
from controller.settings.service import Settings
from sim import dryrun
from sim.dryrun import Ran
from tests.places import CONFIG


@cache
def shipped(tun: str, program: str, share: float = 1.0) -> tuple[Settings, Plan]:
    """Settings and plan of a shipped program on a shipped tun, its rests a share as long."""
    settings, said = config_files.settings(CONFIG, tun), config_files.load_program(CONFIG, program)
    steps = [step.model_copy(update={"time_s": step.time_s and step.time_s * share}) for step in said.step]
    return settings, plan.make(said.model_copy(update={"step": tuple(steps)}), settings.tun)


@cache
def ran(tun: str, program: str, share: float = 1.0) -> Ran:
    """The shipped program's dry run on the shipped tun, without faults: run once, looked at by several tests."""
    return dryrun.run(*shipped(tun, program, share), 1)


@pytest.fixture
def gannet() -> tuple[Settings, Plan]:
    return shipped("gannet", "sandpiper")


@pytest.fixture
def plover() -> tuple[Settings, Plan]:
    return shipped("plover", "linnet")
