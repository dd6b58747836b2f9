"""Does the tun behave as heat and time say it must?

Heat asked for must show as a rise; heat not asked for must not. A history of temperature and energy every ten seconds
is compared with the plate's figures. The loss is taken pessimistically and every comparison allows for the tun's dead
time, since it is dead time, not noise, that would make such a watch trip healthy mashes.
"""

from __future__ import annotations

from math import inf
from typing import NamedTuple

from controller.core.guard.registry import HEATED, Finding, Senses, apart_k
from controller.core.nouns import ALONE_K, JUMP_RATE_K_PER_S, Instant, RunState

STEP_S = 10.0  # one line of history
PERSIST = 3  # lines in a row with the same verdict: 30 s
LOSS_PER_S = 0.35 / 3600.0  # share of the difference to the room lost a second, pessimistic (own trial on random tuns)
LEAST_LOSS_PER_S = 0.15 / 3600.0  # and never taken as less: a plate's loss may be far too low (own proposal)
SEEN_SHARE = 0.25  # G09: at least this share of the expected rise
DUE_K = 2.0  # G09: judged once so much was due
WINDOWS = (1.0, 2.0, 3.0, 3.5)  # G09: times the window; the last is over within the 900 s of G11 and the dead time
RISE_WINDOW_S = 180.0  # G10
STEADY_S = 300.0  # G10 when idle: a slope that lasts
STEEPEST_K = 2.0  # G10 when idle: in any 30 s; a steeper one is a hose, not a heater
QUIET_S = 330.0  # G10: duty 0 for so long, dead time apart
ABOVE_SETPOINT_K = 3.0  # G10
RISING_K_PER_S = 0.1 / 60.0  # G10
COIL_S = 300.0  # a coil's own liquor holds heat back: at least so much on top of the dead time (own trial)
BATH_DROP_K, BATH_MOST_S = 20.0, 1200.0  # the same for much liquor: K over the wort at full power at the most (own
# estimate), and not more, s, so that history reaches far enough
SLACK_SHARE = 0.3  # G12: of the heat put in; power and mass are each true to 15 % (own trial on random tuns)
LOSS_FACTOR = 1.7  # G09, G12: a plate's loss is a guess, true to this factor (own trial)
SLACK_S = 60.0  # G12: heat younger than dead time and this is not counted yet
FALL_S = 60.0  # G09: a fall of more than ALONE_K within it is no mash's (own proposal)
KEEPS = 0.5  # G11: share of the rise that the plate allows
FULL_SHARE = 0.95  # G11: of the duty that the tun file allows, that is full heat
FIT_S = 300.0  # G25: window
FIT_DUE_K = 2.0  # G25: judged where so much rise is due
BED_SHARE, BED_MOST_S = 0.5, 300.0  # of a turnover: with plug flow the outlet shows the mean so late (arithmetic); and
# not more, s, so that history reaches far enough
EVEN_S, EVEN_SHARE = (60.0, 20.0), 0.1  # G09, G25 behind the heater: mean duty of so long, its change
NEAR_K = 1.0  # G09: so near its target a mash is kept, not warmed (own proposal: the usual tolerance of a rest)
KEEP = 350  # lines of history: 3.5 of the longest windows that a file may ask for, dead time and a bath on top


class Line(NamedTuple):
    at: Instant
    temperature_c: float
    energy_j: float  # put in since the history began


class Past(NamedTuple):
    """History since the last addition, gap or change of contents."""

    lines: tuple[Line, ...] = ()
    energy_j: float = 0.0
    next_at: Instant = 0.0
    off_since: Instant | None = None  # duty 0 since
    heat_since: Instant | None = None  # heat began, for G25
    full_since: Instant | None = None  # duty at least 0.95 of what the heater may give, since
    full_c: float = 0.0
    no_heat: int = 0  # verdicts in a row
    unasked: int = 0
    over: int = 0
    ledger: int = 0
    ledger_loss_j: float = 0.0
    ledger_base: Line | None = None
    fitted: tuple[float, ...] = ()  # capacities for which G25 has been judged
    idle_alarm: bool = False
    added_at: Instant | None = None  # something was being added then, the newest time
    moves: tuple[tuple[Instant, float], ...] = ()  # when, and by how much, history went to another level, K


def forget(past: Past) -> Past:
    """After an addition, a gap or a restart every window starts anew; what was already judged stays judged."""
    return Past(fitted=past.fitted, off_since=past.off_since, energy_j=0.0, added_at=past.added_at)


