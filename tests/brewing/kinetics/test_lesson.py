"""Does a lesson say what its figures say, of a plan as of a run, and does a change mean the same in both?"""

from __future__ import annotations

import re
from functools import cache

import pytest

from controller.brewing.kinetics import comparisons
from controller.brewing.kinetics.amounts import REAL_PER_APPARENT, extract, fermentable, fresh
from controller.brewing.kinetics.comparisons import SHIPPED, verdict
from controller.brewing.kinetics.lesson import Lesson, Meant, as_rests, lesson
from controller.brewing.kinetics.malts import Basis
from controller.brewing.kinetics.model import Pulled, Thinned
from controller.brewing.kinetics.what_if import Rest, profile_of, what_if

RESTS = (
    Rest("protein rest", 50.0, 600.0),
    Rest("decoction", 64.0, 180.0, 0.0, 2700.0, Pulled(0.3, 50.0, 1.8)),
    Rest("maltose rest", 64.0, 2400.0),
    Rest("infusion", 72.0, 180.0, thinned=Thinned(3.6)),
    Rest("saccharification", 72.0, 1200.0),
    Rest("mash-out", 78.0, 300.0, 372.0),
)
KINDS = ("rest", "decoction", "rest", "infusion", "rest", "mash_out")
MEANT = [Meant(rest.name, kind, rest.temperature_c, rest.hold_s) for rest, kind in zip(RESTS, KINDS, strict=True)]
MALT = Basis().malt


def taught(*rests: Rest, kinds: tuple[str, ...] = ()) -> Lesson:
    """The lesson of these rests on the default malt."""
    profile, marks = profile_of(rests)
    named = zip(rests, kinds or ("rest",) * len(rests), strict=True)
    meant = [Meant(rest.name, kind, rest.temperature_c, rest.hold_s) for rest, kind in named]
    return lesson("a mash", profile, marks, meant, Basis(), what_if(rests))


WHOLE = taught(*RESTS, kinds=KINDS)


def test_what_each_step_did_follows_from_the_figures() -> None:
    """Starch, points and beta-amylase in words are those of the prediction; each step goes on where the last ended."""
    left, beta, points = 100.0, 100.0, 0.0
    for one, did in zip(WHOLE.taught, WHOLE.prediction.steps, strict=True):
        left, was, beta = left - did.starch_converted_pct, beta, beta - did.beta_lost_pct
        points += did.apparent_points_gained or 0.0
        if found := re.search(r"cut (\d+) % of the starch, (\d+|none)(?: %)? left", one.did):
            assert found[1] == f"{did.starch_converted_pct:.0f}"
            assert found[2] == (f"{left:.0f}" if left >= 0.5 else "none")
        if found := re.search(r"brought (\d+) points? of the limit", one.did):
            assert found[1] == f"{did.apparent_points_gained:.0f}"
        if found := re.search(r"beta-amylase went from (\d+) to (\d+) %", one.did):
            assert (found[1], found[2]) == (f"{was:.0f}", f"{abs(beta):.0f}")
    end, begin = WHOLE.prediction.end, fresh(MALT)
    own = 100.0 * fermentable(begin) / extract(end) / REAL_PER_APPARENT
    assert WHOLE.prediction.apparent_limit_pct is not None
    assert points + own == pytest.approx(WHOLE.prediction.apparent_limit_pct.mid, abs=0.01)


@pytest.mark.parametrize(
    ("celsius", "minutes", "said"),
    [
        (45.0, 20.0, "cut next to none of the starch, 100 % left"),
        (45.0, 20.0, "at its end beta-glucanase mostly active, protease mostly active"),
        (58.0, 60.0, "at its end beta-glucanase gone, protease gone"),
        (63.0, 60.0, "none left"),
        (72.0, 60.0, "beta-amylase went from 100 to 0 %"),
    ],
)
def test_a_rest_alone_in_words(celsius: float, minutes: float, said: str) -> None:
    """A low rest cuts next to nothing and keeps its enzymes, at 58 °C they are gone, at 72 °C beta-amylase is."""
    assert said in taught(Rest("rest", celsius, 60.0 * minutes)).taught[0].did


