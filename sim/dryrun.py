"""How does a whole run go, with no broker and no waiting?

The plain loop: the tun and the brewer speak, the inbox hears, the core ticks, what it says goes back to the tun and the
brewer. The same core and the same guard as live, on a counted clock: ticks fall at k + 0.25 s, the world moves at
n x 0.5 s. Nothing is switched off.
"""

from collections.abc import Callable, Iterable
from typing import Any, NamedTuple

from controller.core.inputs import Clocks
from controller.core.nouns import Disk, Motor, Order, RunState
from controller.core.procedure.run import Prompt
from controller.core.state import Outcome, State, start
from controller.core.tick import tick
from controller.messages import outgoing, status_document
from controller.messages.inbox import Inbox
from controller.messages.outgoing import MotorWords
from controller.plan.plan import Plan
from controller.quick_records import maker
from controller.settings.service import Settings
from sim.fresh_readings import FreshReadings
from sim.message_digest import MessageDigest
from sim.people.manner import PATIENT, Manner
from sim.people.person import Person
from sim.simulated_site import SimulatedSite
from sim.trace import Trace, TraceSecond
from sim.world.faults import Fault, Faults
from sim.world.network import Message
from sim.world.true_values import TrueValues
from sim.world.world import WALL_S, World

_second = maker(TraceSecond)
PHASE_S = 0.25  # ticks fall between the instants at which the world moves
STATUS_S = 5.0  # besides every event and question; live it is 2 s, but here nobody reads on between
ENDED = frozenset({RunState.COMPLETE, RunState.STOPPED, RunState.ABORTED})
GIVE_UP_S = 600.0  # held for a person who does not come: the dry run ends
NEVER_STARTED_S = 1200.0
HANGS_S = 10.0  # a sync that takes longer is as good as an error (ours: the record's writer says the same)


class Ran(NamedTuple):
    """What came of a dry run."""

    result: str  # `complete`, or the state it ended in
    seed: int
    digest: str  # of every message, both ways
    ended_s: float
    trace: Trace
    energy_kwh: float
    commands: int
    hot_commands: int
    heat_without_evidence: int
    messages: int
    refusals: tuple[str, ...]
    answered: tuple[str, ...]
    world: World

    @property
    def duration_s(self) -> float:
        """From the start of the program to its end, s."""
        began = self.trace.began_s
        return 0.0 if began is None else round(self.ended_s - began, 2)


