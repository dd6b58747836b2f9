#!/usr/bin/env bash
# Puts underback on a Raspberry Pi OS or Debian machine with Python 3.11 or newer, and takes it off again.
#
#   sudo systemd/install.sh [OPTIONS] install            from a bare system; run it again at will
#   sudo systemd/install.sh [OPTIONS] upgrade            to the version of this folder
#   sudo systemd/install.sh [OPTIONS] rollback           to the version before; again: forward
#   sudo systemd/install.sh [OPTIONS] uninstall          configuration, records and back-ups stay
#
#   --broker TUN     install: set up Mosquitto on this machine too, with users for this tun (may be given again)
#   --purge          uninstall: configuration, records, passwords, the broker's files, rule and user go too; back-ups stay
#   --force          although a run is open or its record cannot be read: you have looked, nothing heats
#   --source PATH    a folder or a wheel in place of this script's own folder
#   --python PATH    the Python to use
#   --find-links DIR packages from a folder, nothing from the network
#   --site DIR       take the packages that underback needs from this folder of Python packages, install none
#   --root DIR       everything below DIR; no users made, no services touched (for images and tests)
#
# Programs go to /opt/underback, configuration to /etc/underback, records to /var/lib/underback, back-ups to
# /var/backups/underback. `upgrade`, `rollback` and `uninstall` are refused while a run is open and back up first.
set -euo pipefail
umask 022
here=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd)

say() { printf '%s\n' "$*"; }
fail() { printf 'install.sh: %s\n' "$*" >&2; exit "${code:-2}"; }

root="" source="$here" python="" links="" site="" force="" purge="" verb="" tuns=()
while [ $# -gt 0 ]; do
    case "$1" in
        --root | --source | --python | --find-links | --site | --broker)
            [ -n "${2:-}" ] || fail "$1 needs a value"
            case "$1" in
                --root) root=$(realpath -m "$2") ;;
                --source) source=$(realpath "$2") ;;
                --python) python=$2 ;;
                --find-links) links=$(realpath "$2") ;;
                --site) site=$(realpath "$2") ;;
                --broker) tuns+=("$2") ;;
            esac
            shift 2 ;;
        --force) force=1; shift ;;
        --purge) purge=1; shift ;;
        install | upgrade | rollback | uninstall) [ -z "$verb" ] || fail "one of install, upgrade, rollback, uninstall"; verb=$1; shift ;;
        *) fail "unknown word '$1'; see the top of this script" ;;
    esac
done
[ -n "$verb" ] || fail "wanted: install, upgrade, rollback or uninstall"
[ -n "$root" ] || [ "$(id -u)" = 0 ] || fail "run it as root: sudo $0 $verb"

opt="$root/opt/underback" etc="$root/etc/underback" data="$root/var/lib/underback" backups="$root/var/backups/underback"
man="$root/usr/local/share/man/man1" completion="$root/usr/local/share/bash-completion/completions/underback"
units="$root/etc/systemd/system" command="$root/usr/local/bin/underback" store="$root/etc/credstore"
live() { [ -z "$root" ]; }
booted() { live && [ -d /run/systemd/system ]; } # in an image or a container there is no service manager to speak to

# ---------------------------------------------------------------- what is there

find_python() {
    local name
    for name in "$python" python3 python3.14 python3.13 python3.12 python3.11; do
        [ -n "$name" ] && command -v "$name" >/dev/null 2>&1 || continue
        "$name" -c 'import sys; sys.exit(sys.version_info < (3, 11))' && { command -v "$name"; return; }
    done
    fail "no Python 3.11 or newer found"
}

for_others() { # for_others PYTHON: may the user underback run it? Every folder above it must let others through
    local path
    live || return 0
    path=$("$1" -c 'import os, sys; print(os.path.realpath(sys.executable))')
    while [ "$path" != / ]; do
        [[ "$(stat -c %A "$path")" == *x ]] || code=1 fail "the service's user may not run $1: $path is closed to others; give --python another"
        path=$(dirname "$path")
    done
}

need() { # need COMMAND PACKAGE: install a Debian package for a command that is missing
    command -v "$1" >/dev/null 2>&1 || [ -x "/usr/sbin/$1" ] && return 0
    live && command -v apt-get >/dev/null || fail "$1 is missing: install the package $2"
    say "installing $2"
    DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends "$2" >/dev/null
}

