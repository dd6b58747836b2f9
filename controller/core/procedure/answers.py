"""What does an answer do to the run?

A person answers what is asked, takes up an offer, or enters what was measured. One function a question; a refused
answer changes nothing.
"""

from collections.abc import Callable, Mapping
from typing import Any

from controller.core.nouns import Event, Instant, Leg, Order, Phase, RunState, View
from controller.core.procedure import entries, iodine_series, ph_word, poured, program, questions
from controller.core.procedure.run import (
    ADJUST_LOW_C,
    Done,
    HeldBy,
    Hold,
    Offer,
    Refused,
    Run,
    Situation,
    credit_gap,
    enter,
    go,
    leg_of,
    out_of_band,
    with_leg,
)

S = RunState
P = Phase
WORDS = ("answer", "prompt")  # what an answer to a question says


def answer(run: Run, order: Order, at: Situation) -> Done | Refused:
    """The answer to what was asked; entries such as pH, gravity and remarks may come at any time."""
    if wrong := entries.problems(order.args, WORDS):
        return Refused("; ".join(wrong))
    if entry := entries.taken(order.args):
        return _entered(run, entry, order.by, at.ceiling_c)
    prompt, leg = run.prompt, leg_of(run)
    wanted = order.args.get("prompt")
    if run.offer is not None and (wanted == "settled" or (prompt is None and wanted is None)):
        return _settled(run, run.offer, order, at)
    if prompt is None or leg is None:
        return Refused("nothing is being asked")
    if wanted is not None and wanted != prompt.id:
        return Refused(f"the question {wanted!r} is no longer open; asked is {prompt.id!r}: {prompt.text}")
    answer = _word(order, prompt.answers, prompt.text)
    if isinstance(answer, Refused):
        return answer
    said = Event("answer", prompt.id, f"{prompt.text} {answer} ({order.by})", data={"answer": answer, "by": order.by})
    leads_on = prompt.id == "resume" and answer != "end"
    if leads_on and order.run is None:
        return Refused(f"this answer may lead to heat, so it needs to say for which run: run={run.begun.id}")
    if prompt.id != "resume" and run.state is not S.RUNNING:
        return Refused(f"the run is {run.state}; go on first, then answer")
    events: list[Event] = [said]
    run = ANSWERS[prompt.id](run._replace(prompt=None), leg, answer, at.now, events)
    return run, f"{answer}: {_then(run, at.view) if leads_on else 'understood'}", tuple(events)


def _then(run: Run, view: View) -> str:
    """What comes after the answer to an outage's question?"""
    if run.hold.by == "latched":
        standing = ", ".join(trip.id for trip in view.trips if trip.latched) or "a latched trip"
        return f"understood; heat stays off until {standing} is cleared, then `restart` goes on"
    return "understood; nothing more is needed, heat returns after the checks"


def _word(order: Order, answers: tuple[str, ...], text: str) -> str | Refused:
    """The answer that was given. Only where there is but one may it be left out: nobody's observation is guessed."""
    answer = order.args.get("answer", answers[0] if len(answers) == 1 else None)
    if answer is None:
        return Refused(f"this needs a word of yours: {text} Answer with one of: {', '.join(answers)}")
    if answer not in answers:
        return Refused(f"the answer {answer!r} does not fit; choose one of: {', '.join(answers)}")
    return str(answer)


def _entered(run: Run, entry: Mapping[str, Any], by: str, ceiling_c: float) -> Done:
    """What was measured goes on record; a pH or a dose that was asked for is asked no more."""
    if run.prompt is not None and run.prompt.id in ("ph", "enzyme") and run.prompt.id in entry:
        run = run._replace(prompt=None)
    words = entries.words(entry)
    filed = Event("entry", next(iter(entry)), words, data={**entry, "by": by})
    run, poured_told = poured.corrected(run, entry, ceiling_c)
    told = [event for event in (_ph_told(run, entry), _runnings_told(entry), poured_told) if event is not None]
    return run, "; ".join((f"recorded: {words}", *(event.text for event in told))), (filed, *told)


def _ph_told(run: Run, entry: Mapping[str, Any]) -> Event | None:
    """What is there to say of a measured pH? Nothing in a trial with water, or in a step that is meant to sour."""
    leg = leg_of(run)
    if "ph" not in entry or "last_runnings_p" in entry:
        return None
    if leg is None or run.course is None or run.course.grist_kg <= 0.0:
        return None
    said = ph_word.word(entry["ph"], entry.get("ph_at_c"), leg.kind == "souring")
    if said is None:
        return None
    value = round(ph_word.referred(entry["ph"], entry.get("ph_at_c")), 2)
    return Event("note", "ph", said.text, value=value, priority=1 if said.warns else 2)


def _runnings_told(entry: Mapping[str, Any]) -> Event | None:
    if "last_runnings_p" not in entry:
        return None
    said = ph_word.end_of_collecting(entry["last_runnings_p"], entry.get("ph"), entry.get("ph_at_c"))
    return None if said is None else Event("note", "last runnings", said, value=entry["last_runnings_p"], priority=3)