def test_a_step_that_finds_nothing_says_so() -> None:
    """Mash-out after an hour at 66 °C: no starch was left, beta-amylase was gone, and the limit hardly moved."""
    out = taught(Rest("rest", 66.0, 3600.0), Rest("mash-out", 78.0, 600.0, 720.0), kinds=("rest", "mash_out")).taught[1]
    assert out.did.startswith("no starch was left to cut; hardly moved the limit; beta-amylase was gone before")
    assert out.purpose.startswith("10 min at 78 °C: alpha-amylase stops soon")


def test_a_rest_spent_before_says_so() -> None:
    """63 °C after 72: its reason is that most beta-amylase was lost before, with the sources of that."""
    spent = taught(Rest("hot", 72.0, 1200.0), Rest("low", 63.0, 1200.0, 3600.0)).taught[1]
    assert "most beta-amylase was lost at 72 °C before" in spent.purpose
    assert any("Muller" in source.where for source in spent.sources)


def test_each_rest_tells_both_changes() -> None:
    """2 K and 10 min for each rest that heat reaches, none for what is poured in."""
    told = {one.name: [words.split(":")[0] for words in one.would] for one in WHOLE.taught}
    assert told["maltose rest"] == ["2 K warmer", "10 min longer"]
    assert told["decoction"] == told["infusion"] == []


def test_a_planned_profile_comes_back_as_its_rests() -> None:
    """Temperatures, times and what people's hands did are found again, so that a change means the same of a run."""
    profile, marks = profile_of(RESTS)
    for was, found in zip(RESTS, as_rests(profile, marks, MEANT), strict=True):
        assert found.temperature_c == pytest.approx(was.temperature_c, abs=0.05)
        assert found.hold_s + found.ramp_s + found.away_s == pytest.approx(
            was.hold_s + was.ramp_s + was.away_s, abs=6.0
        )
        assert (found.away_s, found.pulled, found.thinned) == (was.away_s, was.pulled, was.thinned)


# ---------------------------------------------------------------- the shipped comparisons


@cache
def mashes(name: str) -> list[Lesson]:
    return SHIPPED[name].mashes()


def verdicts(name: str) -> list[str]:
    return list(verdict(mashes(name), SHIPPED[name].pairs))


def test_three_kelvin_of_one_rest() -> None:
    """65 against 68 °C: three points fuller, the same extract, and the order is called safer than the size."""
    assert verdicts("temperature") == [
        "B is 3 points fuller than A; the order is safer than the size.",
        "A and B give the same extract.",
    ]


def test_a_step_mash_on_two_malts() -> None:
    """The estimate has no figure of how much later under-modified malt gives its starch: it says so, and only of it."""
    said = verdicts("modification")
    assert said.count("A and B ferment alike.") == said.count("C and D ferment alike.") == 1
    assert "Only of C: under-modified malt gives up its starch later; by how much is not in the figures." in said
    assert not any(words.startswith(("Only of A", "Only of B")) for words in said)
    stepped, single, *_ = mashes("modification")
    assert "4 % left" in stepped.taught[0].did and "cut 4 % of the starch, none left" in stepped.taught[1].did
    assert "none left" in single.taught[0].did


def test_an_overshoot_of_two_kelvin() -> None:
    """The mash is hotter by 2 K at first and back before its hour is over: two points, fewer than the model tells."""
    wanted, over = mashes("overshoot")
    assert over.lanes.celsius[0] == pytest.approx(68.0, abs=0.1)
    assert over.total_s == pytest.approx(wanted.total_s)
    assert verdicts("overshoot")[0] == (
        "B is 2 points fuller than A: less than the 3 points that the model tells apart."
    )


def test_a_limit_that_is_withheld_is_not_compared() -> None:
    """A mash that stays at 50 °C has no figure, and is called neither drier nor fuller."""
    cold, warm = taught(Rest("rest", 50.0, 1800.0)), taught(Rest("rest", 65.0, 3600.0))
    assert next(comparisons.verdict([cold, warm])).endswith("neither is called drier.")
