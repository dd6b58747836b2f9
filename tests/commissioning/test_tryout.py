"""The proof test: every trial on a simulated tun, what each fault makes of it, and what its record is worth."""

from __future__ import annotations

import asyncio
import itertools
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from controller.commissioning import proof_record, tryout_rig
from controller.commissioning.proof_record import Trial
from controller.commissioning.tryout import Tryout
from controller.commissioning.tryout_rig import Hushed, Look, Water
from controller.core.nouns import RunState
from controller.edge.files import config_files
from controller.edge.record.disks import RealDisks
from controller.plan import plan
from controller.settings.service import Settings
from sim.people.manual_faults import ScriptedHands
from sim.simulated_site import SimulatedSite
from sim.world.faults import parse
from sim.world.world import WALL_S, World
from tests.edge.virtual import GANNET, Rig, virtual
from tests.places import CONFIG

PLOVER: Settings = config_files.settings(CONFIG, "plover")
FIRST, HEAT, LAST = (
    ("nodes", "mash probe"),
    ("heater on", "heater off", "no heat when off", "lease"),
    ("hard limit", "clear"),
)


class Says(ScriptedHands):
    """Hands that answer a question in one way."""

    def __init__(self, world: World, answer: str) -> None:
        super().__init__(world)
        self._answer = answer

    async def ask(self, key: str, text: str) -> str:
        await super().ask(key, text)
        return self._answer


class Bench:
    """A rig whose service is being tried out."""

    def __init__(
        self, folder: Path, *faults: str, settings: Settings = GANNET, litres: float = 40.0,
        disks: RealDisks | None = None, answer: str = "yes",
    ) -> None:  # fmt: skip
        self.water = Water(litres, 12.0)
        self.plan: plan.Plan = tryout_rig.course(settings, self.water)
        self.world = World(settings, self.plan.course, 5, [parse(spec) for spec in faults], None, 12.0)
        self.hands = Says(self.world, answer)
        self.look = Look()
        self.rig = Rig(settings, SimulatedSite(self.world, None), folder, "boot5", watcher=self.look, disks=disks)
        self.hushed = Hushed(self.rig.transport, self.rig.clock)
        self.rig.service.transport = self.hushed
        self.tryout = Tryout(self.rig.service, self.look, self.hushed, self.hands, "test")

    async def go(self) -> list[Trial]:
        world = asyncio.create_task(self.rig.world())
        try:
            return await self.tryout.run(self.water)
        finally:
            world.cancel()

    def heard(self, then: Callable[[str, str], None]) -> None:
        """What happens after the hands were told something?"""
        say = self.hands.say

        def told(key: str, text: str) -> None:
            say(key, text)
            then(key, text)

        self.hands.say = told  # type: ignore[method-assign]

    def commands(self) -> list[dict[str, Any]]:
        return self.rig.said(self.rig.topics.heater_command)


@virtual
async def tried(folder: Path, *faults: str, **more: Any) -> tuple[Bench, list[Trial]]:
    bench = Bench(folder, *faults, **more)
    return bench, await bench.go()


@pytest.mark.parametrize(
    ("settings", "litres", "trials", "silent_s"),
    [(GANNET, 40.0, (*FIRST, "second probe", *HEAT, "level", *LAST), 15.0),
     (PLOVER, 18.0, (*FIRST, "outlet probe", *HEAT, "flow", *LAST), 10.0)],
    ids=["stirred", "pumped"],
)  # fmt: skip
def test_a_sound_tun_passes_every_trial(
    settings: Settings, litres: float, trials: tuple[str, ...], silent_s: float, tmp_path: Path
) -> None:
    """Gannet: nodes, two probes, heater, lease, level, limit, clear; Plover: the outlet probe and the flow switch in
    place of second probe and level; the run ends stopped with the heater off; in the trial of the lease no command is
    sent for 5 s longer than it lasts, and heat returns afterwards."""
    bench, done = tried(tmp_path, settings=settings, litres=litres)
    assert [(t.name, t.passed) for t in done] == [(name, True) for name in trials]
    assert bench.rig.service.state.run.state is RunState.STOPPED
    assert bench.rig.service.settings.tun.guard.hard_limit_c == settings.tun.guard.hard_limit_c == 80.0
    said = bench.commands()
    assert said[-1]["duty"] == 0.0
    assert max(b["at"] - a["at"] for a, b in itertools.pairwise(said)) >= silent_s - 1.0
    lease = next(t for t in done if t.name == "lease")
    assert lease.value is not None and silent_s - 7.0 <= lease.value <= silent_s - 2.0


