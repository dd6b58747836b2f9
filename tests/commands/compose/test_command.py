"""Does `compose` propose only what is checked and run through, write what `check` accepts, and say why not?"""

from __future__ import annotations

import contextlib
import io
import json
import shutil
import sys
import tomllib
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, Self

import pytest

from controller.brewing.compose.proposal import Proposal, ProposedRest
from controller.cli import main
from controller.commands.compose import command
from controller.commands.compose.trial import Judge, Trial
from controller.commands.shared import terminal
from controller.edge.files import config_files
from controller.edge.files.program_file import Base, parsed, text
from controller.plan.recipe import Grist, Liquor
from tests.commands.called import called
from tests.places import CONFIG

GOOD = Trial("complete", 12.0, 6000.0, 4000.0, 0.1, 80.0, (), 0)
LIMITS = ("--tun", "plover", "--most-rests", "1", "--most-time", "1 h 15 min")


class Here:
    """In place of a process for each processor."""

    map = map

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *why: object) -> None:
        pass


@pytest.fixture
def at_once(monkeypatch: pytest.MonkeyPatch) -> Callable[[dict[float, Trial]], None]:
    """Dry runs are answered from a table by the first rest's temperature; all else is good."""

    def answered(table: dict[float, Trial]) -> None:
        def prove(self: Judge, pool: Here, proposals: Sequence[Proposal], tell: Callable[[float, str], None]) -> bool:
            for one in proposals:
                self.trials.setdefault(one.steps, table.get(one.steps[0].temperature_c, GOOD))
            return not any(self.trials[one.steps].problems() for one in proposals)

        monkeypatch.setattr(Judge, "prove", prove)
        monkeypatch.setattr(command, "cores", Here)

    answered({})
    return answered


def answer(config: Path, *words: str) -> dict[str, Any]:
    code, out, err = called("compose", *words, "--json", config=config)
    assert (code, err.count("\n")) == (0, 1)
    assert err.startswith("searching programs for ")
    return dict(json.loads(out))


# ---------------------------------------------------------------- the whole way


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> tuple[dict[str, Any], Path]:
    """One question with real dry runs, its first proposal written."""
    config = Path(shutil.copytree(CONFIG, tmp_path_factory.mktemp("whole") / "config"))
    code, out, err = called(
        "compose", "full", *LIMITS, "--no-mash-out", "--grist", "4 kg", "--write", "mine", "--json", config=config
    )
    assert code == 0, err
    return json.loads(out), config


def test_every_proposal_was_run_through(whole: tuple[dict[str, Any], Path]) -> None:
    """Each one completed on the simulated tun, without a trip, and gave the limit that was promised within 2 points."""
    found, _ = whole
    assert len(found["proposals"]) >= 2
    assert [one["dry_run"]["liquor_c"] < 20.0 for one in found["proposals"]].count(True) == 1
    for one in found["proposals"]:
        ran = one["dry_run"]
        assert (ran["result"], ran["trips"], ran["heat_without_evidence"]) == ("complete", [], 0)
        assert ran["apparent_limit_pct"] == pytest.approx(one["limit_pct"], abs=2.0)
        assert ran["mash_s"] > 60.0 * one["duration_min"]
        assert one["reasons"]


def test_what_is_written_is_what_check_accepts(whole: tuple[dict[str, Any], Path]) -> None:
    """The file on disk is the proposal's text, checks with exit code 0, and holds its steps and a keep."""
    found, config = whole
    path = config / "programs" / "mine.toml"
    assert path.read_text(encoding="utf-8") == found["proposals"][0]["program"]
    program = config_files.load_program(config, "mine")
    steps = found["proposals"][0]["steps"]
    assert [(s.name, s.kind, s.temperature_c, s.time_s) for s in program.step] == [
        (s["name"], s["kind"], s["temperature_c"], s["hold_s"]) for s in steps
    ]
    assert program.step[-1].kind == "keep"
    with contextlib.redirect_stdout(io.StringIO()):
        assert main(["--config", str(config), "check", "mine"]) == 0


def test_a_file_is_never_overwritten(whole: tuple[dict[str, Any], Path]) -> None:
    """A name that is taken is refused before the search, and the file stays as it was."""
    _, config = whole
    path = config / "programs" / "mine.toml"
    before = path.read_bytes()
    code, _, err = called("compose", "dry", *LIMITS, "--write", "mine", config=config)
    assert code == 2 and "which exists" in err
    assert path.read_bytes() == before


# ---------------------------------------------------------------- the answer


def test_a_limit_that_is_wanted_is_met(config: Path, at_once: object) -> None:
    """`--limit "78 %"` and the bare "78 %" are the same question, and the same question has the same answer; the first
    proposal is within half a point."""
    found = answer(config, "--limit", "78 %", *LIMITS)
    assert found["target_pct"] == 78.0
    assert abs(found["proposals"][0]["miss_points"]) < 0.5
    assert found == answer(config, "78 %", *LIMITS)


