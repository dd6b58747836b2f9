"""What is a person asked, and what may the answer be?"""

from typing import assert_never

from controller.brewing.volumes import DISPLACEMENT_L_PER_KG
from controller.core.nouns import Instant, Leg, Phase
from controller.core.procedure.run import Prompt, Run

BAND_K = 0.5  # in band: within this of the target (own proposal, as in the trade's habit of +-0.5 K)
ASK_AGAIN_S = 300.0  # an unanswered question is repeated

ASKS: dict[str, tuple[str, tuple[str, ...]]] = {
    "dough_in": ("Strike liquor is ready at {target:.1f} °C{grain}. Begin dough-in?", ("begin",)),
    "grain_in": ("Is the grain all in and stirred?", ("yes",)),
    "pull": (
        "Time to pull {kg:.1f} kg of mash, {thick}, and boil it. Say when you are about to return it.",
        ("returning",),
    ),
    "returned": (
        "Heat is off. Return the decoction slowly; stop at {stop:.1f} °C. Is it all back and stirred?",
        ("yes",),
    ),
    "add": ("Time to add {kg:.1f} kg of liquor at {c:.0f} °C. Say when you begin.", ("adding",)),
    "added": ("Heat is off. Stop adding at {stop:.1f} °C. Is it in and stirred?", ("yes",)),
    "addition_in": ("Heat is off for your addition. Is it in and stirred?", ("yes",)),
    "go_on": ("{name}: the planned time is over. Go on to the next step?", ("go on",)),
    "iodine": ("{name}: take a cooled iodine test. What does it show?", ("no starch", "reddish", "blue", "not tested")),
    "iodine_decide": ("{name}: still starch after {tests} tests. Go on all the same?", ("go on", "rest longer")),
    "ph": (
        "{name}: measure the pH of a cooled sample and enter it as `answer ph=`. Is it measured?",
        ("measured", "later"),
    ),
    "take_over": ("{name}: the mash is kept at {target:.0f} °C. Do you take over?", ("taken over",)),
}


def ask(run: Run, leg: Leg, which: str, now: Instant) -> Run:
    """The run, with a question to a person standing."""
    text, answers = ASKS[which]
    filled = text.format(
        name=leg.name,
        kg=leg.addition_kg,
        thick=_thick(run, leg),
        c=leg.addition_c if leg.addition_c is not None else 100.0,
        stop=leg.target_c - BAND_K,
        target=leg.target_c,
        grain=_grain(run),
        tests=run.progress.iodine_tests,
    )
    return run._replace(prompt=Prompt(which, filled, answers, now, ASK_AGAIN_S))


def _grain(run: Run) -> str:
    """How much of which malt goes in? Nothing is said of water alone."""
    course = run.course
    if course is None or course.grist_kg <= 0.0:
        return ""
    malts = ", ".join(f"{kg:g} kg {name}" for name, kg in course.grist) or f"{course.grist_kg:g} kg of grain"
    lands = "" if course.landing_c is None else f"; the mash should come to {course.landing_c:.1f} °C"
    return f": {malts}{lands}"


def _thick(run: Run, leg: Leg) -> str:
    """What is pulled, in words that a hand with a ladle understands?"""
    pull = leg.pull_kg_per_kg
    if pull is None or run.course is None or run.course.grist_kg <= 0.0:
        return "as it stands"
    if pull >= run.course.liquor_kg / run.course.grist_kg - 0.05:
        return f"as thick as it stands ({pull:.1f} L/kg)"
    litres = leg.addition_kg * (pull + DISPLACEMENT_L_PER_KG) / (1.0 + pull)
    return f"the thick of it ({pull:.1f} L/kg, about {litres:.0f} L)"


def question(run: Run, leg: Leg) -> str:
    """What is to be asked in a phase that waits for a person?"""
    waiting = run.phase is Phase.WAITING
    match leg.kind:
        case "dough_in":
            return "dough_in" if waiting else "grain_in"
        case "infusion":
            return "add" if waiting else "added"
        case "decoction":
            return "pull" if waiting else "returned"
        case "keep":
            return "take_over" if waiting else "addition_in"
        case "rest" | "mash_out" | "souring":
            return ("iodine" if leg.ends == "iodine" else "go_on") if waiting else "addition_in"
        case _:
            assert_never(leg.kind)
