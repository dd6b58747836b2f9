"""What do the files say? TOML in, checked tables out.

Every problem of a file at once, with the file, the line where it is cheap to name, the place, the value found and the
value wanted. Nothing here decides; it reads.
"""

from __future__ import annotations

import difflib
import hashlib
import os
import tomllib
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any, TypeVar

from controller.brewing.advice import advice
from controller.edge.files import shipped, toml_mistakes
from controller.plan import malt_lot, recipe_checks
from controller.plan.recipe import Program
from controller.settings.cross_checks import agree
from controller.settings.faults_in_words import found, read
from controller.settings.problems import Problem, Problems
from controller.settings.service import Service, Settings
from controller.settings.table import Table
from controller.settings.tun import Learned, Tun

T = TypeVar("T")
TableT = TypeVar("TableT", bound=Table)

MOST_BYTES = 256 * 1024  # the longest shipped file has 4 KiB
MOST_LEVELS = 20  # tables within tables; our own files have 4
EXCHANGE = {".json", ".xml"}


def config_dir(given: str | None, *, simulated: bool = False) -> Path:
    """In which folder are the files? `--config`, else UNDERBACK_CONFIG, else ./config, else /etc/underback.

    `simulated`: nothing real is touched, so that the files which came with the program will do where there are none.
    """
    named = given or os.environ.get("UNDERBACK_CONFIG")
    folder = Path(named) if named else next((p for p in (Path("config"), Path("/etc/underback")) if p.is_dir()), None)
    if folder is None and simulated:
        folder = shipped.folder()
    if folder is None:
        wanted = "a folder config/ (change into the folder that holds it), or --config DIR, or UNDERBACK_CONFIG; "
        wanted += "`underback init` lays one out"
        raise Problems([Problem("configuration", "neither ./config nor /etc/underback", wanted)])
    if not folder.is_dir():
        raise Problems([Problem(str(folder), "no such folder", "a folder with service.toml, tuns/ and programs/")])
    return folder


def names(folder: Path) -> list[str]:
    """Which files are there to choose from, by name? Recipes in an exchange format count among the programs."""
    endings = {".toml", *EXCHANGE} if folder.name == "programs" else {".toml"}
    return sorted({path.stem for path in folder.glob("*.*") if path.suffix in endings and path.is_file()})


# ---------------------------------------------------------------- tables


def load_tun(config: Path, name: str) -> Tun:
    """The tun of `tuns/NAME.toml`. Raises Problems."""
    path = _named(config / "tuns", name, "tun")
    data, text = table(path)
    value, problems = read(Tun, {**data, "name": path.stem}, agree)
    return _done(value, [*_name_key(path, data), *problems], path, text)


def load_service(config: Path, *keys: str) -> Service:
    """The service of `service.toml`; what it says by default when there is none. Raises Problems.

    `keys`: only these are looked at, whatever the rest of the file says.
    """
    path = config / "service.toml"
    if not there(path):
        return Service()
    data, text = table(path)
    data = {key: value for key, value in data.items() if key in keys} if keys else data
    return _checked(path, Service, data, text)


def load_program(config: Path, name_or_path: str) -> Program:
    """The rest program by name below `programs/`, or by path. Raises Problems."""
    path = program_path(config, name_or_path)
    if path.suffix.lower() in EXCHANGE:
        from controller.edge.files import recipes  # only where it is needed: it brings an XML parser

        return recipes.load(path)
    data, text = table(path)
    if "probes" in data and "heater" in data:
        wanted = f"a program; for this tun add --tun {path.stem} to a program's name"
        raise Problems([Problem(str(path), "a tun file", wanted)])
    placed = toml_mistakes.sort(with_malts(config, data))
    value, problems = read(Program, {**placed.data, "name": _stem(path)}, recipe_checks.agree)
    return _done(value, placed.problems([*_name_key(path, placed.data), *problems]), path, text)


def with_malts(config: Path, data: dict[str, Any]) -> dict[str, Any]:
    """A program's table with the figures of its malts' lots, `malts/LOT.toml`. Raises Problems of such a file."""

    def sheet(lot: str) -> malt_lot.Sheet | None:
        if lot not in names(config / "malts"):
            return None
        path = config / "malts" / f"{lot}.toml"
        written, text = table(path)
        return _checked(path, malt_lot.MaltLot, written, text), written

    return malt_lot.with_sheets(data, sheet)