def test_limits_are_kept(config: Path, at_once: object) -> None:
    """Time, number of rests, mash-out, low rest and rise are as the options say, in each proposal's own file."""
    found = answer(
        config, "dry", "--tun", "gannet", "--most-time", "2 h", "--most-rests", "2", "--low-rest", "45 °C, 10 min",
        "--ramp", "0.6 K/min", "--no-mash-out",
    )  # fmt: skip
    for one in found["proposals"]:
        assert one["duration_min"] <= 120.0
        kinds = [step["kind"] for step in one["steps"]]
        assert "mash_out" not in kinds and kinds[-1] == "keep"
        assert (one["steps"][0]["temperature_c"], one["steps"][0]["hold_s"]) == (45.0, 600.0)
        assert 2 <= len(kinds) - 1 <= 3
        rises = [step.get("ramp") for step in tomllib.loads(one["program"])["step"][1:-1]]
        assert set(rises) == {"0.6 K/min"}


def test_a_rise_is_promised_that_the_heater_can_keep_up(config: Path, at_once: object) -> None:
    """On a tun whose heater falls short of its own ceiling when hot, no proposal draws the advice of a slow rise."""
    found = answer(config, "dry", "--tun", "gannet")
    assert all("A5" not in {line["rule"] for line in one["advice"]} for one in found["proposals"])
    assert any("ramp" in one["program"] for one in found["proposals"])


def test_the_malt_certificate_counts(config: Path, at_once: object) -> None:
    """Malt of a lower limit attenuation needs a cooler mash for the same wort, and stands in the file."""
    words = ("--limit", "76 %", *LIMITS, "--extract", "81 %")
    low, high = (answer(config, *words, "--malt-limit", share) for share in ("78 %", "84 %"))
    low_c, high_c = (one["proposals"][0]["steps"][0]["temperature_c"] for one in (low, high))
    assert low_c < high_c
    assert 'limit_attenuation = "78 %"' in low["proposals"][0]["program"]
    assert "certificate" in low["proposals"][0]["prediction"]["basis"]


def test_a_program_lends_grist_liquor_and_tun(config: Path, at_once: object) -> None:
    """`--from linnet` takes its malt with every figure, its liquor, its tun and its aim; the strike is worked out."""
    found = answer(config, "--from", "linnet", "--most-rests", "1")
    ours = tomllib.loads(found["proposals"][0]["program"])
    theirs = tomllib.loads((config / "programs" / "linnet.toml").read_text(encoding="utf-8"))
    assert ours["tun"] == "plover" and ours["aim"] == "balanced"
    read = parsed("ours", found["proposals"][0]["program"])
    assert read.grist == config_files.load_program(config, "linnet").grist
    assert ours["liquor"] == theirs["liquor"]
    assert "strike" not in ours["dough_in"]


def test_what_a_dry_run_refuses_is_replaced(config: Path, at_once: Callable[[dict[float, Trial]], None]) -> None:
    """Where the best proposal does not run through, another stands in, and the refused one is told with why."""
    first = answer(config, "full", *LIMITS)["proposals"][0]["steps"][0]["temperature_c"]
    at_once({first: GOOD._replace(result="held", ended_s=3000.0, trips=("G05 jumps",))})
    found = answer(config, "full", *LIMITS)
    assert found["proposals"]
    assert all(one["steps"][0]["temperature_c"] != first for one in found["proposals"])
    assert found["refused"][0]["problems"] == ["dry run: ended held after 50 min", "G05 jumps"]


def test_nothing_fits(config: Path) -> None:
    """Half an hour is too short for any mash on this tun: exit code 1, and what would be needed."""
    code, out, _ = called("compose", "dry", "--tun", "gannet", "--most-time", "30 min", config=config)
    assert code == 1
    assert "no program fits 30 min: the shortest that converts takes" in out


def test_the_page_shows_the_trade_off(config: Path, at_once: object) -> None:
    """For a person: a row a proposal with limit, range, time and program, the reasons, and the word estimate."""
    code, out, _ = called("compose", "balanced", *LIMITS, config=config)
    assert code == 0
    lines = out.splitlines()
    assert lines[0].startswith("Programs for an apparent limit attenuation of 80 % on plover, 6 kg grist")
    found = answer(config, "balanced", *LIMITS)["proposals"]
    rows = [line for line in lines if line.strip()[:1].isdigit() and "kWh" in line and "points" in line]
    assert len(rows) == len(found)
    for row, one in zip(rows, found, strict=True):
        assert f"{one['limit_pct']:.0f} %" in row and f"{one['duration_min']:.0f} min" in row
    assert "Estimate from mash temperature and thickness" in out
    assert "'balanced' is taken as an apparent limit of" in out


