"""Does a swarm run, replay, and tell of failures?"""

from __future__ import annotations

import json
from functools import partialmethod
from random import Random

import pytest

from controller.cli import main
from sim import dryrun, swarm
from sim.plant.random_tun import KINDS
from sim.random_setup import random_brewery
from sim.world.faults import parse
from tests.regimes.once_failed import SHORT
from tests.sim.crippled import crippled


@pytest.mark.parametrize("seed", SHORT)
def test_seeds_that_once_failed_stay_sound(seed: int) -> None:
    """The short ones are played again in full: no promise broken, and the run comes to its end."""
    verdict = swarm.one(seed)
    assert verdict.breaches == (), [str(breach) for breach in verdict.breaches]


def test_a_seed_names_its_mash_for_good() -> None:
    """The same seed gives the same tun, program and faults."""
    for seed in range(5):
        assert random_brewery(Random(f"brewery {seed}")) == random_brewery(Random(f"brewery {seed}"))
    assert random_brewery(Random("brewery 1")) != random_brewery(Random("brewery 2"))


def test_the_breweries_are_of_every_class_and_their_programs_fit() -> None:
    """60 seeds: all classes, all heaters, plans without problems, level and second probe here and there."""
    drawn = [random_brewery(Random(f"brewery {seed}")) for seed in range(60)]
    assert {b.drawn.kind for b in drawn} == set(KINDS)
    assert {b.settings.tun.heater.kind for b in drawn} == {"proportional", "ssr", "contactor", "gas"}
    assert not [b for b in drawn if b.plan.problems]
    assert {b.settings.tun.level is None for b in drawn} == {True, False}
    assert {b.settings.tun.probes.second is None for b in drawn} == {True, False}


def test_a_daemon_without_a_guard_is_caught_with_its_line_to_replay(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Guard sawn off: after 20 min the swarm fails, names promises, and prints the line that plays the seed again."""
    monkeypatch.setattr(dryrun, "tick", crippled)
    monkeypatch.setattr(dryrun.DryRun, "go", partialmethod(dryrun.DryRun.go, 1200.0))
    assert main(["swarm", "--seeds", "5..5", "--fault", "probe_unplugged@700+200", "--json"]) == 1
    out = capsys.readouterr()
    answer = json.loads(out.out)
    assert answer["failed"] == [5]
    assert "I1" in answer["breaches"]
    assert "underback swarm --seeds 5..5 --fault probe_unplugged@700+200" in out.err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--seeds", "5..1"], "--seeds"),
        (["--seeds", "x"], "--seeds"),
        (["--jobs", "0"], "--jobs"),
        (["--hours", "-1"], "--hours"),
        (["--fault", "nonsense"], "--fault"),
        (["--healthy", "--fault", "probe_nan"], "--healthy"),
    ],
)
def test_wrong_words_are_refused(words: list[str], said: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit 2 with what was wanted."""
    assert main(["swarm", *words]) == 2
    assert said in capsys.readouterr().err


def test_the_replay_line_carries_given_faults() -> None:
    """What was given by hand is given again."""
    verdict = swarm.Verdict(4, "", (parse("probe_nan@5+5"),), "held", 1.0, (), (), 1, 60.0, given=True)
    assert verdict.replay() == "underback swarm --seeds 4..4 --fault probe_nan@5+5"
    assert verdict._replace(faults=(), given=False).replay() == "underback swarm --seeds 4..4 --healthy"
