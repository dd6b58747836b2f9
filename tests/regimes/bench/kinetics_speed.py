"""How long do a tick of the mash model, a prediction of two hours and a search for a program take?

Run: python -m tests.regimes.bench.kinetics_speed. Prints the median CPU time of several runs.
"""

from __future__ import annotations

from collections.abc import Callable
from statistics import median
from time import process_time

from controller.brewing.compose.choice import TunFigures, Wish, compose
from controller.brewing.kinetics.calibration import Certificate, anchor
from controller.brewing.kinetics.model import CALIBRATED_SET, follow, fresh, predict, rates
from controller.brewing.kinetics.what_if import Rest, profile_of, what_if

TWO_HOURS = (
    Rest("protein rest", 50.0, 900.0),
    Rest("maltose rest", 63.0, 2700.0, 798.0),
    Rest("saccharification", 72.0, 1500.0, 558.0),
    Rest("mash-out", 78.0, 372.0, 372.0),
)


def took_s(run: Callable[[], object], times: int = 7) -> float:
    """Median CPU time of a call, s."""
    found = []
    for _ in range(times):
        rates.cache_clear()
        begun = process_time()
        run()
        found.append(process_time() - begun)
    return median(found)


def main() -> None:
    """Print the figures."""
    by_second = profile_of(TWO_HOURS, 1.0)[0]
    coarse, marks = profile_of(TWO_HOURS)
    tick_us = 1e6 * took_s(lambda: follow(CALIBRATED_SET, fresh(), by_second)) / len(by_second)
    print(f"one tick of 1 s                    {tick_us:8.1f} us (limit 40)")
    print(f"prediction of 2 h, from a plan     {1e3 * took_s(lambda: predict(coarse, marks=marks)):8.1f} ms (limit 60)")
    print(
        f"prediction of 2 h, 1 s record      {1e3 * took_s(lambda: predict(by_second, marks=marks)):8.1f} ms (limit 60)"
    )
    print(f"what each of four rests changes    {1e3 * took_s(lambda: what_if(TWO_HOURS)):8.1f} ms")
    print(f"anchoring on a certificate         {1e3 * took_s(lambda: anchor(Certificate(82.0, 81.0))):8.1f} ms")
    tun = TunFigures(capacity_j_per_k=297_420.0, power_w=5000.0, loss_w_per_k=4.0)
    print(f"search for a dry program           {took_s(lambda: compose(Wish('dry'), tun), 1):8.1f} s  (limit 20)")


if __name__ == "__main__":
    main()
