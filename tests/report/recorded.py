"""Journals as the service writes them: the core on the bench, recorded by the scribe, on the test's own clock."""

from __future__ import annotations

from pathlib import Path

from controller.core.nouns import Course
from controller.core.state import State
from controller.edge.record import reader
from controller.edge.record.recorder import Recorder
from controller.edge.record.writer import RecordWriter
from tests.core.bench import WALL, Bench, course, leg, settings


class BenchClock:
    """The bench's time as a clock of the edge."""

    speed = 1.0

    def __init__(self, bench: Bench, wall_s: float = WALL) -> None:
        self.bench, self.began_s = bench, wall_s

    def now(self) -> float:
        return self.bench.now

    def wall_s(self) -> float:
        return self.began_s + self.bench.now

    def gap_s(self) -> float:
        return 0.0

    def confirmed(self) -> bool:
        return True

    async def sleep_until(self, at: float) -> None:
        raise AssertionError("nothing sleeps in these tests")


class Recorded:
    """A bench whose every tick goes to a journal on disk."""

    def __init__(self, folder: Path, **changes: object) -> None:
        self.bench = Bench(settings(**changes), mash_c=48.0)
        self.clock = BenchClock(self.bench)

        def at_once(where: Path, seq: int, keep: int) -> RecordWriter:
            return RecordWriter(where, seq, keep, threaded=False)

        begun = reader.begin(self.bench.settings, folder, self.clock, "boot", lambda a, b: True, make=at_once)
        self.scribe = Recorder(self.bench.settings, self.clock, begun, lambda seq, event: None)
        self.folder = folder

    def step(self) -> None:
        before: State = self.bench.state
        outcome = self.bench.step()
        self.scribe.record(before, outcome, outcome.events, self.bench.now)

    def run(self, seconds: int) -> None:
        for _ in range(seconds):
            self.step()

    def until(self, what: str, most_s: int = 20_000) -> None:
        for _ in range(most_s):
            run = self.bench.state.run
            if what in (run.state, run.phase, run.prompt.id if run.prompt else ""):
                return
            self.step()
        raise AssertionError(f"never {what}")

    def answer(self, **args: object) -> None:
        self.bench.order("answer", **args)
        self.step()

    def doughed_in(self, steps: Course) -> None:
        """A program begun, dough-in answered a minute apart, up to its first rest."""
        self.until("idle")
        self.bench.start(steps)
        self.until("dough_in")
        self.answer(answer="begin")
        self.run(60)
        self.answer(answer="yes")
        self.until("resting")

    def ended(self) -> Recorded:
        """The run goes on to its end."""
        self.until("complete")
        self.scribe.writer.close()
        return self


def two_rests() -> Course:
    return course(leg("low rest", 52.0, 300.0), leg("hot rest", 54.0, 120.0))


def a_mash(folder: Path) -> Recorded:
    """Dough-in, a rest that is made longer, a silent probe in it, a pH, and the end."""
    one = Recorded(folder)
    one.doughed_in(two_rests())
    one.bench.order("extend", by_s=60.0)
    one.answer(ph=5.4)
    one.run(90)
    one.bench.probe = False
    one.run(40)
    one.bench.probe = True
    return one.ended()
