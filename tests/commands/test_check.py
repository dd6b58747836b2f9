"""`underback check`: page, JSON, exit codes, and the advice on the shipped programs and their spoiled copies."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from controller.cli import main
from tests.places import CONFIG, ROOT, edited

FH_0417 = 'lot = "FH-0417"\nkolbach = "42 %"\nfriability = "89 %"\nfine_coarse = "1.1 %"\nmoisture = "4.2 %"'
FH_0422 = 'lot = "FH-0422"\nkolbach = "34 %"\nfriability = "76 %"\nfine_coarse = "2.0 %"\nmoisture = "4.8 %"'


def check(config: Path, capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, list[dict[str, Any]]]:
    code = main(["--config", str(config), "check", *words, "--json"])
    return code, [json.loads(line) for line in capsys.readouterr().out.splitlines()]


def advice(answer: dict[str, Any]) -> list[tuple[str, str]]:
    return [(line["rule"], line["level"]) for line in answer["advice"]]


def copied(config: Path, name: str, new: str, *changes: tuple[str, str]) -> str:
    """A changed copy of a shipped program under another name."""
    edited(config / f"programs/{name}.toml", *changes, to=config / f"programs/{new}.toml")
    return new


def without(config: Path, name: str, step: str, until: str) -> str:
    """A shipped program without the steps from one to before another."""
    text = (config / f"programs/{name}.toml").read_text(encoding="utf-8")
    begin, end = (text.index(f'[[step]]\nname = "{one}"') for one in (step, until))
    return copied(config, name, f"{name}-short", (text[begin:end], ""))


def lot(config: Path, name: str, figures: str) -> str:
    """A shipped program with another lot of malt in its first line of grist."""
    lines = (config / f"programs/{name}.toml").read_text(encoding="utf-8").splitlines()
    sheet = ("lot", "moisture", "kolbach", "friability", "fine_coarse")
    kept = [line for line in lines if not line.startswith(sheet)]
    at = kept.index("[[grist]]") + 1
    (config / "programs/other-lot.toml").write_text("\n".join([*kept[:at], figures, *kept[at:]]), encoding="utf-8")
    return "other-lot"


def weak(config: Path) -> None:
    """Gannet with a heater of 3 kW."""
    edited(config / "tuns/gannet.toml", ('power = "5 kW"', 'power = "3 kW"'))


def test_a_weak_heater_is_told_what_it_gives(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Sandpiper with 3 kW draws one warning: it climbs at 0.56 K/min and ends about 20 min later than planned."""
    weak(config)
    code, (answer,) = check(config, capsys, "sandpiper")
    assert (code, answer["ok"]) == (0, True)
    assert advice(answer) == [("A5", "warn")]
    assert "0.56 K/min" in answer["advice"][0]["text"]