def record(past: Past, senses: Senses, duty: float) -> Past:
    """One tick's energy. `duty` is what was let out since the last tick."""
    if duty <= 0.0:
        if past.off_since is None:
            past = past._replace(off_since=senses.now)
        return past if past.full_since is None else past._replace(full_since=None)
    if past.heat_since is None and past.lines:
        past = forget(past)  # the tun may just have been filled: what was before the first heat says nothing of it
    past = past._replace(
        energy_j=past.energy_j + duty * senses.power_w * min(senses.dt, senses.tun.heater.lease_s),
        off_since=None,
        heat_since=past.heat_since if past.heat_since is not None else senses.now,
    )
    return _full(past, senses, duty)


def _full(past: Past, senses: Senses, duty: float) -> Past:
    value = senses.seen.value_c
    if duty < FULL_SHARE * senses.tun.heater.duty_cap or value is None:
        return past if past.full_since is None else past._replace(full_since=None)
    if past.full_since is not None:
        return past
    return past._replace(full_since=senses.now, full_c=value)


def judge(past: Past, senses: Senses, calibrated: bool) -> tuple[Past, Finding | None]:
    """What do the slow interlocks say? Looked at once in ten seconds."""
    value = senses.seen.value_c
    if senses.target.heat == "blocked":
        past = past._replace(added_at=senses.now)
    if senses.target.heat == "blocked" or value is None:
        return (forget(past) if past.lines else past), None
    if senses.now < past.next_at:
        return past, None
    if past.lines and _another_level(past.lines[-1], value, senses):
        past = _moved(past, value - past.lines[-1].temperature_c, senses.now)
    line = Line(senses.now, value, past.energy_j)
    past = past._replace(lines=(*past.lines[-KEEP + 1 :], line), next_at=senses.now + STEP_S)
    for rule in (_slipped, _no_heat, _unasked, _cannot_keep_up, _fit):
        past, finding = rule(past, senses)
        if finding is not None:
            return past, finding
    return _ledger(past, senses) if calibrated else (past, None)


def _another_level(last: Line, value_c: float, senses: Senses) -> bool:
    """Has the probe gone over to another level since, faster than a mash may change? A probe behind the heater moves
    with the heat, too. A doubtful reading alone is none: what was believed last is some seconds old at most."""
    tun = senses.tun
    most_k = tun.guard.jump_k + JUMP_RATE_K_PER_S * (senses.now - last.at)
    most_k += ALONE_K if tun.probes.mash.behind_heater else 0.0
    return abs(value_c - last.temperature_c) > most_k


def _moved(past: Past, step_k: float, now: Instant) -> Past:
    """What was before, moved to the new level: the step is neither a rise nor a fall, be it liquor poured in without a
    word or a probe that slips out; the heat that was given still counts."""
    base = past.ledger_base
    return past._replace(
        lines=tuple(line._replace(temperature_c=line.temperature_c + step_k) for line in past.lines),
        ledger_base=None if base is None else base._replace(temperature_c=base.temperature_c + step_k),
        full_c=past.full_c + step_k,
        moves=(*_recent(past, now), (now, step_k)),
    )


def _recent(past: Past, now: Instant) -> tuple[tuple[Instant, float], ...]:
    """By how much has history been moved within the last minute, and when?"""
    return tuple((at, step_k) for at, step_k in past.moves if now - at < FALL_S)


def _dead_s(senses: Senses) -> float:
    """How long may heat take to show, s? The tun's dead time, and what a coil's liquor holds back."""
    return senses.tun.guard.dead_time_s + _bath_s(senses)


def _bath_s(senses: Senses) -> float:
    """How long does the liquor of a coil or jacket hold heat back, s?"""
    heater = senses.tun.heater
    least_s = COIL_S if heater.place == "coil" else 0.0
    return min(max(heater.bath_j_per_k * BATH_DROP_K / senses.power_w, least_s), BATH_MOST_S)


def _quiet_s(senses: Senses) -> float:
    """How long after the heater went off may the mash still warm, s? A coil's liquor gives its heat away for longer."""
    return QUIET_S + _dead_s(senses) + _bath_s(senses)


def _bed_s(senses: Senses) -> float:
    """How much later does a probe see the heat because wort must pass a bed that only the pump moves, s?"""
    tun = senses.tun
    if tun.mixing != "pump" or tun.stirrer is not None or not tun.flow_l_per_min:
        return 0.0
    return min(BED_SHARE * 60.0 * tun.volume_l / tun.flow_l_per_min, BED_MOST_S)


