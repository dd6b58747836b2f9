#!/usr/bin/env bash
# Branch coverage of the guard, the program, the readers and resume, by tests/core alone; fails under 100 %.
#   bash tests/evidence/coverage.sh
set -euo pipefail
cd "$(dirname "$0")/../.."
python=${PYTHON:-.venv-test/bin/python}
[ -x "$python" ] || python=python3
parts=""
for name in guard guard_state guard_notes trips evidence causes interlocks watch_mash watch_plant physics program questions deeds answers orders permits resume memory probe wire strict inbox; do
    parts="$parts,controller/core/$name.py"
done
COVERAGE_FILE=$(mktemp) && export COVERAGE_FILE
rules=$(mktemp)
trap 'rm -f "$COVERAGE_FILE" "$rules"' EXIT
printf '[report]\nexclude_also =\n    case _:\n    if TYPE_CHECKING:\n' > "$rules" # what the type checker holds unreachable
"$python" -m coverage run --rcfile="$rules" --branch --include="${parts#,}" -m pytest -q -p no:cacheprovider \
    --deselect tests/core/test_stateful.py "${@:-tests/core}"
"$python" -m coverage report --rcfile="$rules" -m --skip-covered --fail-under=100
