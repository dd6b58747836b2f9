#!/usr/bin/env bash
# Builds a Debian package of this folder: one command, on the Debian and the processor that it is for.
#
#   systemd/build-deb.sh [--find-links DIR] [OUTPUT-FOLDER]
#
# Needs /usr/bin/python3 with python3-venv, and dpkg-deb. The package carries its own environment in /opt/underback, so
# nothing is fetched when it is installed; it fits the Python that it was built with. Then:
#
#   sudo apt install ./underback_*.deb      sudo apt remove underback      sudo apt purge underback
set -euo pipefail
umask 022
here=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd)

links=()
[ "${1:-}" != --find-links ] || { links=(--no-index --find-links "$(realpath "$2")"); shift 2; }
out=$(realpath "${1:-.}")
python=/usr/bin/python3
version=$(sed -n 's/^version = "\(.*\)"$/\1/p' "$here/pyproject.toml")
minor=$("$python" -c 'import sys; print(sys.version_info.minor)')
arch=$(dpkg --print-architecture)

work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
stage="$work/stage" release="opt/underback/releases/$version"
mkdir -p "$stage/DEBIAN" "$stage/opt/underback/releases" "$stage/usr/bin" "$stage/etc/underback"

# ---------------------------------------------------------------- the programs, in an environment of their own

cp -R "$here" "$work/source" # setuptools writes beside what it builds
rm -rf "$work/source/.git" "$work"/source/.venv* "$work/source/data"
"$python" -m venv "$work/tools"
"$python" -m venv --without-pip --symlinks "$stage/$release"
"$work/tools/bin/python" -m pip --python "$stage/$release/bin/python" install --quiet --disable-pip-version-check \
    "${links[@]}" "$work/source[report]"
if [ "$arch" != armhf ]; then # no wheel for 32 bits: there Debian's python3-libgpiod has to do (Debian 13)
    "$work/tools/bin/python" -m pip --python "$stage/$release/bin/python" install --quiet --disable-pip-version-check \
        "${links[@]}" 'gpiod>=2.0.2'
fi
rm -f "$stage/$release"/bin/{activate*,Activate.ps1,underback,pip*} # nothing may know the folder it was built in
sed -i '/^command = /d' "$stage/$release/pyvenv.cfg"
ln -s "releases/$version" "$stage/opt/underback/current"
mv "$stage/$release/share/underback" "$work/share"
mkdir -p "$stage/$release/share"
mv "$work/share/config" "$work/share/systemd" "$stage/$release/share/"
install -D -m 0644 "$work/share/CHANGES.md" "$stage/usr/share/doc/underback/CHANGES.md"
sed -n '/^    cat > "\$command" <<.SH.$/,/^SH$/p' "$here/systemd/install.sh" | sed '1d;$d' > "$stage/usr/bin/underback"
chmod 0755 "$stage/usr/bin/underback"

"$stage/$release/bin/python" -I -m controller manual --man "$stage/usr/share/man/man1" \
    --completion "$stage/usr/share/bash-completion/completions/underback"
find "$stage/$release" -name __pycache__ -prune -exec rm -rf {} +

# ---------------------------------------------------------------- configuration, units, users, folders, rule

