"""The commands that talk to a running daemon, with their exit codes, on a real broker."""

from __future__ import annotations

import argparse
import json
import signal
import time
from pathlib import Path
from typing import Any

import aiomqtt
import pytest

from controller.commands import doctor
from controller.commands.order.command import _heat_off
from controller.commands.shared import status_text
from controller.commands.shared.all_tuns import Heard
from controller.commands.shared.exit_codes import Wrong
from tests.commands.called import called
from tests.edge import statuses
from tests.regimes.chaos.field import Field, field, needs_mosquitto


def said(there: Field, *words: str, tun: str = "gannet") -> tuple[int, str, str]:
    """Exit code, stdout and stderr of one command, in this process."""
    return called(*words, "--tun", tun, config=there.config)


@needs_mosquitto
def test_orders_status_and_off_over_a_real_broker(tmp_path: Path) -> None:
    """0 done, 1 an answer of no, 2 wrong words, 3 nobody there; the reason each time; OFF on a line of its own."""
    with field(tmp_path, "gannet", "short", 20.0) as there:
        code, out, err = said(there, "status")
        assert (code, out) == (3, "")
        assert "no daemon has ever said its status for gannet" in err
        there.python("standin", "standin", "--tun", "gannet", "--program", "short", "--speed", "20")
        there.serve()
        there.wait(lambda: there.state() == "idle", 60, "the daemon is ready")
        code, out, _ = said(there, "status")
        assert (code, len(out.splitlines())) == (0, 8)
        assert out.startswith("gannet (simulated): idle, no program")
        assert json.loads(said(there, "status", "--json")[1])["tun"] == "gannet"
        code, out, _ = said(there, "order", "resume")
        assert code == 1
        assert out.startswith("refused: `resume` is not possible when idle")
        code, _, err = said(there, "order", "start", "short", "hand=12")
        assert code == 2
        assert "hand" in err
        code, out, _ = said(there, "order", "start", "short", "--hand", "30 °C")
        assert code == 1
        assert "here=yes" in out
        assert "attended=yes" in out
        code, out, _ = said(there, "order", "start", "short", "--hand", "12 °C", "--here", "--attended", "--json")
        assert (code, json.loads(out)["accepted"]) == (0, True)
        there.wait(lambda: there.state() == "running", 20, "it runs")
        code, out, _ = said(there, "order", "stop")
        assert (code, out.strip()) == (0, "stopping: heat is off, the run ends")
        there.kill("serve", signal.SIGKILL)
        mark = len(there.heard)
        assert said(there, "output-off")[0] == 0
        there.wait(lambda: bool(there.of("heater/command", mark)), 5, "OFF is heard")
        assert there.of("heater/command", mark)[0].values()["duty"] == 0.0
        there.kill("broker")
        for words in (("status",), ("order", "stop"), ("output-off",)):
            code, _, err = said(there, *words)
            assert code == 3
            assert "nothing listens at the broker's address" in err


@needs_mosquitto
def test_doctor_tells_of_an_open_broker_and_of_none(tmp_path: Path) -> None:
    """Each finding has a level; an open broker on this machine is a note; no broker ends with 3."""
    with field(tmp_path, "gannet", "short", 1.0) as there:
        code, out, _ = said(there, "doctor", "--json")
        found = {f["check"]: f for f in json.loads(out)}
        assert code == 0
        assert found["broker"]["found"].startswith("MQTT 5, round trip")
        assert found["open broker"]["level"] == "note"
        assert found["record"]["level"] == "good"
        there.kill("broker")
        code, out, _ = said(there, "doctor")
        assert code == 3
        assert "nothing listens" in out


def test_doctor_knows_what_is_wrong_with_the_machine(tmp_path: Path) -> None:
    """A file in place of the data folder is bad; outputs have to fall back: a Raspberry Pi without strict_gpiod is bad,
    with it good, another machine is not asked."""
    blocked = tmp_path / "data"
    blocked.write_text("")
    assert [(f.check, f.level) for f in doctor.disk(blocked)] == [("record", "bad")]
    assert doctor.gpio(tmp_path) == []
    (tmp_path / "proc/device-tree").mkdir(parents=True)
    (tmp_path / "proc/device-tree/model").write_text("Raspberry Pi 4 Model B")
    assert [f.level for f in doctor.gpio(tmp_path)] == ["bad"]
    (tmp_path / "boot/firmware").mkdir(parents=True)
    (tmp_path / "boot/firmware/config.txt").write_text("dtparam=strict_gpiod\n")
    assert [f.level for f in doctor.gpio(tmp_path)] == ["good"]


