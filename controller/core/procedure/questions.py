"""What is a person asked, and what may the answer be?"""

from typing import assert_never

from controller.brewing import pull as pulls
from controller.brewing import volumes
from controller.core.control.climb import BAND_K
from controller.core.nouns import Instant, Leg, Phase
from controller.core.procedure.run import Prompt, Run

ASK_AGAIN_S = 300.0  # an unanswered question is repeated
STANDS_S = 120.0  # liquor that came in hot, with vessel and probe, before its strike is judged (own proposal)
POURED, MET, TEMPERED = 1, 2, 3  # of the liquor before grain: asked for; its strike judged; some more goes in

ASKS: dict[str, tuple[str, tuple[str, ...]]] = {
    "liquor": (
        "How much liquor is in the tun? Planned are {liquor:.1f} kg{litres}; where it is another amount, enter what "
        "was measured (liquor_volume, liquor_at).",
        ("as planned", "not measured"),
    ),
    "dough_in": ("Strike liquor is ready at {target:.1f} °C{grain}.{unsaid} Begin dough-in?", ("begin",)),
    "grain_in": ("Is the grain all in and stirred?", ("yes",)),
    "pull": (
        "Time to pull {kg} kg of mash, {thick}{kettle}. Say when you are about to return it.",
        ("returning",),
    ),
    "returned": (
        "Heat is off. Return the decoction slowly; stop at {stop:.1f} °C. Is it all back and stirred?",
        ("yes",),
    ),
    "add": ("Time to add {kg} kg of liquor at {c:.0f} °C. Say when you begin.", ("adding",)),
    "water_in": ("Heat is off. Is the water all in and stirred?", ("yes",)),
    "join": (
        "Time to join the cooker: {kg} kg at {c:.0f} °C, {grain_l_per_kg:.2f} L/kg. Say when you begin.",
        ("joining",),
    ),
    "joined": ("Heat is off. Stop at {stop:.1f} °C. Is the cooker in and stirred?", ("yes",)),
    "added": ("Heat is off. Stop adding at {stop:.1f} °C. Is it in and stirred?", ("yes",)),
    "enzyme": (
        "{name}: {told}. Enter the pH of the mash (ph), and the dose where it is another (enzyme). Is it in?",
        ("it is in", "not added"),
    ),
    "addition_in": ("Heat is off for your addition. Is it in and stirred?", ("yes",)),
    "go_on": ("{name}: the planned time is over. Go on to the next step?", ("go on",)),
    "iodine": ("{name}: take a cooled iodine test. What does it show?", ("no starch", "reddish", "blue", "not tested")),
    "iodine_series": ("{name}: iodine test of the series. Does it show colour?", ("no colour", "colour", "not tested")),
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
        kg=_kilograms(leg.comes.kg),
        thick=_thick(run, leg),
        kettle=_kettle(leg),
        grain_l_per_kg=leg.comes.pull_kg_per_kg or 0.0,
        c=100.0 if leg.comes.hot_c is None else leg.comes.hot_c,
        stop=leg.target_c - BAND_K,
        target=leg.target_c,
        grain=_grain(run),
        liquor=0.0 if run.course is None else run.course.liquor_kg,
        litres=_litres(run),
        unsaid=_unsaid(run),
        told=leg.told,
        tests=run.progress.iodine_tests,
    )
    return run._replace(prompt=Prompt(which, filled, answers, now, ASK_AGAIN_S))


def free(run: Run) -> bool:
    """May another question be put? Nothing waits for the dose of an enzyme."""
    return run.prompt is None or run.prompt.id == "enzyme"


def _kilograms(kg: float) -> str:
    """A mass in a sentence: two decimals under 10 kg, where a tenth is much."""
    return f"{kg:.1f}" if kg >= 10.0 else f"{kg:.2f}"


def _kettle(leg: Leg) -> str:
    """What happens to a pull, and to the mash meanwhile?"""
    pull = leg.comes
    boils = f"; about {pull.boil_off_kg:.1f} kg of it boils off" if pull.boil_off_kg else ""
    cools = ". Heat is off: the rest of the mash is left to cool" if pull.cooled_c is not None else ""
    return (f"; then {pull.kettle}" if pull.kettle else ", and boil it") + boils + cools


def _grain(run: Run) -> str:
    """How much of which malt goes in? Nothing is said of water alone."""
    course = run.course
    if course is None or course.grist_kg <= 0.0:
        return ""
    malts = ", ".join(f"{kg:g} kg {name}" for name, kg in course.people.grist) or f"{course.grist_kg:g} kg of grain"
    lands = "" if course.landing_c is None else f"; the mash should come to {course.landing_c:.1f} °C"
    return f": {malts}{lands}"


def _litres(run: Run) -> str:
    """What a level tube or a bucket shows of the liquor planned."""
    course = run.course
    if course is None or course.liquor_c is None:
        return ""
    litres = volumes.liquor_volume_l(course.liquor_kg, course.liquor_c)
    return f", {litres:.1f} L at {course.liquor_c:.0f} °C"


def _unsaid(run: Run) -> str:
    """The question of the liquor, where it still stands; this one takes its place."""
    if run.prompt is None or run.prompt.id != "liquor" or run.course is None:
        return ""
    return f" Where it is not {run.course.liquor_kg:.1f} kg, enter first what was measured (liquor_volume)."


def _thick(run: Run, leg: Leg) -> str:
    """What is pulled, in words that a hand with a ladle understands?"""
    pull = leg.comes.pull_kg_per_kg
    if leg.comes.thin_p is not None:
        litres = pulls.thin_volume_l(leg.comes.kg, leg.comes.thin_p)
        return f"the liquid alone ({leg.comes.thin_p:.1f} °P, about {litres:.0f} L)"
    if pull is None or run.course is None or run.course.grist_kg <= 0.0:
        return "as it stands"
    litres = pulls.volume_l(leg.comes.kg, pull)
    if pull >= run.course.liquor_kg / run.course.grist_kg - 0.05:
        return f"as thick as it stands ({pull:.1f} L/kg, about {litres:.0f} L)"
    return f"the thick of it ({pull:.1f} L/kg, about {litres:.0f} L)"


def question(run: Run, leg: Leg) -> str:
    """What is to be asked in a phase that waits for a person?"""
    waiting = run.phase is Phase.WAITING
    match leg.kind:
        case "dough_in":
            if run.progress.reminded == TEMPERED:
                return "addition_in"
            return "dough_in" if waiting else "grain_in"
        case "infusion":
            return "add" if waiting else "added"
        case "water_in":
            return "add" if waiting else "water_in"
        case "cereal":
            return "join" if waiting else "joined"
        case "decoction":
            return "pull" if waiting else "returned"
        case "keep":
            return "take_over" if waiting else "addition_in"
        case "rest" | "mash_out" | "souring":
            return ("iodine" if leg.ends == "iodine" else "go_on") if waiting else "addition_in"
        case _:
            assert_never(leg.kind)
