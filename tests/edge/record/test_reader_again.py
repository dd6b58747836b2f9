"""Process after process on one record: core, scribe, journal and restart, on a clock of their own."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from controller.core.nouns import Event, RunState
from controller.core.procedure.resume import Pending
from controller.core.state import Outcome
from controller.edge.record import line_format, reader, recorder
from controller.edge.record.writer import RecordWriter
from tests.core.bench import Bench, course, leg, settings
from tests.edge.virtual import Clock, Disks

PLAN = course(leg("beta", 63.0, 3600.0), leg("alpha", 72.0, 1200.0), grist_kg=0)
WARM_C = 62.9


class Machine(Clock):
    """The machine's clock, which every process on it reads."""

    def __init__(self) -> None:
        super().__init__()
        self.at = 1000.0

    def now(self) -> float:
        return self.at


@pytest.fixture
def machine(monkeypatch: pytest.MonkeyPatch) -> Machine:
    there = Machine()
    monkeypatch.setattr(reader, "since_boot_s", lambda: there.at)
    monkeypatch.setattr(reader, "boot_id", lambda: "one boot")
    return there


class Life(Bench):
    """One process' life. It ends by a kill: nothing more is written."""

    def __init__(self, folder: Path, machine: Machine, mash_c: float = WARM_C) -> None:
        self.folder, self.machine = folder, machine
        super().__init__(settings(), mash_c=mash_c, now=machine.at)

    def __post_init__(self) -> None:
        self.begun = reader.begin(
            self.settings,
            self.folder,
            self.machine,
            "boot",
            lambda program, digest: True,
            3.0,
            make=lambda folder, seq, keep_runs: RecordWriter(folder, seq, keep_runs, threaded=False),
        )
        self.state = self.begun.state
        self.scribe = recorder.Recorder(self.settings, self.machine, self.begun, lambda seq, event: None)
        self.first: tuple[Event, ...] = self.begun.events

    def step(self) -> Outcome:
        before = self.state
        self.machine.at += 1.0
        self.extra["disk"] = self.begun.writer.disk()
        outcome = super().step()
        events, self.first = (*self.first, *outcome.events), ()
        self.scribe.record(before, outcome, events, self.now)
        return outcome

    def kill(self, away_s: float = 5.0) -> None:
        self.begun.writer._shut()
        self.machine.at += away_s

    def again(self, away_s: float = 5.0, mash_c: float | None = None) -> Life:
        """The next process' life, after a kill."""
        self.kill(away_s)
        return Life(self.folder, self.machine, mash_c or self.mash_c)

    @property
    def pending(self) -> Pending:
        assert self.state.pending is not None
        return self.state.pending

    @property
    def tripped(self) -> list[str]:
        return [trip.id for trip in self.state.guard.trips]


def running(folder: Path, machine: Machine, seconds: int = 200) -> Life:
    life = Life(folder, machine)
    life.until("idle")
    life.start(PLAN)
    life.run(seconds)
    assert life.state.run.state is RunState.RUNNING
    return life


def trip_latched(life: Life) -> None:
    """Much too hot for a moment, aborted, and a new record begun: G07 waits for a person."""
    life.reading_c = 81.0
    life.run(5)
    life.reading_c = None
    life.order("abort")
    life.run(20)
    life.order("reset")
    life.step()


def cold(life: Life, seconds: int = 100) -> bool:
    life.run(seconds)
    return all(outcome.state.guard.line.duty == 0.0 for outcome in life.log)


@pytest.mark.parametrize(("order", "end"), [("stop", RunState.STOPPED), ("abort", RunState.ABORTED)])
def test_a_run_ended_while_checking_is_over(order: str, end: RunState, tmp_path: Path, machine: Machine) -> None:
    """Stop and abort in the first seconds after a restart end the open run for good; the next run has its own file."""
    first = running(tmp_path, machine)
    run_id = first.state.run.begun.id
    second = first.again()
    second.run(4)
    second.order(order)
    second.step()
    assert second.replies[-1].accepted
    assert (second.state.pending, second.state.run.begun.id) == (None, run_id)
    at_once = line_format.find(tmp_path)
    assert at_once.kept is not None
    assert at_once.kept["run"]["state"] in (end, RunState.STOPPING, RunState.ABORTING)
    second.run(15)
    assert second.state.run.state is end
    files = len(line_format.files(tmp_path))
    second.order("reset")
    second.run(60)
    second.start(PLAN)
    second.step()
    assert second.state.run.state is RunState.RUNNING
    assert len(line_format.files(tmp_path)) == files + 2  # idle, then the new run's
    own = line_format.read(line_format.files(tmp_path)[-1])
    assert next(own.of("keep"))["state"]["run"]["begun"]["id"] == second.state.run.begun.id != run_id


