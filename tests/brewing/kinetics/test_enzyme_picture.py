"""Does the drawing of the enzyme windows show what the model says, in any terminal?"""

from __future__ import annotations

import pytest

from controller.brewing.kinetics.amounts import Known
from controller.brewing.kinetics.enzyme_lanes import WINDOWS, full_mark, lanes, mean_work
from controller.brewing.kinetics.enzyme_picture import LEVELS, PLAIN_LEVELS, curve, drawn, legend
from controller.brewing.kinetics.model import (
    CALIBRATED_SET,
    PUBLISHED_SET,
    Malt,
    follow,
    fresh,
    predict,
    spans,
    starch_left,
)
from controller.brewing.kinetics.what_if import Rest, profile_of

PROFILE, MARKS = profile_of(
    [
        Rest("protein rest", 50.0, 600.0),
        Rest("maltose rest", 63.0, 2400.0, 798.0),
        Rest("saccharification", 72.0, 1200.0, 558.0),
        Rest("mash-out", 78.0, 300.0, 372.0),
    ]
)
BY_NAME = {window.name: number for number, window in enumerate(WINDOWS)}


def lane_of(lines: list[str], name: str) -> str:
    """The drawn bar of an enzyme."""
    return next(line for line in lines if line.strip().startswith(f"{name} |")).split("|")[1]


def test_lanes_agree_with_the_model() -> None:
    """What is left of each enzyme and of the starch at the end is what the model has."""
    found = lanes(PROFILE)
    end = predict(PROFILE).end
    for lane in found.lanes:
        assert lane.left_pct[-1] == pytest.approx(100.0 * lane.window.share(end), abs=1e-6)
        assert list(lane.left_pct) == sorted(lane.left_pct, reverse=True)
        assert all(0.0 <= busy <= 1.0 for busy in lane.busy)
    assert found.starch_left_pct[-1] == pytest.approx(100.0 * starch_left(end))
    assert found.slice_s * len(found.celsius) == pytest.approx(sum(dt_s for dt_s, _ in spans(PROFILE)))


def test_each_enzyme_is_busiest_where_it_should_be() -> None:
    """Beta-amylase is busiest below 64 °C, alpha-amylase above 68 °C, and beta-glucanase before the maltose rest."""
    found = lanes(PROFILE, slices=120)

    def busiest_c(name: str) -> float:
        lane = found.lanes[BY_NAME[name]]
        return found.celsius[lane.busy.index(max(lane.busy))]

    assert busiest_c("beta-amylase") < 64.0
    assert busiest_c("alpha-amylase") > 68.0
    assert busiest_c("beta-glucanase") < 60.0


@pytest.mark.parametrize("number", range(len(WINDOWS)))
def test_each_bar_is_fullest_inside_its_printed_window(number: int) -> None:
    """Over every temperature from 30 to 85 °C an enzyme does most inside the window printed beneath."""
    window = WINDOWS[number]
    work = {quarter / 4.0: mean_work(CALIBRATED_SET, number, quarter / 4.0) for quarter in range(120, 341)}
    low, high = window.works_c
    assert low <= max(work, key=work.__getitem__) <= high
    assert max(work.values()) == pytest.approx(full_mark(CALIBRATED_SET, number), rel=1e-3)  # found in coarser steps


def test_the_printed_windows() -> None:
    """The windows are those of the kinetics: 40 to 50 for glucanase by the measured losses, beta-amylase 62 to 66."""
    assert {window.name: window.works_c for window in WINDOWS} == {
        "beta-glucanase": (40.0, 50.0),
        "protease": (45.0, 55.0),
        "limit dextrinase": (60.0, 65.0),
        "beta-amylase": (62.0, 66.0),
        "alpha-amylase": (70.0, 75.0),
    }


def test_beta_amylase_is_idle_before_starch_pastes() -> None:
    """At 52 °C its bar is empty, at 63 °C it is full: the enzyme is there, and nothing is open for it."""
    number = BY_NAME["beta-amylase"]
    cold, warm = (lanes([(5.0, celsius)] * 120, slices=1).lanes[number].busy[0] for celsius in (52.0, 63.0))
    assert cold < 0.03 < 0.4 < warm