def _ago(past: Past, seconds: float) -> Line | None:
    """The line of so long ago, None when history does not reach that far."""
    steps = round(seconds / STEP_S)
    return past.lines[-1 - steps] if len(past.lines) > steps else None


def _windows(past: Past, window_s: float, lag_s: float) -> tuple[float, float]:
    """Least and most energy of any window of this length that ends between so long ago and now, J."""
    steps, back, lines = round(window_s / STEP_S), round(lag_s / STEP_S), past.lines
    last = len(lines) - 1
    energies = [lines[end].energy_j - lines[end - steps].energy_j for end in range(last - back, last + 1)]
    return min(energies), max(energies)


def _slipped(past: Past, senses: Senses) -> tuple[Past, Finding | None]:
    """G09, at once: has the reading fallen as no mash does, with heat on all the while? Then the probe has slipped out,
    and what it reads asks for more heat."""
    then, soon = _ago(past, FALL_S), _ago(past, FALL_S / 2)
    if then is None or soon is None or senses.state not in HEATED or soon.energy_j <= then.energy_j:
        return past, None
    fell_k = then.temperature_c - past.lines[-1].temperature_c
    fell_k -= sum(step_k for _, step_k in _recent(past, senses.now))
    limit = ALONE_K + (ALONE_K if senses.tun.probes.mash.behind_heater else 0.0)
    says = "The reading fell by {value:.1f} K in a minute with the heater on (limit {limit:g} K). Heat is off."
    return past, None if fell_k <= limit else Finding("G09", fell_k, limit, says=says)


def _no_heat(past: Past, senses: Senses) -> tuple[Past, Finding | None]:
    """G09: the rise that was due against the rise that was seen.

    Due is the least energy of any window shifted back by up to the dead time: heat may come sooner than it may. Where
    too little is due in the window, for want of power or of duty, one of up to three and a half times that judges.
    A probe behind the heater falls with the heat itself, so there nothing is judged once heat is less than it was.
    """
    due = _due(past, senses) if senses.state in HEATED else None
    if due is None:
        return past._replace(no_heat=0), None
    window_s, then, due_k = due
    rise = past.lines[-1].temperature_c - then.temperature_c
    less = senses.tun.probes.mash.behind_heater and _less(past, senses.power_w, window_s)
    if rise >= SEEN_SHARE * due_k or less:
        return past._replace(no_heat=0), None
    past = past._replace(no_heat=past.no_heat + 1)
    return past, Finding("G09", rise, SEEN_SHARE * due_k) if past.no_heat > PERSIST else None


def _due(past: Past, senses: Senses) -> tuple[float, Line, float] | None:
    """In which window, the shortest that will do, is enough of a rise due to judge by? Its length, s, the line that it
    begins at, and what is due, K. None where too little is, or history does not reach far enough."""
    kept, dead_s = _kept(past, senses), _dead_s(senses)
    per_s = LOSS_PER_S if kept else _loss_per_s(senses)
    for times in WINDOWS[:1] if kept else WINDOWS:
        window_s = times * senses.tun.guard.no_heat_window_s
        then = _ago(past, window_s)
        if then is None or _ago(past, window_s + dead_s) is None:
            return None
        loss_k = per_s * max(0.0, then.temperature_c - senses.tun.room_c) * window_s
        due_k = _windows(past, window_s, dead_s)[0] / senses.capacity_j_per_k - loss_k
        if due_k >= DUE_K:
            return window_s, then, due_k
    return None


def _kept(past: Past, senses: Senses) -> bool:
    """Is the mash kept at its target, by less than full heat? Then no rise is no wonder, and a loss that nobody thought
    of, the lid off, looks like missing heat."""
    target = senses.target.target_c
    near = target is None or past.lines[-1].temperature_c > target - NEAR_K
    return near and past.full_since is None


def _loss_per_s(senses: Senses) -> float:
    """Which share of its difference to the room does the mash lose a second at the most? The plate's with its doubt."""
    plate = LOSS_FACTOR * senses.tun.loss_w_per_k / senses.capacity_j_per_k
    return min(max(plate, LEAST_LOSS_PER_S), LOSS_PER_S)