@pytest.mark.parametrize(
    ("fault", "trial", "word"),
    [
        ("level_silent@0", "nodes", "level switch"),
        ("heater_silent@0+100000", "nodes", "heater node reports nothing"),
        ("heater_open@0", "heater on", "did not warm"),
        ("heater_welded@100=1", "no heat when off", "stuck closed"),
        ("heater_lies@80+100000=1", "heater off", "off was reported"),
    ],
)
def test_a_fault_fails_the_trial_that_looks_for_it(fault: str, trial: str, word: str, tmp_path: Path) -> None:
    """What is broken fails by name, the rest is not tried, and the heater is commanded off at the end."""
    bench, trials = tried(tmp_path, fault)
    assert (trials[-1].name, trials[-1].passed) == (trial, False)
    assert word in trials[-1].text
    assert bench.commands()[-1]["duty"] == 0.0


@virtual
async def test_a_node_that_keeps_no_lease_fails(tmp_path: Path) -> None:
    """A heater that stays on when commands stop is the fault this trial is for."""
    bench = Bench(tmp_path)
    heater = bench.world.heater
    beat = heater.beat

    def endless(*args: Any, **more: Any) -> float:
        if heater.state.ordered > 0.0:
            heater.state = heater.state.but(until=bench.world.now + 100.0)
        return beat(*args, **more)

    heater.beat = endless  # type: ignore[method-assign]
    trials = await bench.go()
    assert (trials[-1].name, trials[-1].passed) == ("lease", False)
    assert "keeps no lease" in trials[-1].text


@virtual
async def ended_at(folder: Path, until: str) -> tuple[Bench, list[Trial]]:
    """Tried until the hands are told this, and ended there as by Ctrl-C."""
    bench = Bench(folder, disks=RealDisks())
    bench.heard(lambda key, text: bench.tryout.interrupt() if f"{key} {text}".startswith(until) else None)
    return bench, await bench.go()


@pytest.mark.parametrize(
    "key",
    ["lift mash", "passed passed  heater on", "passed passed  heater off", "passed passed  no heat when off",
     "trip level"],
)  # fmt: skip
def test_trials_that_are_ended_early_are_a_failed_proof_and_leave_no_run_open(key: str, tmp_path: Path) -> None:
    """Whatever had passed by then: a failed trial `interrupted` stands in the record, and the record proves nothing;
    the run is aborted on the way out, heater off: the next tryout finds none open, and no limit stays pretended."""
    bench, trials = ended_at(tmp_path, key)
    assert (trials[-1].name, trials[-1].passed) == ("interrupted", False)
    assert all(trial.passed for trial in trials[:-1])
    settings = home(tmp_path)
    document = proof_record.record(settings, trials, "test", WALL_S)
    proof_record.write(settings, document)
    assert document["passed"] is False and proof_record.proof_days(settings, WALL_S) is None
    assert bench.commands()[-1]["duty"] == 0.0
    assert bench.rig.service.settings.tun.guard.hard_limit_c == 80.0
    if key != "lift mash":  # before which no run is open
        assert bench.rig.service.state.run.state is RunState.ABORTED
    if key in ("passed passed  heater on", "passed passed  no heat when off", "trip level"):
        _, trials = tried(tmp_path, disks=RealDisks())
        assert trials and all(trial.passed for trial in trials), trials[-1]