def test_an_ended_run_stays_ended_in_the_next_process(tmp_path: Path, machine: Machine) -> None:
    """Stopped while checking, killed a second later: the process after it has nothing to resume, and heats nothing."""
    first = running(tmp_path, machine)
    second = first.again()
    second.run(4)
    second.order("stop")
    second.step()
    third = second.again()
    assert third.state.pending is None
    assert cold(third)


@pytest.mark.parametrize("lived_s", [0, 1, 8])
def test_a_latched_trip_outlives_two_quick_starts(lived_s: int, tmp_path: Path, machine: Machine) -> None:
    """Killed before the first tick or while checking, a process leaves the trip: no start without a clear."""
    first = running(tmp_path, machine)
    trip_latched(first)
    first.run(19)
    assert first.tripped == ["G07"]
    second = first.again()
    second.run(lived_s)
    third = second.again()
    assert third.tripped == ["G07"]
    third.until("idle")
    third.run(70)
    third.start(PLAN)
    third.step()
    assert not third.replies[-1].accepted


@pytest.mark.parametrize("lived_s", [0, 5])
def test_a_damaged_record_locks_however_often_the_process_starts(
    lived_s: int, tmp_path: Path, machine: Machine
) -> None:
    """The lock is in the new file from its first sync on; the run waits for a person, its outage unknown."""
    first = running(tmp_path, machine)
    first.kill()
    path = line_format.files(tmp_path)[-1]
    data = bytearray(path.read_bytes())
    data[int(len(data) * 0.8)] ^= 4
    path.write_bytes(bytes(data))
    second = Life(tmp_path, machine, first.mash_c)
    second.run(lived_s)
    third = second.again()
    assert third.tripped == ["G20"]
    assert (third.pending.outage_s, third.pending.same) == (None, False)
    assert cold(third)
    assert third.state.run.state is RunState.HELD


def test_a_file_without_a_kept_state_leaves_it_to_the_one_before(tmp_path: Path, machine: Machine) -> None:
    """Power cut between header and state at `reset`: the trip of the run before stands."""
    first = running(tmp_path, machine)
    trip_latched(first)
    first.kill()
    newest = line_format.files(tmp_path)[-1]
    newest.write_bytes(newest.read_bytes().split(b"\n")[0] + b"\n")
    second = Life(tmp_path, machine, first.mash_c)
    assert (second.tripped, second.state.pending) == (["G07"], None)


def test_damage_in_a_newer_file_without_a_state_locks_the_open_run(tmp_path: Path, machine: Machine) -> None:
    """The run is found in the file before, and locked."""
    first = running(tmp_path, machine)
    first.kill()
    (tmp_path / "00000099-idle.jsonl").write_bytes(b'{"n":0,"kind":"header"}\n{}\n')
    second = Life(tmp_path, machine, first.mash_c)
    assert second.tripped == ["G20"]
    assert second.pending.run.begun.id == first.state.run.begun.id
    assert second.pending.outage_s is None


def test_a_lock_that_was_cleared_is_not_found_again(tmp_path: Path, machine: Machine) -> None:
    """The damaged file lies there still; who has looked and cleared is not asked at each start."""
    first = running(tmp_path, machine)
    first.kill()
    path = line_format.files(tmp_path)[-1]
    path.write_bytes(path.read_bytes().replace(b'"kind":"sample"', b'"kind":"simple"', 1))
    second = Life(tmp_path, machine, first.mash_c)
    second.until("held", 100)
    second.run(60)
    second.order("clear", trip="G20", reason="it was looked at")
    second.step()
    assert second.replies[-1].accepted
    assert second.again().tripped == []


