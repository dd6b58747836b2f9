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
def shipped(tun: str, program: str) -> tuple[Settings, Plan]:
    """Settings and plan of a shipped program on a shipped tun."""
    settings = config_files.settings(CONFIG, tun)
    return settings, plan.make(config_files.load_program(CONFIG, program), settings.tun)


@cache
def ran(tun: str, program: str) -> Ran:
    """The shipped program's dry run on the shipped tun, without faults: run once, looked at by several tests."""
    return dryrun.run(*shipped(tun, program), 1)


@pytest.fixture
def gannet() -> tuple[Settings, Plan]:
    return shipped("gannet", "sandpiper")


@pytest.fixture
def plover() -> tuple[Settings, Plan]:
    return shipped("plover", "linnet")
