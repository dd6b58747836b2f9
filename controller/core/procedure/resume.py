"""After an outage: may the run go on by itself, is a person asked, or is it over?

The only table that may give heat back without a person. Its decision is an event on disk before any heat; the mash is
mixed first, and the rise back is an ordinary ramp. The gap rule: enzymes keep working while a mash cools, so part of
the outage counts as rest time.
"""

from typing import Literal, NamedTuple

from controller.core.nouns import Event, Instant, Phase, RunState
from controller.core.procedure import estimate
from controller.core.procedure.orders.envelope import ACTIVE
from controller.core.procedure.run import Gap, Prompt, Run, clock_stopped, credit_gap, go, leg_of

S = RunState

ASK_FROM_S = 4 * 3600.0  # longer: the run is over
FALL_K = 5.0  # further below the last temperature: a person decides
GAP_S = 300.0  # no tick for so long is an outage too (in less a mash falls by far less than FALL_K; own proposal)
RESTARTS = 3  # the third restart in half an hour waits for a person
STARCH_C = (60.0, 72.0)  # starch rests (common practice)
LOW_C = (40.0, 55.0)  # low rests (common practice)
FULL_C = 60.0  # at or above on return the gap counts in full: malt starch pastes from about here
HALF_C = 57.0  # from here up it counts half (Rittenauer et al. 2021: pasting onset 57.5..59.8 °C)
RCD = "If heater or nodes have no power now, look at the residual-current device: power that comes back can trip it"
CHOICES = ("go on here", "repeat this rest", "next rest", "end")


class Pending(NamedTuple):
    """An open run found at the start, or after a gap, and what is known of the outage."""

    run: Run
    last_c: float | None
    outage_s: float | None  # None: unknown, since no clock can be trusted over it
    same: bool  # program, configuration and major version are what they were
    restarts: int  # process starts within the last 30 min, this one included
    limit_s: float  # resume by itself up to this outage (the local file's setting)


def slept(dt: float, limit_s: float, clock_odd_s: float) -> bool:
    """Is a gap of `dt` s between two ticks an outage? `limit_s`: the longest that is resumed by itself, s;
    `clock_odd_s`: a shorter gap never is one, s."""
    return dt > max(clock_odd_s, min(GAP_S, limit_s))


def over_gap(
    run: Run, pending: Pending | None, last_c: float | None, gap_s: float, now: Instant, limit_s: float
) -> tuple[Run, Pending | None, tuple[Event, ...]]:
    """The machine slept, or stood still, for `gap_s` s: an open run is checked and decided on as after a restart.

    `last_c`: the mash before, °C.
    """
    if pending is not None:  # asleep while checking: the outage is longer by that
        outage_s = None if pending.outage_s is None else pending.outage_s + gap_s
        return run._replace(state_since=now), pending._replace(outage_s=outage_s), ()
    if run.state not in ACTIVE:
        return run, None, ()
    begun = run.begun._replace(at=run.begun.at + gap_s)
    found = run._replace(phase_since=run.phase_since + gap_s, begun=begun)
    _, event = go(run, S.CHECKING, now, f"nobody was in charge for {gap_s / 60:.1f} min; the run is decided on anew")
    return Run(state=S.CHECKING, state_since=now), Pending(found, last_c, gap_s, True, 1, limit_s), (event,)


def broken_off(pending: Pending, run: Run) -> Run:
    """The open run, ended by an order before it was decided on. `run`: what the order made of the checking."""
    return clock_stopped(pending.run)._replace(state=run.state, state_since=run.state_since, prompt=None)


class Decision(NamedTuple):
    kind: Literal["idle", "resume", "ask", "ended"]
    text: str
    credit_s: float = 0.0
    rule: str = ""
    iodine: bool = False


def decide(pending: Pending, now_c: float | None, ceiling_c: float, latched: bool) -> Decision:
    """What becomes of the run? now_c: the mash now, °C; ceiling_c: highest temperature the tun allows."""
    run, outage, last = pending.run, pending.outage_s, pending.last_c
    if outage is not None and outage > ASK_FROM_S:
        return Decision("ended", f"the outage lasted {outage / 3600:.1f} h, over 4 h: the run is broken off")
    credit, rule, iodine = _gap(run, outage, now_c)
    then = "unknown" if last is None else f"{last:.1f} °C"
    at = "unknown" if now_c is None else f"{now_c:.1f} °C"
    length = "of unknown length" if outage is None else f"of {outage / 60:.1f} min"
    facts = f"outage {length}; mash {then} then, {at} now"
    why = _why_ask(pending, now_c, ceiling_c, latched)
    if why:
        return Decision("ask", f"{facts}; {why}", credit, rule, iodine)
    return Decision("resume", f"resumed by itself: {facts}", credit, rule, iodine)


