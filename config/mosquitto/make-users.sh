#!/usr/bin/env bash
# Makes the broker's users, their passwords and their rights for one or more tuns.
#
#   make-users.sh [--prefix WORD] [--standin] [--renew USER]... [--for CONFIG] FOLDER TUN...
#
# FOLDER, commonly /etc/mosquitto/underback, gets `passwd` and `acl` for the broker, and `passwords/USER` with each
# user's password in plain text, readable for root only. Run again at will: passwords that are there stay, the list of
# rights is written anew. --renew makes a new password for one user. --standin adds a user for the simulated tun.
# --for CONFIG hands the passwords to the owner of that configuration folder and writes the daemon's and the operator's
# access there: for a machine where one person does it all, and for rehearsals.
# Users: daemon, operator, panel (one each), probe-TUN, heater-TUN (for each tun).
set -euo pipefail
umask 077
here=$(cd "$(dirname "${BASH_SOURCE[0]}")" && pwd)

fail() { echo "make-users.sh: $*" >&2; exit 2; }

prefix=underback standin="" renew=" " config=""
while [[ "${1:-}" == --* ]]; do
    case "$1" in
        --prefix) prefix=${2:-}; shift 2 ;;
        --renew) renew+="${2:-} "; shift 2 ;;
        --standin) standin=1; shift ;;
        --for) config=$(realpath "${2:-}"); [ -f "$config/service.toml" ] || fail "--for: no service.toml in $config"; shift 2 ;;
        *) fail "unknown option $1" ;;
    esac
done
[ $# -ge 2 ] || fail "wanted: a folder and at least one tun, such as /etc/mosquitto/underback gannet"
folder=$1; shift
[[ "$prefix" =~ ^[A-Za-z0-9_-]+$ ]] || fail "prefix '$prefix': letters, digits, - and _ only"
for tun in "$@"; do
    [[ "$tun" =~ ^[a-z0-9][a-z0-9_-]*$ ]] || fail "tun '$tun': small letters, digits, - and _ only, as in its file's name"
done
passwd_tool=$(command -v mosquitto_passwd) || fail "mosquitto_passwd is missing: install the package mosquitto"

mkdir -p "$folder/passwords"

users=(daemon operator panel)
for tun in "$@"; do
    users+=("probe-$tun" "heater-$tun")
    [ -z "$standin" ] || users+=("standin-$tun")
done

# The password goes through files, never through a command line, where any user of the machine could read it.
for user in "${users[@]}"; do
    file="$folder/passwords/$user"
    if [ ! -s "$file" ] || [[ "$renew" == *" $user "* ]]; then
        head -c 24 /dev/urandom | base64 | tr '+/' '-_' > "$file.new"
        mv "$file.new" "$file"
    fi
done
{ for file in "$folder"/passwords/*; do printf '%s:%s\n' "$(basename "$file")" "$(cat "$file")"; done; } > "$folder/passwd.new"
"$passwd_tool" -U "$folder/passwd.new"
mv "$folder/passwd.new" "$folder/passwd"

rights() { # rights TUN: the lines for one tun
    local files=("$here/acl.tun") homie
    [ -z "$standin" ] || files+=("$here/acl.standin")
    homie=$(printf '%s-%s' "$prefix" "$1" | tr 'A-Z_' 'a-z-')
    sed -e "s/PREFIX/$prefix/g; s/TUN/$1/g; s/DEVICE/${prefix}_$1/g; s/HOMIE/$homie/g" "${files[@]}"
    echo
}
for tun in "$@"; do rights "$tun"; done > "$folder/acl.new"
mv "$folder/acl.new" "$folder/acl"

# The broker, as its own user, must read both lists and nothing else here.
if [ "$(id -u)" = 0 ] && getent group mosquitto >/dev/null; then
    chgrp mosquitto "$folder" "$folder/passwd" "$folder/acl"
    chmod 0750 "$folder"
    chmod 0640 "$folder/passwd" "$folder/acl"
fi
echo "users: ${users[*]}"
if [ -n "$config" ]; then
    owner=$(stat -c %u:%g "$config")
    mkdir -p "$config/passwords" "$config/operator"
    for user in "${users[@]}"; do cp "$folder/passwords/$user" "$config/passwords/$user"; done
    sed -i "s|^username = \"\"|username = \"daemon\"|; s|^password_file = \"\"|password_file = \"$config/passwords/daemon\"|" \
        "$config/service.toml"
    sed "s|^username = \"daemon\"|username = \"operator\"|; s|passwords/daemon\"|passwords/operator\"|" \
        "$config/service.toml" > "$config/operator/service.toml"
    chmod 0600 "$config"/passwords/* "$config/operator/service.toml"
    chown -R "$owner" "$config/passwords" "$config/operator" "$config/service.toml"
    echo "access of daemon, operator and nodes is in $config"
fi
echo "passwords are in $folder/passwords; tell the broker: systemctl reload mosquitto"
echo "the daemon takes user daemon, people's commands take operator: config/mosquitto/README.md"