@virtual
async def test_the_last_off_goes_out_although_commands_were_held_back(tmp_path: Path) -> None:
    """Ended in the lease trial, while no command leaves: the OFF of the end leaves all the same."""
    bench = Bench(tmp_path)
    hush = bench.hushed.hush

    def hushed(for_s: float) -> None:
        hush(for_s)
        asyncio.get_running_loop().call_later(3.0, bench.tryout.interrupt)

    bench.hushed.hush = hushed  # type: ignore[method-assign]
    await bench.go()
    said = bench.commands()
    last_hot = max(one["at"] for one in said if one["duty"] > 0.0)
    off = [one["at"] for one in said if one["at"] > last_hot]
    assert off[0] - last_hot < 6.0 and said[-1]["duty"] == 0.0


@virtual
async def test_a_second_wish_to_end_stops_the_service_at_once(tmp_path: Path) -> None:
    """Whoever asks twice does not wait for the run's end."""
    bench = Bench(tmp_path)
    asyncio.get_running_loop().call_later(5.0, bench.tryout.interrupt)
    asyncio.get_running_loop().call_later(5.0, bench.tryout.interrupt)
    trials = await bench.go()
    assert [trial.name for trial in trials] == ["interrupted"]
    assert bench.commands()[-1]["duty"] == 0.0


@virtual
async def test_a_switch_is_judged_by_its_trip_and_not_by_a_gap_of_the_heater(tmp_path: Path) -> None:
    """Flow stops seconds after the pump was started, when it is not yet looked at, and the heater happens to be off:
    the trial waits for the trip."""
    bench = Bench(tmp_path, settings=PLOVER, litres=20.0)

    def just_started(key: str, text: str) -> None:
        if key == "trip flow":
            bench.rig.service.state = bench.rig.service.state._replace(pump_on_s=0.0)

    bench.heard(just_started)
    trials = await bench.go()
    assert all(trial.passed for trial in trials), trials[-1]


def test_a_trip_of_an_earlier_run_is_asked_for_and_cleared_first(tmp_path: Path) -> None:
    """Ended while the pretended limit had latched, the tun can be tried again once a person says that it is mended;
    who does not say so gets no trial."""

    @virtual
    async def to_the_limit() -> Bench:
        bench = Bench(tmp_path, disks=RealDisks())
        judge = bench.tryout._judge_off

        def judged(name: str, text: str, took: float | None) -> None:
            judge(name, text, took)
            if name == "hard limit":
                bench.tryout.interrupt()

        bench.tryout._judge_off = judged  # type: ignore[method-assign]
        await bench.go()
        return bench

    assert [trip.id for trip in to_the_limit().rig.service.state.guard.trips] == ["G07"]
    unsure, trials = tried(tmp_path, disks=RealDisks(), answer="no")
    assert [(trial.name, trial.passed) for trial in trials] == [("nodes", False)]
    assert "G07 hard limit is latched from an earlier run" in trials[0].text
    sure, trials = tried(tmp_path, disks=RealDisks())
    assert all(trial.passed for trial in trials), trials[-1]
    assert [[key for key, _ in bench.hands.said].count("clear") for bench in (sure, unsure)] == [1, 1]


@virtual
async def test_two_roles_on_one_probe_are_found_out(tmp_path: Path) -> None:
    """Where the second probe moves with the first, the identity trial says so."""
    bench = Bench(tmp_path)
    bench.heard(lambda key, text: bench.hands.say("lift second", "") if key == "lift mash" else None)
    trials = await bench.go()
    assert (trials[-1].name, trials[-1].passed) == ("mash probe", False)
    assert "second moved as well" in trials[-1].text


def test_a_limit_is_only_ever_tightened() -> None:
    """Pretending a higher limit than the tun's leaves the tun's."""
    assert tryout_rig.tightened(GANNET, 20.0).tun.guard.hard_limit_c == 20.0
    assert tryout_rig.tightened(GANNET, 90.0).tun.guard.hard_limit_c == GANNET.tun.guard.hard_limit_c