def test_shipped_programs_warn_of_nothing(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What is shipped suits its malt and its tun: nothing warns in any of the seven, and every step has a line to say
    why it is there."""
    names = sorted(path.stem for path in (config / "programs").glob("*.toml"))
    _, answers = check(config, capsys, *names)
    assert len(answers) == len(names) == 8
    warned = [(answer["program"], rule) for answer in answers for rule, level in advice(answer) if level != "note"]
    assert warned == []
    assert all(len(step["why"]) > 20 for answer in answers for step in answer["plan"]["steps"])
    assert main(["--config", str(config), "check", *names]) == 0
    page = capsys.readouterr().out
    assert page.count("No problems. Next:") == 8, page


def test_a_supply_too_small_for_the_strike_alone(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A program of one rest heats its strike liquor only; 2.4 kW on a supply of 2.3 kW is a warning all the same."""
    edited(config / "tuns/plover.toml", ('supply_limit = "6.5 kW"', 'supply_limit = "2.3 kW"'))
    _, (answer,) = check(config, capsys, without(config, "linnet", "mash-out", "keep"))
    assert advice(answer) == [("A34", "warn")]
    assert answer["advice"][0]["text"] == "This tun's heater draws 2400 W, its supply gives 2300 W."


def test_malt_and_rests_that_do_not_suit_each_other(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Sandpiper made with the well-modified lot is warned of its protein rest; Linnet with the under-modified lot
    that it wants a temperature program; Bittern that begins at 65 °C of a sticky bed; Sandpiper backwards, 72 °C before
    63 °C, that the low rest adds nothing any more."""

    def warned(name: str) -> list[tuple[str, str]]:
        return advice(check(config, capsys, name)[1][0])

    assert [rule for rule, _ in warned(lot(config, "sandpiper", FH_0417))] == ["A10"]
    assert warned(lot(config, "linnet", FH_0422)) == [("A9", "warn")]
    assert ("A12", "warn") in warned(without(config, "bittern", "glucan rest", "conversion"))
    changes = (('"63 °C"', '"t"'), ('"72 °C"', '"63 °C"'), ('"t"', '"72 °C"'))
    assert ("A7", "warn") in warned(copied(config, "sandpiper", "sandpiper-backwards", *changes))


def test_hot_mash_out_is_refused(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Redstart with an 82 °C mash-out is refused; A3 and A19 say why."""
    name = copied(config, "redstart", "redstart-hot", ('temperature = "78 °C"', 'temperature = "82 °C"'))
    code, (answer,) = check(config, capsys, name)
    assert (code, answer["ok"]) == (2, False)
    assert {"A3", "A19"} <= {rule for rule, _ in advice(answer)}
    assert [p["where"].split(": ", 1)[1] for p in answer["problems"]] == ['[[step]] 4 "mash-out": temperature']


def test_too_much_for_the_tun(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """26 kg at 3.5 L/kg, 108.4 L, stops for Gannet."""
    changes = (('mass = "20 kg"', 'mass = "26 kg"'), ('mass = "60 kg"', 'mass = "91 kg"'))
    code, (answer,) = check(config, capsys, copied(config, "sandpiper", "sandpiper-big", *changes))
    assert code == 2
    assert ("A1", "stop") in advice(answer)
    assert answer["problems"][0]["found"].startswith("108.4 L")


def test_two_tuns_on_one_supply(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Two tuns that run together over the supply's limit are told so; run one after the other they are not."""
    _, together = check(config, capsys, "sandpiper", "linnet", "--together")
    assert all(("A34", "note") in advice(answer) for answer in together)
    _, apart = check(config, capsys, "sandpiper", "linnet")
    assert all(("A34", "note") not in advice(answer) for answer in apart)


def test_names_change_no_advice(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Renaming program, tun, malt and lot leaves advice and plan as they were."""
    _, (before,) = check(config, capsys, "redstart")
    names = (("Redstart", "Godwit"), ("Wheat malt", "Linnet"), ("FH-0430", "X"), ('"gannet"', '"ruff"'))
    copied(config, "redstart", "godwit", *names)
    edited(config / "tuns/gannet.toml", ("Gannet", "Ruff"), to=config / "tuns/ruff.toml")
    _, (after,) = check(config, capsys, "godwit")
    assert after["advice"] == before["advice"]
    assert {**after["plan"], "digest": 0} == {**before["plan"], "digest": 0}
    assert (after["program"], after["tun"]) == ("godwit", "ruff")


def test_strict_and_overruled(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With --strict advice is an answer of no, until the brewer gives a reason, which is shown; a brewery may switch a
    rule off or move its figure in advice.toml."""
    weak(config)
    assert check(config, capsys, "sandpiper", "--strict")[0] == 1
    assert check(config, capsys, "linnet", "--strict")[0] == 0
    path = config / "advice.toml"
    shipped = path.read_bytes()
    for own in ('[A5]\nlevel = "off"\n', "[A5]\nlate_min = 30.0\n"):
        path.write_text(own, encoding="utf-8")
        assert advice(check(config, capsys, "sandpiper")[1][0]) == []
    path.write_bytes(shipped)
    edited(config / "programs/sandpiper.toml", ("title =", 'overrule = { A5 = "slow heater, planned so" }\ntitle ='))
    code, (answer,) = check(config, capsys, "sandpiper", "--strict")
    assert code == 0
    assert answer["advice"][0]["overruled"] == "slow heater, planned so"


PAGES = {
    "sandpiper --at 06:00": (
        "52.8 °C = 50.0 °C + 4.2 K for the grain at 18 °C - 1.4 K of slaking heat (4.8 % moisture)",
        "all in after 10 min; an open lid takes some 0.8 K of it back",
        "60.0 kg liquor (3.0 L/kg), 20 kg grain: 73.4 L, 73 % full",
        "heat-up 38 min, then 1 h 48 min of mash",
        "5.63 kWh (strike 3.00, mash 2.64); 1.69 EUR",
        "06:00  1 dough-in",
        "06:14  3 maltose rest",
        "13 min at 0.98 K/min (the heater gives no more)",
    ),
    "linnet": ("+0:29  1 dough-in", "+0:32  2 conversion"),
    "dotterel --at 06:00": (
        "22.2 L of thick mash (25.2 kg, 32 %; 45 % of the grist, 27 % of the liquor) out, away 45 min",
        "06:20  3 decoction",
        "07:08  4 maltose rest",
    ),
}


@pytest.mark.parametrize("words", PAGES)
def test_page_for_a_person(words: str, config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The page shows strike with its parts, volumes, rises with what limits them, clock times, energy and cost; without
    a wanted time it counts from the first heat; a decoction, 52 to 64 °C: the clock counts the time away."""
    assert main(["--config", str(config), "check", *words.split()]) == 0
    page = capsys.readouterr().out
    assert [line for line in PAGES[words] if line not in page] == []


def test_the_extract_to_expect(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With a certificate: 20 kg x 0.81 x 0.952 = 15.4 kg; 77.1/(3 + 0.048 + 0.771) = 20.2 °P; without one, nothing."""
    name = copied(config, "sandpiper", "known", ('# extract = "81.0 %"  ', 'extract = "81.0 %"  '))
    assert main(["--config", str(config), "check", name]) == 0
    said = "  Extract  15.4 kg by the malt sheets, first wort 20.2 °P, if all is converted; "
    assert said + "run-off and sparge are not known here" in capsys.readouterr().out
    plan = check(config, capsys, name)[1][0]["plan"]
    assert (plan["extract_kg"], plan["first_wort_p"]) == (15.42, 20.2)
    plan = check(config, capsys, "sandpiper")[1][0]["plan"]
    assert (plan["extract_kg"], plan["first_wort_p"]) == (None, None)


def test_fahrenheit_is_shown_to_a_tenth(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """152 °F are 66.6667 °C: people read 66.7, in the table, in the reason and in advice."""
    changes = (('"66 °C"', '"152 °F"'), ('why = "both amylases', '# why = "both amylases'), ('"balanced" ', '"dry" '))
    assert main(["--config", str(config), "check", copied(config, "linnet", "us", *changes)]) == 0
    page = capsys.readouterr().out
    assert "1 h at 66.7 °C" in page or "60 min at 66.7 °C" in page
    assert "the first starch rest is 66.7 °C" in page
    assert "66.66" not in page and "66.67" not in page


@pytest.mark.parametrize("text", ["6", "24:00", "06:60", "06:5", "-1:00", "٠٦:٠٠", "noon", ""])
def test_wrong_time_of_day(text: str, config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What is no time of day is refused with an example."""
    assert main(["--config", str(config), "check", "linnet", f"--at={text}"]) == 2
    assert "06:00" in capsys.readouterr().err


def test_one_wrong_program_does_not_hide_another(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Of three programs the wrong one is told and the others are still shown."""
    copied(config, "linnet", "spoiled", ('"66 °C"', '"66"'))
    code, answers = check(config, capsys, "linnet", "spoiled", "crake")
    assert code == 2
    assert [(a["program"], a["ok"]) for a in answers] == [("linnet", True), ("spoiled", False), ("crake", True)]


HERON = """volume = "100 L"
min_liquor = "25"
mixing = "pump"
[heater]
kind = "contactor"
place = "jacket"
power = "5"
[probes.mash]
topic = "t/mash"
"""


def test_program_tun_and_service_are_told_in_one_answer(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A wrong program for a wrong tun: both files at once, without --tun, and the service file with them."""
    (config / "tuns/heron.toml").write_text(HERON, encoding="utf-8")
    changes = (('tun = "plover"', 'tun = "heron"'), ('"66 °C"', '"66"'), ('"10 min"', '"10 hours and a bit"'))
    copied(config, "linnet", "bad", *changes)
    assert main(["--config", str(config), "check", "bad"]) == 2
    lines = capsys.readouterr().err.splitlines()
    places = [line.split(": found")[0].split(": ", 1) for line in lines]
    assert [place[-1] for place in places] == [
        '[[step]] 1 "conversion": temperature',
        '[[step]] 2 "mash-out": time',
        "min_liquor",
        "metal",
        "loss",
        "heater: power",
        "heater: window",
        "pump",
    ]
    (config / "service.toml").write_text("keep_runs = 0\n", encoding="utf-8")
    assert main(["--config", str(config), "check", "bad"]) == 2
    more = capsys.readouterr().err.splitlines()
    assert set(more) > set(lines)
    assert sum("service.toml:1: keep_runs" in line for line in more) == 1


@pytest.mark.parametrize("kept", ["1", ""])
@pytest.mark.parametrize(
    ("words", "code"), [(("check", "linnet"), 0), (("--help",), 0), (("check", "--help"), 0), (("check", "nosuch"), 2)]
)
def test_whoever_reads_along_may_go(words: tuple[str, ...], code: int, kept: str) -> None:
    """As with `| head -1`: a closed pipe is no complaint and changes no exit code, buffered or not."""
    reading, writing = os.pipe()
    os.close(reading)
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONUNBUFFERED": kept}
    command = [sys.executable, "-m", "controller", "--config", str(CONFIG), *words]
    done = subprocess.run(command, check=False, stdout=writing, stderr=subprocess.PIPE, text=True, env=environment)
    os.close(writing)
    assert done.returncode == code
    assert "Pipe" not in done.stderr and done.stderr.count("\n") == (code == 2)


def test_a_wrong_service_or_advice_file_stands_in_each_object(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """To a program as problems of each answer, to a person once."""
    (config / "service.toml").write_text("keep_runs = 0\n", encoding="utf-8")
    (config / "advice.toml").write_text("A5 = 3\n", encoding="utf-8")
    words = ["--config", str(config), "check", "sandpiper", "linnet"]
    assert main([*words, "--json"]) == 2
    answers = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert [answer["ok"] for answer in answers] == [False, False]
    for answer in answers:
        assert {problem["where"].rsplit(": ", 1)[-1] for problem in answer["problems"]} == {"keep_runs", "A5"}
    assert main(words) == 2
    assert capsys.readouterr().err.count("keep_runs: found 0") == 1
