"""What does the reading say about mash and tun?

The model runs along: a heat balance behind the lags of `plant_model`. Every fresh reading corrects it (kalman.py), each
of its figures by as much as can be told of it just now.
"""

from __future__ import annotations

from math import exp, hypot, sqrt

from controller.core.control import kalman
from controller.core.control.belief import STAGES, Belief
from controller.core.control.heat_path import HeatPath, Place
from controller.core.control.plant_model import GAIN_BOUNDS, PlantModel
from controller.core.nouns import HIGHEST_C, LOWEST_C, Measurement, Target

LAG_BOUNDS = (0.4, 3.0)  # lag found, over the one believed
LAYERS = 5  # of a bed: between one mixed one and plug flow (own proposal)
UNSETTLED = 0.1  # of what a bed has still to show: its shape is not that of the layers (README.md)
ALIKE = 0.25  # of a turnover: for so long readings of a bed err alike, and so do they for half of the lags (README.md)
MOST_RISE = 2.0  # rise found, beyond the one believed, over that: a pump at a third of its flow
MOST_EXTRA = 0.25  # of the rate: loss beyond the plate's that is believed, K/s
WARM_K = 20.0  # K over the room: below that what seems a loss is as likely a lag (own proposal)
NOISE_SHARE, SD_PER_STEP = 0.05, 0.886  # mean step of some 20 readings; of white noise sqrt(pi) / 2 (arithmetic)
JUMP_K = 1.5  # K between model and reading: no noise, something was added; the model starts anew at the reading


def observe(model: PlantModel, target: Target, seen: Measurement, applied: float, belief: Belief, dt: float) -> Belief:
    """What is believed after `dt` s with `applied` duty and this measurement?"""
    value = seen.value_c if seen.value_c is not None and LOWEST_C <= seen.value_c <= HIGHEST_C else None
    model_c = belief.reading_c if belief.reading_c is not None else value
    if model_c is None:
        return belief.anew()
    arrived = belief.arriving[-1]
    belief = _forward(model, applied, belief, model_c, dt)
    if value is not None and seen.fresh:
        belief = _read(model, target, value, applied, belief, (belief.arriving[-1] - arrived) / max(dt, 0.5))
    if target.heat == "blocked":  # what is in the tun changes; a hold or a trip is no news of it
        return _put_by(model, belief)
    return belief._replace(coming_c=_coming_c(model, belief))


def _put_by(model: PlantModel, belief: Belief) -> Belief:
    """What is kept while something is put in? What was found of heater and loss; behind the heater rate, rise and lag
    of plain liquor cannot be told apart, so there only the loss."""
    doubt, coming_c = belief.doubt, _coming_c(model, belief)
    if model.path.in_stream:
        return belief._replace(gain=1.0, lag=1.0, rise_k=0.0, doubt=None, coming_c=coming_c)
    if doubt is None:
        return belief._replace(coming_c=coming_c)
    doubt = kalman.kept(doubt, *model.doubts)
    return belief._replace(rise_k=0.0, bed=(), over=0.0, doubt=doubt, coming_c=coming_c)


def _forward(model: PlantModel, applied: float, belief: Belief, model_c: float, dt: float) -> Belief:
    """What is believed before the reading is looked at?"""
    rate, doubt = (
        model.rate_k_per_s,
        belief.doubt or kalman.prior(model.rate_k_per_s, model.loss_k_per_s(model_c), *model.doubts),
    )
    arriving = passed(model.dead_s, model.lag_s, applied, belief.arriving, dt)
    change = arriving[-1] - belief.arriving[-1]
    turnover_s = model.turnover_s(belief)
    bed = layers(belief.bed, arriving[-1], turnover_s, dt)
    reading_c = model_c + (rate * arriving[-1] - model.loss_k_per_s(model_c, belief.extra_k_per_s)) * dt
    return belief._replace(
        reading_c=reading_c,
        arriving=arriving,
        bed=bed,
        steady=lagged(belief.steady, arriving[-1], turnover_s or model.lag_s + model.dead_s, dt),
        extra_k_per_s=_extra(model, belief, model_c, reading_c),
        over=over(model.path.sits, bed, arriving[-1]),
        doubt=kalman.forward(doubt, rate, arriving[-1], change, model.lag_s + model.dead_s, dt),
    )


def _extra(model: PlantModel, belief: Belief, was_c: float, now_c: float) -> float:
    """What is the loss beyond the plate's at another temperature? Loss goes with what is between mash and room; near
    the room there is none to be found, and nothing is made of it."""
    return belief.extra_k_per_s * max(now_c - model.room_c, WARM_K) / max(was_c - model.room_c, WARM_K)


def layers(bed: tuple[float, ...], arrives: float, turnover_s: float, dt: float) -> tuple[float, ...]:
    """How do the layers of a pumped mash lie about their mean `dt` s on? Wort leaves the last, is warmed by what
    arrives and comes back into the first. None where the mash mixes."""
    if turnover_s <= 0.0:
        return ()
    bed = bed or (0.0,) * LAYERS
    moves = min(LAYERS * dt / turnover_s, 1.0)
    above, after, mean = bed[-1] + arrives, [], moves * arrives / LAYERS
    for layer in bed:
        after.append(layer + moves * (above - layer) - mean)
        above = layer
    return tuple(after)


