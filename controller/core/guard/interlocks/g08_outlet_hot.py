"""G08: is what leaves the heater too hot? Where flow fails, a litre in a heater of 3 kW boils within a minute
(arithmetic), long before the mash knows of it.

Any raw reading cuts, 85.0 °C and values over 105 °C too: refused, they would pass for silence. Only a believed one
cools, or a -127 °C would end it. The price: one power-on value costs a minute of heat. Two at the upper limit, a
second apart, latch. Silence keeps it until the trip
waits for a person. Over the mash 12 K are borne, or twice what the plate's flow warms by.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import ClassVar, Self

from controller.core.guard import readings
from controller.core.guard.heater_line import looks_at_mash, node_says
from controller.core.guard.interlock import Finding, Interlock, Known, Note, Row
from controller.core.guard.readings import NOT_OVER, Over
from controller.core.guard.senses import EVERY, TICK_S, Senses
from controller.core.nouns import HIGHEST_C, LOWEST_C, Instant, Reading, RunState

WILD = "The outlet thermometer says {value:.1f} °C (limit {limit:g} °C): steam, or it is broken. Heat is off."
OVER = "Wort leaves the heater {value:.1f} K hotter than the mash (limit {limit:.0f} K). Heat is off."
GAP_K = 5.0  # over once the outlet is so far below its limit (own proposal) ...
NEAR_K = 2.0  # ... or so near the mash where that is warm: with no heat it gets no cooler (own proposal)
OVER_S = 5.0 - TICK_S  # the outlet may be far over the mash for less than 5 s
AGAIN_S = (60.0, 600.0)  # hot again after so long, within so long: it waits for a person (own proposal)
KEPT_HOT_S = 900.0  # silence keeps it hot for so long; the trip waits for a person by then
SILENT_S = 60.0  # the outlet probe has given no reading for so long (own proposal)
HOT_KEPT = 15


@dataclass(frozen=True, slots=True)
class OutletHot(Interlock):
    """By the probe or by the node's own thermometer. Once too hot it stays so until well below the limit."""

    ROW: ClassVar[Row] = Row(
        id="G08",
        name="outlet hot",
        field="outlet_limit_c",
        unit="°C",
        priority=1,
        clears="requalified",
        deadline_s=2.0,
        says="Wort leaves the heater at {value:.1f} °C; the limit is {limit:g} °C. Heat is off.",
        do="Flow may be too small: check pump, hose and bed.",
    )
    STATES: ClassVar[frozenset[RunState]] = EVERY

    hot_c: float | None = None  # it stands; the outlet was last heard at so much
    hot_at: tuple[Instant, ...] = ()  # when it was hot, or went over the mash
    heard_at: Instant | None = None  # an outlet temperature was last heard, the probe's or the node's own
    over_since: Instant | None = None  # the outlet is far over the mash
    row: Over = NOT_OVER  # looks at which it was at the upper limit, one after the other

    def watch(self, senses: Senses, known: Known) -> tuple[Self, Finding | None]:
        """Over its limit, far over the mash, or hot by the heater node's own word?"""
        report = senses.heater.report
        unfitted = senses.outlet is None and self.hot_c is None and (report is None or report.outlet_c is None)
        if unfitted and self.over_since is None:  # nothing at the outlet speaks, and nothing is remembered of it
            return self, self._by_node(senses, known)
        after, hot = self._looked(senses)._at_limit(senses)
        after, over = after._over_mash(senses, known)
        return after, hot or over or after._by_node(senses, known)

    def _looked(self, senses: Senses) -> Self:
        """Is it at the upper limit, by a value that a thermometer may give?"""
        raw = _raw(senses)
        row = self.row.heard(senses.now, any(senses.tun.guard.outlet_trip_c <= c <= HIGHEST_C for c in raw))
        return self if not raw or row is self.row else replace(self, row=row)

    def _at_limit(self, senses: Senses) -> tuple[Self, Finding | None]:
        limits = senses.tun.guard
        hot = [value for value in _raw(senses) if not (value < limits.outlet_limit_c)]
        if hot:
            worst_c = max(hot)
            again = self.hot_c is None and self._again(senses.now)
            latched, says = again or self.row.pair, "" if worst_c <= HIGHEST_C else WILD
            after = replace(self, heard_at=senses.now)._hot(senses.now, worst_c)
            return after, Finding(self.ROW, worst_c, limits.outlet_limit_c, latched, says=says)
        cool = _believed(senses)
        if not cool:
            return self._unheard(senses)
        after, worst_c = replace(self, heard_at=senses.now), max(cool)
        if self.hot_c is None:
            return after, None
        if worst_c < _cool_again_c(senses):
            return after._hot(senses.now, None), None
        return replace(after, hot_c=worst_c), Finding(self.ROW, worst_c, limits.outlet_limit_c)

    def _hot(self, now: Instant, hot_c: float | None) -> Self:
        """At or over its limit, °C, or just cool again (None)."""
        return replace(self, hot_c=hot_c, hot_at=(*self.hot_at[-HOT_KEPT:], now))

    def _again(self, now: Instant) -> bool:
        least_s, most_s = AGAIN_S
        return any(least_s < now - at < most_s for at in self.hot_at)

    def _unheard(self, senses: Senses) -> tuple[Self, Finding | None]:
        """Silence is no proof that the outlet is cool again: it stays too hot until the trip waits for a person."""
        if self.hot_c is None or self.heard_at is None:
            return self, None
        if senses.now - self.heard_at > KEPT_HOT_S:
            return replace(self, hot_c=None), None
        return self, Finding(self.ROW, self.hot_c, senses.tun.guard.outlet_limit_c)

    def _over_mash(self, senses: Senses, known: Known) -> tuple[Self, Finding | None]:
        """Does heat stay in the heater? In a pumped tun the outlet is far over the mash where flow fails."""
        plate, out, mash_c = known.plate, senses.outlet, senses.mash.seen.value_c
        watched = senses.tun.pump is not None and not plate.behind_heater and known.line.heats
        out_c = None if out is None else out.seen.value_c
        if not watched or out_c is None or mash_c is None or out_c - mash_c <= plate.outlet_over_mash_k:
            return self if self.over_since is None else replace(self, over_since=None), None
        since = senses.now if self.over_since is None else self.over_since
        if senses.now - since < OVER_S:
            return replace(self, over_since=since), None
        again = self._again(senses.now)
        after = replace(self, over_since=None, hot_at=(*self.hot_at[-HOT_KEPT:], senses.now))
        return after, Finding(self.ROW, out_c - mash_c, plate.outlet_over_mash_k, latched=again, says=OVER, unit="K")

    def _by_node(self, senses: Senses, known: Known) -> Finding | None:
        """Does the heater node report under heat that its own outlet is at its limit? At the mash that is G07's."""
        report, limits = senses.heater.report, senses.tun.guard
        if report is None or not report.fault or not known.line.heats or report.fault_code != "own_limit":
            return None
        if looks_at_mash(senses.tun):
            return None
        hot_c = 0.0 if report.outlet_c is None else report.outlet_c
        return Finding(self.ROW, hot_c, limits.outlet_limit_c, self.row.pair, says=node_says(report.fault))

    def notes(self, senses: Senses, known: Known) -> tuple[Note, ...]:
        """An outlet probe that says nothing, and what is not watched meanwhile."""
        if not senses.heated or senses.outlet is None:
            return ()
        said = readings.missing(senses.outlet, "outlet probe", senses.now - known.started_at, SILENT_S)
        if not said:
            return ()
        by_node = self.heard_at is not None and senses.now - self.heard_at <= SILENT_S
        watched = "is watched by the heater node's own thermometer alone" if by_node else "is not watched meanwhile"
        text = f"{said} Whether the outlet is hot (G08) {watched}. Check the probe, its plug and its network."
        return (Note("outlet", text, 2),)