(cd "$here/config" && cp --parents service.toml {tuns,programs,malts,nodes}/*.toml schemas/*.json "$stage/etc/underback/")
sed -i 's|^data_dir = "data" |data_dir = "/var/lib/underback" |' "$stage/etc/underback/service.toml"
mkdir -p "$stage"/usr/lib/{systemd/system,sysusers.d,tmpfiles.d,udev/rules.d}
cp "$here"/systemd/*.service "$stage/usr/lib/systemd/system/"
printf 'g gpio -\nu underback - "mash daemon" /var/lib/underback\nm underback gpio\n' > "$stage/usr/lib/sysusers.d/underback.conf"
printf 'd /var/lib/underback 0750 underback underback -\n' > "$stage/usr/lib/tmpfiles.d/underback.conf"
printf 'SUBSYSTEM=="gpio", KERNEL=="gpiochip*", GROUP="gpio", MODE="0660"\n' > "$stage/usr/lib/udev/rules.d/60-underback-gpio.rules"
(cd "$stage" && find etc -type f | sed 's|^|/|' | sort) > "$stage/DEBIAN/conffiles"

# ---------------------------------------------------------------- what the package manager is told

cat > "$stage/DEBIAN/control" <<CONTROL
Package: underback
Version: $version
Architecture: $arch
Maintainer: the underback project <nobody@localhost>
Depends: python3 (>= 3.$minor~), python3 (<< 3.$((minor + 1))~), systemd | systemd-standalone-sysusers
Suggests: mosquitto
Section: electronics
Priority: optional
Installed-Size: $(du -sk "$stage" | cut -f1)
Description: unattended step-mash daemon
 A rest program in, heater leases out, over MQTT, on record, behind a guard.
 Read /opt/underback/current/share/config/wiring.md before anything is connected.
CONTROL
cat > "$stage/DEBIAN/preinst" <<'SH'
#!/bin/sh
# An upgrade waits for the end of a run: `UNDERBACK_FORCE=1 apt ...` is for somebody who has looked.
set -e
if [ "$1" = upgrade ] && [ -z "$UNDERBACK_FORCE" ] && [ -x /opt/underback/current/bin/python ]; then
    there=/opt/underback/current
    open=$("$there/bin/python" -I "$there/share/systemd/open-runs.py" /etc/underback /var/lib/underback) || open="unknown: the records cannot be read"
    [ -z "$open" ] || { echo "underback: refused: a run is open: $open. Let it end or stop it, then try again." >&2; exit 1; }
fi
SH
cat > "$stage/DEBIAN/postinst" <<'SH'
#!/bin/sh
set -e
if [ "$1" = configure ]; then
    systemd-sysusers underback.conf
    install -d -m 0750 -o underback -g underback /var/lib/underback
    if [ -d /run/systemd/system ]; then
        systemctl daemon-reload
        udevadm control --reload 2>/dev/null && udevadm trigger --subsystem-match=gpio || true
        systemctl try-restart 'underback@*' 'underback-probe@*' 'underback-heater@*' 'underback-standin@*' || true
    fi
fi
SH
cat > "$stage/DEBIAN/prerm" <<'SH'
#!/bin/sh
set -e
if [ "$1" = remove ]; then
    there=/opt/underback/current
    open=$("$there/bin/python" -I "$there/share/systemd/open-runs.py" /etc/underback /var/lib/underback) || open="unknown: the records cannot be read"
    [ -z "$open" ] || [ -n "$UNDERBACK_FORCE" ] || { echo "underback: refused: a run is open: $open." >&2; exit 1; }
    if [ -d /run/systemd/system ]; then
        systemctl disable --quiet --now 'underback@*' 'underback-probe@*' 'underback-heater@*' 'underback-standin@*' 2>/dev/null || true
    fi
fi
SH
cat > "$stage/DEBIAN/postrm" <<'SH'
#!/bin/sh
set -e
[ ! -d /run/systemd/system ] || systemctl daemon-reload
if [ "$1" = remove ] || [ "$1" = purge ]; then rm -rf /opt/underback; fi # compiled files
if [ "$1" = purge ]; then
    rm -rf /etc/underback /var/lib/underback /etc/credstore/underback.*
    ! getent passwd underback >/dev/null || userdel underback
    ! getent group underback >/dev/null || groupdel underback
    echo "underback: left: /etc/mosquitto/underback where a broker was set up, and the group gpio"
fi
SH
chmod 0755 "$stage"/DEBIAN/p*
dpkg-deb --root-owner-group --build -Zxz "$stage" "$out/underback_${version}_$arch.deb"
