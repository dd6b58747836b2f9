"""What a grist can give by its sheets, the first wort from it, and what a filed wort says about it."""

from __future__ import annotations

import pytest

from controller.brewing.extract import USUAL_EXTRACT, Sheet, brewhouse_yield, first_wort_p, promise

FLOOR = Sheet("malt", 20.0, 0.81, 0.048)


def test_a_grist_gives_what_its_sheets_say() -> None:
    """81.0 % of the dry malt at 4.8 % moisture: 0.81 x 0.952 = 77.1 % of it as it is; else 4 % is taken."""
    given = promise([FLOOR])
    assert given is not None
    assert given == pytest.approx((0.7711, 0.048), abs=5e-5)
    plain = promise([FLOOR._replace(moisture=None)])
    assert plain is not None
    assert plain.extract_share == pytest.approx(0.81 * 0.96)


def test_husk_gives_nothing_and_an_unknown_sheet_says_nothing() -> None:
    """1 kg of husk to 20 kg of malt thins what a kilogram gives; a malt without its extract leaves it open."""
    given = promise([FLOOR, Sheet("husk", 1.0, None, None)])
    assert given is not None
    assert given.extract_share == pytest.approx(0.7711 * 20.0 / 21.0, abs=5e-5)
    assert promise([FLOOR, Sheet("rye malt", 1.0, None, None)]) is None
    assert first_wort_p([FLOOR, Sheet("rye malt", 1.0, None, None)], 60.0) is None
    assert promise([]) is None


def test_first_wort_by_hand() -> None:
    """R 3.0, w 0.048, E 0.78: 100 x 0.78/(3.0 + 0.048 + 0.78) = 20.38 °P."""
    dry = 0.78 / (1.0 - 0.048)
    assert first_wort_p([FLOOR._replace(extract=dry)], 60.0) == pytest.approx(20.38, abs=0.005)


@pytest.mark.parametrize(
    ("volume_l", "share", "of_possible", "question"),
    [
        (41.0, 0.260, 0.337, "less than half"),
        (110.0, 0.697, 0.904, ""),
        (125.0, 0.792, 1.027, "more than the malt holds"),
    ],
)
def test_a_yield_that_cannot_be_is_questioned(volume_l: float, share: float, of_possible: float, question: str) -> None:
    """12.1 °P is SG 1.0489, so that a litre at 20 °C holds 1.0489 x 0.9982 x 0.121 = 0.1267 kg. 41 L: 5.19 kg, 26.0 %
    of 20 kg; 110 L: 13.94 kg, 69.7 %; 125 L: 15.84 kg, 79.2 %; the malt can give 77.1 %."""
    found = brewhouse_yield(volume_l, 12.1, 20.0, [FLOOR])
    assert found.share == pytest.approx(share, abs=0.001)
    assert found.of_possible == pytest.approx(of_possible, abs=0.002)
    assert found.question.startswith(question)
    assert bool(found.question) == bool(question)
    assert not found.assumed


def test_without_sheets_the_usual_is_assumed() -> None:
    """Nothing known of the malt: 78 % is taken, and it is said that it was."""
    found = brewhouse_yield(85.0, 13.8, 20.0, [])
    assert (found.possible_share, found.assumed) == (USUAL_EXTRACT, True)
    assert found.share == pytest.approx(0.618, abs=0.001)
