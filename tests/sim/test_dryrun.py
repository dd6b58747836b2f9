"""Do the shipped programs run to their end against the simulated tuns, and does the dry run tell the truth of it?"""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest

from controller.cli import main
from controller.commands.dryrun import outcome
from controller.core.nouns import RunState, Trip
from controller.core.procedure.run import Hold, Prompt, Run
from controller.edge.files import plan_by_name
from controller.plan.plan import Plan
from controller.settings.service import Settings
from sim import dryrun, trace, true_wort
from sim.people.manner import Manner
from sim.world.faults import Fault, parse
from tests.places import CONFIG
from tests.sim import brief
from tests.sim.conftest import ran as run_once
from tests.sim.conftest import shipped
from tests.sim.crippled import crippled

Pair = tuple[Settings, Plan]
QUARTER = 0.25
PAIRS = [
    *(("gannet", program) for program in ("sandpiper", "redstart", "dotterel", "water-trial")),
    *(("plover", program) for program in ("linnet", "bittern", "crake", "water-trial")),
]


@pytest.mark.parametrize(("tun", "program"), PAIRS)
def test_each_shipped_program_completes_on_its_tun(tun: str, program: str) -> None:
    """Complete, no trip, no heat without evidence, every rest credited to 2 s, no ramp and no hold 0.5 K over, with
    rests of a quarter of their time."""
    settings, plan = shipped(tun, program, QUARTER)
    assert not plan.problems
    ran = run_once(tun, program, QUARTER)
    assert (ran.result, ran.trace.trips, ran.heat_without_evidence, ran.refusals) == ("complete", [], 0, ())
    assert ran.hot_commands > 500
    steps = ran.trace.steps(plan.course)
    assert [step["name"] for step in steps] == [leg.name for leg in plan.course.legs]
    for step, leg in zip(steps, plan.course.legs, strict=True):
        if leg.kind not in ("keep", "dough_in"):
            assert step["planned_s"] - 2.0 <= step["credited_s"]
        assert (step["overshoot_c"] or 0.0) < 0.5, step
        assert step["max_c"] is None or step["max_c"] - leg.target_c < 0.5, step
    energy = ran.world.tun.energy()
    assert abs(energy.gap_j) < 1e-3 * energy.heater
    assert ran.energy_kwh * 3.6e6 * settings.tun.heater.efficiency == pytest.approx(energy.heater)


def test_the_same_seed_gives_the_same_digest_and_another_another(plover: Pair) -> None:
    """Every message both ways, byte for byte."""
    digests = [dryrun.DryRun(*plover, seed).go(900.0).digest for seed in (3, 3, 4)]
    assert digests[0] == digests[1] != digests[2]


def test_the_person_answers_each_question_and_none_is_skipped() -> None:
    """Dough-in begun, grain in, the iodine test, taking over: each asked, each answered."""
    assert run_once("gannet", "sandpiper", QUARTER).answered == (
        "liquor",
        "dough_in",
        "grain_in",
        "iodine",
        "take_over",
    )


