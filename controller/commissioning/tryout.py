"""Does the tun do what the daemon relies on? The proof test, with plain water and a person at the tun.

Nothing here can heat: the real service runs with the real core and guard, and is given orders as anybody gives them.
The trials look at what the nodes report. One limit is tightened for the last trial, none is ever loosened.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from controller.commissioning.proof_record import ROLES
from controller.commissioning.tryout_rig import (
    TrialRun,
    apart,
    mash_c,
    readings,
    reported,
    says,
    silent,
    tightened,
)
from controller.core.control.heat_path import heat_path
from controller.core.guard.registry import BY_ID
from controller.core.guard.senses import NO_RUN
from controller.core.nouns import RunState, Switch
from controller.core.state import Outcome

PERSON_S = 300.0  # a person gets so long for each thing asked for
MOVED_K, OTHERS_K = 1.0, 0.5  # a probe in the hand moves at least so much, the others at most so much
BACK_K = 1.0  # and comes back within so much
ANSWER_S = 3.0  # from the end of heat to a report of it
ON_S = 120.0  # from an order to heat reported, checks and mixing included
REQUALIFY_S = 300.0  # from a trip's end to heat again
RISE_K = 0.5  # heat must show as a rise of so much
PRETENDED_K = 2.0  # the pretended limit lies so far above the water
STAYS_S, STAYS_SHARE = 90.0, 0.3  # told off, the water rises by less than this share of full heat in so long
SILENT_MORE_S = 5.0  # beyond the lease
TRIPS_S = 5.0  # from a switch seen open to the trip; flow is not looked at while the pump proves it

TRIP_IT = {
    "level": "Heat is on. Trip the level switch by hand now: lift its float, or take its plug off.",
    "flow": "Heat is on. Stop the flow by hand now: close the valve, or take the flow switch's plug off.",
}


class Tryout(TrialRun):
    """The trials in their order, on a running service."""

    async def every_trial(self) -> None:
        """The trials of `proof.plan`, in its order."""
        tun = self.settings.tun
        await self._cleared()
        await self._nodes()
        for role in ROLES:
            if getattr(tun.probes, role) is not None:
                await self._identity(role)
        await self._on()
        await self._off()
        await self._lease()
        if tun.level is not None:
            await self._switch("level", lambda o: o.state.level)
        if tun.flow is not None:
            await self._switch("flow", lambda o: o.state.flow)
        await self._limit()
        await self._order("stop")
        await self._until(lambda o: o.state.run.state is RunState.STOPPED, ON_S)

    # ------------------------------------------------------------ before heat

    async def _cleared(self) -> None:
        """A trip that an earlier run left latched is a person's to look at and clear; then the trials can begin."""
        if not self.service.state.guard.trips:
            return
        await self._until(lambda o: o.state.run.state in NO_RUN and not silent(self.settings.tun, o), 60.0)
        await self._until(lambda o: False, self.settings.tun.guard.requalify_off_s)
        for trip in self.service.state.guard.trips:
            said = await self.hands.ask("clear", f"From an earlier run: {trip.text} Looked at, and mended? Type yes:")
            if said.lower() != "yes":
                self._fail("nodes", f"{trip.id} {BY_ID[trip.id].name} is latched from an earlier run; not cleared")
            await self._must("nodes", "clear", {"inspected": True}, trip.id)

    async def _nodes(self) -> None:
        """Does everything that is fitted speak?"""
        tun = self.settings.tun
        if await self._until(lambda o: not silent(tun, o), 60.0) is None:
            outcome = self.look.outcome
            gaps = "; ".join(silent(tun, outcome)) if outcome is not None else "nothing was heard"
            self._fail("nodes", f"after 60 s: {gaps}")
        if await self._until(lambda o: o.state.run.state is RunState.IDLE, 90.0) is None:
            self._fail("nodes", f"the tun is {self.service.state.run.state}, not idle; see `underback status`")
        self._pass("nodes", "heater node, probes and switches speak, and the heater node acknowledges OFF")

    async def _identity(self, role: str) -> None:
        """Is this the probe it is said to be? One in the warm hand moves, the others do not."""
        name = f"{role} probe"
        before = readings(await self.look.tick())
        self.hands.say(f"lift {role}", f"Take the {role} probe into your warm hand, or lift it out of the water.")
        still = f"did not move by {MOVED_K:g} K in {PERSON_S:g} s: another probe, or not this topic"
        await self._seen(name, lambda o: apart(before, readings(o), role) >= MOVED_K, PERSON_S, still)
        after = readings(await self.look.tick())
        astray = [other for other in after if other != role and apart(before, after, other) > OTHERS_K]
        if astray:
            self._fail(name, f"{', '.join(astray)} moved as well: two roles read one probe, or the probes are swapped")
        self.hands.say(f"back {role}", f"Put the {role} probe back where it belongs.")
        away = f"did not come back to within {BACK_K:g} K of {before[role]:.1f} °C"
        await self._seen(name, lambda o: apart(before, readings(o), role) <= BACK_K, PERSON_S, away)
        moved_k = apart(before, after, role)
        text = f"moved by {moved_k:.1f} K in the hand, the others did not, and came back"
        self._pass(name, text, moved_k, MOVED_K, "K")

    # ------------------------------------------------------------ heat

    async def _hot(self, trial: str, within_s: float) -> float:
        """Wait until heat is commanded and reported."""
        took = await self._until(lambda o: o.state.guard.line.duty > 0.0 and reported(o) > 0.0, within_s)
        if took is None:
            why = "; ".join(t.text for t in self.service.state.guard.trips) or "no heat was reported"
            self._fail(trial, f"no heat within {within_s:g} s: {why}")
        return took

    async def _on(self) -> None:
        """Does the heater come on, and does the water warm?"""
        assert self.water is not None
        sure = {"program": "tryout", "hand_c": self.water.hand_c, "here": True, "attended": True}
        await self._until(lambda o: o.view.ready, REQUALIFY_S)
        await self._must("heater on", "start", sure)
        took = await self._hot("heater on", ON_S)
        began_c = mash_c(self.look.outcome)
        within = self._rise_s()
        rose = await self._until(lambda o: mash_c(o) - began_c >= RISE_K, within)
        if rose is None:
            self._fail("heater on", f"reported on, but the water did not warm by {RISE_K:g} K", within, within, "s")
        text = f"heat reported {took:.0f} s after the order; the water rose by {RISE_K:g} K in {rose:.0f} s"
        self._pass("heater on", text, rose, within, "s")

    def _rise_s(self) -> float:
        """How long may a rise of half a kelvin take at the most? Twice the plan's pace, and the tun's lags."""
        tun, pace = self.settings.tun, self._pace_k_per_s()
        lags_s = tun.guard.dead_time_s + 4.0 * tun.probes.mash.lag_s + heat_path(tun).bath_settles_s
        return 2.0 * RISE_K / pace + lags_s

    def _pace_k_per_s(self) -> float:
        run = self.service.state.run
        assert run.course is not None
        path = heat_path(self.settings.tun)
        capacity_j_per_k = run.course.legs[0].capacity_j_per_k + path.bath_j_per_k
        return min(self.settings.tun.climb_k_per_s, path.power_w / capacity_j_per_k)

    async def _off(self) -> None:
        """Does `hold` take the heat away at once?"""
        await self._must("heater off", "hold")
        took = await self._until(lambda o: reported(o) <= 0.0, 30.0)
        self._judge_off("heater off", "off reported {:.0f} s after `hold`", took)
        await self._cold()

    async def _cold(self) -> None:
        """Told off, does it stay without heat? A stuck switch reports what it was told, the water what it gets."""
        tun = self.settings.tun
        await self._until(lambda o: False, tun.guard.dead_time_s + 3.0 * tun.probes.mash.lag_s)
        before = mash_c(self.look.outcome)
        await self._until(lambda o: False, STAYS_S)
        rose, limit = mash_c(self.look.outcome) - before, max(0.2, STAYS_SHARE * self._pace_k_per_s() * STAYS_S)
        if not (rose <= limit):
            why = "the switch may be stuck closed; cut the mains by hand"
            text = f"told to be off, the water rose by {rose:.1f} K (limit {limit:.1f} K): {why}"
            self._fail("no heat when off", text, rose, limit, "K")
        self._pass("no heat when off", f"the water moved by {rose:+.1f} K in {STAYS_S:.0f} s", rose, limit, "K")

    def _judge_off(self, name: str, text: str, took: float | None) -> None:
        if took is None or took > ANSWER_S:
            late = "not within 30 s" if took is None else f"only after {took:.0f} s"
            why = f"off was reported {late}; cut the mains by hand and look at the node"
            self._fail(name, why, took, ANSWER_S, "s")
        self._pass(name, text.format(took), took, ANSWER_S, "s")

    async def _lease(self) -> None:
        """Commands stop: does the node fall to off by itself?"""
        lease = self.settings.tun.heater.lease_s
        await self._again("lease")
        self.hushed.hush(lease + SILENT_MORE_S)
        last, off_at = self.hushed.sent_at, math.inf
        while self._now() < last + lease + SILENT_MORE_S - 1.0:
            on = reported(await self.look.tick()) > 0.0
            off_at = math.inf if on else min(off_at, self._now())
        took, limit = off_at - last, lease + ANSWER_S
        if not (took <= limit):
            self._fail("lease", f"commands stopped, and the heater was still on {limit:g} s later: it keeps no lease")
        self._pass("lease", f"commands stopped; the node went off by itself {took:.0f} s later", took, limit, "s")
        await self._hot("lease", REQUALIFY_S)

    async def _again(self, trial: str) -> None:
        """`restart`, and heat once more."""
        await self._until(lambda o: o.view.ready and o.state.run.state is RunState.HELD, REQUALIFY_S)
        if self.service.state.run.state is RunState.HELD:
            await self._must(trial, "restart")
        await self._hot(trial, ON_S)

    async def _switch(self, name: str, of: Callable[[Outcome], Switch | None]) -> None:
        """Does this switch, tripped by hand, take the heat away?"""
        self.hands.say(f"trip {name}", TRIP_IT[name])
        unseen = f"the {name} switch was not seen to open within {PERSON_S:g} s"
        await self._seen(name, lambda o: says(of(o), False), PERSON_S, unseen)
        within = TRIPS_S + (self.settings.tun.guard.flow_proof_s if name == "flow" else 0.0)
        tripped = await self._until(lambda o: any(trip.id == "G13" for trip in o.state.guard.trips), within)
        took = await self._until(lambda o: o.state.guard.line.duty <= 0.0 and reported(o) <= 0.0, 30.0)
        self.hands.say(f"restore {name}", f"Put the {name} back as it was, and press the heater node's reset button.")
        if tripped is None:
            self._fail(name, f"the {name} switch opened under heat and {BY_ID['G13'].name} did not trip")
        self._judge_off(name, "off reported {:.0f} s after the trip", took)
        await self._healed(name, "G13", lambda o: name == "flow" or says(of(o), True))

    async def _healed(self, name: str, trip: str, well: Callable[[Outcome], bool]) -> None:
        """The cause is gone: clear where a person has to, restart, and heat again."""
        await self._seen(name, well, PERSON_S, f"the {name} switch did not close again within {PERSON_S:g} s")
        off_s = self.settings.tun.guard.requalify_off_s
        await self._until(lambda o: not o.view.latched, off_s + 5.0)
        if any(t.latched for t in self.service.state.guard.trips):
            await self._found(name, trip)
        await self._until(lambda o: o.view.ready or o.state.guard.line.duty > 0.0, REQUALIFY_S)
        if self.service.state.run.state is RunState.HELD and self.service.state.run.hold.by != "trip":
            await self._must(name, "restart")
        await self._hot(name, REQUALIFY_S)

    async def _found(self, name: str, trip: str) -> None:
        """Clear what this trial has tripped, and with it the count of trips, which it fills on purpose."""
        await self._must(name, "clear", {"inspected": True}, trip)
        if any(t.id == "G24" for t in self.service.state.guard.trips):
            await self._must(name, "clear", {"inspected": True}, "G24")

    async def _limit(self) -> None:
        """A hard limit pretended just above the water: does reaching it take the heat away, for a person to clear?"""
        limit = min(self.settings.tun.guard.hard_limit_c, mash_c(self.look.outcome) + PRETENDED_K)
        self.service.settings = tightened(self.settings, limit)
        within = 3.0 * PRETENDED_K / self._pace_k_per_s() + REQUALIFY_S
        cold = f"the water did not reach {limit:.1f} °C within {within:.0f} s"
        await self._seen("hard limit", lambda o: any(t.id == "G07" for t in o.state.guard.trips), within, cold)
        off = await self._until(lambda o: reported(o) <= 0.0, 30.0)
        self._judge_off("hard limit", f"pretended at {limit:.1f} °C: off reported {{:.0f}} s after the trip", off)
        answer = await self._order("restart")
        self.service.settings = self.settings
        if answer.accepted:
            self._fail("clear", "`restart` was accepted although the hard limit had latched")
        await self._until(lambda o: False, self.settings.tun.guard.requalify_off_s + 5.0)
        await self._found("clear", "G07")
        if await self._until(lambda o: o.state.guard.line.duty > 0.0, 10.0) is not None:
            self._fail("clear", "heat returned by the clear alone")
        self._pass("clear", "after the trip `restart` was refused, and the clear brought no heat")
