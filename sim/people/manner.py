"""How does a simulated brewer behave?"""

from typing import NamedTuple


class Manner(NamedTuple):
    """How does this person behave?"""

    start_at_s: float = 20.0
    delay_s: float = 20.0  # from a question to the hand on the shovel
    pour_s: float = 240.0  # dough-in (common practice: 3 to 10 min)
    stir_s: float = 60.0  # afterwards
    boil_s: float | None = None  # a decoction is away so long; None: as the program says
    iodine: tuple[str, ...] = ("no starch",)  # the tests' outcomes in turn, the last one for ever
    resume: str = "go on here"
    take_over: bool = True
    clears: bool = False  # looks after trips
    look_s: float = 90.0  # so long after one shows
    attended: bool = True
    speaks: bool = True  # False: hands only; somebody else gives the orders and the answers
    tries: int = 3  # the same trip cleared so often; then the person stops the run
    starts: int = 20  # a refused start is tried so often
    patience_s: float = 1800.0  # a probe that stays wrong for so long ends the run
    says_twice: bool = False  # every answer, at once
    wrong_first: bool = False  # a word that is no answer comes before each answer
    cools: bool = False  # a mash that stays too warm gets cold liquor without a trip, too, as the notes say


PATIENT = Manner()