def _unasked(past: Past, senses: Senses) -> tuple[Past, Finding | None]:
    """G10: a rise with the heater long off, or a reading far over the setpoint that goes on rising."""
    if senses.state not in HEATED:
        return _unasked_idle(past, senses)
    limits = senses.tun.guard
    past, finding = _over(past, senses)
    then = _ago(past, RISE_WINDOW_S)
    quiet = past.off_since is not None and senses.now - past.off_since >= _quiet_s(senses)
    if finding is not None or then is None or not quiet:
        return past, finding
    rise = past.lines[-1].temperature_c - then.temperature_c
    return past, Finding("G10", rise, limits.unasked_rise_k) if not (rise < limits.unasked_rise_k) else None


def warmed_k(past: Past) -> float:
    """By how much has the mash warmed in the last three minutes, K? Infinite while that cannot be known."""
    then = _ago(past, RISE_WINDOW_S)
    return inf if then is None else past.lines[-1].temperature_c - then.temperature_c


def _over(past: Past, senses: Senses) -> tuple[Past, Finding | None]:
    before = _ago(past, 30.0)
    if senses.setpoint_c is None or before is None or past.off_since is None:
        return past._replace(over=0), None
    now_c = past.lines[-1].temperature_c
    rising = now_c - before.temperature_c > RISING_K_PER_S * 30.0
    apart = now_c - senses.setpoint_c
    settled = senses.now - past.off_since >= 30.0 + _dead_s(senses)
    limit = apart_k(ABOVE_SETPOINT_K, past.added_at, senses.now)
    if apart <= limit or not rising or not settled:
        return past._replace(over=0), None
    past = past._replace(over=past.over + 1)
    long_enough = past.over * STEP_S >= 30.0 + _dead_s(senses)
    says = "The mash is {value:.1f} K over the setpoint and rises, with the heater told to be off (limit {limit:g} K)."
    return past, Finding("G10", apart, limit, says=says) if long_enough else None


def _unasked_idle(past: Past, senses: Senses) -> tuple[Past, Finding | None]:
    """With nothing running a rise may be a hose: it latches only where it is as steady as the heater would make it."""
    then = _ago(past, STEADY_S)
    quiet = past.off_since is not None and senses.now - past.off_since >= _quiet_s(senses)
    if then is None or not quiet or senses.state is RunState.CHECKING:
        return past._replace(idle_alarm=False), None
    window = past.lines[-1 - round(STEADY_S / STEP_S) :]
    rises = [b.temperature_c - a.temperature_c for a, b in zip(window, window[3:], strict=False)]
    mean = (window[-1].temperature_c - window[0].temperature_c) / STEADY_S
    rise = mean * RISE_WINDOW_S
    if rise < senses.tun.guard.unasked_rise_k or min(rises) <= 0.0:
        return past._replace(idle_alarm=False), None
    tun = senses.tun
    fastest = senses.power_w / tun.with_liquor_j_per_k(tun.min_liquor_l)
    slowest = senses.power_w / (tun.with_liquor_j_per_k(tun.volume_l) + tun.heater.bath_j_per_k)
    steady = 0.5 * slowest <= mean <= 1.5 * fastest and max(rises) <= STEEPEST_K
    past = past._replace(idle_alarm=True)
    return past, Finding("G10", rise, senses.tun.guard.unasked_rise_k) if steady else None


def _cannot_keep_up(past: Past, senses: Senses) -> tuple[Past, Finding | None]:
    """G11: full heat for a quarter of an hour and the dead time, still short, and less than half the rise that the
    plate allows in that quarter."""
    limits, target = senses.tun.guard, senses.target.target_c
    if past.full_since is None or target is None or senses.state not in HEATED:
        return past, None
    lasted, now_c = senses.now - past.full_since - _dead_s(senses), past.lines[-1].temperature_c
    if lasted < limits.cannot_keep_up_s or target - now_c <= limits.cannot_keep_up_k:
        return past, None
    net_w = senses.power_w * senses.tun.heater.duty_cap - senses.tun.loss_w_per_k * (now_c - senses.tun.room_c)
    allowed = max(0.0, net_w) * lasted / senses.capacity_j_per_k
    if now_c - past.full_c >= KEEPS * allowed:
        return past, None
    says = f"Full heat for {lasted / 60.0:.0f} min and still {{value:.1f}} K short (limit {{limit:g}} K). Heat is off."
    return past, Finding("G11", target - now_c, limits.cannot_keep_up_k, says=says)