def over(place: Place, bed: tuple[float, ...], arrives: float) -> float:
    """How far is the wort at the probe over the mean of the mash? 1 is the rise past the heater at full power."""
    if place == "stream":
        return arrives + (bed[-1] if bed else 0.0)
    if not bed:
        return 0.0
    return bed[-1] if place == "end" else bed[LAYERS // 2]


def lagged(level: float, came: float, lag_s: float, dt: float) -> float:
    """What leaves a first-order lag after `dt` s?"""
    return level + (1.0 - exp(-dt / max(lag_s, 0.5))) * (came - level)


def passed(dead_s: float, lag_s: float, duty: float, arriving: tuple[float, ...], dt: float) -> tuple[float, ...]:
    """What leaves the dead time's stages and the lag after them, `dt` s on?"""
    share = 1.0 - exp(-dt / max(dead_s / STAGES, 0.5))
    after, came = [], duty
    for stage in arriving[:-1]:
        came = stage + share * (came - stage)
        after.append(came)
    return (*after, lagged(arriving[-1], came, lag_s, dt))


def _read(model: PlantModel, target: Target, value: float, applied: float, belief: Belief, changes: float) -> Belief:
    """A fresh reading: less what the heater adds at the probe, it corrects the model; a jump starts the model anew.
    `changes`: how fast what arrives does, 1/s."""
    model_c, doubt = belief.reading_c, belief.doubt
    if model_c is None or doubt is None:
        return belief
    rate = model.rate_k_per_s
    apart, late_k, rough_k = _apart(belief), 0.0, _unsettled_k(model, applied, belief)
    if model.path.in_stream:
        late_k = -model.rise_k * (model.lag_s + model.dead_s) * changes
    belief, noise_k = _noise(belief, value)
    value -= model.added_k(belief)
    if target.heat != "hold" or abs(value - model_c) > JUMP_K + model.rise_k * (apart + abs(belief.over)):
        extra = _extra(model, belief, model_c, value)
        return belief._replace(reading_c=value, extra_k_per_s=extra, doubt=kalman.alone(doubt))
    doubt, step = kalman.correct(doubt, value - model_c, belief.over, late_k, hypot(rough_k, noise_k))
    plate_loss = max(model.loss_k_per_s(model_c), 0.0)
    return belief._replace(
        reading_c=model_c + step.x,
        extra_k_per_s=_within(belief.extra_k_per_s + step.loss, -plate_loss, MOST_EXTRA * rate),
        gain=_within(belief.gain * (1.0 + step.gain), *GAIN_BOUNDS),
        lag=_within(belief.lag * (1.0 + step.lag), *LAG_BOUNDS),
        rise_k=_within(belief.rise_k + step.rise, -0.5 * model.rise_k, MOST_RISE * model.rise_k),
        doubt=doubt,
    )


def _noise(belief: Belief, value: float) -> tuple[Belief, float]:
    """Belief with this reading's step from the one before; how much more noise is in it than is taken for granted, one
    standard deviation, K."""
    step_k = belief.step_k
    if belief.read_c is not None:
        step_k += NOISE_SHARE * (min(abs(value - belief.read_c), JUMP_K) - step_k)
    more_k2 = (SD_PER_STEP * step_k) ** 2 - kalman.NOISE_K**2
    return belief._replace(read_c=value, step_k=step_k), sqrt(more_k2) if more_k2 > 0.0 else 0.0


def _apart(belief: Belief) -> float:
    """How far are the layers of a bed apart, or will they be, shares of the rise?"""
    return max(max(belief.bed) - min(belief.bed), belief.arriving[0]) if belief.bed else 0.0


def _unsettled_k(model: PlantModel, applied: float, belief: Belief) -> float:
    """By how much is a reading doubtful while a bed has not settled after a change of heat, K? All readings of a while
    err alike there: each counts as if it erred by that much times the root of twice their number. A probe behind the
    heater feels the heat before the mash does, and the layers as they are."""
    if model.rise_k <= 0.0:
        return 0.0
    lag_s = model.lag_s + model.dead_s
    alike_s = ALIKE * model.turnover_s(belief) + 0.5 * lag_s
    behind, in_stream = abs(belief.arriving[-1] - belief.steady), model.path.in_stream
    if in_stream:
        behind = max(behind, abs(applied - belief.arriving[-1]), _apart(belief))
    apart_k = (model.rise_k if belief.bed or in_stream else 0.0) + model.rate_k_per_s * lag_s
    return UNSETTLED * behind * apart_k * sqrt(2.0 * alike_s)


def _within(value: float, low: float, high: float) -> float:
    return low if value < low else high if value > high else value


def _coming_c(model: PlantModel, belief: Belief) -> float | None:
    """Where does the reading end if from now on the heater only covers the loss, °C?"""
    if belief.reading_c is None:
        return None
    stored_s = model.dead_s / STAGES * sum(belief.arriving[:-1]) + model.lag_s * belief.arriving[-1]
    loss = model.loss_k_per_s(belief.reading_c, belief.extra_k_per_s)
    return belief.reading_c + model.rate_k_per_s * stored_s - loss * (model.dead_s + model.lag_s)


def in_mash(path: HeatPath, strike: bool, belief: Belief, seen: Measurement) -> Measurement:
    """The mash's own temperature: smooth, and less what the heater adds at a probe behind it. The guard looks at the
    reading itself.

    Where the loop's own figure agrees with the reading, that is taken: a noisy second begins no rest's minute anew, and
    neither does a relay's swing behind the heater.
    """
    if seen.value_c is None:
        return seen
    warmer_k = max(0.0, path.stream_rise_k(strike) + belief.rise_k) if path.rise_k > 0.0 else 0.0
    value_c = seen.value_c - warmer_k * belief.over
    agree = belief.reading_c is not None and abs(belief.reading_c - value_c) <= JUMP_K
    return seen._replace(value_c=belief.reading_c if agree else value_c)
