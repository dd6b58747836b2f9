"""What `underback check` says to a person besides plan and advice: notes, assumptions, verdict, copied tun files."""

from __future__ import annotations

import types
from pathlib import Path
from typing import cast

import pytest

from controller.cli import main
from controller.commands import doctor
from controller.edge.files import config_files, shared_topics
from controller.edge.mqtt import requests
from tests.places import ROOT, edited

LINNET = (ROOT / "config/programs/linnet.toml").read_text(encoding="utf-8")


def page(config: Path, capsys: pytest.CaptureFixture[str], text: str = LINNET, *words: str) -> tuple[int, str, str]:
    (config / "programs/own.toml").write_text(text, encoding="utf-8")
    code = main(["--config", str(config), "check", "own", *words])
    out, err = capsys.readouterr()
    return code, out, err


def changed(*changes: tuple[str, str]) -> str:
    """Linnet, changed."""
    text = LINNET
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new)
    return text


def test_the_last_line_is_a_verdict(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A program without problems ends with what to do next; warnings are counted."""
    assert page(config, capsys)[1].endswith(f"\nNo problems. Next: underback --config {config} dryrun own\n")
    edited(config / "tuns/gannet.toml", ('power = "5 kW"', 'power = "3 kW"'))
    main(["--config", str(config), "check", "sandpiper", "--tun", "gannet"])
    out = capsys.readouterr().out
    assert out.endswith(f"\nNo problems, 1 warning. Next: underback --config {config} dryrun sandpiper --tun gannet\n")


def test_water_alone_is_noted_and_explains_no_enzymes(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A program without malt is asked whether it is a water trial, and no step speaks of enzymes."""
    bare = LINNET[: LINNET.index("[[grist]]")] + LINNET[LINNET.index("[liquor]") : LINNET.index("[dough_in]")]
    text = bare + LINNET[LINNET.index("[[step]]") :].replace("\nwhy", "\n#why")
    code, out, _ = page(config, capsys, text)
    assert code == 0
    assert "note: no malt in this program: a water trial?" in out
    assert "amylase" not in out and "enzyme" not in out
    assert "water trial?" not in page(config, capsys)[1]


def test_what_was_not_written_is_told_as_assumed(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Temperatures of grain and liquor that nobody wrote stand on the page; written ones do not; ten pounds and 64 °F
    are 4.54 kg and 17.8 °C; the time from the first heat on names the time for grain to mix in, by which it is longer
    than its parts."""
    text = changed(('grist_temperature = "18 °C"', ""), ('temperature = "12 °C"', ""))
    assert "Assumed  grain at 18 °C, liquor at 12 °C;" in page(config, capsys, text)[1]
    whole = LINNET[: LINNET.index("[dough_in]")] + LINNET[LINNET.index("[[step]]") :]
    assert "Assumed  grain at 18 °C;" in page(config, capsys, whole)[1]
    out = page(config, capsys)[1]
    assert "Assumed" not in out
    assert "1 h 55 min from first heat to end, with 3 min for grain to mix in" in out
    pounds = page(config, capsys, changed(('"5.0 kg"', '"10 lb"'), ('"18 °C"', '"64 °F"')))[1]
    assert "4.54 kg grain" in pounds and "for the grain at 17.78 °C" in pounds


def test_what_may_be_a_slip_is_asked_about(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A rise over the ceiling: what was asked for and what the tun allows stand beside it; a step below the one before
    is warned of, once and by its rule, since a tun has no cooling; a keep that cools is meant; liquor at 54 °C was
    likely meant in °F; a warm tap is not asked about."""
    plain = page(config, capsys)[1]
    steep = page(config, capsys, changed(('ramp = "1.0 K/min"', 'ramp = "5 K/min"')))[1]
    assert "you asked for 5.00 K/min, the tun allows 1.00 K/min" in steep and "you asked for" not in plain
    lower = page(config, capsys, changed(('temperature = "77 °C"', 'temperature = "60 °C"')))[1]
    assert "warn A38: Step 3 (mash-out, 60 °C) begins once the tun has cooled by itself from 66 °C" in lower
    assert "a lower temperature after a higher one is likely a slip" in lower and "A21" not in lower
    assert "No problems, 1 warning." in lower
    kept = page(config, capsys, changed(('kind = "keep" ', 'temperature = "70 °C"\nkind = "keep" ')))[1]
    assert "likely a slip" not in kept
    hot, warm = (page(config, capsys, changed(('"12 °C"', f'"{celsius} °C"')))[1] for celsius in (54, 40))
    assert "note: liquor at 54 °C is already hot: did you mean 54 °F (12 °C)?" in hot and "warning" not in hot
    assert "already hot" not in warm


def test_a_strike_that_lands_low_is_warned_of(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A strike by hand that lands the mash kelvins under its first rest: how many, and no word that it lands there."""
    out = page(config, capsys, changed(('strike = "auto"', 'strike = "62 °C"')))[1]
    assert "warn: strike 62 °C: the mash lands 7.8 K under the first rest" in out and 'write strike = "auto"' in out
    assert "Grist meets liquor at 62.0 °C, as written." in out and "hot enough" not in out
    near = page(config, capsys, changed(('strike = "auto"', 'strike = "70 °C"')))[1]
    assert "under the first rest" not in near and "hot enough that the mash lands at its first rest" in near


def test_no_change_is_offered_that_would_be_refused(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """At 2 K under the tun's highest target a warmer mash-out is compared; at 1 K under it is not."""
    plain, cooler = (page(config, capsys, text, "--why")[1] for text in (LINNET, changed(('"77 °C"', '"76 °C"'))))
    assert (plain.count("2 K warmer"), cooler.count("2 K warmer")) == (1, 2)


def test_a_refused_strike_draws_no_advice(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Where the strike is refused the mash would not go as planned: its length is not advised on."""
    code, _, err = page(config, capsys, changed(('strike = "auto"', 'strike = "76 °C"'), ('"77 °C"', '"70 °C"')))
    assert code == 2 and "lands the mash at 70.6" in err
    assert "note A" not in err and "warn A" not in err
    _, _, other = page(config, capsys, changed(('mass = "15 kg"', 'mass = "45 kg"')))
    assert "note A22" in other


# ---------------------------------------------------------------- two tuns, one topic


def copy(config: Path, *changes: tuple[str, str]) -> None:
    edited(config / "tuns/plover.toml", *changes, to=config / "tuns/teal.toml")


def test_a_copied_tun_with_its_own_heater_is_noted(config: Path) -> None:
    """Probes that speak for two tuns are a note of the doctor's for either tun; shipped tuns share nothing; a tun file
    that is wrong itself is passed over."""
    assert shared_topics.shared(config, config_files.load_tun(config, "plover")) == ()
    copy(config)
    settings = config_files.settings(config, "teal")
    found = doctor.copied(config, settings)
    assert {(one.check, one.level) for one in found} == {("topics", "note")}
    assert any("underback/plover/probe/mash is tun plover's too" in one.found for one in found)
    assert shared_topics.refused(config, settings.tun) == ()
    (config / "tuns/apart.toml").write_text("x = 1\n", encoding="utf-8")
    assert shared_topics.shared(config, config_files.load_tun(config, "teal")) != ()


def test_two_tuns_on_one_heater_are_refused(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Two tuns whose controllers would command one heater: `check` ends with 2, the doctor calls it bad."""
    copy(config, ("[heater]", '[heater]\ncommand_topic = "underback/plover/heater/command"'))
    assert main(["--config", str(config), "check", "linnet", "--tun", "teal"]) == 2
    err = capsys.readouterr().err
    assert "teal.toml: heater: command_topic: found" in err and "two would command it" in err
    found = doctor.copied(config, config_files.settings(config, "plover"))
    assert [one.level for one in found if "heater/command" in one.found] == ["bad"]


def test_a_flow_switch_serves_where_there_is_no_level_switch(config: Path) -> None:
    """With a flow switch the doctor asks for no level switch, but for a delayed start; with neither it does."""
    settings = config_files.settings(config, "plover")
    (one,) = [f for f in doctor.tun(settings) if f.check == "level switch"]
    assert "flow switch" in one.found and "fit one" not in one.do
    bare = settings._replace(tun=settings.tun.model_copy(update={"flow": None}))
    (one,) = [f for f in doctor.tun(bare) if f.check == "level switch"]
    assert one.do.startswith("fit one")


class Told:
    """A connection that hears one status."""

    topics = types.SimpleNamespace(status="underback/gannet/status")

    def __init__(self, refused: int) -> None:
        self._counters = {"refused by the broker": refused} if refused else {}

    async def listen(self, topic: str) -> None:
        assert topic == self.topics.status

    async def status(self, within_s: float) -> dict[str, object]:
        return {"state": "idle", "version": "1", "counters": self._counters}


@pytest.mark.parametrize(("refused", "levels"), [(0, ["good"]), (3, ["good", "bad"])])
async def test_doctor_hears_what_the_broker_refuses_the_daemon(refused: int, levels: list[str]) -> None:
    """What the daemon counts is told with its mend; a daemon that was refused nothing is well."""
    found = await doctor._daemon(cast(requests.DaemonLink, Told(refused)))
    assert [each.level for each in found] == levels
    assert all("3 times" in each.found and "make-users.sh" in each.do for each in found[1:])


def test_check_names_the_place_it_assumed_for_the_probe(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A pumped tun that does not say where its mash probe sits gets a note with what was taken; one that does, none."""
    edited(config / "tuns/plover.toml", ('place = "bed outlet"', "behind_heater = true"))
    for tun, said in (("plover", True), ("gannet", False)):
        main(["--config", str(config), "check", "linnet", "--tun", tun])
        out = capsys.readouterr().out
        assert ('does not say where its mash probe sits: taken for "heater outlet"' in out) is said


def test_a_copied_calibration_is_noted(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The shipped tuns carry no date; one that no `calibrate` of this tun wrote is a note and stops nothing."""
    said = "note: mash probe: no calibration of gannet of 2026-09-01 with these figures is on record"
    main(["--config", str(config), "check", "sandpiper"])
    assert "calibration of" not in capsys.readouterr().out
    edited(config / "tuns/gannet.toml", ('place = "mash"', 'place = "mash"\ncalibrated_on = 2026-09-01\n#'))
    assert main(["--config", str(config), "check", "sandpiper"]) == 0
    assert said in capsys.readouterr().out