class DryRun:
    """One daemon's core, one tun, one brewer, and the messages between them."""

    def __init__(
        self,
        settings: Settings,
        plan: Plan,
        seed: int,
        faults: Iterable[Fault] = (),
        *,
        manner: Manner = PATIENT,
        truth: TrueValues | None = None,
        listen: Callable[[float, str, bytes, bool, bool], None] | None = None,
    ) -> None:
        """`listen` hears every message: time, topic, payload, retained, and whether the daemon sent it."""
        self.settings, self.plan, self.seed = settings, plan, seed
        faults = tuple(faults)
        self._machine = Faults(fault for fault in faults if fault.kind in ("loop_stall", "suspend"))
        self.world = World(settings, plan.course, seed, faults, truth, plan.start_c)
        away = {
            n: stage.comes.away_s
            for n, stage in enumerate(plan.stages)
            if stage.kind == "decoction" and stage.comes.away_s
        }
        self.person = Person(self.world, manner, away)
        self.site = SimulatedSite(self.world, self.person)
        self.state: State = start(settings, -0.75, f"dry{seed}", proof_days=None)
        self.inbox = Inbox(settings, self.state.boot)
        self.inbox.prepare = self._prepare
        self.trace = Trace()
        probe = settings.tun.probes.mash
        self.evidence = FreshReadings(probe.topic, probe.pointer, probe.seq_pointer, probe.unit)
        self.passed = MessageDigest()
        self._log = self.passed.add if listen is None else self._heard
        self._listen = listen
        self._topics = self.inbox.topics
        self._probe_topic = probe.topic
        self._now = -PHASE_S - 0.5
        self._wall_now_s = WALL_S + self._now
        self._event_seq = self._durable = 0
        self._written = Disk(True, 0, 0)
        self._syncing: tuple[float, int] | None = None  # since when, and up to which event
        self._motors = MotorWords()
        self._shown_at = -10.0
        self._asked: Prompt | None = None
        self._up = False
        self._held_since: float | None = None
        self.stood_still: Callable[[float], None] = lambda until: None  # told when the machine stalls or sleeps

    def second(self) -> Outcome:
        """One tick and everything before and after it."""
        before_s, was_s = self._now, self._wall_now_s
        late_s, gap_s = self._clock()
        now, jump = self._now, self.world.live.get("clock_jump")
        wall_s = WALL_S + now + (jump.value if jump is not None else 0.0)
        self._wall_now_s = wall_s
        self._hear(self.site.until(now))
        self._link(now)
        set_s = wall_s - was_s - (now - before_s)
        sure = "clock_unsure" not in self.world.live
        clocks = Clocks(wall_s, sure, wall_set_s=set_s, late_s=late_s, gap_s=gap_s)
        inputs = self.inbox.take(now, disk=self._disk(), clocks=clocks)
        before = self.state.run
        outcome = tick(self.settings, self.state, now, inputs)
        self.state = outcome.state
        if outcome.command is not None:
            payload = outgoing.heater_command(outcome.command, wall_s, self.inbox.owner)
            if self._up:
                self.evidence.command(payload, now)
                self.inbox.sent(outcome.command, now, payload)
                self._say(self._topics.heater_command, payload, now)
                self.world.network.to_daemon(now, self._topics.heater_command, payload, self.world.live)
        self._motor(self._topics.stirrer_command, outcome.stirrer, now)
        self._motor(self._topics.pump_command, outcome.pump, now)
        self._tell(outcome, now, wall_s)
        if outcome.events:
            self.trace.events(now, before, outcome.events)
        self._row(outcome, now)
        return outcome

    def _clock(self) -> tuple[float, float]:
        """The next tick is due: how late is it, and did the machine sleep?"""
        due = self._now + 1.0
        live = self._machine.at(due)
        late = live["loop_stall"].value if "loop_stall" in live else 0.0
        slept = live["suspend"].value if "suspend" in live else 0.0
        self._now = due + float(round(late + slept))
        if late or slept:
            self.stood_still(self._now)
        return late, slept

    def _disk(self) -> Disk:
        slow = self.world.live.get("disk_slow")
        if "disk_bad" in self.world.live:
            self._written = Disk(False, self._durable, self._event_seq, text="no space left on device")
        elif slow is not None or self._syncing is not None:
            self._written = self._slow_disk(0.0 if slow is None else slow.value)
        elif self._durable != self._event_seq or not self._written.ok:
            self._durable = self._event_seq
            self._written = Disk(True, self._event_seq, self._event_seq)
        return self._written

    def _slow_disk(self, takes_s: float) -> Disk:
        """One sync after the other, each of what was there when it began; one that hangs is told as an error is."""
        if self._syncing is None and self._event_seq > self._durable:
            self._syncing = self._now, self._event_seq
        hangs_s = 0.0 if self._syncing is None else self._now - self._syncing[0]
        if self._syncing is not None and hangs_s >= takes_s:
            self._durable, self._syncing, hangs_s = self._syncing[1], None, 0.0
        return Disk(hangs_s <= HANGS_S, self._durable, self._event_seq, text="the disk does not answer")

    def _link(self, now: float) -> None:
        up = self.world.network.up
        if up == self._up:
            return
        self._up = up
        if up:
            self.inbox.connected(now)
            self._say(self._topics.online, outgoing.online(True), now)
            self._shown_at = -10.0
        else:
            self.inbox.lost(now)

    def _hear(self, messages: Iterable[Message]) -> None:
        log, put, probe_topic = self._log, self.inbox.put, self._probe_topic
        for at, topic, payload, retained in messages:
            log(at, topic, payload, retained, False)
            if topic == probe_topic:
                self.evidence.reading(payload, at, retained)
            put(topic, payload, at, retained)

    def _prepare(self, order: Order) -> Order:
        """A start names a program; here there is just one to name."""
        if order.name != "start":
            return order
        if order.args.get("program") == self.plan.course.program:
            return order._replace(course=self.plan.course)
        return order._replace(problems=(f"no program {order.args.get('program')!r} in this dry run",))

    def _say(self, topic: str, payload: bytes, now: float) -> None:
        if not self._up:
            return
        self._log(now, topic, payload, False, True)
        self.site.hear(topic, payload, now)

    def _heard(self, at: float, topic: str, payload: bytes, retained: bool, ours: bool) -> None:
        self.passed.add(at, topic, payload, retained, ours)
        if self._listen is not None:
            self._listen(at, topic, payload, retained, ours)

    def _motor(self, topic: str | None, motor: Motor, now: float) -> None:
        if topic is not None and (word := self._motors.due(topic, motor, now)) is not None:
            self._say(topic, word, now)

    def _tell(self, outcome: Outcome, now: float, wall_s: float) -> None:
        """Events, replies and the status, as live."""
        asked = outcome.state.run.prompt is not self._asked
        due = now - self._shown_at >= STATUS_S - 0.5
        if not (due or asked or outcome.events or outcome.replies or self.inbox.turned_away):
            return
        for event in outcome.events:
            self._event_seq += "disk_bad" not in self.world.live
            self._say(self._topics.event, outgoing.event(self._event_seq, wall_s, event), now)
        replies = self.inbox.answered(outcome.replies, outcome.state.run.state)
        for reply in replies:
            self._say(self._topics.reply, outgoing.reply(reply), now)
        self._asked = outcome.state.run.prompt
        if not (due or asked or outcome.events or any(r.accepted for r in replies)):
            return
        self._shown_at = now
        status = status_document.status(
            self.settings,
            outcome,
            wall_s=wall_s,
            wall_confirmed=True,
            speed=1.0,
            journal_seq=self._durable if self._syncing else self._event_seq,
            counters=self.inbox.counters,
            prediction=None,
        )
        self._say(self._topics.status, outgoing.status(status), now)

    def _row(self, outcome: Outcome, now: float) -> None:
        run, setpoint = outcome.state.run, outcome.setpoint
        row = _second(
            t_s=now,
            mash_c=self.world.tun.mash_mean_c,
            probe_c=outcome.seen.raw_c,
            setpoint_c=setpoint.value_c if setpoint is not None else None,
            target_c=outcome.target.target_c,
            duty=outcome.state.guard.line.duty,
            step=run.leg,
            phase=run.phase,
            state=run.state,
        )
        self.trace.rows.append(row)

    def go(self, longest_s: float | None = None, every_minute: Callable[[float], None] | None = None) -> Ran:
        """Until the run has ended, or hangs for a person who does not come, or the time is over."""
        most_s = longest_s if longest_s is not None else 4.0 * self.plan.duration_s + 4 * 3600.0
        minute = 0.0
        while not self._over(self.second(), most_s):
            if every_minute is not None and self._now >= minute:
                minute += 60.0
                every_minute(self._now)
        self.trace.close(self._now, self.state.run)
        return Ran(
            result=str(self.state.run.state),
            seed=self.seed,
            digest=self.passed.now(),
            ended_s=self._now,
            trace=self.trace,
            energy_kwh=self.world.tun.energy().heater / self.settings.tun.heater.efficiency / 3.6e6,
            commands=self.evidence.commands,
            hot_commands=self.evidence.hot,
            heat_without_evidence=self.evidence.without,
            messages=self.passed.messages,
            refusals=tuple(self.person.refusals),
            answered=tuple(self.person.answered),
            world=self.world,
        )

    def _over(self, outcome: Outcome, most_s: float) -> bool:
        run = outcome.state.run
        if run.state in ENDED or self._now >= most_s:
            return True
        if run.state is RunState.IDLE and self._now > max(NEVER_STARTED_S, 35.0 * self.person.manner.starts):
            return True
        waits = run.state is RunState.HELD and run.hold.by != "trip" and not self.person.manner.clears
        self._held_since = (self._now if self._held_since is None else self._held_since) if waits else None
        return self._held_since is not None and self._now - self._held_since > GIVE_UP_S


def run(
    settings: Settings, plan: Plan, seed: int = 1, faults: Iterable[Fault] = (), *, manner: Manner = PATIENT
) -> Ran:
    """A dry run of this plan on the simulated tun. The same seed gives the same messages, byte for byte."""
    return DryRun(settings, plan, seed, faults, manner=manner).go()


def document(plan: Plan, ran: Ran, advice: Iterable[Any] = (), prediction: Any = None) -> dict[str, Any]:
    """What `dryrun --json` prints."""
    return {
        "result": ran.result,
        "program": plan.program.name,
        "tun": plan.tun.name,
        "seed": ran.seed,
        "digest": ran.digest,
        "duration_s": ran.duration_s,
        "energy_kwh": round(ran.energy_kwh, 4),
        "strike_c": plan.strike_c,
        "steps": ran.trace.steps(plan.course),
        "trips": ran.trace.trips,
        "advice": list(advice),
        "prediction": prediction,
        "commands": ran.commands,
        "heat_without_evidence": ran.heat_without_evidence,
    }
