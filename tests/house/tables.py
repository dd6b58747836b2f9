"""The guard's and the orders' tables, as Markdown, printed from the code.

`python -m tests.house.tables` writes them into DEVELOPERS.md and README.md between their marks.
"""

from __future__ import annotations

from controller.core.guard.registry import TABLE, Interlock
from controller.core.nouns import RunState
from controller.core.procedure import who_moves as moves
from controller.core.procedure.orders import envelope as orders
from controller.settings import guard_limits as limits
from tests.places import ROOT

BEGIN, END = "<!-- tables:begin -->", "<!-- tables:end -->"
TRIPS_BEGIN, TRIPS_END = "<!-- trips:begin -->", "<!-- trips:end -->"
WAITS = {"latched": "for you", "requalified": "a minute without heat", "itself": "-"}
PRIORITY = {1: "act now", 2: "act soon", 3: "note"}


def interlocks() -> str:
    rows = [
        "| id | what | limit | clears | deadline | priority | idle too |",
        "| --- | --- | --- | --- | --- | --- | --- |",
    ]
    by_name = {row.name: row for row in limits.table()}
    for row in TABLE:
        limit = by_name.get(row.field)
        figure = f"{limit.default:g} {_unit(limit, row)}({limit.low:g} to {limit.high:g})" if limit else "-"
        deadline = "-" if row.deadline_s is None else f"{row.deadline_s:g} s"
        always = "yes" if row.always else "no"
        cells = [row.id, row.name, figure, row.clears, deadline, PRIORITY[row.priority], always]
        rows.append("| " + " | ".join(cells) + " |")
    return "\n".join(rows)


def _unit(limit: limits.Row, row: Interlock) -> str:
    """The limit's own unit; a count is one of what the interlock speaks of, a factor has none."""
    counted = row.unit if row.unit not in ("s", "K", "°C") else ""
    unit = limit.unit or counted
    return f"{unit} " if unit else ""


def limit_rows() -> str:
    rows = ["| key in `[guard]` | for | default | range | unit | source |", "| --- | --- | --- | --- | --- | --- |"]
    for row in limits.table():
        span = f"{row.low:g} to {row.high:g}"
        rows.append(f"| {row.key} | {row.interlock} | {row.default:g} | {span} | {row.unit or '-'} | {row.source} |")
    return "\n".join(rows)


def order_table() -> str:
    names = list(orders.ALLOWED)
    rows = ["| state | " + " | ".join(names) + " |", "| --- |" + " --- |" * len(names)]
    for state in RunState:
        cells = ["yes" if state in orders.ALLOWED[name] else "." for name in names]
        rows.append(f"| {state} | " + " | ".join(cells) + " |")
    return "\n".join(rows)


def move_table() -> str:
    rows = ["| stage | heater | stirrer | pump | rest clock | goes on when |", "| --- | --- | --- | --- | --- | --- |"]
    for row in moves.TABLE:
        later = {"later": f"off, on after {moves.PUMP_REST_S:g} s"}
        cells = [row.stage, row.heater, later.get(row.stirrer, row.stirrer), later.get(row.pump, row.pump)]
        rows.append("| " + " | ".join([*cells, row.clock, row.goes_on]) + " |")
    return "\n".join(rows)


def text() -> str:
    parts = [
        "### Interlocks",
        interlocks(),
        "### Limits",
        limit_rows(),
        "### Orders by state",
        "A dot is a refusal with a sentence and no effect.",
        order_table(),
        "### Who moves what",
        move_table(),
    ]
    return "\n\n".join(parts)


def trips() -> str:
    """What a brewer may read at the tun: every interlock, what it waits for and what to do."""
    rows = ["| id | what | waits | what to do |", "| --- | --- | --- | --- |"]
    return "\n".join([*rows, *(f"| {row.id} | {row.name} | {WAITS[row.clears]} | {row.do} |" for row in TABLE)])


def printed(page: str = "DEVELOPERS.md", begin: str = BEGIN, end: str = END) -> str:
    """What a page holds between the marks."""
    return (ROOT / page).read_text(encoding="utf-8").split(begin)[1].split(end)[0].strip()


def write(page: str, begin: str, end: str, filling: str) -> None:
    """Put a table between the marks of a page."""
    path = ROOT / page
    before, rest = path.read_text(encoding="utf-8").split(begin)
    path.write_text(f"{before}{begin}\n\n{filling}\n\n{end}{rest.split(end)[1]}", encoding="utf-8")


def main() -> None:
    write("DEVELOPERS.md", BEGIN, END, text())
    write("README.md", TRIPS_BEGIN, TRIPS_END, trips())


if __name__ == "__main__":
    main()
