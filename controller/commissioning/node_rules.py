"""Which rules must a field node keep, what was found, and what does somebody do whose node breaks one?

The rules are those of config/wiring.md, sections 4 and 5, each with its word for the table.
"""

from __future__ import annotations

from typing import Any, Literal, NamedTuple, Protocol

from controller.settings.tun import Tun

Result = Literal["passed", "failed", "not tried"]


class Rule(NamedTuple):
    """One rule: its name in the table, what must be, and what to do where it is not."""

    id: str
    text: str
    do: str


class Verdict(NamedTuple):
    """What became of one rule."""

    part: str
    rule: Rule
    result: Result
    found: str


class Hands(Protocol):
    """The person at the node, or what stands in for one."""

    async def do(self, key: str, text: str) -> bool:
        """Is this done? False when nobody is there to do it. `key` names it, for a script."""


class Nobody:
    """No person is there: what needs one is not tried."""

    async def do(self, key: str, text: str) -> bool:
        return False


UNTRIED = "needs a person at the node"
_STRICT = "read strictly: finite numbers, each key once, nothing around the object, 1 KiB at most"
HEATER = (
    Rule("reports", "says what it does on heater/report", "check supply, topics, and the broker's rights"),
    Rule("readable", "its report holds what the contract names", "see heater/report in config/wiring.md"),
    Rule("unasked", "a report at least every 2 s, unasked", "send one by a timer, whatever else happens"),
    Rule("counted", "`n` rises by one with each report", "count them from power-up"),
    Rule("kept", "its report is never retained", "send heater/report with the retain flag off"),
    Rule("there", "`true`, retained, on heater/online", "say so after each connect"),
    Rule("off uncommanded", "off while nobody commands", "start off; look at the output's wiring"),
    Rule("heat", "obeys a well-formed command", "read the fault in its report"),
    Rule("answer", "a report for each command taken, within a second", "report at once, not at the next beat"),
    Rule("present duty", "`duty` is the output of this moment", "report the pin, not what was asked"),
    Rule("off", '`{"duty": 0}` alone is an OFF', "judge OFF before epoch, sequence and validity"),
    Rule("off from anybody", "an OFF of a former owner is obeyed", "judge OFF before epoch, sequence and validity"),
    Rule("lease", "heat lasts `valid_s`, no longer", "hold the lease on the node's own clock, in the loop of the pin"),
    Rule("ceiling", "no lease lasts longer than 10 s", "cut `valid_s` at 10 s"),
    Rule("epoch", "no heat from a lower epoch", "keep the highest epoch since power-up"),
    Rule("takeover", "a higher epoch begins its sequence anew", "compare epoch first, then sequence"),
    Rule("sequence", "no heat from a sequence that does not rise", "keep the newest sequence of the epoch"),
    Rule("wall clock", "judges nothing by `at`", "leave `at` alone: it is for people"),
    Rule("truth value", "`true` is no number", _STRICT),
    Rule("text", 'text such as "1" is no number', _STRICT),
    Rule("no number", "NaN, Infinity and 1e999 are refused", _STRICT),
    Rule("key twice", "a key given twice is refused", _STRICT),
    Rule("too long", "more than 1 KiB is refused", _STRICT),
    Rule("strict JSON", "what is not strict JSON is refused", _STRICT),
    Rule("out of range", "a share outside 0..1, no validity, a broken sequence are refused", "check every range"),
    Rule("missing", "heat without epoch, sequence or validity is refused", "heat needs all four"),
    Rule("rest", "a contactor or burner stays off for 10 s", "count from the moment the output went off"),
    Rule("level word", "its level switch speaks each second", "send it by a timer, and at each change"),
    Rule("flow word", "its flow switch speaks each second", "send it by a timer, and at each change"),
    Rule("last will", "`false`, retained, on heater/online once it is gone", "give the broker a last will at connect"),
    Rule("power-up", "off after power-up until commanded", "pull-down at the output, off before anything else"),
    Rule("new boot", "`boot` is a new word at each power-up", "draw it at random at start"),
    Rule("retained", "obeys no retained command", "look at the retain flag"),
    Rule("waiting", "obeys nothing that waited for it", "connect with a clean session"),
    Rule("own limit", "off at the limit of its own thermometer", "the limit belongs into the node, beside the pin"),
    Rule("own probe", "off when its own thermometer is silent", "an input that is fitted and silent counts as bad"),
    Rule("no liquid", "off without liquid", "read the contact in the loop of the pin"),
    Rule("no flow", "off without flow", "read the contact in the loop of the pin"),
    Rule("switch stuck", "power with the output off is told", "try it with the cut-out's test, or by wire"),
)
PROBE = (
    Rule("readings", "says what it measures on its topic", "check supply, topic, and the broker's rights"),
    Rule("readable", "a number where the tun's file says", "see `pointer` and `unit` in the tun's file"),
    Rule("pace", "a reading at least every 3 s", "once a second is best"),
    Rule("new", "`seq` rises with each reading", "number each new measurement, and send none twice"),
    Rule("kept", "no reading is retained", "send readings with the retain flag off"),
    Rule("possible", "the value is one that a room or mash can have", "look at plug, supply and unit"),
    Rule("there", "`true`, retained, on its online topic", "say so after each connect"),
    Rule("follows", "a sensor in the hand is seen", "look which sensor this is"),
    Rule("silent", "no reading while its sensor is unplugged", "never send an old or a made-up value"),
    Rule("gone", "`false` on its online topic while its sensor is unplugged", "say so after three failures"),
    Rule("last will", "`false`, retained, on its online topic once it is gone", "give the broker a last will"),
    Rule("no backlog", "what could not be sent is dropped", "QoS 0 or a queue of one; nothing old after a gap"),
)


