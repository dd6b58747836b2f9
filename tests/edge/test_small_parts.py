"""Clock, watch on the beat, service manager: the small parts of the edge."""

from __future__ import annotations

import asyncio
import json
import socket
import threading
from pathlib import Path

import pytest

from controller.core.nouns import Instant
from controller.edge.clock import MachineClock
from controller.edge.log import Log
from controller.edge.mqtt.transport import ReplyTo
from controller.edge.replies import Replies
from controller.edge.systemd import Notifier, credential
from controller.edge.watchdog import Watchdog
from controller.messages.inbox import Inbox
from tests.messages.inboxes import settings
from tests.waiting import PATIENCE_S

# ---------------------------------------------------------------- clock


def test_the_scaled_clock_runs_so_many_times_as_fast(monkeypatch: pytest.MonkeyPatch) -> None:
    """Three seconds of the machine are sixty of a tun at twenty times; the wall clock is never scaled."""
    now = [100.0]
    monkeypatch.setattr("controller.edge.clock.since_boot_s", lambda: now[0])
    monkeypatch.setattr("controller.edge.clock.time.time", lambda: 5000.0 + now[0])
    clock = MachineClock(20.0)
    now[0] += 3.0
    assert clock.now() == 60.0
    assert clock.wall_s() == 5103.0


@pytest.mark.parametrize("speed", [0.0, -1.0, 60.1, float("nan"), float("inf")])
def test_no_speed_outside_its_range(speed: float) -> None:
    """More than sixty, nothing, less than nothing and no number are refused."""
    with pytest.raises(ValueError, match="speed must be"):
        MachineClock(speed)


def test_a_machine_that_slept_shows_a_gap(monkeypatch: pytest.MonkeyPatch) -> None:
    """The clock that counts suspend runs ahead of the other by the time slept; told once; a beat that is late waits no
    longer: sleeping until a time that is over returns at once."""
    boot, mono = [100.0], [50.0]
    monkeypatch.setattr("controller.edge.clock.since_boot_s", lambda: boot[0])
    monkeypatch.setattr("controller.edge.clock.time.monotonic", lambda: mono[0])
    clock = MachineClock()
    boot[0], mono[0] = 110.0, 60.0
    assert clock.gap_s() == 0.0
    boot[0], mono[0] = 720.0, 70.0
    assert [clock.gap_s(), clock.gap_s()] == [600.0, 0.0]
    assert clock.now() == 620.0
    asyncio.run(asyncio.wait_for(clock.sleep_until(clock.now() - 1e9), PATIENCE_S))


def test_the_kernel_is_asked_at_most_every_ten_seconds(monkeypatch: pytest.MonkeyPatch) -> None:
    """The answer is remembered between."""
    asked: list[int] = []
    mono = [100.0]
    monkeypatch.setattr("controller.edge.clock.time.monotonic", lambda: mono[0])

    def in_step() -> bool:
        asked.append(1)
        return len(asked) > 1

    monkeypatch.setattr("controller.edge.clock.in_step", in_step)
    clock = MachineClock()
    assert [clock.confirmed() for _ in range(5)] == [False] * 5
    mono[0] += 10.0
    assert clock.confirmed()
    assert len(asked) == 2


# ---------------------------------------------------------------- watch on the beat


def test_a_beat_that_stands_still_for_five_seconds_ends_the_process() -> None:
    """At 5 s it does not yet, beyond it does; a beat in between starts anew, and knows whether it came late: two
    seconds are in time, more is late."""
    now, ended = [0.0], []
    dog = Watchdog(end=lambda: ended.append(now[0]), clock=lambda: now[0])
    for at in (1.0, 4.9, 5.0):
        now[0] = at
        dog.look()
    assert (ended, dog.stalls) == ([], 1)
    assert dog.beat() is True
    now[0] = 7.0
    assert dog.beat() is False
    for at in (12.0, 12.01):
        assert ended == []
        now[0] = at
        dog.look()
    assert ended == [12.01]


def test_the_thread_looks_by_itself_and_stops_when_told() -> None:
    """A real thread with short limits finds a loop that never beats."""
    found = threading.Event()
    dog = Watchdog(late_s=0.0, dead_s=0.001, end=found.set)
    dog.start()
    assert found.wait(5.0)
    dog.stop()
    assert not dog._thread.is_alive()


# ---------------------------------------------------------------- service manager


@pytest.mark.parametrize("abstract", [False, True])
def test_the_service_manager_hears_ready_watchdog_and_stopping(abstract: bool, tmp_path: Path) -> None:
    """sd_notify(3): datagrams of lines to the socket named in the environment, a leading @ for an abstract one."""
    name = f"@underback-test-{tmp_path.name}" if abstract else str(tmp_path / "notify")
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind("\0" + name[1:] if abstract else name)
        manager.settimeout(PATIENCE_S)
        notifier = Notifier({"NOTIFY_SOCKET": name})
        assert notifier.ready("serving gannet")
        assert notifier.beat()
        assert notifier.beat("resting")
        assert notifier.stopping()
        got = [manager.recv(200).decode() for _ in range(4)]
    assert got == [
        "READY=1\nSTATUS=serving gannet",
        "WATCHDOG=1",
        "WATCHDOG=1\nSTATUS=resting",
        "STOPPING=1\nSTATUS=stopping: heat off",
    ]
    # without a service manager, or with one that is gone, nothing is said and nothing raised
    assert not Notifier({}).beat()
    assert not Notifier({"NOTIFY_SOCKET": str(tmp_path / "gone")}).beat()


def test_a_credential_is_found_where_it_was_laid(tmp_path: Path) -> None:
    """LoadCredential= lays files into a folder named in the environment."""
    (tmp_path / "broker-password").write_text("x")
    there = {"CREDENTIALS_DIRECTORY": str(tmp_path)}
    assert credential("broker-password", there) == tmp_path / "broker-password"
    assert credential("other", there) is None
    assert credential("broker-password", {}) is None


# ---------------------------------------------------------------- answers


def test_foreign_response_topics_do_not_fill_the_log(capsys: pytest.CaptureFixture[str]) -> None:
    """Of a hundred orders with a response topic elsewhere each is counted, and the first, second, fourth and so on are
    logged, in letters that every terminal shows."""
    inbox = Inbox(settings())
    replies = Replies(inbox, Log(managed=True))
    for _ in range(100):
        replies.heard(b"hold", ReplyTo("elsewhere/\u202e\x1b", None), Instant(1.0))
    lines = capsys.readouterr().err.splitlines()
    assert inbox.counters["response topic of others, not used"] == 100
    assert [json.loads(line.partition(">")[2])["times"] for line in lines] == [1, 2, 4, 8, 16, 32, 64]
    assert all(line.isascii() for line in lines)
