#!/usr/bin/env bash
# The whole main job on this machine, nothing installed before: makes an environment in .venv, installs underback with
# its demo extra, and runs a mash over real MQTT with simulated nodes. Arguments go to `underback demo`.
set -euo pipefail
cd "$(dirname "$0")/.."
python=""
for name in "${PYTHON:-}" python3 python3.14 python3.13 python3.12 python3.11; do
    [ -n "$name" ] && command -v "$name" >/dev/null 2>&1 || continue
    "$name" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null && { python=$name; break; }
done
[ -n "$python" ] || { echo "underback needs Python 3.11 or newer; install it or set PYTHON=/its/path" >&2; exit 2; }
if [ ! -x .venv/bin/underback ]; then
    if ! "$python" -m venv .venv 2>/dev/null; then # Debian keeps venv in a package of its own
        root=""
        [ "$(id -u)" = 0 ] || root="sudo"
        { $root apt-get update -qq && $root apt-get install -y -qq python3-venv; } >/dev/null 2>&1 ||
            { echo "could not install python3-venv: say $root apt-get install python3-venv" >&2; exit 1; }
        "$python" -m venv .venv
    fi
    echo "installing underback into .venv ..." >&2
    .venv/bin/python -m pip install --quiet --disable-pip-version-check --root-user-action=ignore -e '.[demo]'
fi
exec .venv/bin/underback demo "$@"