def written_tun(config: Path, program: str) -> str:
    """Which tun does a program's file name, whatever else is wrong with it? Empty where it names none."""
    path = tried([], lambda: program_path(config, program))
    read = tried([], lambda: table(path)) if path is not None and path.suffix.lower() not in EXCHANGE else None
    named = read[0].get("tun") if read is not None else None
    return named if isinstance(named, str) else ""


def load_learned(service: Service, tun: str) -> Learned | None:
    """What was learned of this tun, if anything. Raises Problems when the file is wrong."""
    path = Path(service.data_dir) / "learned" / f"{tun}.toml"
    return _checked(path, Learned, *table(path)) if there(path) else None


def load_advice(config: Path) -> advice.Changes:
    """A brewery's own levels, figures and texts for the advice: `advice.toml`, if there is one. Raises Problems."""
    path = config / "advice.toml"
    if not there(path):
        return {}
    data, text = table(path)
    tables = {rule: own for rule, own in data.items() if isinstance(own, dict)}
    wanted = "a table with level, figures or texts of the rule"
    problems = [Problem(rule, found(own), wanted, (rule,)) for rule, own in data.items() if rule not in tables]
    problems += [Problem(*bad, tuple(bad.where.split(": "))) for bad in advice.unfit(tables)]
    return _done(data, problems, path, text)


def settings(config: Path, tun_name: str | None, *, learned: bool = True) -> Settings:
    """Tun and service together; the only tun when none is named. Raises Problems, those of both files at once.

    `learned`: also what a water run showed of the tun.
    """
    problems: list[Problem] = []
    tun = tried(problems, lambda: load_tun(config, tun_name or only_tun(config)))
    service = tried(problems, lambda: load_service(config))
    if tun is None or service is None:
        raise Problems(problems)
    return Settings(tun, service, digest(config, tun.name), load_learned(service, tun.name) if learned else None)


def tried(problems: list[Problem], load: Callable[[], T]) -> T | None:
    """What is loaded; None where it cannot be, and its problems are added to the others."""
    try:
        return load()
    except Problems as wrong:
        problems += wrong.problems
        return None


def only_tun(config: Path) -> str:
    """The name of the only tun. Raises Problems when there are several, or none."""
    known = names(config / "tuns")
    if len(known) == 1:
        return known[0]
    if not known:
        raise Problems([Problem(str(config / "tuns"), "no tun file", "at least one, such as tuns/gannet.toml")])
    raise Problems([Problem("--tun", "nothing", f"one of {', '.join(known)}: add --tun {known[0]}")])


def digest(config: Path, tun: str) -> str:
    """The configuration's mark: the same bytes in tun and service file, the same sixteen digits."""
    mark = hashlib.sha256()
    for path in (config / "tuns" / f"{tun}.toml", config / "service.toml"):
        mark.update(path.read_bytes() if path.exists() else b"")
        mark.update(b"\0")
    return mark.hexdigest()[:16]


def _stem(path: Path) -> str:
    """The file's name without its ending, as text: a byte that is none in UTF-8 becomes a mark."""
    return os.fsencode(path.stem).decode("utf-8", "replace")


def _name_key(path: Path, data: dict[str, Any]) -> list[Problem]:
    """A name inside the file would only contradict the file's own."""
    if data.get("name", path.stem) == path.stem:
        return []
    wanted = f'"{path.stem}", the file\'s own name, or no such key'
    return [Problem("name", f'"{str(data["name"])[:60]}"', wanted, ("name",))]


def _checked(path: Path, kind: type[TableT], data: dict[str, Any], text: str) -> TableT:
    return _done(*read(kind, data, lambda _: ()), path, text)


def _done(value: T | None, problems: Iterable[Problem], path: Path, text: str) -> T:
    placed = [at_line(problem, path, text) for problem in problems]
    if placed or value is None:
        raise Problems(placed)
    return value


# ---------------------------------------------------------------- from a name to a table


def program_path(config: Path, name_or_path: str) -> Path:
    """Which file is meant: a name below `programs/`, or a path? Raises Problems when there is no such file."""
    path = Path(name_or_path)
    if path.suffix.lower() in {".toml", *EXCHANGE} or len(path.parts) > 1 or _exists(path):
        inside = config / "programs" / path.name
        if len(path.parts) == 1 and not _exists(path) and _exists(inside):
            raise Problems([Problem(name_or_path, "no such file here", f'"{path.stem}", which is {inside}')])
        return _file(path)
    if _exists(Path(f"{name_or_path}.toml")) and name_or_path not in names(config / "programs"):
        wanted = f'"{name_or_path}.toml" for the file here: a file needs its ending or a path'
        raise Problems([Problem(f'program "{name_or_path[:60]}"', f"no such file in {config / 'programs'}", wanted)])
    return _named(config / "programs", name_or_path, "program")


