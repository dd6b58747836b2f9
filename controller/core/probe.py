"""Is this reading to be believed?

Range, the sensors' known false values, sequence, the sender's stamp, and jumps. Refused readings are counted and leave
the last believed one in place; the guard looks at the counts and ages. Nothing here can add heat.
"""

from math import inf
from typing import NamedTuple

from controller.core.nouns import (
    ALL_ZERO_C,
    ALONE_K,
    FALSE_VALUES_C,
    FREEZING_F,
    HIGHEST_C,
    JUMP_RATE_K_PER_S,
    LOWEST_C,
    Bad,
    Health,
    Instant,
    Measurement,
    Presence,
    Reading,
    Sample,
)
from controller.quick_records import maker, quick
from controller.settings.tun import Probe

NEIGHBOUR_K = 2.0  # a suspect value is believed this close to the last believed one (own proposal)
NEW_LEVEL_READINGS = 5  # so many consistent readings make a new level
LAG_STALE_S = 10.0  # sender's stamp so far behind its own usual lag: an old reading
LAG_RESET_S = 60.0  # a lag that stays changed so long is a set clock, not a queue
RESTART_READINGS = 3  # so many rising but lower sequence numbers: the node has restarted
GONE_S = 10.0
STALE_WORD_S = 5.0  # a retained word that the node is gone may be of long ago: so long it may still be heard of


@quick
class ProbeState(NamedTuple):
    """What is remembered of one probe."""

    value_c: float | None = None  # last believed, calibrated
    at: Instant = -inf
    seq: int | None = None
    raw_c: float | None = None  # newest well-formed, calibrated
    refused_run: int = 0  # range, false values, garbage: in a row
    refused_since: Instant | None = None
    jump_run: int = 0  # consistent readings on another level, in a row
    jump_since: Instant | None = None
    jump_c: float | None = None  # that level
    lower_run: int = 0  # rising sequence numbers below the last one
    lower_seq: int = -1
    lag_s: float | None = None  # the sender's usual lag
    lag_since: Instant | None = None  # since when it differs
    why: str = ""
    good_run: int = 0  # believed in a row
    good_since: Instant | None = None


START = ProbeState()
_measured, _remembered = maker(Measurement), maker(ProbeState)


def look(
    probe: Probe,
    jump_k: float,
    state: ProbeState,
    samples: tuple[Sample, ...],
    now: Instant,
    delay_s: float,
    trust: bool,
    *,
    strict: bool = False,
    born: bool = False,
) -> tuple[ProbeState, Measurement]:
    """What is believed of this probe after the newest samples?

    jump_k: allowed step in K; delay_s: how late the broker's path is, added to every age; trust: an addition was
    announced or nothing runs, so a new level is taken after five consistent readings whichever way it went; strict: a
    run is open, so that a sender that counts anew or whose clock fell back is not believed by itself, since a queue or
    a recording look the same; born: its node has just said that it is there, which explains a new count.
    """
    before = state.at
    refused = False
    for sample in samples:
        if isinstance(sample, Bad):
            state, refused = _refuse(state, sample.at, sample.why), True
            continue
        accepted = state.at
        state = _one(probe, jump_k, state, sample, trust, strict, born)
        refused = refused or state.at == accepted
    return state, _measurement(state, now, delay_s, fresh=state.at > before, refused=refused)


def anew(state: ProbeState) -> ProbeState:
    """A person has looked: how the sender counts and what its clock says is taken as it comes next."""
    return state._replace(seq=None, lower_run=0, lower_seq=-1, lag_s=None, lag_since=None)


def gone(presence: Presence, state: ProbeState, now: Instant) -> bool:
    """Does the node's presence topic say that it is gone, and has it not been heard since?"""
    if presence.there or state.at > presence.at:
        return False
    return not presence.retained or now - presence.at > STALE_WORD_S


def reborn(presence: Presence | None, state: ProbeState) -> bool:
    """Has the node said that it is there, and not been believed since? A retained copy is of nobody knows when."""
    return presence is not None and presence.there and not presence.retained and presence.at > state.at


def _measurement(state: ProbeState, now: Instant, delay_s: float, *, fresh: bool, refused: bool) -> Measurement:
    believed, at, seq, raw_c, refused_run, refused_since, jump_run, jump_since, jump_c, *_, why, run, since = state
    if believed is None:
        why = why or "no reading yet"
        return _measured(None, raw_c, None, inf, None, False, True, "failure", why, refused_run, refused_since)
    age = max(0.0, now - at) + delay_s
    good = not refused and age <= GONE_S / 2
    value = believed if age <= GONE_S else None
    health: Health = "good" if good else ("failure" if value is None else "out of specification")
    if not jump_run:
        jump_since = jump_c = None
    return _measured(
        value_c=value,
        raw_c=raw_c,
        at=at,
        age_s=age,
        seq=seq,
        fresh=fresh,
        doubtful=not good,
        health=health,
        text="" if good else why,
        refused_run=refused_run,
        refused_since=refused_since,
        jump_since=jump_since,
        jump_c=jump_c,
        good_run=run,
        good_since=since,
    )


