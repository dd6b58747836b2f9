"""The story of a fault: beside the same day without it, with what nobody would have known."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from controller.plan.plan import Plan
from controller.settings.service import Settings
from sim import dryrun
from sim.dryrun import Ran
from tests.commands.called import called

REST = """title = "One rest"
[liquor]
volume = "40 L"
temperature = "41 °C"
[[step]]
name = "rest"
temperature = "44 °C"
time = "20 min"
"""
HEAD = "What the faults did, beside the same day without them"
CASES = {  # fault as it is written: lines of its story, which warnings, and how the command ends
    "probe_drift@8min+900=-0.12": (
        ["  probe_drift: the reading drifts by this, K/min (-0.12)", "    began at 8 min, ended at 23 min"],
        ["warn: rest was truly up to 1.9 K over its 44.0 °C, more than 1 K off for ", ", and nothing tripped"],
        0,
    ),
    "probe_unplugged@10min+60": (
        [
            "    began at 10 min, ended at 11 min",
            "    noticed after 4 s by the daemon, in a note: No new mash temperature for over 5 s.",
            "  the run took ",
            " longer than without",
        ],
        [],
        0,
    ),
    "heater_power": (
        ["    began at 10 min, went on to the end (not written, so assumed: begins at 10 min, lasts to the end, =0.5)"],
        [],
        0,
    ),
    "level_lost@12min": (["to find the cause of G13, clear it and restart", "the run ended held after"], [], 1),
}


@pytest.fixture(autouse=True, scope="module")
def plain() -> Iterator[None]:
    """The same day without a fault is the same for all of them, and run once."""
    ran: list[Ran] = []

    def once(settings: Settings, plan: Plan, seed: int) -> Ran:
        ran[:] = ran or [run(settings, plan, seed)]
        return ran[0]

    run = dryrun.run
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(dryrun, "run", once)
        yield


@pytest.mark.parametrize("fault", sorted(CASES))
def test_a_dry_run_tells_what_its_fault_did(fault: str, config: Path) -> None:
    """When it began and ended, who noticed what, what is asked, what it cost, and a rest that was truly off."""
    lines, warned, ends = CASES[fault]
    (config / "programs" / "rest.toml").write_text(REST, encoding="utf-8")
    code, out, _ = called("dryrun", "rest", "--tun", "gannet", "--fault", fault, config=config)
    told = out.partition(HEAD)[2]
    assert code == ends and [line for line in (*lines, *warned) if line not in told] == [], out
    assert ("warn: rest was truly" in told) is bool(warned)


def test_without_a_fault_there_is_no_story(config: Path) -> None:
    """The agreed object stays as it is; with a fault it holds the story too."""
    (config / "programs" / "rest.toml").write_text(REST, encoding="utf-8")
    words = ("dryrun", "rest", "--tun", "gannet")
    plain = json.loads(called(*words, "--json", config=config)[1])
    assert not {"faults", "story", "warnings"} & set(plain)
    drifting = json.loads(called(*words, "--json", "--fault", "probe_drift@8min+900=-0.12", config=config)[1])
    assert drifting["story"][0] == HEAD and drifting["trips"] == [] and len(drifting["warnings"]) == 1
