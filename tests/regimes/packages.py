"""Do the Debian package and the installer leave nothing behind? In a chroot of Debian, from nothing to purged.

    sudo python -m tests.regimes.packages [--only deb] [--suite bookworm] [--base FOLDER]

The base system is made once by debootstrap in the tools' folder (`foreign.py`) and copied for each try. Package: built
there by systemd/build-deb.sh, installed, run, refused while a run is open, upgraded, gone back, purged. Installer: the
same by its verbs, with a broker. In the end every path that was not there before is one that was named as left. Needs
root, debootstrap and /usr/bin/python3 of the same Debian; what Python packages need comes through pip into a folder.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from controller.edge.record import line_format
from tests.places import ROOT
from tests.regimes import foreign
from tests.regimes.command import options

INCLUDED = "python3,python3-venv,mosquitto,openssl,systemd,adduser"
NEEDED = (
    "aiomqtt>=2.5.1,<3",
    "pydantic>=2.7,<3",
    "simple-pid>=2.0,<3",
    "structlog>=24.1",
    "jinja2>=3.1",
    "gpiod>=2.0.2",
)
BUILDERS = ("setuptools>=77", "wheel")
NOT_OURS = re.compile(r"/(proc|sys|dev|run|tmp|src-|wheels|var/(log|cache|lib/(dpkg|apt|systemd))|etc/ld\.so\.cache)")
BOOKS = ("passwd", "group", "shadow", "gshadow", "subuid", "subgid")  # and their copies with a dash
FIRST, SECOND = "0.1.0", "0.1.1"
LEFT = {"deb": {"group gpio"}, "installer": {"group gpio", "/var/backups/underback"}}


class Broken(AssertionError):
    """Something that had to go well did not, in words."""


class Chroot:
    """A small Debian below a folder."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def ran(self, *command: str, code: int = 0, **more: str) -> str:
        """What it says there. It must end with this code."""
        path = "/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin"
        clean = {"PATH": path, "HOME": "/root", "LC_ALL": "C.UTF-8", "DEBIAN_FRONTEND": "noninteractive", **more}
        done = subprocess.run(
            ["chroot", str(self.folder), *command], capture_output=True, text=True, check=False, env=clean
        )
        said = done.stdout + done.stderr
        if done.returncode != code:
            raise Broken(f"{' '.join(command)}: ended with {done.returncode}, wanted {code}\n{said[-1500:]}")
        return said

    def paths(self) -> set[str]:
        """Every path that could be of ours."""
        found = (str(path)[len(str(self.folder)) :] for path in self.folder.rglob("*"))
        return {path for path in found if not NOT_OURS.match(path) and "__pycache__" not in path}

    def people(self) -> set[str]:
        """Its users and groups."""
        etc = self.folder / "etc"
        return {f"{what} {line.split(':')[0]}" for what, book in (("user", "passwd"), ("group", "group"))
                for line in (etc / book).read_text().splitlines()}  # fmt: skip

    def world(self) -> set[str]:
        return self.paths() | self.people()

    def record(self, state: str) -> None:
        """Leave the record of a run in this state."""
        folder = self.folder / "var/lib/underback/record/gannet"
        folder.mkdir(parents=True, exist_ok=True)
        keep = {"n": 1, "kind": "keep", "state": {"run": {"state": state}}}
        lines = [{"n": 0, "kind": "header", "format": 1}, keep]
        (folder / "00000001-run.jsonl").write_bytes(b"".join(line_format.line(line) for line in lines))

    def works(self, version: str) -> None:
        """Check, dry run, as root and as the service's user; the version is this one."""
        code = "import controller; print(controller.__version__)"
        found = self.ran("/opt/underback/current/bin/python", "-I", "-c", code).strip()
        if found != version:
            raise Broken(f"version {found}, wanted {version}")
        for user in ("root", "underback"):
            words = "cd /tmp && underback check linnet && underback dryrun linnet --json"
            said = self.ran("runuser", "-u", user, "--", "env", "UNDERBACK_CONFIG=/etc/underback", "sh", "-c", words)
            ran, _ = json.JSONDecoder().raw_decode(said[said.index("\n{") + 1 :])
            if ran["result"] != "complete":
                raise Broken(f"as {user}: the dry run does not complete")


def base(suite: str, folder: str) -> Path:
    """The base system, made once."""
    place = Path(folder) if folder else foreign.TOOLS / f"debian-{suite}"
    if not (place / "usr/bin/python3").exists():
        if os.getuid() or shutil.which("debootstrap") is None:
            raise foreign.Missing("root, and debootstrap (Debian: apt install debootstrap)")
        shutil.rmtree(place, ignore_errors=True)
        foreign.ran(["debootstrap", "--variant=minbase", f"--include={INCLUDED}", suite, str(place)])
    return place


