"""A probe behind the heater, in the wort that the heater has just warmed: healthy mashes near the hard limit."""

from __future__ import annotations

from random import Random

from controller.plan.plan import Plan, make
from sim import swarm
from sim.plant.random_tun import draw
from sim.random_setup import RandomSetup, random_brewery, random_program, tun_file


def drawn_first(seed: int) -> tuple[str, Plan]:
    """The first tun of this seed, whether its program fits or not."""
    rng = Random(f"brewery {seed}")
    drawn = draw(rng)
    tun = tun_file(drawn, rng)
    return drawn.kind, make(random_program(rng, drawn), tun)


def test_a_healthy_mash_near_the_limit_completes_without_a_trip() -> None:
    """78 °C under a limit of 80 with 3.4 K between mash and probe at full power: once it tripped G07 at the end of the
    rise; now heat falls with the room that is left."""
    verdict = swarm.one(504, healthy=True)
    brewery: RandomSetup = random_brewery(Random("brewery 504"))
    assert brewery.settings.tun.probes.mash.behind_heater
    assert max(leg.target_c for leg in brewery.plan.course.legs) == 78.0
    assert (verdict.result, verdict.trips) == ("complete", ())
    assert [b for b in verdict.breaches if b.promise == "I21"] == []


def test_heat_that_has_just_fallen_is_no_misfit() -> None:
    """After a decoction the bed mixes slowly, heat falls near the target, and with it what the probe reads over it:
    once G25 took that for a heater of half its power."""
    verdict = swarm.one(591, healthy=True)
    assert (verdict.result, verdict.trips) == ("complete", ())


def test_a_probe_behind_a_slow_switch_is_refused_before_it_runs() -> None:
    """A contactor's 30 s let the probe swing by 0.9 K: no rest ever began, or G07 tripped; nor would half of it
    leave heat enough to hold 78 °C. `check` says both, and random tuns of this kind are drawn anew."""
    kind, plan = drawn_first(35)
    assert kind == "behind"
    assert [p.where for p in plan.problems] == ["tun drawn: heater: window", '[[step]] 4 "rest 4": temperature']
    assert "30 s, by which the probe behind the heater swings by 0.9 K" in plan.problems[0].found
    assert "the hard limit of 80 °C" in plan.problems[1].wanted
