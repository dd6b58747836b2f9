"""Are all branches of what stands before the last gate covered by the tests of core and of the messages alone?

    python -m tests.regimes.evidence.branches              the guard, the probe, the procedure's judges, the readers
    python -m tests.regimes.evidence.branches MODULE ...   a module or a room each, by its own tests (tests/mirror.py)

Without the random sequences, which cover by luck. Fails under 100 %. A line that only the type checker can reach
(`case _:` before `assert_never`) does not count.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from pathlib import Path

from tests.mirror import COVERED, modules, own_tests
from tests.places import ROOT

RULES = "[report]\nexclude_also =\n    case _:\n    if TYPE_CHECKING:\n"


def main(words: list[str]) -> int:
    """0 where every branch is covered."""
    chosen = modules(*(words or COVERED))
    tests = (
        sorted({str(file) for path in chosen for file in own_tests(path)})
        if words
        else ["tests/core", "tests/messages"]
    )
    with tempfile.TemporaryDirectory() as place:
        rules = Path(place) / "rules"
        rules.write_text(RULES, encoding="utf-8")
        where = {**os.environ, "COVERAGE_FILE": str(Path(place) / "covered")}
        coverage, only = [sys.executable, "-m", "coverage"], ",".join(str(path) for path in chosen)
        run = [*coverage, "run", f"--rcfile={rules}", "--branch", f"--include={only}", "-m", "pytest", "-q"]
        run += ["-p", "no:cacheprovider", "--deselect", "tests/core/test_stateful.py", *tests]
        if code := subprocess.run(run, cwd=ROOT, env=where, check=False).returncode:
            return code
        report = [*coverage, "report", f"--rcfile={rules}", "-m", "--skip-covered", "--fail-under=100"]
        return subprocess.run(report, cwd=ROOT, env=where, check=False).returncode


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