NOW = 1_790_000_000.0
STATUS: dict[str, Any] = {
    "tun": "gannet", "simulated": True, "speed": 1.0, "state": "held", "title": "Sandpiper", "finish_at": None,
    "step": {"index": 1, "name": "protein", "kind": "rest", "target_c": 50.0, "phase": "resting",
             "credited_s": 300.0, "planned_s": 900.0},
    "steps": [{}, {}, {"name": "saccharification", "kind": "rest", "target_c": 72.0, "planned_s": 1200.0,
                       "ramp_s": 600.0, "mixing_s": 0.0}],
    "temperature_c": None, "reading_age_s": None, "setpoint_c": 50.0, "second_c": 49.5,
    "outlet_c": None, "duty": 0.0, "heater": {"duty": 0.5, "fault": "outlet hot"},
    "prompt": {"text": "Go on?", "answers": ["yes", "no"], "waiting_s": 75.0},
    "trips": [{"id": "G02", "text": "Missing.", "latched": True}], "notes": ["Disk."],
}  # fmt: skip


def test_a_status_is_eight_lines_that_say_everything_wrong() -> None:
    """A missing reading is said as such; the heater's word stands beside ours; question, trip and note are there."""
    lines = status_text.lines(STATUS)
    assert lines == [
        "gannet (simulated): held, Sandpiper",
        "step    2 of 3 protein, 50.0 °C: resting, 10 min of 15 min left",
        "next    saccharification, 72.0 °C for 20 min",
        "mash    no reading, wanted 50.0 °C, second 49.5 °C",
        "heat      0% ░░░░░░░░░░░░░░░░░░░░ heater says 50%, fault: outlet hot",
        "wort    no estimate yet",
        "asked   Go on? [yes / no] (75 s)",
        "alerts  G02 Missing. (clear it); Disk.",
    ]
    assert status_text.painted("x", STATUS) == f"{status_text.RED}x{status_text.PLAIN}"


def _at(unix_s: float) -> str:
    return time.strftime("%H:%M", time.localtime(unix_s))


@pytest.mark.parametrize(
    ("phase", "step", "words"),
    [
        ("resting", "resting, 10 min of 15 min left", f"about {_at(NOW + 600.0)}"),
        ("ramping", f"ramping, 10 min of 15 min left, ready about {_at(NOW)}", f"about {_at(NOW + 600.0)}"),
    ],
)
def test_a_status_says_when_what_comes_next(phase: str, step: str, words: str) -> None:
    """From the planned end backwards: when the next step begins, and on a rise when its temperature is reached; within
    which times nine days of ten end; of several tuns only the lines that say something are shown."""
    running = {**STATUS, "state": "running", "finish_at": NOW + 600.0 + 600.0 + 1200.0, "prompt": None, "trips": []}
    running = {**running, "notes": [], "step": {**STATUS["step"], "phase": phase}}
    assert status_text.brief(running) == [
        f"gannet (simulated): running, Sandpiper, ends about {_at(NOW + 2400.0)}",
        f"  step    2 of 3 protein, 50.0 °C: {step}",
        f"  next    saccharification, 72.0 °C for 20 min, {words}",
        "  mash    no reading, wanted 50.0 °C, second 49.5 °C",
    ]
    days = {"finish_in_s": 2400.0, "finish_span_s": [2100.0, 3000.0]}
    ends = f"ends about {_at(NOW + 2400.0)} ({_at(NOW + 2100.0)} to {_at(NOW + 3000.0)} on nine days of ten)"
    assert status_text.brief({**running, **days})[0] == f"gannet (simulated): running, Sandpiper, {ends}"