def test_header_and_state_are_in_one_sync() -> None:
    """On a disk that drops what was not synced there is never the header alone."""
    disks = Disks()
    seen: list[list[str]] = []
    sync = disks.sync

    def watched(fd: int) -> None:
        sync(fd)
        seen.extend([json.loads(line)["kind"] for line in data.splitlines()] for data in disks.synced.values())

    disks.sync = watched  # type: ignore[method-assign]
    journal = RecordWriter(Path("records"), 0, 50, disks, threaded=False)
    journal.begin(False, {"at": 1.0, "up": 1.0, "confirmed": True}, {"run": 1})
    assert seen == [["header", "keep"]]
    kept = json.loads(next(iter(disks.synced.values())).splitlines()[1])
    assert (kept["at"], kept["up"], kept["confirmed"], kept["state"]) == (1.0, 1.0, True, {"run": 1})


@pytest.mark.parametrize("lived_s", [0, 5])
def test_an_outage_is_counted_from_the_end_of_the_run(lived_s: int, tmp_path: Path, machine: Machine) -> None:
    """Three hours away, a start that is killed while checking, another: three hours still, and a person is asked."""
    first = running(tmp_path, machine)
    second = first.again(3 * 3600.0, 60.0)
    assert second.pending.outage_s == pytest.approx(3 * 3600.0, abs=2.0)
    second.run(lived_s)
    third = second.again(5.0, 60.0)
    assert third.pending.outage_s == pytest.approx(3 * 3600.0 + lived_s + 5.0, abs=2.0)
    assert cold(third)
    assert third.state.run.prompt is not None
    assert "180." in third.state.run.prompt.text


def test_once_decided_on_the_next_outage_is_its_own(tmp_path: Path, machine: Machine) -> None:
    """A run that went on after ten minutes and was cut again for ten seconds was away for ten seconds."""
    first = running(tmp_path, machine)
    second = first.again(600.0)
    second.until("running", 100)
    third = second.again(10.0)
    assert third.pending.outage_s == pytest.approx(10.0, abs=2.0)


def test_a_trip_keeps_the_heat_off_for_its_minute_over_a_restart(tmp_path: Path, machine: Machine) -> None:
    """A reading 8 K lower for 10 s, killed 2 s later, back after 2 s: no heat within a minute of the trip."""
    first = running(tmp_path, machine)
    first.offset_k = -8.0
    first.run(10)
    first.offset_k, tripped_at = 0.0, machine.at
    first.run(2)
    second = first.again(2.0)
    assert second.tripped == ["G04"]
    heat: list[float] = []
    for _ in range(100):
        second.step()
        heat += [machine.at] if second.duty > 0.0 else []
    assert heat
    assert heat[0] - tripped_at >= 59.0


def test_interruptions_are_counted_over_restarts(tmp_path: Path, machine: Machine) -> None:
    """Two before a restart and one after it within half an hour: G24."""
    first = running(tmp_path, machine)
    for _ in range(2):
        first.offset_k = -8.0
        first.run(10)
        first.offset_k = 0.0
        first.run(120)
    second = first.again()
    second.until("running", 100)
    second.offset_k = -8.0
    second.run(10)
    assert "G24" in second.tripped


def test_a_trip_grows_old_over_a_restart(tmp_path: Path, machine: Machine) -> None:
    """Ten minutes without a reading, five without a process: a link latches nothing, but the run waits for a person."""
    first = running(tmp_path, machine)
    first.probe = False
    first.run(600)
    assert first.tripped == ["G02"]
    second = first.again(320.0)
    second.step()
    assert [(trip.id, trip.latched) for trip in second.state.guard.trips] == [("G02", False)]
    assert cold(second)
    assert second.state.run.hold.by == "resume"


def test_a_kill_soon_after_waking_makes_no_short_outage_of_a_long_sleep(tmp_path: Path, machine: Machine) -> None:
    """Asleep for three hours, awake for two seconds, killed: the run has been alone for three hours."""
    first = running(tmp_path, machine)
    first.now += 3 * 3600.0
    machine.at += 3 * 3600.0
    first.mash_c = 60.0
    asleep: dict[str, Any] = {"gap_s": 3 * 3600.0, "late_s": 3 * 3600.0}
    first.extra.update(asleep)
    first.step()
    for key in asleep:
        del first.extra[key]
    first.run(2)
    assert first.state.run.state is RunState.CHECKING
    second = first.again(5.0, 60.0)
    assert second.pending.outage_s == pytest.approx(3 * 3600.0 + 8.0, abs=2.0)
    assert second.pending.last_c == pytest.approx(63.0, abs=0.5)
    assert cold(second)