version_of() { "$1/bin/python" -I -c 'import controller; print(controller.__version__)'; }

open_runs() { "$opt/current/bin/python" -I "$here/systemd/open-runs.py" "$etc" "$data"; }

refuse_open_runs() {
    local open
    open=$(open_runs) || open="unknown: the records cannot be read"
    [ -z "$open" ] || [ -n "$force" ] || code=1 fail "refused: a run is open: $open. Let it end or stop it, then try again (or --force)."
}

back_up() {
    local name stamp parts=()
    stamp=$(date +%Y%m%d-%H%M%S)
    for name in etc/underback var/lib/underback etc/credstore; do [ ! -e "$root/$name" ] || parts+=("$name"); done
    (umask 077; mkdir -p "$backups"; tar -C "${root:-/}" -czf "$backups/$stamp-$1.tar.gz" "${parts[@]}")
    say "back-up: $backups/$stamp-$1.tar.gz"
}

# ---------------------------------------------------------------- releases

build() { # build: a new release beside the others; prints its folder
    local new interpreter word packages=() pip=()
    new="$opt/releases/$(date +%Y%m%d-%H%M%S)-$$"
    mkdir -p "$opt/releases"
    trap 'rm -rf "$new"' ERR
    interpreter=$(find_python)
    for_others "$interpreter" >&2
    if "$interpreter" -m pip --python "$interpreter" --version >/dev/null 2>&1; then
        "$interpreter" -m venv --without-pip "$new"
        pip=("$interpreter" -m pip --python "$new/bin/python")
    else # no pip on the machine: a copy of its own, which python3-venv brings along
        "$interpreter" -m venv "$new" || fail "no virtual environment: apt install python3-venv"
        pip=("$new/bin/python" -m pip)
    fi
    if [ -n "$site" ]; then
        word=$("$new/bin/python" -c 'import sysconfig; print(sysconfig.get_path("purelib"))')
        echo "$site" > "$word/site-of-the-machine.pth"
        packages+=(--no-deps)
    fi
    [ -z "$links" ] || packages+=(--no-index --find-links "$links")
    "${pip[@]}" install --quiet --no-cache-dir --disable-pip-version-check "${packages[@]}" "$source[report]" >&2
    if compgen -G "/dev/gpiochip*" >/dev/null && [ -z "$site" ]; then
        "${pip[@]}" install --quiet --no-cache-dir --disable-pip-version-check "${packages[@]}" 'gpiod>=2.0.2' >&2 \
            || say "note: gpiod could not be installed (there is no wheel for 32 bits); the heater node on this machine needs it: apt install python3-libgpiod (Debian 13), then install anew with --site /usr/lib/python3/dist-packages" >&2
    fi
    mkdir -p "$new/share"
    cp -R "$here/config" "$new/share/config"
    rm -rf "$new/share/config/operator" "$new/share/config/passwords" # of a clone that was used
    mkdir -p "$new/share/systemd"
    cp "$here"/systemd/*.service "$new/share/systemd/"
    "$new/bin/python" -I -m controller manual --man "$new/share/man" --completion "$new/share/completion" >/dev/null \
        || rm -rf "$new/share/man" # paper is no reason to stay without the program
    trap - ERR
    printf '%s' "$new"
}

takes_files() { # takes_files RELEASE: does this release read every tun and service file that is there?
    "$1/bin/python" -I - "$etc" <<'PY'
import sys
from pathlib import Path

from controller.edge.files import config_files as files
from controller.settings.problems import Problems

config, wrong = Path(sys.argv[1]), 0
for name in files.names(config / "tuns"):
    try:
        files.settings(config, name)
    except Problems as problems:
        wrong = 1
        print(problems, file=sys.stderr)
sys.exit(wrong)
PY
}

point() { # point LINK RELEASE: atomically
    ln -sfn "releases/$(basename "$2")" "$opt/$1.new"
    mv -T "$opt/$1.new" "$opt/$1"
}

running_units() { if booted; then systemctl list-units --plain --no-legend --state=active,activating,reloading 'underback*@*.service' | cut -d' ' -f1; fi; }

switch_to() { # switch_to RELEASE: units, link, restart of what ran; back again when that fails
    local release=$1 former="" names
    [ ! -e "$opt/current" ] || former=$(realpath "$opt/current")
    names=$(running_units)
    # shellcheck disable=SC2086
    [ -z "$names" ] || systemctl stop $names
    place "$release"
    # shellcheck disable=SC2086
    if [ -n "$names" ] && ! systemctl start $names; then
        say "the services do not start with it: going back" >&2
        place "$former"
        # shellcheck disable=SC2086
        systemctl start $names || true
        [ "$verb" != upgrade ] || rm -rf "$release"
        code=1 fail "not switched; see journalctl -u '${names%%$'\n'*}'"
    fi
    [ -z "$former" ] || [ "$former" = "$release" ] || point previous "$former"
}

place() { # place RELEASE: link and units
    point current "$1"
    mkdir -p "$units"
    cp "$1"/share/systemd/*.service "$units/"
    rm -f "$man"/underback*.1
    if [ -d "$1/share/man" ]; then # older ones have none
        mkdir -p "$man" "$(dirname "$completion")"
        cp "$1"/share/man/*.1 "$man/"
        cp "$1/share/completion" "$completion"
    fi
    ! booted || systemctl daemon-reload
}

prune() { # all but the current and the previous release go
    local release
    for release in "$opt"/releases/*; do
        [ "$release" = "$(realpath "$opt/current")" ] || [ "$release" = "$(realpath -m "$opt/previous")" ] || rm -rf "$release"
    done
}

# ---------------------------------------------------------------- the machine

make_users() {
    live || return 0
    getent group underback >/dev/null || groupadd --system underback
    getent passwd underback >/dev/null || useradd --system --gid underback --home-dir /var/lib/underback --shell /usr/sbin/nologin underback
    getent group gpio >/dev/null || groupadd --system gpio
    if ! grep -rqs 'SUBSYSTEM=="gpio' /etc/udev/rules.d /lib/udev/rules.d /usr/lib/udev/rules.d; then # Raspberry Pi OS has one
        mkdir -p /etc/udev/rules.d
        echo 'SUBSYSTEM=="gpio", KERNEL=="gpiochip*", GROUP="gpio", MODE="0660"' > /etc/udev/rules.d/60-underback-gpio.rules
        udevadm control --reload 2>/dev/null && udevadm trigger --subsystem-match=gpio || true
    fi
    chown underback:underback "$data"
}

lay_files() { # configuration that is not there yet; what is there is never touched
    local path
    mkdir -p "$etc" "$data"
    chmod 0750 "$data"
    for path in service.toml $(cd "$here/config" && ls {tuns,programs,malts,nodes}/*.toml schemas/*.json); do
        [ -e "$etc/$path" ] && continue
        mkdir -p "$(dirname "$etc/$path")"
        cp "$here/config/$path" "$etc/$path"
        [ "$path" != service.toml ] || sed -i 's|^data_dir = "data" |data_dir = "/var/lib/underback" |' "$etc/$path"
    done
    mkdir -p "$(dirname "$command")"
    cat > "$command" <<'SH'
#!/bin/sh
# People speak to the broker as its user `operator`, not as the daemon.
[ -n "${UNDERBACK_CONFIG:-}" ] || [ ! -r /etc/underback/operator/service.toml ] || export UNDERBACK_CONFIG=/etc/underback/operator
exec /opt/underback/current/bin/python -I -m controller "$@"
SH
    chmod 0755 "$command"
}

set_up_broker() { # users, rights and passwords of a broker on this machine, handed to each service
    local broker="$root/etc/mosquitto/underback" tun user
    [ ${#tuns[@]} -gt 0 ] || return 0
    need mosquitto_passwd mosquitto
    need openssl openssl
    PATH="$PATH:/usr/sbin" "$here/config/mosquitto/make-users.sh" "$broker" "${tuns[@]}"
    mkdir -p "$root/etc/mosquitto/conf.d"
    cp "$here/config/mosquitto/10-underback.conf" "$root/etc/mosquitto/conf.d/"
    (umask 077; mkdir -p "$store")
    hand_over "$broker" daemon daemon
    sed -i 's|^username = "" *$|username = "daemon"|; s|^username = "" |username = "daemon" |' "$etc/service.toml"
    for tun in "${tuns[@]}"; do
        for user in probe heater; do
            hand_over "$broker" "$user-$tun" "$user-$tun"
            [ ! -e "$etc/nodes/$tun.toml" ] || sed -i "/^\[$user\]/,/^\[/s|^username = \"\"|username = \"$user-$tun\"|" "$etc/nodes/$tun.toml"
        done
    done
    mkdir -p "$etc/operator"
    ln -sfn ../tuns "$etc/operator/tuns"
    ln -sfn ../programs "$etc/operator/programs"
    ln -sfn ../malts "$etc/operator/malts"
    sed 's|^username = "daemon"|username = "operator"|; s|^password_file = ""|password_file = "/etc/underback/operator/password"|' \
        "$etc/service.toml" > "$etc/operator/service.toml"
    install -m 0640 "$broker/passwords/operator" "$etc/operator/password"
    ! live || chown root:underback "$etc/operator/password"
    ! live || systemctl enable --quiet mosquitto
    ! booted || systemctl restart mosquitto
}

hand_over() { install -m 0600 "$1/passwords/$2" "$store/underback.$3"; } # FOLDER USER NAME

# ---------------------------------------------------------------- the four verbs

do_install() {
    local new
    lay_files
    make_users
    set_up_broker
    if [ -e "$opt/current" ]; then
        place "$(realpath "$opt/current")"
        say "underback $(version_of "$opt/current") is installed already; files, users and units were looked over. Newer: $0 upgrade"
        return
    fi
    new=$(build)
    switch_to "$new"
    say "underback $(version_of "$new") is installed. Next: edit $etc/tuns/, then systemctl enable --now underback@NAME"
}

do_upgrade() {
    local new before
    [ -e "$opt/current" ] || fail "underback is not installed here: $0 install"
    refuse_open_runs
    before=$(version_of "$opt/current")
    new=$(build)
    if ! takes_files "$new"; then
        rm -rf "$new"
        code=1 fail "the new version does not take your files as they are (above); nothing was changed"
    fi
    refuse_open_runs # the build took minutes
    back_up upgrade
    switch_to "$new"
    prune
    say "upgraded from $before to $(version_of "$new"). Back: $0 rollback"
}

do_rollback() {
    local former
    [ -e "$opt/previous" ] || fail "there is no former version to go back to"
    refuse_open_runs
    former=$(realpath "$opt/previous")
    takes_files "$former" || code=1 fail "the former version does not take your files as they are now (above); nothing was changed"
    back_up rollback
    switch_to "$former"
    say "back at $(version_of "$former"). Forward again: $0 rollback"
}

do_uninstall() {
    [ -e "$opt/current" ] || fail "underback is not installed here"
    refuse_open_runs
    back_up uninstall
    if booted; then
        systemctl disable --quiet --now 'underback@*' 'underback-probe@*' 'underback-heater@*' 'underback-standin@*' 2>/dev/null || true
        running_units | xargs -r systemctl stop
    fi
    rm -f "$units"/*.wants/underback@*.service "$units"/*.wants/underback-{probe,heater,standin}@*.service
    rm -f "$man"/underback*.1 "$completion"
    rmdir --ignore-fail-on-non-empty "$man" "${completion%/*}" "${completion%/*/*}" 2>/dev/null || true # empty now, and ours
    rm -rf "$opt" "$command" "$units"/underback@.service "$units"/underback-{probe,heater,standin,off}@.service
    ! booted || systemctl daemon-reload
    if [ -n "$purge" ]; then do_purge; fi
    say "underback is uninstalled.$([ -n "$purge" ] || echo " Configuration and records stay in $etc and $data.")"
}

do_purge() { # what was made beside the programs; Mosquitto itself and its other files are not ours
    local broker="$root/etc/mosquitto"
    rm -rf "$etc" "$data" "$store"/underback.* "$broker/underback"
    rm -f "$broker"/conf.d/{10-underback,20-underback-tls,30-underback-panel}.conf "$root/etc/udev/rules.d/60-underback-gpio.rules"
    rmdir --ignore-fail-on-non-empty "$store" "$root/etc/udev/rules.d" "$root/etc/udev" "$root/opt" 2>/dev/null || true
    if live && getent passwd underback >/dev/null; then userdel underback; fi
    if live && getent group underback >/dev/null; then groupdel underback; fi
    say "left: $backups$(! command -v mosquitto >/dev/null && [ ! -x /usr/sbin/mosquitto ] || echo ", the package mosquitto (restart it)")$(! live || echo ", the group gpio")"
}

"do_$verb"