def test_a_tun_that_falls_silent_in_a_run_is_shown_as_silent() -> None:
    """A status that the broker has kept is no sign of life: it counts where a run was open, and only then."""
    heard, old = Heard(["gannet", "plover", "tern"]), {**statuses.a_mash(), "at": time.time() - 720.0, "speed": 1.0}
    for tun, state in (("gannet", "running"), ("plover", "idle")):
        payload = json.dumps({**old, "state": state}).encode()
        topic = aiomqtt.Topic(f"underback/{tun}/status")
        assert heard.hear(aiomqtt.Message(topic, payload, 1, True, 1, None)) is None
    assert (heard.live(), heard.lines()) == ([], ["gannet: SILENT for 12 min; it was running then"])


@pytest.mark.parametrize(
    ("ahead", "words"),
    [
        (None, "wort    no estimate yet"),
        ({"in_s": 2700, "apparent_limit_pct": None}, "wort    the estimate has no figure for this mash"),
        (
            {"in_s": 2700, "apparent_limit_pct": {"low": 74.4, "mid": 78.2, "high": 81.6}},
            "wort    estimate for the end, in 45 min: apparent attenuation 78 % (74 to 82 %)",
        ),
    ],
)
def test_the_wort_to_come_is_one_line(ahead: dict[str, Any] | None, words: str) -> None:
    """The band of the estimate and the time until then; a figure without data behind it is not shown."""
    assert status_text.lines({**STATUS, "prediction": {"ahead": ahead}})[5] == words


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(None, "-"), (0, "0 s"), (89, "89 s"), (90, "2 min"), (3599, "1 h 00 min"), (3900, "1 h 05 min")],
)
def test_spans_are_said_for_people(seconds: float | None, words: str) -> None:
    """Seconds up to a minute and a half, then minutes, then hours."""
    assert status_text.span(seconds) == words


def test_a_curve_keeps_within_its_blocks() -> None:
    """Values below and above the range stay at the lowest and highest block; a missing one is a gap."""
    assert status_text.curve([0.0, 10.0, None, 46.0, 80.0, 99.0], 10.0, 80.0) == "▁▁ ▅██"
    assert (status_text.bar(0.0, 4), status_text.bar(0.5, 4), status_text.bar(7.0, 4)) == ("░░░░", "██░░", "████")


@needs_mosquitto
@pytest.mark.parametrize("name", ["hold", "stop", "abort"])
def test_heat_is_taken_away_whatever_is_wrong_with_the_files(name: str, tmp_path: Path) -> None:
    """The tun file, what was learned and the data folder are spoiled after the start: the order goes out all the same;
    any other order tells what is wrong; what was learned is not needed to order or to look; to no such tun nobody
    answers: 3, and what the folder holds, for a slip of the pen."""
    with field(tmp_path, "gannet", "short", 20.0) as there:
        there.go_on()
        if name == "stop":
            learned = tmp_path / "data" / "learned"
            learned.mkdir()
            (learned / "gannet.toml").write_text("spoiled")
            assert [said(there, *words)[0] for words in (("status",), ("order", "pause"), ("output-off",))] == [0, 0, 0]
            code, _, err = said(there, "order", "hold", tun="ganet")
            assert code == 3 and "ganet.toml, only gannet, plover" in err
        (there.config / "tuns" / "gannet.toml").write_text("spoiled")
        service = there.config / "service.toml"
        service.write_text(f'tack = 3\ndata_dir = "/dev/null"\n[broker]\nport = {there.port}\n')
        code, _, err = said(there, "order", "pause")
        assert code == 2 and "gannet.toml" in err and "tack" in err
        code, out, err = said(there, "order", name)
        assert (code, err) == (0, ""), out
        there.wait(lambda: there.state() in ("held", "stopped", "aborted"), 20, "heat is off")


@pytest.mark.parametrize("name", ["a/b", "#", " "])
def test_a_tun_that_is_no_name_is_turned_away(name: str, tmp_path: Path) -> None:
    """What cannot stand in a topic is not sent anywhere."""
    config = Field(tmp_path, "gannet", "short", 20.0).config
    with pytest.raises(Wrong, match="wanted the name of a tun"):
        _heat_off(argparse.Namespace(config=str(config), tun=name), {"order": "hold"})
