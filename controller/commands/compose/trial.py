"""Would this proposal be accepted and run through? And how is the answer told?

A proposal is written as a program file, read back, planned with every check, and run once on the simulated tun. The
dry runs do not depend on each other, so each processor takes one. The rise of the strike liquor is alike for all: the
first proposal is run through from cold liquor, the others from liquor that is nearly hot.
"""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor, as_completed
from typing import Any, NamedTuple

from controller.brewing.compose.choice import Answer
from controller.brewing.compose.proposal import Proposal, ProposedRest
from controller.brewing.kinetics.calibration import Calibration
from controller.brewing.kinetics.model import spans
from controller.edge.files import program_file
from controller.edge.files.program_file import Base
from controller.plan.advise import Said, advise
from controller.plan.plan import Plan, make
from controller.plan.recipe import Liquor
from controller.settings.problems import Problems
from controller.settings.service import Settings
from sim import dryrun, true_wort

SEED = 1  # the same for every proposal
NEARLY_K = 5.0  # so far below the strike temperature is nearly hot liquor
CHECKED_DAYS = 0.0  # the probe's age is no matter of the program: `check` speaks of it
WIDTH = 110
Steps = tuple[ProposedRest, ...]


class Trial(NamedTuple):
    """What came of a proposal on the simulated tun."""

    result: str
    liquor_c: float  # where it began
    ended_s: float
    mash_s: float  # from dough-in to the end
    overshoot_k: float  # the worst of all steps, of the true mash temperature
    apparent_limit_pct: float | None  # by the true mash temperature
    trips: tuple[str, ...]
    heat_without_evidence: int

    def problems(self) -> list[str]:
        """Why this may not be proposed; nothing where it may."""
        if self.result != "complete" or self.trips:
            return [f"dry run: ended {self.result} after {self.ended_s / 60:.0f} min", *self.trips]
        if self.heat_without_evidence:
            return [f"dry run: {self.heat_without_evidence} commands with heat and no fresh reading"]
        return []


def trial(settings: Settings, plan: Plan) -> Trial:
    """The plan run through once."""
    ran = dryrun.run(settings, plan, SEED)
    over = [step["overshoot_c"] for step in ran.trace.steps(plan.course)]
    prediction = true_wort.follow(plan.course, ran.trace).prediction
    band = prediction["apparent_limit_pct"] if prediction is not None else None
    return Trial(
        result=ran.result,
        liquor_c=round(plan.program.liquor.temperature_c, 1),
        ended_s=ran.duration_s,
        mash_s=round(sum(dt_s for dt_s, _ in spans(true_wort.profile(plan.course, ran.trace)[0])), 1),
        overshoot_k=max((here for here in over if here is not None), default=0.0),
        apparent_limit_pct=None if band is None else band["mid"],
        trips=tuple(f"{trip['id']} {trip['text']}" for trip in ran.trace.trips),
        heat_without_evidence=ran.heat_without_evidence,
    )


class Judge:
    """Checks each proposal when asked; runs those that are left through, several at a time. `aim` as in the wish."""

    def __init__(self, settings: Settings, base: Base, aim: str | float, brewery: Calibration | None) -> None:
        self.said: dict[Steps, tuple[Said, ...]] = {}
        self.trials: dict[Steps, Trial] = {}
        self._plans: dict[Steps, Plan] = {}
        self._cold: Steps = ()
        self._settings, self._base, self._aim, self._brewery = settings, base, aim, brewery

    def __call__(self, steps: Sequence[ProposedRest]) -> Sequence[str]:
        """What is wrong with it? Nothing where it may be proposed, as far as is known."""
        key = tuple(steps)
        if key in self.trials:
            return self.trials[key].problems()
        try:
            program = program_file.parsed("composed", self.text(steps, ()))
        except Problems as wrong:
            return [str(problem) for problem in wrong.problems]
        plan = make(program, self._settings.tun, self._brewery)
        said = advise(plan, calibration_age_days=CHECKED_DAYS)
        self._plans[key], self.said[key] = plan, said
        problems = [str(problem) for problem in plan.problems]
        return problems + [line.advice.text for line in said if line.advice.level == "stop"]

    def prove(self, pool: Executor, proposals: Sequence[Proposal], tell: Callable[[float, str], None]) -> bool:
        """Run each one through that was not yet. True when all may stand."""
        new = [one.steps for one in proposals if one.steps not in self.trials]
        running = {pool.submit(trial, self._settings, self._begun(steps)): steps for steps in new}
        for number, done in enumerate(as_completed(running)):
            tell(number / len(new), f"dry run {number + 1} of {len(new)} is through")
            self.trials[running[done]] = done.result()
        return not any(self.trials[one.steps].problems() for one in proposals)

    def _begun(self, steps: Steps) -> Plan:
        """The plan, from cold liquor for the first that is asked for, from nearly hot liquor for the others."""
        plan = self._plans[steps]
        self._cold = self._cold or steps
        if steps == self._cold or plan.strike_c is None:
            return plan
        hot_c = max(plan.program.liquor.temperature_c, plan.strike_c - NEARLY_K)
        liquor = Liquor(mass_kg=plan.liquor_kg, temperature_c=hot_c)
        return make(plan.program.model_copy(update={"liquor": liquor}), plan.tun, self._brewery)

    def text(self, steps: Sequence[ProposedRest], remarks: Sequence[str]) -> str:
        """The proposal as a program file."""
        aim = self._aim
        title = f"Composed: {aim}" if isinstance(aim, str) else f"Composed: {aim:g} % limit attenuation"
        return program_file.text(self._base, title, aim, steps, remarks)