def _raw(senses: Senses) -> list[float]:
    """Everything that was read at the outlet since the last tick, raw and corrected, true or not, °C."""
    probe, report = senses.tun.probes.outlet, senses.heater.report
    samples = senses.outlet.raw if senses.outlet is not None else ()
    raw = [s.value_c for s in samples if isinstance(s, Reading)]
    found = raw if probe is None else [*raw, *map(probe.calibrated, raw)]
    return found if report is None or report.outlet_c is None else [*found, report.outlet_c]


def _believed(senses: Senses) -> list[float]:
    """What shows that the outlet is cool, °C? No value outside what a thermometer there may read, and no false one."""
    seen, report = None if senses.outlet is None else senses.outlet.seen, senses.heater.report
    found = [] if seen is None or not seen.fresh or seen.value_c is None else [seen.value_c]
    node_c = None if report is None else report.outlet_c
    if node_c is not None and LOWEST_C <= node_c <= HIGHEST_C and not readings.false_value(node_c, None):
        found.append(node_c)
    return found


def _cool_again_c(senses: Senses) -> float:
    """Below which outlet temperature is it over, °C? An outlet gets no cooler than the mash that runs into it."""
    limit_c, mash_c = senses.tun.guard.outlet_limit_c, senses.mash.seen.value_c
    return limit_c - GAP_K if mash_c is None else max(limit_c - GAP_K, min(limit_c, mash_c + NEAR_K))