# ---------------------------------------------------------------- the record


def home(tmp_path: Path) -> Settings:
    return GANNET._replace(service=GANNET.service.model_copy(update={"data_dir": str(tmp_path)}))


GOOD = [Trial(name, True, "as it should be") for name in proof_record.plan(GANNET.tun)]


def test_a_passed_trial_is_a_proof_of_its_age(tmp_path: Path) -> None:
    """Three days after it, the proof test is three days old; without one there is none."""
    settings = home(tmp_path)
    assert proof_record.proof_days(settings, WALL_S) is None
    path = proof_record.write(settings, proof_record.record(settings, GOOD, "test", WALL_S))
    assert path == tmp_path / "proof" / "gannet.json"
    assert proof_record.proof_days(settings, WALL_S + 3 * 86400.0) == 3.0


def test_a_failed_trial_takes_the_older_proof_away_and_both_stand_in_the_history(tmp_path: Path) -> None:
    """The newest trial rules; an empty list is not a pass, nor is one that ends before the last trial."""
    settings = home(tmp_path)
    for trials, at in ((GOOD, WALL_S), ([*GOOD[:-1], Trial("clear", False, "heat")], WALL_S + 60.0)):
        proof_record.write(settings, proof_record.record(settings, trials, "test", at))
    assert proof_record.proof_days(settings, WALL_S + 120.0) is None
    history = (tmp_path / "proof" / "gannet.history.jsonl").read_text().splitlines()
    assert [json.loads(line)["passed"] for line in history] == [True, False]
    assert [proof_record.record(settings, some, "test", WALL_S)["passed"] for some in ([], GOOD[:-1])] == [False] * 2


@pytest.mark.parametrize(
    "change",
    [
        {"simulated": False},
        {"equipment": "0" * 16},
        {"passed": 1},
        {"tun": "plover"},
        {"at": WALL_S + 1e6},
        {"at": True},
        {"at": float("nan")},
        {"trials": [trial._asdict() for trial in GOOD[:3]]},
        {"trials": ["nodes"]},
        {"trials": None},
    ],
)
def test_a_record_of_something_else_is_no_proof(change: dict[str, Any], tmp_path: Path) -> None:
    """Simulated for real, other equipment, another tun, from the future, no number, not all trials: none counts."""
    settings = home(tmp_path)
    proof_record.write(settings, {**proof_record.record(settings, GOOD, "test", WALL_S), **change})
    assert proof_record.proof_days(settings, WALL_S) is None


@pytest.mark.parametrize("text", ["", "[]", "{", "null", "[" * 100_000])
def test_a_damaged_record_is_no_proof(text: str, tmp_path: Path) -> None:
    """Whatever stands in the file, nothing is raised and nothing is proven."""
    settings = home(tmp_path)
    proof_record.folder(settings).mkdir(parents=True)
    (proof_record.folder(settings) / "gannet.json").write_text(text)
    assert proof_record.proof_days(settings, WALL_S) is None


def test_new_limits_or_a_calibration_leave_the_proof_but_another_heater_does_not() -> None:
    """The proof hangs on the equipment, not on figures of the guard or of a probe's correction."""
    tun = GANNET.tun
    mash = tun.probes.mash.model_copy(update={"raw_ice_c": 0.3})
    lower = tun.model_copy(update={"guard": tun.guard.model_copy(update={"hard_limit_c": 79.0})})
    corrected = tun.model_copy(update={"probes": tun.probes.model_copy(update={"mash": mash})})
    stronger = tun.model_copy(update={"heater": tun.heater.model_copy(update={"power_w": 6000.0})})
    assert {proof_record.equipment(one) for one in (lower, corrected)} == {proof_record.equipment(tun)}
    assert proof_record.equipment(stronger) != proof_record.equipment(tun)