def remarks_of(one: Proposal, basis: str) -> list[str]:
    """What stands at the head of a written proposal."""
    return [
        f"Composed ({one.role}). What it gives is an estimate: compare by it, promise nothing.",
        *one.reasons,
        basis,
    ]


# ---------------------------------------------------------------- the answer


def document(answer: Answer, judge: Judge, malt: Sequence[str]) -> dict[str, Any]:
    """The answer as plain values."""
    refused = (([step._asdict() for step in steps], list(problems)) for steps, problems in answer.refused)
    return {
        "target_pct": round(answer.target_pct, 3),
        "proposals": [_proposal(one, judge) for one in answer.proposals],
        "tried": answer.tried,
        "refused": [{"steps": steps, "problems": problems} for steps, problems in refused],
        "notes": [*filter(None, (answer.out_of_reach,)), *answer.notes],
        "malt": list(malt),
    }


def _proposal(one: Proposal, judge: Judge) -> dict[str, Any]:
    ran = judge.trials[one.steps]._asdict()
    text = judge.text(one.steps, remarks_of(one, one.prediction.basis))
    said = [line.document() for line in judge.said[one.steps]]
    return {**one.as_json(), "dry_run": ran | {"trips": list(ran["trips"])}, "advice": said, "program": text}


def page(answer: Answer, judge: Judge, base: Base, malt: Sequence[str]) -> Iterator[str]:
    """The answer for a person: the trade-off in a table, then each proposal with its reasons."""
    grist = sum(line.mass_kg for line in base.grist)
    if answer.out_of_reach:
        yield from _wrapped(answer.out_of_reach, "")
    yield (
        f"Programs for an apparent limit attenuation of {answer.target_pct:.0f} % on {base.tun}, "
        f"{round(grist, 2):g} kg grist in {base.liquor_mass_kg:.1f} kg liquor; {answer.tried} within 1.5 points"
    )
    yield ""
    if answer.proposals:
        yield "   #   limit (range)         off (9 days of 10)  time    energy    if 1 K hotter  program"
        yield from (_row(number, one) for number, one in enumerate(answer.proposals, start=1))
    for number, one in enumerate(answer.proposals, start=1):
        yield from ("", *_told(number, one, judge.trials[one.steps], judge.said[one.steps]))
    if answer.refused or answer.notes or malt:
        yield ""
    for steps, problems in answer.refused:
        yield from _wrapped(f"refused: {_program(steps)}: {'; '.join(problems)}", "  ")
    for note in answer.notes:
        yield from _wrapped(note, "  ")
    yield from (f"  malt: {remark}" for remark in malt)
    if answer.proposals:
        yield from ("", *_wrapped(answer.proposals[0].prediction.basis, "  "))


def _row(number: int, one: Proposal) -> str:
    band = one.prediction.apparent_limit_pct
    shown = "" if band is None else f"({band.low:.0f} to {band.high:.0f} %)"
    off = f"{one.miss_points:+5.1f} ({one.day_points:.1f})"
    return (
        f"  {number:>2}  {one.limit_pct:3.0f} % {shown:<14} {off:<18}  {one.duration_min:3.0f} min "
        f"{one.energy_kwh:5.2f} kWh  {one.points_per_k:+5.1f} points     {_program(one.steps)}"
    )


def _program(steps: Sequence[ProposedRest]) -> str:
    return ", ".join(f"{s.temperature_c:g} °C {s.hold_s / 60:g} min" for s in steps if s.kind != "keep")


def _told(number: int, one: Proposal, ran: Trial, said: Sequence[Said]) -> Iterator[str]:
    yield f"  {number}  {one.role}"
    for reason in one.reasons:
        yield from _wrapped(f"- {reason}", "     ")
    limit = ran.apparent_limit_pct
    true = "" if limit is None else f", limit {limit:.0f} % by its true temperatures"
    yield (
        f"     dry run from liquor at {ran.liquor_c:.0f} °C: {ran.result}, {ran.mash_s / 60:.0f} min from dough-in on, "
        f"at most {ran.overshoot_k:.1f} K over{true}"
    )
    for line in said:
        yield from _wrapped(f"{line.advice.level} {line.advice.rule}: {line.advice.text}", "     ")


def _wrapped(text: str, indent: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=indent, subsequent_indent=f"{indent}  ")