def wheels() -> Path:
    """What pip has to find, for the Debian's own Python."""
    folder = foreign.TOOLS / "wheels"
    if not any(folder.glob("pydantic-*.whl")):
        python = foreign.python("wheels-maker", interpreter="/usr/bin/python3")
        foreign.ran([str(python), "-m", "pip", "download", "--quiet", "-d", str(folder), *NEEDED, *BUILDERS])
    return folder


def source(folder: Path, version: str) -> None:
    """The tree, under this version's number."""
    skipped = shutil.ignore_patterns("__pycache__", ".git", ".venv*", "data", "operator", "tests", ".*_cache")
    shutil.copytree(ROOT, folder, ignore=skipped)
    for name in ("pyproject.toml", "controller/__init__.py"):
        text = (folder / name).read_text(encoding="utf-8")
        (folder / name).write_text(re.sub(r'^((?:__)?version(?:__)? = )"[^"]+"', rf'\1"{version}"', text, flags=re.M))


def fresh(folder: Path, suite: str, place: str) -> Chroot:
    """A copy of the base with two versions of the source and what pip needs."""
    target = folder / "root"
    foreign.ran(["cp", "-a", "--reflink=auto", str(base(suite, place)), str(target)])
    shutil.copytree(wheels(), target / "wheels")
    for version in (FIRST, SECOND):
        source(target / f"src-{version}", version)
    return Chroot(target)


def refused(there: Chroot, *command: str, code: int) -> None:
    """While a run is open this changes nothing, and says so."""
    there.record("running")
    if "a run is open: gannet" not in there.ran(*command, code=code):
        raise Broken(f"{' '.join(command)}: refused, but not for the open run")
    there.record("complete")


def package(there: Chroot) -> set[str]:
    """The package's whole life. What is left at the end that was not there before."""
    for version in (FIRST, SECOND):
        there.ran("bash", f"/src-{version}/systemd/build-deb.sh", "--find-links", "/wheels", "/tmp")
    before = there.world()
    first, second = (f"/tmp/{next((there.folder / 'tmp').glob(f'underback_{v}_*.deb')).name}" for v in (FIRST, SECOND))
    install = ("apt-get", "install", "-y", "--allow-downgrades")
    there.ran(*install, first)
    there.works(FIRST)
    own = there.folder / "etc/underback/tuns/plover.toml"
    own.write_text(own.read_text(encoding="utf-8") + "# our own\n", encoding="utf-8")
    refused(there, *install, second, code=100)
    there.ran(*install, second)
    there.works(SECOND)
    there.ran(*install, first)
    there.works(FIRST)
    if "# our own" not in own.read_text(encoding="utf-8"):
        raise Broken("an edited file was replaced")
    refused(there, "apt-get", "purge", "-y", "underback", code=100)
    there.ran("apt-get", "purge", "-y", "underback")
    return there.world() - before


def installer(there: Chroot) -> set[str]:
    """The installer's whole life, with a broker."""

    def script(version: str, *words: str, code: int = 0) -> str:
        return there.ran("bash", f"/src-{version}/systemd/install.sh", "--find-links", "/wheels", *words, code=code)

    before = there.world()
    script(FIRST, "--broker", "gannet", "install")
    there.works(FIRST)
    refused(there, "bash", f"/src-{SECOND}/systemd/install.sh", "--find-links", "/wheels", "upgrade", code=1)
    script(SECOND, "upgrade")
    there.works(SECOND)
    script(SECOND, "rollback")
    there.works(FIRST)
    script(FIRST, "--purge", "uninstall")
    return there.world() - before


def strange(left: set[str], named: set[str]) -> list[str]:
    """What is left that nobody named? The books of users, rewritten by the system's own tools, do not count."""
    books = {f"/etc/{book}-" for book in BOOKS}
    return sorted(path for path in left - books if not any(path == one or path.startswith(f"{one}/") for one in named))


KINDS: dict[str, Callable[[Chroot], set[str]]] = {"deb": package, "installer": installer}


def main(words: list[str] | None = None) -> int:
    """1 when something goes wrong or is left, 3 when something is not installed."""
    asked, bad = options(__doc__, words, only=sorted(KINDS), suite="bookworm", base=""), 0
    for name in asked.only:
        began = time.monotonic()
        try:
            with tempfile.TemporaryDirectory() as folder:
                left = KINDS[name](fresh(Path(folder), asked.suite, asked.base))
            wrong = [f"left and not named: {path}" for path in strange(left, LEFT[name])]
        except foreign.Missing as what:
            print(f"{name}: not tried, missing: {what}")
            bad = max(bad, 3)
            continue
        except Broken as why:
            left, wrong = set(), [str(why)]
        named = ", ".join(sorted(one for one in LEFT[name] if any(path.startswith(one) for path in left)))
        print(f"{name}: left, as named: {named or 'nothing'}; {len(wrong)} wrong; {time.monotonic() - began:.0f} s")
        print("".join(f"    {line}\n" for line in wrong[:20]), end="", flush=True)
        bad = 1 if wrong else bad
    return bad


if __name__ == "__main__":
    sys.exit(main())
