"""Is the brewery's calibration kept, read back, and wrong lists told with every problem?"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from controller.brewing.kinetics.calibration import Calibration
from controller.edge.files import measured_worts
from controller.settings.problems import Problems
from controller.settings.service import Service

FOUND = Calibration(0.377, 1.05, 2, 4.5, 0.3, ("beta_loss_factor",), 0.326)
LIST = """
[[batch]]
program = "linnet"
limit_attenuation = "76 %"
note = 'weighed "twice"'

[[batch]]
run = "12"
tun = "gannet"
limit_attenuation = "78.5 %"
"""


def written(folder: Path, text: str) -> Path:
    path = folder / "list.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_it_reads_back(tmp_path: Path) -> None:
    """What was recorded is what is loaded, with the worts it rests on beside it."""
    service = Service(data_dir=str(tmp_path / "data"))
    batches = measured_worts.load_batches(written(tmp_path, LIST))
    assert measured_worts.load(service) is None  # without a record there is no calibration
    path = measured_worts.save(service, FOUND, batches, "2026-09-01")
    assert measured_worts.load(service) == FOUND
    text = path.read_text(encoding="utf-8")
    assert 'on = "2026-09-01"' in text
    again = measured_worts.load_batches(written(tmp_path, text[text.index("[[batch]]") :]))
    assert again == batches


@pytest.mark.parametrize(
    "text", ["limit_dextrin_share = 3.0\nbeta_loss_factor = 1.0", "beta_loss_factor = 1.0", "= nothing", ""]
)
def test_a_spoiled_record_is_told_and_stops_no_mash(tmp_path: Path, text: str) -> None:
    """Loading says what is wrong with the file; the daemon goes on without it."""
    service = Service(data_dir=str(tmp_path))
    measured_worts.record_path(service).write_text(text, encoding="utf-8")
    with pytest.raises(Problems) as wrong:
        measured_worts.load(service)
    assert measured_worts.FILE in wrong.value.problems[0].where
    assert measured_worts.load_if_sound(service) is None


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('[[batch]]\nlimit_attenuation = "80 %"\n', ["neither"]),
        ('[[batch]]\nrun = "1"\nprogram = "linnet"\nlimit_attenuation = "80 %"\n', ["both"]),
        ("", ["nothing"]),
        (
            '[[batch]]\nprogram = "linnet"\nlimit_attenuation = "5 %"\n'
            '[[batch]]\nrum = "3"\nlimit_attenuation = "80 %"\n',
            [r'list\.toml:3.*"5 %"', "rum.*run"],
        ),
    ],
)
def test_every_problem_of_a_list_is_told(tmp_path: Path, text: str, told: list[str]) -> None:
    """Each batch names a run or a program, not both; a list has at least one batch; a share out of range, an unknown
    key and a batch without its mash are all named, with their lines."""
    with pytest.raises(Problems) as wrong:
        measured_worts.load_batches(written(tmp_path, text))
    said = [str(problem) for problem in wrong.value.problems]
    assert all(any(re.search(words, one) for one in said) for words in told), said
