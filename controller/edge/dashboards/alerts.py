"""Who is told when somebody has to act, and is told again when nobody does?

Trips and notes of priority 1 (act now) and 2 (act soon) and unanswered questions run a command of the brewer's choice
with the alert as JSON on its input, and drive a horn while one to act on now stands. Unheard alerts are repeated, then
go to a second contact too. The same cause is told at most once a minute (ISA-18.2: an alarm is a call to act, not a
stream).
"""

from __future__ import annotations

import asyncio
from collections import Counter, deque
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

from controller.core.nouns import Event, Instant
from controller.core.state import Outcome
from controller.messages import outgoing
from controller.settings.service import Alerts

RUN_S = 20.0  # real time: an alert command gets so long, then it is ended
AGAIN_S = 60.0  # the same cause is not told again within this
WINDOW_S = 600.0  # alarms are counted over ten minutes (EEMUA 191: one is manageable, ten are a flood)
WAITING = 32  # alert commands waiting for their turn


class Alert(NamedTuple):
    """One thing that a person is told."""

    kind: str  # trip, prompt, note, test
    id: str
    text: str
    priority: int
    repeated: int = 0
    escalated: bool = False


@dataclass(slots=True)
class _Standing:
    """An alert that stands until its cause is gone or somebody has heard it."""

    alert: Alert
    since: Instant
    told_at: Instant
    heard: bool = False


class Alarm:
    """Decides what is told when. Pure: time comes in with each call, what is to be told goes out."""

    def __init__(self, settings: Alerts) -> None:
        self.settings = settings
        self.counts: Counter[str] = Counter()
        self._standing: dict[tuple[str, str], _Standing] = {}
        self._last: dict[tuple[str, str], Instant] = {}
        self._told: deque[Instant] = deque(maxlen=200)

    @property
    def horn(self) -> bool:
        """Does an act-now trip or note stand that nobody has heard?"""
        return any(s.alert.priority == 1 and not s.heard for s in self._standing.values())

    def look(self, outcome: Outcome, events: tuple[Event, ...], now: Instant) -> list[Alert]:
        """What is to be told now?"""
        tell: list[Alert] = []
        active = {(a.kind, a.id): a for a in _active(outcome)}
        for key in [k for k in self._standing if k not in active]:
            del self._standing[key]
        for key, alert in active.items():
            if key not in self._standing:
                self._standing[key] = _Standing(alert, now, now)
                if now - self._last.get(key, -AGAIN_S) >= AGAIN_S:
                    tell.append(alert)
        for event in events:
            if event.kind == "acknowledge":
                for (_, name), standing in self._standing.items():
                    standing.heard |= event.id in ("all", name)
            elif event.kind == "run":
                tell.append(Alert("test", event.id, f"Test alert: {event.text}. Alerts of this run reach you here.", 3))
        tell.extend(self._again(now))
        for alert in tell:
            self._count(alert, now)
        return tell

    def _again(self, now: Instant) -> list[Alert]:
        """Standing ones that nobody has heard: repeated, and after a while to the second contact too."""
        due = []
        for standing in self._standing.values():
            if standing.heard or now - standing.told_at < self.settings.repeat_s:
                continue
            standing.told_at = now
            late = now - standing.since >= self.settings.escalate_s
            standing.alert = standing.alert._replace(repeated=standing.alert.repeated + 1, escalated=late)
            due.append(standing.alert)
        return due

    def _count(self, alert: Alert, now: Instant) -> None:
        self._last[(alert.kind, alert.id)] = now
        if alert.kind == "test":
            return
        self._told.append(now)
        self.counts[f"alerts {alert.kind}"] += 1
        recent = sum(1 for at in self._told if now - at <= WINDOW_S)
        self.counts["alerts, most in 10 min"] = max(self.counts["alerts, most in 10 min"], recent)


def _active(outcome: Outcome) -> list[Alert]:
    state = outcome.state
    then = f" {outcome.meanwhile}" if outcome.meanwhile else ""
    found = [Alert("trip", t.id, f"{t.text}{then}", t.priority) for t in state.guard.trips if t.priority <= 2]
    found += [Alert("note", n.key, n.text, n.priority) for n in state.guard.noted.now if n.priority <= 2]
    prompt = state.run.prompt
    if prompt is not None and prompt.id != "liquor":  # asked at the start of whoever stands there
        found.append(Alert("prompt", f"{state.run.leg}.{prompt.id}", prompt.text, 2))
    return found


class Bell:
    """Carries alerts out: runs the commands beside the control path, drives the horn. A `Watcher` of the service."""

    def __init__(
        self,
        settings: Alerts,
        tun: str,
        horn: Callable[[bytes], None],
        counters: Counter[str],
        failed: Callable[[str], None],
    ) -> None:
        self.alarm = Alarm(settings)
        self._settings, self._tun, self._horn, self._counters, self._failed = settings, tun, horn, counters, failed
        self._sounding: bool | None = None
        self._tasks: set[asyncio.Task[None]] = set()

    def seen(self, outcome: Outcome, events: tuple[Event, ...], status: Mapping[str, Any] | None) -> None:
        """Each tick: what is to be told, and does the horn sound?"""
        for alert in self.alarm.look(outcome, events, outcome.state.now):
            self._tell(alert)
        self._counters.update(self.alarm.counts - self._counters)
        if self._settings.horn_topic and self.alarm.horn != self._sounding:
            self._sounding = self.alarm.horn
            self._horn(outgoing.online(self._sounding))

    def _tell(self, alert: Alert) -> None:
        commands = [self._settings.command, *([self._settings.second_command] if alert.escalated else [])]
        for command in commands:
            if command and len(self._tasks) < WAITING:
                task = asyncio.create_task(self._run(command, alert), name="alert")
                self._tasks.add(task)
                task.add_done_callback(self._tasks.discard)

    async def _run(self, command: tuple[str, ...], alert: Alert) -> None:
        """One command, the alert on its input. A failure is counted and logged; it never touches the mash."""
        payload = outgoing.document({"tun": self._tun, **alert._asdict()})
        nowhere = asyncio.subprocess.DEVNULL
        try:
            child = await asyncio.create_subprocess_exec(
                *command, stdin=asyncio.subprocess.PIPE, stdout=nowhere, stderr=nowhere
            )
        except OSError as why:
            self._fail(f"{command[0]}: {why.strerror}")
            return
        try:
            async with asyncio.timeout(RUN_S):
                await child.communicate(payload)
        except TimeoutError:
            child.kill()
            self._fail(f"{command[0]}: not done within {RUN_S:g} s")
            return
        if child.returncode != 0:
            self._fail(f"{command[0]}: ended with {child.returncode}")

    def _fail(self, why: str) -> None:
        self._counters["alert command failed"] += 1
        self._failed(why)