def _one(
    probe: Probe, jump_k: float, state: ProbeState, reading: Reading, trust: bool, strict: bool, born: bool
) -> ProbeState:
    """One reading judged; the state tells whether it was believed (its `at` moved on)."""
    raw = reading.value_c
    if not (LOWEST_C <= raw <= HIGHEST_C):
        return _refuse(state, reading.at, f"{raw:g} °C is outside {LOWEST_C:g} to {HIGHEST_C:g} °C")
    why, state = _order(state, reading, strict and not born)
    if why is None and reading.lag_s is not None:
        why, state = _stamp(state, reading, strict)
    if why is not None:
        return state._replace(why=why)  # old or seen: neither believed nor nonsense
    value = probe.calibrated(raw)
    if raw in FALSE_VALUES_C and _suspect(raw, value, state, reading.at):
        why = f"{raw:g} °C is a value this sensor gives when it has failed"
        return _refuse(state._replace(raw_c=value), reading.at, why)
    last = state.value_c
    if last is None or abs(value - last) <= jump_k + JUMP_RATE_K_PER_S * (reading.at - state.at):
        return _believe(state, value, reading)
    return _jumped(state, value, reading, trust)


def _order(state: ProbeState, reading: Reading, strict: bool) -> tuple[str | None, ProbeState]:
    """Is this one newer than the last by the sender's own count? A restarted node counts from the start again; strict:
    that it has must show in its stamps, which go on where a recording's are old."""
    seq, last = reading.seq, state.seq
    if seq is None or last is None or seq > last:
        return None, state
    if seq == state.seq:
        return f"reading {seq} was sent before", state
    run = state.lower_run + 1 if seq > state.lower_seq else 1
    if run >= RESTART_READINGS and (not strict or _in_time(state, reading)):
        return None, state._replace(lower_run=0, lower_seq=-1)
    return f"reading {seq} is older than {state.seq}", state._replace(lower_run=run, lower_seq=seq)


def _in_time(state: ProbeState, reading: Reading) -> bool:
    """Is there a stamp, and is it about as late as usual?"""
    usual, lag = state.lag_s, reading.lag_s
    return usual is not None and lag is not None and abs(lag - usual) <= LAG_STALE_S


def _stamp(state: ProbeState, reading: Reading, strict: bool) -> tuple[str | None, ProbeState]:
    """Is the sender's stamp further behind than it usually is? (A second fence: clocks may differ, queues may not.)
    Strict: it may be a queue for as long as it likes."""
    lag = reading.lag_s
    if lag is None or not (-1e12 < lag < 1e12):
        return None, state
    usual = state.lag_s
    if usual is None or lag <= usual:
        return None, state._replace(lag_s=lag, lag_since=None)
    if lag - usual <= LAG_STALE_S:
        return None, state if state.lag_since is None else state._replace(lag_since=None)
    since = reading.at if state.lag_since is None else state.lag_since
    if reading.at - since > LAG_RESET_S and not strict:
        return None, state._replace(lag_s=lag, lag_since=None)
    return f"reading is {lag - usual:.0f} s late by its sender's clock", state._replace(lag_since=since)


def _suspect(raw: float, value: float, state: ProbeState, at: Instant) -> bool:
    """Is this one of the sensors' false values, with no believed neighbour that speaks for it?"""
    last = state.value_c
    if last is None or at - state.at > GONE_S:
        return raw not in (ALL_ZERO_C, FREEZING_F)  # cold liquor at a first reading may be just that
    return abs(value - last) > NEIGHBOUR_K


def _refuse(state: ProbeState, at: Instant, why: str) -> ProbeState:
    since = at if state.refused_since is None else state.refused_since
    return state._replace(
        refused_run=state.refused_run + 1, refused_since=since, why=why, good_run=0, good_since=None, jump_run=0
    )


def _believe(state: ProbeState, value: float, reading: Reading) -> ProbeState:
    """The state after a believed reading: every doubt is forgotten."""
    at, since = reading.at, state.good_since
    return _remembered(
        value_c=value,
        at=at,
        seq=reading.seq,
        raw_c=value,
        lag_s=state.lag_s,
        lag_since=state.lag_since,
        good_run=state.good_run + 1,
        good_since=at if since is None else since,
    )


def _jumped(state: ProbeState, value: float, reading: Reading, trust: bool) -> ProbeState:
    """A reading on another level: believed once five in a row agree; one far away only where it can be explained."""
    last = state.value_c if state.value_c is not None else value
    agrees = state.jump_c is not None and abs(value - state.jump_c) <= NEIGHBOUR_K
    run = state.jump_run + 1 if agrees else 1
    if run >= NEW_LEVEL_READINGS and (trust or abs(value - last) <= ALONE_K):
        return _believe(state, value, reading)
    return state._replace(
        raw_c=value,
        jump_run=run,
        jump_since=state.jump_since if agrees and state.jump_since is not None else reading.at,
        jump_c=value,
        why=f"temperature jumped from {last:.1f} to {value:.1f} °C",
        good_run=0,
        good_since=None,
        seq=reading.seq,
        refused_run=0,
        refused_since=None,
    )
