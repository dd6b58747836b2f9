#!/usr/bin/env bash
# Does every package of the core install have a wheel for the processors of a Raspberry Pi? Asks the package index as
# pip does, installs nothing. Not part of the test run, since it needs the network: run it when a dependency changes.
#
#   tests/wheels.sh [python versions, such as 3.11 3.13]
set -euo pipefail
cd "$(dirname "$0")/.."
python=${PYTHON:-python3}
versions=("$@")
[ ${#versions[@]} -gt 0 ] || versions=(3.11 3.13)
mapfile -t wanted < <("$python" -c '
import tomllib
with open("pyproject.toml", "rb") as file:
    print("\n".join(tomllib.load(file)["project"]["dependencies"]))')

work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
missing=0
for version in "${versions[@]}"; do
    for machine in aarch64 armv7l; do
        # glibc of Debian 12 is 2.36, of Debian 11 2.31: what either can run
        platforms=()
        for tag in manylinux_2_36 manylinux_2_34 manylinux_2_31 manylinux_2_28 manylinux_2_17 manylinux2014 linux; do
            platforms+=(--platform "${tag}_$machine")
        done
        if "$python" -m pip download --quiet --disable-pip-version-check --only-binary=:all: --python-version "$version" \
            --implementation cp "${platforms[@]}" --dest "$work/$version-$machine" "${wanted[@]}" 2> "$work/said"; then
            printf 'Python %s, %s: all %s packages have wheels:' "$version" "$machine" "$(ls "$work/$version-$machine" | wc -l)"
            for file in "$work/$version-$machine"/*.whl; do printf ' %s' "$(basename "$file" | cut -d- -f1,2)"; done
            echo
        else
            printf 'Python %s, %s: MISSING\n' "$version" "$machine"
            tail -n 3 "$work/said"
            missing=1
        fi
    done
done
exit "$missing"
