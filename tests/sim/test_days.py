"""Are the days of a program drawn as said, the same on any number of cores, and summed up rightly?"""

from __future__ import annotations

import json
import statistics
from pathlib import Path
from typing import Any

import pytest

from controller.cli import main
from controller.commands.dryrun import days as command
from controller.core.nouns import Course, ForPeople
from controller.edge import start_orders
from controller.edge.files import config_files
from controller.plan.plan import Plan
from controller.report import days_page
from controller.settings.service import Settings
from controller.settings.tun import Learned
from sim import days
from sim.days import Day, DayResult
from sim.dryrun import DryRun
from tests.places import own_config

SHORT = """
title = "Short warm"
aim = "balanced"
tun = "gannet"
[liquor]
volume = "26 L"
temperature = "40 °C"
[[step]]
name = "warm"
temperature = "45 °C"
time = "2 min"
[[step]]
name = "keep"
kind = "keep"
time = "5 min"
"""


def called(tmp_path: Path, capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str]:
    """`dryrun` of a short program, with these words: its code and what it says."""
    folder = own_config(tmp_path)
    (folder / "programs" / "short.toml").write_text(SHORT, encoding="utf-8")
    code = main(["--config", str(folder), "dryrun", "short", *words])
    return code, capsys.readouterr().out


def result(number: int, duration_s: float, **values: float) -> DayResult:
    day = Day(number, 20, 1, values)
    return DayResult(day, "complete", duration_s, 1.0, None, (("rest", 65.0, 65.2, 0.1),), (), (60.0, duration_s / 100))


def test_every_part_of_a_distribution_is_used_once(gannet: tuple[Settings, Plan]) -> None:
    """Of 40 days each fortieth of every distribution has one; the same seed gives the same days, another others."""
    drawn = days.draw(gannet[0], 40, 1)
    for factor in days.factors(gannet[0]):
        edges = [factor.at(n / 40) for n in range(1, 40)]
        found = sorted(sum(day.values[factor.name] > edge for edge in edges) for day in drawn)
        assert found == list(range(40))
    assert days.draw(gannet[0], 40, 1) == drawn
    assert days.draw(gannet[0], 40, 2) != drawn


def test_a_measured_tun_is_drawn_more_narrowly(gannet: tuple[Settings, Plan]) -> None:
    """What a water run has found about the power replaces the doubt of the nameplate."""
    learned = Learned.model_validate(
        {"power_w": 5000.0, "power_sd": 75.0, "lag_s": 30.0, "dead_s": 5.0, "on": "2026-11-20"}
    )
    sds = [
        next(f.sd for f in days.factors(settings) if f.name == "power")
        for settings in (gannet[0], gannet[0]._replace(learned=learned))
    ]
    assert sds == [0.04, 0.015]


