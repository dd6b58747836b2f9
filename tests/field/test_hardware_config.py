"""The node's own file: what is wrong is told all at once, with place, value found and value wanted."""

from __future__ import annotations

from pathlib import Path

import pytest

from controller.field import hardware_config
from controller.settings.problems import Problems
from tests.places import CONFIG, edited


def spoilt(config: Path, old: str, new: str, name: str = "nodes/gannet.toml") -> None:
    edited(config / name, (old, new))


def problems(config: Path, kind: hardware_config.Kind = "heater") -> list[str]:
    with pytest.raises(Problems) as wrong:
        hardware_config.load(config, "gannet", kind)
    return [str(problem) for problem in wrong.value.problems]


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("line = 17", "", "heater: line: found nothing"),
        ("line = 17", "lime = 17", 'unknown key "lime"'),
        ("line = 17", 'line = "GPIO17"', "wanted a plain number"),
        ("line = 17", "line = 22", "pin 22, as for line"),
        ("line = 17", "line = -1", "from 0 to 511"),
        ("line = 17", "line = true", "wanted a plain number"),
        ('limit_probe = "mash"', 'limit_probe = "lid"', 'one of "mash", "second" or "outlet"'),
        ('limit_probe = "mash"', 'limit_probe = "outlet"', "a probe of the tun's file: mash, second"),
        ('limit_probe = "mash"', 'limit_probe = "mash"\nlimit = "81 °C"', "at most the tun's own limit, 80 °C"),
        ('limit_probe = "mash"', 'limit_probe = "mash"\nlimit = 75', "a number with a unit, in quotes"),
        ('limit_probe = "mash"', 'limit_probe = "mash"\nlimit = "176 °F"', ""),
        ("stirrer_line = 23", "pump_line = 23", "[pump] in the tun's file too"),
        ("stirrer_line = 23", "flow_line = 23", "[flow] in the tun's file too"),
        ("[heater]", "[heating]", 'unknown key "heating"'),
        ('kind = "onewire"', 'kind = "one-wire"', 'one of "onewire", "max31865" or "hwmon"'),
        ('path = "/sys/bus/w1', 'path = "sys/bus/w1', "probe: sensors: mash: path"),
        ("reference_ohm = 430", 'reference_ohm = "430 ohm"', "wanted a plain number"),
        ("[probe.sensors.second]", "[probe.sensors.outlet]", "[probes.outlet] in the tun's file too"),
        ('every = "1 s"', 'every = "10 s"', "from 0.5 s to 3 s"),
        ("[probe]", "[probe", "TOML"),
    ],
)
def test_one_fault_one_problem(config: Path, old: str, new: str, words: str) -> None:
    """Each fault is named with its file and what would be right; 176 °F (80 °C) is right."""
    spoilt(config, old, new)
    if not words:
        assert hardware_config.load(config, "gannet", "heater").table.heater is not None
        return
    found = problems(config)
    assert any(words in text and "gannet.toml" in text for text in found), found


def test_problems_of_all_three_files_at_once(config: Path) -> None:
    """A fault in each of the node's file, the tun's file and service.toml: all three are told."""
    spoilt(config, "line = 17", "line = 900")
    spoilt(config, 'volume = "100 L"', "volume = 100", "tuns/gannet.toml")
    spoilt(config, "port = 1883", "port = 0", "service.toml")
    found = problems(config)
    assert len(found) == 3
    assert all(any(word in text for text in found) for word in ("line", "volume", "port"))


def test_no_file_and_no_table(config: Path) -> None:
    """A tun without a node's file, and a file without the wanted table, are told as such."""
    spoilt(config, "[heater]", "[heater_not_here]")
    assert any("heater" in text for text in problems(config))
    path = config / "nodes" / "gannet.toml"
    path.write_text('[probe.sensors.mash]\nkind = "hwmon"\npath = "/x"\n', encoding="utf-8")
    assert any("wanted the table [heater]" in text for text in problems(config))
    path.unlink()
    assert any("no such file" in text for text in problems(config))


def test_the_node_has_its_own_name_at_the_broker(config: Path) -> None:
    """User name and password file of the node win over the daemon's; without a user name the daemon's stand."""
    spoilt(config, 'username = ""', 'username = "daemon"', "service.toml")
    fitted = hardware_config.load(config, "gannet", "heater")
    assert fitted.table.heater is not None
    assert hardware_config.broker(fitted.service, fitted.table.heater).username == "daemon"
    own = fitted.table.heater.model_copy(update={"username": "heater-gannet"})
    broker = hardware_config.broker(fitted.service, own)
    assert (broker.username, broker.password_file) == ("heater-gannet", "")


def test_a_contactor_rests_ten_seconds_whatever_the_file_says(config: Path) -> None:
    """With a contactor min_off below ten seconds is lifted to ten."""
    spoilt(config, 'kind = "ssr"', 'kind = "contactor"', "tuns/gannet.toml")
    spoilt(config, 'window = "2 s" ', 'window = "30 s"', "tuns/gannet.toml")
    spoilt(config, '# min_off = "0.2 s"', 'min_off = "1 s"')
    fitted = hardware_config.load(config, "gannet", "heater")
    assert fitted.table.heater is not None
    assert hardware_config.node_settings(fitted.table.heater, fitted.tun, "b").min_off_s == 10.0


@pytest.mark.parametrize(("tun", "limits"), [("gannet", (80.0, 82.0, 10.0)), ("plover", (85.0, 92.0, 5.0))])
def test_the_limits_come_from_the_tun(tun: str, limits: tuple[float, ...]) -> None:
    """Gannet: mash-side limit 80 °C; Plover: outlet 85 °C, latched at 92 °C, lease 5 s; both nodes' files are right as
    they are shipped."""
    assert hardware_config.load(CONFIG, tun, "probe").tun.name == tun
    fitted = hardware_config.load(CONFIG, tun, "heater")
    assert fitted.tun.name == tun
    assert fitted.table.heater is not None
    own = hardware_config.node_settings(fitted.table.heater, fitted.tun, "b")
    assert (own.outlet_limit_c, own.outlet_trip_c, own.ceiling_s) == limits