def rules(part: str, tun: Tun) -> tuple[Rule, ...]:
    """The rules of a heater node or of a probe's, as far as this tun has what they are about."""
    if part != "heater":
        return PROBE
    level = ("level word", "no liquid") if tun.level is None else ()
    flow = ("flow word", "no flow") if tun.flow is None else ()
    rest = () if tun.heater.kind in ("contactor", "gas") else ("rest",)
    return tuple(rule for rule in HEATER if rule.id not in (*level, *flow, *rest))


class Sheet:
    """What was found so far, rule by rule. What failed once stays failed."""

    def __init__(self, part: str, tun: Tun) -> None:
        self.part, self.rules = part, rules(part, tun)
        self._known = {rule.id for rule in self.rules}
        self._found: dict[str, tuple[Result, str]] = {}

    def judge(self, rule: str, kept: bool, found: str, broken: str = "") -> bool:
        """Note whether a rule was kept, and what was seen; `broken`: what to say where it was not."""
        before = self._found.get(rule)
        if rule in self._known and (before is None or before[0] != "failed"):
            self._found[rule] = ("passed", found) if kept else ("failed", broken or found)
        return kept

    def untried(self, why: str, *names: str) -> None:
        """Note why these rules were not tried."""
        for name in names:
            self._found.setdefault(name, ("not tried", why))

    def knows(self, rule: str) -> bool:
        """Is the rule one of this tun's?"""
        return rule in self._known

    def verdicts(self) -> list[Verdict]:
        """Every rule in its order."""
        default: tuple[Result, str] = ("not tried", "what comes before it failed")
        return [Verdict(self.part, rule, *self._found.get(rule.id, default)) for rule in self.rules]


def as_json(verdicts: list[Verdict]) -> list[dict[str, Any]]:
    """The table for programs; `do` only where there is something to do."""
    return [
        {"part": part, "rule": rule.id, "text": rule.text, "result": result, "found": found}
        | {"do": rule.do if result == "failed" else None}
        for part, rule, result, found in verdicts
    ]


def lines(verdicts: list[Verdict]) -> list[str]:
    """The table for a person: a line a rule; below a broken one, what to do."""
    said = []
    for part, rule, result, found in verdicts:
        word = result.upper() if result == "failed" else result
        said.append(f"{word:<9}  {part:<7} {rule.id:<17} {rule.text}{f' ({found})' if found else ''}")
        said += [f"{'':20} -> {rule.do}"] if result == "failed" else []
    return said