def _why_ask(pending: Pending, now_c: float | None, ceiling_c: float, latched: bool) -> str:
    run, outage, last = pending.run, pending.outage_s, pending.last_c
    if latched:
        return "a latched trip is not cleared"
    if run.state is S.PAUSED or (run.state in (S.HELD, S.HOLDING) and run.hold.by != "trip"):
        return f"the run was {run.state}"
    if run.hold.paused:
        return "the run was paused when a trip came"
    if run.phase is Phase.ARMED:
        return "a delayed start was armed"
    if outage is None:
        return "no clock can tell how long it was"
    if outage > pending.limit_s:
        return f"longer than the {pending.limit_s / 60:g} min allowed"
    if now_c is None or last is None or not (abs(last - now_c) <= FALL_K):
        return f"the mash is not within {FALL_K:g} K of what it was"
    if not (now_c < ceiling_c):
        return f"the mash is not under {ceiling_c:g} °C"
    if not pending.same:
        return "program, configuration or version is not what it was"
    return f"start number {pending.restarts} within half an hour" if pending.restarts >= RESTARTS else ""


def _gap(run: Run, outage_s: float | None, now_c: float | None) -> tuple[float, str, bool]:
    """How much of the outage counts as rest time: seconds, the rule in words, and whether an iodine test is due."""
    leg = leg_of(run)
    if leg is None or leg.kind not in ("rest", "mash_out") or run.phase is not Phase.RESTING:
        return 0.0, "", False
    if outage_s is None or now_c is None:
        return 0.0, "", False
    room = max(0.0, leg.hold_s - run.progress.credited_s)
    if LOW_C[0] <= leg.target_c <= LOW_C[1]:
        return min(room, outage_s), "a low rest counts in full", False
    if not (STARCH_C[0] <= leg.target_c <= STARCH_C[1]) or now_c < HALF_C:
        return 0.0, "", False
    if now_c >= FULL_C:
        return min(room, outage_s), f"a starch rest, still at {FULL_C:g} °C or more, counts in full", False
    return min(room, outage_s / 2), f"a starch rest back at {HALF_C:g} to {FULL_C:g} °C counts half", True


def after_gap(run: Run, now_c: float | None, now: Instant, why: str = "") -> Run:
    """The run, held because a link was gone for long: a person is asked, nothing is latched, one answer leads on."""
    gone_s = now - run.state_since
    credit, rule, _ = _gap(run, gone_s, now_c)
    at = "unknown" if now_c is None else f"{now_c:.1f} °C"
    why = why or f"no heat for {gone_s / 60:.0f} min, since a link was gone"
    text = f"{why}; the mash is at {at}. How shall it go on?"
    hold = run.hold._replace(by="resume", gap=Gap(credit, rule))
    return run._replace(prompt=Prompt("resume", text, CHOICES, now), hold=hold)


def apply(pending: Pending, decision: Decision, now: Instant, now_c: float | None) -> tuple[Run, list[Event]]:
    """The run after the decision, and the events that must be on disk before any heat."""
    mash, did = estimate.over_outage(pending.run.mash, pending.run.course, pending.outage_s, now_c, now)
    progress = pending.run.progress._replace(band_since=None, counting=False, pause_c=None)
    run = pending.run._replace(progress=progress, key=pending.run.key + 1, mash=mash)
    events = [Event("resume", decision.kind, decision.text, value=pending.outage_s, unit="s", priority=2)]
    if did is not None:
        events.append(did)
    if decision.iodine:
        events.append(Event("note", "iodine", "half of the outage was counted: make an iodine test before mash-out"))
    hold = run.hold._replace(gap=Gap(decision.credit_s, decision.rule))
    if decision.kind == "ended":
        run, state = run._replace(prompt=None), S.STOPPED
    elif decision.kind == "ask":
        question = Prompt("resume", f"{decision.text}. {RCD}. How shall it go on?", CHOICES, now)
        keep_held = run.state in (S.HELD, S.HOLDING) and run.hold.by in ("person", "latched")
        run, state = run._replace(prompt=question, hold=hold if keep_held else hold._replace(by="resume")), S.HELD
    else:
        run, state = run._replace(hold=hold._replace(by="")), S.RESTARTING
        run = credit_gap(run, events) if decision.credit_s > 0.0 else run
    run, event = go(run, state, now, decision.text)
    return run, [*events, event]