def test_the_same_days_on_one_and_on_two_cores(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Two days told as one object, equal to the last figure; a single day told as a usual run is the same day."""
    alone = called(tmp_path / "a", capsys, "--days", "2", "--jobs", "1", "--json")
    assert called(tmp_path / "b", capsys, "--days", "2", "--jobs", "2", "--json") == alone
    told = json.loads(alone[1])
    assert alone[0] == 0
    assert told["complete"] == told["days"] == 2
    assert told["duration_s"]["p5"] < told["duration_s"]["p95"]
    days_s = [
        json.loads(called(tmp_path / n, capsys, "--days", "2", "--day", n, "--json")[1])["duration_s"] for n in "12"
    ]
    assert told["duration_s"]["p50"] == pytest.approx(sum(days_s) / 2, abs=0.5)  # told in whole seconds


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--days", "0"], "--days: found 0"),
        (["--days", "5", "--day", "6"], "--day: found 6"),
        (["--day", "2"], "--day: found without --days"),
        (["--days", "5", "--jobs", "0"], "--jobs: found 0"),
        (["--days", "5", "--fault", "probe_nan"], "--fault: found together with --days"),
        (["--days", "5", "--csv", "x.csv"], "--csv: found together with --days"),
    ],
)
def test_words_that_do_not_go_together(words: list[str], said: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit 2, with what was found and wanted."""
    assert main(["dryrun", "linnet", *words]) == 2
    assert said in capsys.readouterr().err


@pytest.mark.parametrize("share", [0.05, 0.25, 0.5, 0.95])
def test_limits_are_those_of_the_reference_library(share: float) -> None:
    """Linear between neighbours, as `statistics.quantiles` says with the ends included."""
    values = [3.0, 1.0, 4.0, 1.5, 9.0, 2.6, 5.3]
    wanted = statistics.quantiles(values, n=20, method="inclusive")[round(share * 20) - 1]
    assert days.quantile(values, share) == pytest.approx(wanted)


def test_the_variance_goes_to_what_causes_it(gannet: tuple[Settings, Plan]) -> None:
    """A duration made of 3 parts of one factor and 1 of another, both independent: 9 to 1, and none for an idle one."""
    made = [
        result(n, 1000.0 + 3.0 * a + b, a=a, b=b, idle=2.0)
        for n, (a, b) in enumerate((a, b) for a in (-1.0, 0.0, 1.0) for b in (-1.0, 0.0, 1.0) for _ in range(2))
    ]
    assert days.shares(made, [r.duration_s for r in made]) == {"a": 0.9, "b": 0.1}
    told = command.page(gannet[1], {**days.summary(gannet[1], made), "seed": 1, "days_wanted": 18})
    assert any("when it is ready hangs on: a 90%" in line and "b " not in line for line in told)


def test_a_day_that_fails_prints_the_line_that_plays_it_again(gannet: tuple[Settings, Plan]) -> None:
    """Days that did not complete stand outside the bands, by number, trip and command."""
    failed = result(7, 50.0, a=0.0)._replace(result="held", trips=(("G09", 40.0),))
    answer = days.summary(gannet[1], [result(1, 1000.0, a=0.0), failed])
    assert answer["duration_s"] == {"p5": 1000.0, "p50": 1000.0, "p95": 1000.0}
    assert answer["days_with_trip"] == {"G09": 1}
    last = command.page(gannet[1], {**answer, "seed": 4, "days_wanted": 20})[-1]
    assert "day 7 ended held (G09): underback dryrun sandpiper --tun gannet --days 20 --seed 4 --day 7" in last


def test_the_fan_is_drawn_while_half_of_the_days_run(tmp_path: Path) -> None:
    """A curve of two minutes among longer ones does not end the band; the page has one band for a
    broad screen, and one for a telephone, where the other is not shown."""
    made = [result(n, 1000.0 + n, a=0.0)._replace(curve_c=(60.0, 61.0 + n, 62.0)[: 2 + (n > 0)]) for n in range(4)]
    fan = days.fan(made)
    assert [row[0] for row in fan] == [0.0, 60.0, 120.0]
    assert fan[1][2] == 62.5
    page = days_page.html("Short <warm>", ["head", "4 of 4 complete", "x"], fan)
    assert page.count('<polygon class="fan"') == 2
    assert page.count('<svg class="chart"') == page.count('<svg class="chart small"') == 1
    assert "Short &lt;warm&gt;" in page
    assert days_page.chart([]) == ""


def test_check_quotes_the_days_of_the_same_program(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Run in a brewery with a data folder they are quoted by `check`, and go with the course of a start, until the
    program means something else."""
    folder, data = own_config(tmp_path, str(tmp_path / "data")), tmp_path / "data"
    data.mkdir(exist_ok=True)
    program = folder / "programs" / "short.toml"
    program.write_text(SHORT, encoding="utf-8")
    assert main(["--config", str(folder), "dryrun", "short", "--days", "1", "--jobs", "1"]) == 0
    capsys.readouterr()
    assert main(["--config", str(folder), "check", "short"]) == 0
    assert "1 completed; ready" in capsys.readouterr().out
    compiled = start_orders.compiler(folder, config_files.settings(folder, "gannet"))
    course = compiled({"program": "short"})
    assert isinstance(course, Course)
    assert course.people.days_s is not None
    assert 0.0 < course.people.days_s[0] == course.people.days_s[1]  # of one day
    program.write_text(SHORT.replace("2 min", "3 min"), encoding="utf-8")
    changed = compiled({"program": "short"})
    assert isinstance(changed, Course)
    assert changed.people.days_s is None
    assert main(["--config", str(folder), "check", "short"]) == 0
    assert "completed; ready" not in capsys.readouterr().out


def last_status(settings: Settings, plan: Plan) -> dict[str, Any]:
    """The newest status a minute into a dry run."""
    said: list[bytes] = []
    machine = DryRun(settings, plan, 1, listen=lambda at, topic, payload, kept, ours: said.append(payload))
    machine.go(longest_s=60.0)
    status: dict[str, Any] = json.loads([payload for payload in said if b'"finish_span_s"' in payload][-1])
    return status


def test_the_planned_end_on_the_status_carries_the_span_of_nine_days(gannet: tuple[Settings, Plan]) -> None:
    """With simulated days known, the status says between which times nine of ten end: of both as much as is left."""
    settings, plan = gannet
    days_s = (0.9 * plan.course.planned_s, 1.5 * plan.course.planned_s)
    status = last_status(settings, plan._replace(course=plan.course._replace(people=ForPeople(days_s=days_s))))
    left_s = status["finish_in_s"]
    assert status["finish_span_s"] == [pytest.approx(0.9 * left_s, abs=1.0), pytest.approx(1.5 * left_s, abs=1.0)]
    assert last_status(settings, plan)["finish_span_s"] is None