def _named(folder: Path, name: str, what: str) -> Path:
    path = folder / f"{name}.toml"
    if what == "program" and not _exists(path):
        path = next((other for end in sorted(EXCHANGE) if _exists(other := folder / f"{name}{end}")), path)
    inside = "/" not in name and "\\" not in name and "\0" not in name and name not in ("", ".", "..")
    if inside and _exists(path):
        return _file(path)
    known = names(folder)
    near = difflib.get_close_matches(name, known, n=1, cutoff=0.5)
    wanted = f'"{near[0]}"?' if near else f"one of {', '.join(known)}" if known else f"a file below {folder}"
    raise Problems([Problem(f'{what} "{name[:60]}"', f"no such file in {folder}", wanted)])


def _exists(path: Path) -> bool:
    """Is there anything of that name? A name that no file can have is one that is not there."""
    try:
        return path.exists()
    except (OSError, ValueError):
        return False


def there(path: Path) -> bool:
    """Is there a file that may be left out? One that is not to be seen is a problem: it may say what matters."""
    try:
        return path.exists()
    except OSError as error:
        raise Problems([Problem(str(path), str(error.strerror), "a file that can be read, or none")]) from None


def _file(path: Path) -> Path:
    try:
        if path.is_file():
            return path
        instead = "a folder" if path.is_dir() else "no ordinary file" if path.exists() else "no such file"
    except (OSError, ValueError) as error:
        instead = str(error)
    raise Problems([Problem(str(path)[:200], instead, "a file")])


def content(path: Path) -> str:
    """The text of a file. Raises Problems when it is too long, not to be read, or not UTF-8."""
    try:
        size = path.stat().st_size
        if size > MOST_BYTES:
            raise Problems([Problem(str(path), f"{size / 1e6:.1f} MB", f"at most {MOST_BYTES // 1024} kB")])
        raw = path.read_bytes()
        return raw.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        byte = f"a byte that is not UTF-8 (0x{raw[error.start]:02x})"
        raise Problems([Problem(f"{path}:{line}", byte, "a text file in UTF-8")]) from None
    except OSError as error:
        raise Problems([Problem(str(path), str(error.strerror), "a file that can be read")]) from None


def table(path: Path) -> tuple[dict[str, Any], str]:
    """The file's TOML table and its text. Raises Problems when it is not TOML."""
    text = content(path)
    try:
        data = tomllib.loads(text)
        instead = "lists or tables nested too deeply" if _deeper(data, MOST_LEVELS) else None
    except tomllib.TOMLDecodeError as error:
        raise Problems([toml_mistakes.syntax(path, text, str(error))]) from None
    except RecursionError:
        instead = "lists or tables nested too deeply"
    except ValueError as error:
        instead = str(error).split(";")[0]
    if instead:
        raise Problems([Problem(str(path), instead, "TOML as in the examples")])
    return data, text


def _deeper(value: Any, levels: int) -> bool:
    """Are there more tables and lists within each other than this? What reads them gives up at some depth."""
    inside = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    return any(levels == 0 or _deeper(one, levels - 1) for one in inside)


# ---------------------------------------------------------------- the line of a key


def at_line(problem: Problem, path: Path, text: str) -> Problem:
    """The problem with its file, and its line where that can be told."""
    line = line_of(text, problem.path)
    place = f"{path}:{line}" if line else str(path)
    where = f"{place}: {problem.where}" if problem.where != "the file" else place
    return problem._replace(where=where)


def line_of(text: str, path: tuple[str | int, ...]) -> int | None:
    """On which line does this key stand? The nearest line above it that can be found; None when nothing can."""
    tables = [str(part) for part in path if not isinstance(part, int)]
    counts = next((part for part in path if isinstance(part, int)), None)
    best: int | None = None
    header: list[str] = []
    seen = -1
    for number, raw in enumerate(text.splitlines(), 1):
        line = raw.strip()
        if line.startswith("["):
            header = [part.strip().strip('"') for part in line.strip("[] \t").split("#")[0].rstrip("] ").split(".")]
            seen += counts is not None and line.startswith("[[") and header == tables[:1]
        here = header == tables[: len(header)] and header and (counts is None or seen == counts)
        if here and line.startswith("[") and best is None:
            best = number
        key = line.split("=", 1)[0].strip().strip('"') if "=" in line and not line.startswith("#") else ""
        if key and (here or not header) and [*header, *key.split(".")] == tables[: len(header) + key.count(".") + 1]:
            best = number
    return best