def test_a_crippled_guard_is_seen_in_the_count(gannet: Pair, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without a guard the same fault gives heat without evidence; the count is taken from the messages alone."""
    fault = [parse("probe_unplugged@700+200")]
    sound = dryrun.DryRun(*gannet, 1, fault).go(1000.0)
    assert (sound.heat_without_evidence, sound.trace.trips[0]["id"]) == (0, "G02")
    monkeypatch.setattr(dryrun, "tick", crippled)
    assert dryrun.DryRun(*gannet, 1, fault).go(1000.0).heat_without_evidence == pytest.approx(190, abs=3)


def test_a_broker_outage_is_held_and_gone_on_from() -> None:
    """Two minutes without broker in the rest: one trip, no heat meanwhile, the run completes, every rest in full."""
    heard: list[tuple[float, str]] = []
    settings, plan = brief.mash()
    dry = dryrun.DryRun(
        settings, plan, 1, [parse("broker_gone@1200+120")], listen=lambda at, topic, *_: heard.append((at, topic))
    )
    ran = dry.go()
    assert (ran.result, [t["id"] for t in ran.trace.trips]) == ("complete", ["G14"])
    assert not [at for at, _ in heard if 1200.0 <= at < 1320.0]
    rest = ran.trace.steps(plan.course)[1]
    assert rest["credited_s"] >= 358.0
    assert rest["ended_s"] - rest["in_band_s"] > 360.0 + 115.0


def test_a_brewer_who_never_comes_leaves_the_mash_to_the_daemon() -> None:
    """Nobody takes over: after the written keep of ten minutes the heat goes off and the run is complete."""
    settings, plan = brief.mash()
    ran = dryrun.DryRun(settings, plan, 1, manner=Manner(take_over=False)).go()
    assert ran.result == "complete"
    keep = ran.trace.steps(plan.course)[-1]
    assert (keep["kind"], keep["credited_s"]) == ("keep", pytest.approx(600.0, abs=2.0))


def test_a_start_that_is_refused_is_told(gannet: Pair) -> None:
    """No mark that somebody stays, no proof test: refused with the reason, tried again, and never any heat."""
    ran = dryrun.DryRun(*gannet, 1, manner=Manner(attended=False)).go()
    assert ran.result == "idle"
    assert ran.refusals and "proof test" in ran.refusals[0]
    assert ran.hot_commands == 0


def test_rows_are_written_as_the_contract_names_them() -> None:
    """One line a second with the agreed columns, and the enzymes' from dough-in on."""
    ran = run_once("plover", "linnet", QUARTER)
    brewed = true_wort.follow(shipped("plover", "linnet", QUARTER)[1].course, ran.trace)
    lines = trace.csv(ran.trace.rows, true_wort.COLUMNS, brewed.columns).splitlines()
    assert lines[0].startswith("t_s,mash_c,probe_c,setpoint_c,target_c,duty,step,phase,state,beta_left_pct,")
    assert len(lines) == len(ran.trace.rows) + 1
    assert {line.count(",") for line in lines} == {13}
    assert lines[1].endswith(",,,,,")
    assert not lines[-1].endswith(",")
    assert brewed.prediction is not None
    assert [step["name"] for step in brewed.prediction["steps"]] == ["dough-in", "conversion", "mash-out", "keep"]
    assert 55.0 < brewed.prediction["apparent_limit_pct"]["mid"] < 95.0


def test_water_alone_predicts_no_wort() -> None:
    """No grain, no prediction."""
    settings, plan = shipped("plover", "water-trial")
    ran = dryrun.DryRun(settings, plan, 1).go(600.0)
    brewed = true_wort.follow(plan.course, ran.trace)
    assert brewed.prediction is None
    assert len(brewed.columns) == len(ran.trace.rows)


# ---------------------------------------------------------------- the command

KEYS = {
    "result", "program", "tun", "seed", "digest", "duration_s", "energy_kwh", "strike_c", "steps", "trips", "advice",
    "prediction", "commands", "heat_without_evidence",
}  # fmt: skip
STEP_KEYS = {
    "name", "kind", "target_c", "planned_s", "ramp_started_s", "in_band_s", "ended_s", "credited_s", "min_c", "mean_c",
    "max_c", "overshoot_c", "rms_error_c", "climb_c_per_min",
}  # fmt: skip


def dryrun_of(*words: str, config: Path = CONFIG) -> int:
    return main(["--config", str(config), "dryrun", *words])


def test_the_command_prints_one_object_of_the_agreed_shape(
    capsys: pytest.CaptureFixture[str], config: Path, tmp_path: Path
) -> None:
    """Exactly the contract's keys; the files that were asked for are there."""
    csv, page = tmp_path / "a.csv", tmp_path / "a.html"
    words = ("brief", "--tun", "plover", "--json", "--csv", str(csv), "--report", str(page))
    assert dryrun_of(*words, config=brief.laid(config)) == 0
    said = json.loads(capsys.readouterr().out)
    assert set(said) == KEYS
    assert all(set(step) == STEP_KEYS for step in said["steps"])
    assert said["result"] == "complete"
    assert csv.read_text().startswith("t_s,mash_c")
    assert "<html" in page.read_text().lower()


def test_a_run_that_does_not_complete_is_an_answer_of_no(capsys: pytest.CaptureFixture[str], config: Path) -> None:
    """A welded switch: exit 1, and the trip stands on the page with what to do."""
    assert dryrun_of("brief", "--fault", "heater_welded@20min", config=brief.laid(config)) == 1
    out, err = capsys.readouterr()
    assert "G10" in out and "cut the mains now" in out
    assert "taken over" not in out
    assert err.startswith("simulating ") and err.count("\n") == 1


def test_faults_stand_in_the_object_as_they_were_given(capsys: pytest.CaptureFixture[str], config: Path) -> None:
    """Named faults are part of what ran, and so of its JSON, with what they did; a time in minutes stays as written."""
    assert dryrun_of("brief", "--fault", "heater_welded@20min", "--json", config=brief.laid(config)) == 1
    said = json.loads(capsys.readouterr().out)
    assert set(said) == {*KEYS, "faults", "story", "warnings"}
    assert said["faults"] == ["heater_welded@20min"]


def test_a_step_that_was_not_reached_is_told_so() -> None:
    """A rise that never came into band has no minutes; a keep that nobody took over is told as time of time."""
    step = {"name": "keep", "kind": "keep", "target_c": 77.0, "in_band_s": None, "ramp_started_s": 5.0}
    step |= dict.fromkeys(("climb_c_per_min", "overshoot_c", "mean_c", "rms_error_c"))
    step |= {"planned_s": 7200.0, "credited_s": 78.0}
    row = outcome.step_line(step, taken=False, passed=False)
    assert "not reached" in row and row.endswith("1.3 of 120 min")
    assert outcome.step_line(step, taken=True, passed=False).endswith("taken over after 1.3 min")


def test_the_page_explains_itself_and_repeats_the_warnings(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """The time planned stands beside the time taken, the columns are explained, a keep that was taken over is no
    failure, and what `check` warns of comes again in a line each; what the brewery overrules does not."""
    text = (CONFIG / "programs/linnet.toml").read_text(encoding="utf-8")
    text = text.replace('mass = "15 kg"', 'mass = "10 kg"').replace('"66 °C"', '"60 °C"')
    text = text.replace('time = "60 min"', 'time = "20 min"').replace('"12 °C"', '"50 °C"')
    program, csv = tmp_path / "thick.toml", tmp_path / "a.csv"
    program.write_text(text, encoding="utf-8")
    assert dryrun_of(str(program), "--csv", str(csv)) == 0
    out, err = capsys.readouterr()
    plan = plan_by_name.load_plan(CONFIG, str(program), None)
    assert f"({plan.duration_s / 60:.0f} planned, for a brewer who answers at once)" in out
    assert "rms: how far" in out and "taken over after" in out and "of 120 min" not in out
    assert "warn A22: 2.00 L/kg is too thick" in out
    assert out.index("K/min") < out.index("heater commands")
    assert f"written: {csv}" in err
    plan = plan._replace(program=plan.program.model_copy(update={"overrule": {"A22": "known", "A15": "known"}}))
    said = [{"rule": "A22", "level": "warn", "text": "thick", "overruled": "known"}]
    assert outcome.warned(plan, {"advice": said}) == []


def test_everything_wrong_is_said_at_once(capsys: pytest.CaptureFixture[str], tmp_path: Any) -> None:
    """A program that is not there, two faults that are none, a folder that does not exist: exit 2, four lines."""
    words = ["nothing", "--fault", "nonsense", "--fault", "probe_nan=1", "--csv", str(tmp_path / "no" / "a.csv")]
    assert dryrun_of(*words) == 2
    said = capsys.readouterr().err
    assert said.count("--fault: ") == 2 and "--csv" in said and "nothing" in said
    assert "Traceback" not in said


def test_without_a_program_there_is_nothing_to_run(capsys: pytest.CaptureFixture[str]) -> None:
    """No program and no list asked for: exit 2, and what is missing."""
    assert dryrun_of() == 2
    assert capsys.readouterr().err.startswith("PROGRAM: found nothing, wanted a name")


def test_the_faults_and_an_end_that_was_none_are_told(
    capsys: pytest.CaptureFixture[str], config: Path, tmp_path: Path
) -> None:
    """The title has the faults as given; a held run says in a line what it waits for; so does its page."""
    report = tmp_path / "run.html"
    words = ("brief", "--fault", "flow_lost@20min+20min", "--report", str(report))
    assert dryrun_of(*words, config=brief.laid(config)) == 1
    out = capsys.readouterr().out.splitlines()
    assert out[0].endswith("seed 1, with flow_lost@20min+20min")
    assert out[1].startswith("  NOT COMPLETE: held after ") and "waiting for a person: G13 " in out[1]
    html = report.read_text(encoding="utf-8")
    assert "simulated tun, with flow_lost@20min+20min</p>" in html and out[1].split(" (")[0].strip() in html


@pytest.mark.parametrize(
    ("fault", "said"),
    [
        ("stirrer_stopped@5min", "stirrer_stopped had no effect: plover has no stirrer"),
        ("level_lost", "level_lost had no effect: plover has no level switch"),
        ("second_frozen", "second_frozen had no effect: plover has no second probe"),
        ("liquor_share@5min", "write liquor_share@0"),
        ("probe_frozen@500min", "probe_frozen had no effect: the run ended before 8 h 20 min"),
    ],
)
def test_a_fault_that_cannot_act_is_told(fault: str, said: str, plover: Pair) -> None:
    """A part that this tun has not, or a time after the end: nothing went wrong, and that is said."""
    (line,) = outcome.idle([parse(fault)], plover[1], 6800.0)
    assert said in line
    assert outcome.idle([parse("pump_stopped"), parse("flow_lost"), parse("outlet_hot")], plover[1], 6800.0) == []


@pytest.mark.parametrize(
    ("run", "trips", "said"),
    [
        (Run(state=RunState.HELD, hold=Hold("person")), (), "held after 10 min, waiting for a person: `restart`"),
        (Run(state=RunState.ABORTED), (), "aborted after 10 min, by a person's order"),
        (Run(state=RunState.IDLE), (), "idle after 10 min, never started: start: no proof"),
        (Run(prompt=Prompt("ph", "What is the pH?", ("ok",), 0.0)), (), "waiting for an answer: What is the pH?"),
    ],
)
def test_each_way_not_to_complete_has_its_words(run: Run, trips: tuple[Trip, ...], said: str) -> None:
    """Held by a person, ended by one, never started, a question unanswered."""
    refusals = ("start: no proof",) if run.state is RunState.IDLE else ()
    assert said in outcome.unfinished(str(run.state), 600.0, run, trips, refusals)
    assert outcome.unfinished("complete", 600.0, run, trips) == ""


def test_page_and_terminal_agree(capsys: pytest.CaptureFixture[str], config: Path, tmp_path: Path) -> None:
    """The planned time, the iodine test and what the curve is: one figure and one word for each."""
    report = tmp_path / "run.html"
    assert dryrun_of("brief", "--report", str(report), config=brief.laid(config, "20 min")) == 0
    out = capsys.readouterr().out
    html = report.read_text(encoding="utf-8")
    assert "(37 planned," in out and "<dt>Planned</dt><dd>37 min</dd>" in html
    assert len(set(re.findall(r"negative between \d+ and \d+ min", html))) == 1  # wherever it stands
    assert "Iodine" in html and "</svg> simulated</li>" in html and "> measured<" not in html


def test_a_program_that_does_not_fit_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    """60 kg of liquor do not go into 30 L: exit 2 with the reason."""
    assert dryrun_of("sandpiper", "--tun", "plover") == 2
    assert "L" in capsys.readouterr().err


def test_the_faults_can_be_listed(capsys: pytest.CaptureFixture[str]) -> None:
    """Every fault with its meaning."""
    assert dryrun_of("--fault", "list") == 0
    out = capsys.readouterr().out
    assert "probe_frozen" in out
    assert out.startswith("A fault is written KIND@START+DURATION=VALUE")
    assert parse("heater_power@15min+300=0.5") == Fault("heater_power", 900.0, 300.0, 0.5)  # the example
