"""Which tables are printed from the code, and on which pages do they stand?

`python -m tests.house.tables` writes each one between the marks of its page. The guard's and the procedure's are for
those who work on the rooms, the trips for a brewer at the tun.
"""

from __future__ import annotations

from collections.abc import Callable

from controller.core.guard.interlock import Row
from controller.core.guard.registry import ALL
from controller.core.nouns import RunState
from controller.core.procedure import who_moves
from controller.core.procedure.orders import envelope
from controller.settings import guard_limits as limits
from tests.places import ROOT

BEGIN, END = "<!-- tables:begin -->", "<!-- tables:end -->"
WAITS = {"latched": "for you", "requalified": "a minute without heat", "evidence": "good readings"}
PRIORITY = {1: "act now", 2: "act soon", 3: "note"}
USUAL = "own proposal"
EVERY = frozenset(RunState)
TABLE = sorted([(i.ROW, i.STATES) for i in ALL], key=lambda entry: entry[0].id)


def guard() -> str:
    """Every interlock with its figures, then the figures that belong to no single one."""
    head = ["id", "what", "clears", "deadline", "priority", "asked in", "in `[guard]`: default (range)"]
    names = {row.id for row, _ in TABLE}
    rest = [row for row in limits.table() if row.interlock not in names]
    others = [_row("-", row.interlock, "-", "-", "-", "-", _figure(row)) for row in rest]
    return "\n".join([_row(*head), _rule(head), *(_interlock(row, states) for row, states in TABLE), *others])


def _interlock(row: Row, states: frozenset[RunState]) -> str:
    figures = "; ".join(_figure(limit) for limit in limits.table() if limit.interlock == row.id)
    deadline = "-" if row.deadline_s is None else f"{row.deadline_s:g} s"
    return _row(row.id, row.name, row.clears, deadline, PRIORITY[row.priority], in_states(states), figures or "-")


def in_states(states: frozenset[RunState]) -> str:
    """In which states is it asked, in words?"""
    others = [state for state in RunState if state not in states]
    if not others:
        return "always"
    if len(others) < len(states):
        return f"always but {', '.join(others)}"
    return ", ".join(state for state in RunState if state in states) or "-"


def _figure(limit: limits.LimitRow) -> str:
    """A limit in words: key, default and range, and its source where that is not the usual one."""
    unit = f" {limit.unit}" if limit.unit not in ("", "-") else ""
    source = "" if limit.source == USUAL else f" [{limit.source}]"
    return f"{limit.key} {limit.default:g}{unit} ({limit.low:g} to {limit.high:g}){source}"


def procedure() -> str:
    """Which order is heard in which state, and who moves what at which stage."""
    parts = ["A dot is a refusal with a sentence and no effect.", order_table(), move_table()]
    return "\n\n".join(parts)


def order_table() -> str:
    names = list(envelope.ALLOWED)
    head = ["state", *names]
    rows = [_row(state, *("yes" if state in envelope.ALLOWED[name] else "." for name in names)) for state in RunState]
    return "\n".join([_row(*head), _rule(head), *rows])


def move_table() -> str:
    head = ["stage", "heater", "stirrer", "pump", "rest clock", "goes on when"]
    later = {"later": f"off, on after {who_moves.PUMP_REST_S:g} s"}
    motors = {
        row.stage: (later.get(row.stirrer, row.stirrer), later.get(row.pump, row.pump)) for row in who_moves.TABLE
    }
    rows = [_row(row.stage, row.heater, *motors[row.stage], row.clock, row.goes_on) for row in who_moves.TABLE]
    return "\n".join([_row(*head), _rule(head), *rows])


def trips() -> str:
    """What a brewer may read at the tun: every interlock, what it waits for and what to do."""
    head = ["id", "what", "waits", "what to do"]
    rows = [_row(row.id, row.name, WAITS[row.clears], row.do) for row, _ in TABLE]
    return "\n".join([_row(*head), _rule(head), *rows])


def _row(*cells: str) -> str:
    return f"| {' | '.join(cells)} |"


def _rule(head: list[str]) -> str:
    return _row(*("---" for _ in head))


PAGES: dict[str, Callable[[], str]] = {
    "controller/core/guard/README.md": guard,
    "controller/core/procedure/README.md": procedure,
    "config/troubleshoot.md": trips,
}


def printed(page: str) -> str:
    """What a page holds between the marks."""
    return (ROOT / page).read_text(encoding="utf-8").split(BEGIN)[1].split(END)[0].strip()


def write(page: str) -> None:
    """Put its table between the marks of a page."""
    path = ROOT / page
    before, rest = path.read_text(encoding="utf-8").split(BEGIN)
    path.write_text(f"{before}{BEGIN}\n\n{PAGES[page]()}\n\n{END}{rest.split(END)[1]}", encoding="utf-8")


def main() -> None:
    for page in PAGES:
        write(page)


if __name__ == "__main__":
    main()