def _settled(run: Run, offer: Offer, order: Order, at: Situation) -> Done | Refused:
    """The correction offered after dough-in: the ordinary way, liquor, or the rest taken as it is."""
    answer = _word(order, offer.answers, offer.text)
    if isinstance(answer, Refused):
        return answer
    if run.state is not S.RUNNING or run.course is None:
        return Refused(f"the run is {run.state}; go on first, then answer")
    data = {"answer": answer, "by": order.by}
    events = (Event("answer", "settled", f"{offer.text} {answer} ({order.by})", data=data),)
    taken, rest = run._replace(offer=None), run.course.legs[offer.leg]
    if answer == "accept":
        kept = round(offer.measured_c, 1)
        if not (ADJUST_LOW_C <= kept <= at.ceiling_c):
            return Refused(f"not accepted: {kept:.1f} °C is not between {ADJUST_LOW_C:g} and {at.ceiling_c:g} °C")
        taken = with_leg(taken, offer.leg, rest._replace(target_c=kept))
        return out_of_band(taken._replace(key=run.key + 1)), f"{rest.name} is now {kept:.1f} °C", events
    if answer != offer.answers[0]:
        if run.phase is P.SETTLING:  # then it settles anew; later it is an addition like any other
            taken = taken._replace(phase_since=at.now)
        else:
            if rest.kind == "dough_in":
                taken = taken._replace(progress=taken.progress._replace(reminded=questions.TEMPERED))
            taken = questions.ask(enter(taken, P.ADDING, at.now), rest, "addition_in", at.now)
        return taken, f"{answer}: heat is blocked until it is stirred in", events
    return taken, f"{answer}: understood", events


def _add_next(run: Run, leg: Leg, answer: str, now: Instant, events: list[Event]) -> Run:
    run = enter(run, P.ADDING, now)
    return questions.ask(run, leg, questions.question(run, leg), now)


def _added(run: Run, leg: Leg, answer: str, now: Instant, events: list[Event]) -> Run:
    return enter(run, P.SETTLING, now)


def _addition_in(run: Run, leg: Leg, answer: str, now: Instant, events: list[Event]) -> Run:
    if leg.kind != "dough_in":
        return enter(out_of_band(run._replace(key=run.key + 1)), P.RAMPING, now)
    run = run._replace(progress=run.progress._replace(reminded=0), key=run.key + 1)  # asked for and judged anew
    return enter(out_of_band(run), P.HEATING, now)


def _liquor(run: Run, leg: Leg, answer: str, now: Instant, events: list[Event]) -> Run:
    if answer == "as planned" and run.course is not None:
        events.append(poured.as_planned(run.course, str((events[0].data or {}).get("by", entries.NOBODY))))
    return run


def _enzyme(run: Run, leg: Leg, answer: str, now: Instant, events: list[Event]) -> Run:
    if answer == "it is in":
        dose = leg.told.removeprefix("add ").replace("; add ", "; ")
        by = (events[0].data or {}).get("by", entries.NOBODY)
        events.append(Event("entry", "enzyme", f"enzyme {dose}", data={"enzyme": dose, "by": by}))
    return run


def _next(run: Run, leg: Leg, answer: str, now: Instant, events: list[Event]) -> Run:
    return program.next_leg(run, now, events)


def _noted(run: Run, leg: Leg, answer: str, now: Instant, events: list[Event]) -> Run:
    return run


def _iodine(run: Run, leg: Leg, answer: str, now: Instant, events: list[Event]) -> Run:
    progress = run.progress._replace(iodine_tests=run.progress.iodine_tests + 1)
    run = enter(run._replace(progress=progress), P.RESTING, now)
    if answer == "no starch":
        return _iodine_ok(run)
    more = program.IODINE_MORE_S.get(answer, questions.ASK_AGAIN_S)
    longer = max(leg.hold_s, progress.credited_s) + (more if answer != "not tested" else 0.0)
    events.append(Event("note", "iodine", f"{leg.name}: {answer}; tested again after {more / 60:.0f} min of rest"))
    run = with_leg(run, run.leg, leg._replace(hold_s=max(longer, progress.credited_s + more)))
    return run._replace(progress=progress._replace(ask_at_s=progress.credited_s + more))


def _iodine_series(run: Run, leg: Leg, answer: str, now: Instant, events: list[Event]) -> Run:
    if answer != "no colour":
        return run
    events.append(iodine_series.saccharified(run, leg))
    return _iodine_ok(run)


def _iodine_ok(run: Run) -> Run:
    return run._replace(progress=run.progress._replace(iodine_ok=True))


def _iodine_decide(run: Run, leg: Leg, answer: str, now: Instant, events: list[Event]) -> Run:
    return _iodine_ok(run) if answer == "go on" else _iodine(run, leg, "reddish", now, events)


def _resume_choice(run: Run, leg: Leg, answer: str, now: Instant, events: list[Event]) -> Run:
    """After an outage: where to go on. This one answer is enough, unless a latched trip stands."""
    if answer == "end":
        run, event = go(run, S.STOPPING, now, "ended by choice after an outage")
        events.append(event)
        return run
    if answer == "repeat this rest":  # credited time never falls: the rest becomes longer by what it had
        run = with_leg(run, run.leg, leg._replace(hold_s=leg.hold_s + run.progress.credited_s))
    if answer == "next rest":
        run = program.next_leg(run, now, events)
    if answer == "go on here" and run.hold.gap.credit_s > 0.0:
        run = credit_gap(run, events)
    by: HeldBy = "latched" if run.hold.by == "latched" else "trip"  # the latter goes on by itself
    return run._replace(hold=Hold(by), state_since=now)


ANSWERS: dict[str, Callable[[Run, Leg, str, Instant, list[Event]], Run]] = {
    **dict.fromkeys(("dough_in", "pull", "add", "join"), _add_next),
    **dict.fromkeys(("grain_in", "returned", "added", "water_in", "joined"), _added),
    "addition_in": _addition_in,
    "liquor": _liquor,
    "enzyme": _enzyme,
    **dict.fromkeys(("go_on", "take_over"), _next),
    "iodine": _iodine,
    "iodine_series": _iodine_series,
    "iodine_decide": _iodine_decide,
    "ph": _noted,
    "resume": _resume_choice,
}
