"""Work out one thing by itself: a sum of the trade, with quantities in any unit.

underback reckon                            which sums there are, each with an example
underback reckon blend total="60 kg" wanted="72.4 °C" hot="78 °C" cold="12 °C"
underback reckon wanted volume="22 gal" gravity="1.048 SG" --units US
"""

from __future__ import annotations

import argparse
import difflib
from collections.abc import Iterator

from pydantic_core import PydanticCustomError

from controller.commands.reckon.heat_sums import HEAT
from controller.commands.reckon.pull_sums import PULL
from controller.commands.reckon.sums import Answer, Input, Sum, line
from controller.commands.reckon.water_sums import WATER
from controller.commands.reckon.wort_sums import WORT
from controller.commands.shared import terminal
from controller.commands.shared.exit_codes import DONE, Wrong
from controller.settings.table import read, show

SUMS = {one.name: one for one in (*HEAT, *PULL, *WORT, *WATER)}


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("sum", nargs="?", metavar="SUM", help=f"one of {', '.join(SUMS)}; none: what they are")
    parser.add_argument("given", nargs="*", metavar="KEY=VALUE", help='such as grist="20 kg"; none: what the sum takes')
    parser.add_argument("--json", action="store_true", help="print what went in and what came out, in base units")


def run(args: argparse.Namespace) -> int:
    if args.sum is None:
        terminal.show(args.json, sorted(SUMS), _all())
        return DONE
    chosen = _named(args.sum)
    if not args.given:
        terminal.show(args.json, [one.key for one in chosen.inputs], _takes(chosen))
        return DONE
    values = read_all(chosen, args.given)
    answers = worked(chosen, values)
    document = {"sum": chosen.name, "given": values, "answers": {one.label: one.value for one in answers}}
    taken = [f"{one.key} {show(one.mark.kind, values[one.key])}" for one in chosen.inputs if one.key in values]
    terminal.show(args.json, document, [", ".join(taken), "", *(f"  {line(one)}" for one in answers)])
    return DONE


def _named(name: str) -> Sum:
    if name in SUMS:
        return SUMS[name]
    near = difflib.get_close_matches(name, SUMS, n=1, cutoff=0.5)
    raise Wrong(
        f"sum: found {name!r}, wanted one of {', '.join(SUMS)}" + (f"; did you mean {near[0]!r}?" if near else "")
    )


def worked(chosen: Sum, values: dict[str, float]) -> list[Answer]:
    """The answers. Raises Wrong where these values have none."""
    try:
        return list(chosen.work(values))
    except (ValueError, ZeroDivisionError) as why:
        raise Wrong(f"{chosen.name}: {why}") from None


def read_all(chosen: Sum, given: list[str]) -> dict[str, float]:
    """What goes in, in base units. Raises Wrong with everything that is wrong of it."""
    by_key, problems = {one.key: one for one in chosen.inputs}, []
    values = {one.key: one.default for one in chosen.inputs if one.default is not None}
    for word in given:
        key, _, text = word.partition("=")
        if key not in by_key:
            problems.append(f"{word}: found a key that is not known, wanted one of {', '.join(by_key)}")
            continue
        try:
            values[key] = _read(by_key[key], text)
        except PydanticCustomError as refused:
            problems.append(f"{key}: found {text!r}, wanted {refused.message()}")
    keys = [word.partition("=")[0] for word in given]
    told = set(keys) & set(by_key)
    problems += [f"{key}: found {keys.count(key)} times, wanted once" for key in by_key if keys.count(key) > 1]
    missing = [one for one in chosen.inputs if one.needed and one.key not in values and one.key not in told]
    problems += [f"{one.key}: found nothing, wanted such as {chosen.example}" for one in missing]
    if problems:
        raise Wrong(*problems)
    return values


def _read(one: Input, text: str) -> float:
    if one.mark.kind == "number":
        return read(one.mark, _number(text), from_file=False)
    return read(one.mark, text, from_file=True)


def _number(text: str) -> float | str:
    try:
        return float(text)
    except ValueError:
        return text


def _all() -> Iterator[str]:
    for one in SUMS.values():
        yield f"{one.name:<11} {one.question}"
        yield f"{'':<11}   underback reckon {one.name} {one.example}"


def _takes(chosen: Sum) -> Iterator[str]:
    yield chosen.question
    for one in chosen.inputs:
        usual = "" if one.default is None else f"{show(one.mark.kind, one.default)} unless said"
        optional = "" if one.needed or usual else "may be left out"
        yield f"  {one.key:<20} {'; '.join(part for part in (usual, optional, one.note) if part)}".rstrip()
    yield f"such as: underback reckon {chosen.name} {chosen.example}"