def _fit(past: Past, senses: Senses) -> tuple[Past, Finding | None]:
    """G25: judged once for liquor and once for mash: does it warm as what is said to be in the tun must?

    Heat takes between nothing and dead time + 3 lags to show, in a pumped bed half a turnover more, so the rise of the
    window is held against the most and the least energy of any window shifted back by that much. At the foot of a ramp
    those differ; on it they agree. A probe behind the heater reads higher as heat goes up, so there heat must be what
    it was when the window began.
    """
    limits = senses.tun.guard
    lag = _dead_s(senses) + 3.0 * senses.tun.probes.mash.lag_s + _bed_s(senses)
    capacity = round(senses.capacity_j_per_k)
    if past.heat_since is None or capacity in past.fitted or senses.state not in HEATED:
        return past, None
    then = _ago(past, FIT_S)
    if then is None or senses.now - past.heat_since < lag + FIT_S or _ago(past, lag + FIT_S) is None:
        return past, None
    mean_c = (then.temperature_c + past.lines[-1].temperature_c) / 2.0
    loss_j = senses.tun.loss_w_per_k * (mean_c - senses.tun.room_c) * FIT_S
    least, most = ((energy - loss_j) / senses.capacity_j_per_k for energy in _windows(past, FIT_S, lag))
    rise = past.lines[-1].temperature_c - then.temperature_c
    if senses.tun.probes.mash.behind_heater and not _even(past, senses.power_w):
        return past, None
    if most >= FIT_DUE_K and not (rise <= limits.fit_high * most):
        return _fitted(past, capacity), Finding("G25", rise / most, limits.fit_high)
    if least < FIT_DUE_K or rise < SEEN_SHARE * least:
        return past, None  # too little heat to judge by; or hardly any rise at all: G09 has the right words
    past = _fitted(past, capacity)
    return past, Finding("G25", rise / least, limits.fit_low) if rise < limits.fit_low * least else None


def _even(past: Past, power_w: float) -> bool:
    """Was as much heat let out in the last minute as in the minute before the window, and in the last 20 s as in those
    before it? The minute alone does not see heat that has just fallen, which the probe already does."""
    return all(_even_over(past, power_w, round(seconds / STEP_S)) for seconds in EVEN_S)


def _even_over(past: Past, power_w: float, steps: int) -> bool:
    start = len(past.lines) - 1 - round(FIT_S / STEP_S)
    return start >= steps and abs(_more_j(past, start, steps)) <= EVEN_SHARE * power_w * steps * STEP_S


def _less(past: Past, power_w: float, window_s: float) -> bool:
    """Is less heat let out in the last minute, or the last 20 s, than in as long a time before the window?"""
    start = len(past.lines) - 1 - round(window_s / STEP_S)
    spans = [min(round(seconds / STEP_S), start) for seconds in EVEN_S]
    return any(_more_j(past, start, steps) < -EVEN_SHARE * power_w * steps * STEP_S for steps in spans)


def _more_j(past: Past, start: int, steps: int) -> float:
    """How much more energy went out in the last so many steps than in as many before that line, J?"""
    lines = past.lines
    return (lines[-1].energy_j - lines[-1 - steps].energy_j) - (lines[start].energy_j - lines[start - steps].energy_j)


def _fitted(past: Past, capacity: int) -> Past:
    return past._replace(fitted=(*past.fitted[-7:], capacity))


def _ledger(past: Past, senses: Senses) -> tuple[Past, Finding | None]:
    """G12: heat in, less losses, less heat seen. Only for a tun that was measured with water."""
    line, base = past.lines[-1], past.ledger_base
    if base is None or senses.state not in HEATED:
        return past._replace(ledger_base=line, ledger_loss_j=0.0, ledger=0), None
    lost_w = LOSS_FACTOR * senses.tun.loss_w_per_k * (line.temperature_c - senses.tun.room_c)
    loss_j = past.ledger_loss_j + lost_w * STEP_S
    past = past._replace(ledger_loss_j=loss_j)
    old = _ago(past, _dead_s(senses) + SLACK_S)
    if old is None or old.at < base.at:
        return past, None
    put_in = (old.energy_j - base.energy_j) / senses.capacity_j_per_k
    missing = put_in - loss_j / senses.capacity_j_per_k - (line.temperature_c - base.temperature_c)
    limit = senses.tun.guard.ledger_k + SLACK_SHARE * put_in
    if missing <= limit:
        return past._replace(ledger=0), None
    past = past._replace(ledger=past.ledger + 1)
    return past, Finding("G12", missing, limit) if past.ledger * STEP_S >= 60.0 else None