def test_the_glucan_rest_is_fullest_in_itself() -> None:
    """In a program with a rest at 45 °C and a rise to 63 °C the bar of glucanase is fullest in the rest or its rise to
    50 °C, not in what comes after."""
    profile, _ = profile_of([Rest("glucan rest", 45.0, 900.0), Rest("maltose rest", 63.0, 1800.0, 1080.0)])
    found = lanes(profile, slices=60)
    busy = found.lanes[BY_NAME["beta-glucanase"]].busy
    assert found.celsius[busy.index(max(busy))] <= 55.0
    assert max(busy[30:]) < 0.1


def test_the_published_set_has_no_limit_dextrinase() -> None:
    """An enzyme that a parameter set does not know is never busy, and nothing is divided by it."""
    number = BY_NAME["limit dextrinase"]
    assert full_mark(PUBLISHED_SET, number) == 0.0
    assert full_mark(CALIBRATED_SET, number) > 0.0
    assert set(lanes(PROFILE, params=PUBLISHED_SET).lanes[number].busy) == {0.0}


FOUND = lanes(PROFILE, slices=120)
BEGINS = [(number, mark.start_s) for number, mark in enumerate(MARKS, start=2)]


def test_the_drawing_holds_it_all() -> None:
    """Temperature, step numbers, minutes, five enzymes and starch."""
    lines = drawn(FOUND, BEGINS)
    for name in BY_NAME:
        assert len(lane_of(lines, name)) == 60
    assert any("starch |" in line for line in lines)
    assert any("78 °C |" in line for line in lines) and any("50 °C |" in line for line in lines)
    begins = next(line for line in lines if "step begins" in line).split("|")[1]
    assert [letter for letter in begins if letter != " "] == ["2", "3", "4", "5"]


def test_the_legend_cites_publications_alone() -> None:
    """Who is named beside a window can be looked up; how a source was read is told with the sources."""
    text = " ".join(line.strip() for line in legend())
    assert "free form above 63 (Sissons et al., J. ASBC 53, 1995)" in text
    assert "beta-glucanase: 40 to 50 / from 50 on" in text
    for note in ("second hand", "memory", "web page", "hobby", "abstract"):
        assert note not in text


def test_it_fits_a_terminal() -> None:
    """No line is wider than the drawing with its name and figures, at any width asked for."""
    for width in (30, 60):
        assert max(len(line) for line in drawn(FOUND, BEGINS, width=width)) <= width + 32


def test_plain_is_plain() -> None:
    """In plain form there is nothing beyond ASCII, and the picture is the same."""
    plain, full = drawn(FOUND, BEGINS, plain=True), drawn(FOUND, BEGINS)
    assert all(line.isascii() for line in (*plain, *legend(plain=True)))
    to_plain = str.maketrans(LEVELS, PLAIN_LEVELS)
    assert lane_of(full, "beta-amylase").translate(to_plain) == lane_of(plain, "beta-amylase")


def test_no_colour_codes() -> None:
    """The drawing needs no colour: there is no control character in it."""
    assert all(line.isprintable() for line in (*drawn(FOUND, BEGINS), *legend()))


def test_an_added_enzyme_has_no_lane() -> None:
    """Where glucanase is added what the malt's own does is not drawn; the other lanes stand."""
    lines = drawn(lanes(PROFILE, Malt(known=Known(low_rest_enzyme=True))))
    assert "it is added" in lane_of(lines, "beta-glucanase") and "% left" not in lines[-6]
    assert lane_of(lines, "protease") == lane_of(drawn(lanes(PROFILE)), "protease")


def test_mashes_over_each_other_have_letters() -> None:
    """Two temperatures are drawn as A and B, as a star where they lie on each other; the shorter one ends sooner."""
    lines = curve([[50.0, 50.0, 60.0, 60.0], [50.0, 60.0]], 60.0, width=8)
    rows = {line.split(" °C |")[0].strip(): line.split("|")[1] for line in lines if "°C" in line}
    assert rows["60"] == "  BBAAAA" and rows["50"] == "**AA    "


def test_more_slices_than_readings() -> None:
    """A short profile is drawn too: slices without a reading repeat the one before."""
    found = lanes([(60.0, 65.0), (60.0, 66.0)], slices=10)
    assert set(found.celsius) <= {0.0, 65.0, 66.0}
    end = follow(CALIBRATED_SET, fresh(), [(60.0, 65.0), (60.0, 66.0)])
    assert found.lanes[BY_NAME["beta-amylase"]].left_pct[-1] == pytest.approx(100.0 * end.beta)


def test_no_time_no_drawing() -> None:
    """A profile without any time in it is refused in words."""
    with pytest.raises(ValueError, match="holds no time"):
        lanes([])