# ---------------------------------------------------------------- what is wrong


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((), ["aim: found nothing"]),
        (("dry", "--limit", "80 %"), ["aim: found both"]),
        (("wet",), ['aim: found "wet", wanted dry, balanced, full, or a limit such as "82 %"']),
        (("dri",), ['aim: found "dri"', 'did you mean "dry"?']),
        (("82",), ['aim: found "82"', '"82 %"']),
        (("dry", "--low-rest", "52 C 15 min"), ['--low-rest: found "52 C 15 min", wanted a comma between']),
        (("dry", "--limit", "8 %", "--grist", "20", "--ramp", "9 K/min"), ["8 %", "--grist", "--ramp", "both"]),
        (("dry", "--low-rest", "70 °C, 1 min"), ["--low-rest: found", "--low-rest-time: found"]),
        (("dry", "--most-rests", "4", "--most-time", "10 min"), ["--most-rests", "--most-time"]),
        (("dry", "--from", "linnet", "--grist", "5 kg"), ["--from: found together with --grist"]),
        (("--from", "water-trial"), ["water alone"]),
        (("dry", "--tun", "plover", "--write", "a/../b c"), ["--write: found"]),
        (("dry",), ["--tun: found nothing, wanted one of gannet, plover"]),
        (("dry", "--tun", "nosuch"), ["nosuch"]),
        (("dry", "--tun", "plover", "--grist", "30 kg"), ["--grist: found 30 kg at 3.0 L/kg", "at most about 7.7 kg"]),
    ],
)
def test_wrong_words_are_told_at_once(words: tuple[str, ...], said: list[str]) -> None:
    """Exit code 2 and every problem with its option, what was found and what is wanted; nothing is searched."""
    code, out, err = called("compose", *words, config=CONFIG)
    assert (code, out) == (2, "")
    assert all(one in err for one in said), err


def test_a_pick_that_is_not_there(config: Path, at_once: object) -> None:
    """`--pick 40` is refused with how many there are, and nothing is written."""
    code, _, err = called("compose", "full", *LIMITS, "--write", "mine", "--pick", "40", config=config)
    assert code == 2 and "--pick: found 40, wanted 1 to" in err
    assert not (config / "programs" / "mine.toml").exists()


# ---------------------------------------------------------------- the judge


def judge(config: Path, grist_kg: float = 5.0) -> Judge:
    base = Base("plover", (Grist(name="Pale", mass_kg=grist_kg),), Liquor(mass_kg=3.0 * grist_kg), 3.0 * grist_kg)
    return Judge(config_files.settings(config, "plover"), base, "dry", None)


STEPS = (ProposedRest("rest", "rest", 64.0, 1200.0), ProposedRest("keep", "keep", 64.0, 7200.0))


def test_the_judge_refuses_what_check_refuses() -> None:
    """A mash too big for the tun, and a step that cannot be read, come back with the words of `check`."""
    assert judge(CONFIG)(STEPS) == []
    assert any("95 %" in problem for problem in judge(CONFIG, 12.0)(STEPS))
    assert judge(CONFIG)((ProposedRest("rest", "rest", 64.0, 5.0), STEPS[1])) != []


@pytest.mark.parametrize(
    ("trial", "said"),
    [
        (GOOD, []),
        (GOOD._replace(result="held"), ["dry run: ended held after 100 min"]),
        (GOOD._replace(trips=("G07 too hot",)), ["dry run: ended complete after 100 min", "G07 too hot"]),
        (GOOD._replace(heat_without_evidence=3), ["dry run: 3 commands with heat and no fresh reading"]),
    ],
)
def test_what_a_dry_run_may_not_show(trial: Trial, said: list[str]) -> None:
    """Only a complete run without a trip and without blind heat lets a proposal through."""
    assert trial.problems() == said
    asked = judge(CONFIG)
    asked.trials[STEPS] = trial
    assert asked(STEPS) == said


def test_a_written_program_keeps_odd_text() -> None:
    """Quotes, backslashes, umlauts and tabs in names come back as they were."""
    odd = 'Mälzer "A" \\ 1\t'
    base = Base("plover", (Grist(name=odd.strip(), mass_kg=5.0),), Liquor(mass_kg=15.0), 15.0, people=(odd,))
    read = parsed("odd", text(base, odd, 82.0, STEPS, ["a remark\nof two lines"]))
    assert read.title == odd and read.people == (odd,)
    assert read.grist[0].name == odd.strip()
    assert read.aim == 0.82


def test_a_bar_is_drawn_where_somebody_looks(config: Path, at_once: object, monkeypatch: pytest.MonkeyPatch) -> None:
    """On a terminal the share done goes up to the end and is wiped away; elsewhere stderr has one line."""
    told: list[float] = []
    monkeypatch.setattr(terminal.Bar, "tell", lambda self, share, text: told.append(share))
    monkeypatch.setattr(sys, "stderr", Terminal())
    with contextlib.redirect_stdout(io.StringIO()):
        assert main(["--config", str(config), "compose", "full", *LIMITS]) == 0
    assert told == sorted(told) and len(told) > 10 and 0.0 <= told[0] < told[-1] <= 1.0


class Terminal(io.StringIO):
    """A stderr that says it is a terminal."""

    def isatty(self) -> bool:
        return True
