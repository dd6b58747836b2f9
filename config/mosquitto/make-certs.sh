#!/usr/bin/env bash
# Makes a certificate authority of your own and the broker's certificate.
#
#   make-certs.sh [--days N] [--renew] FOLDER NAME...
#
# NAME: every name and address under which nodes reach the broker, such as brewhouse.local 192.168.1.20. FOLDER, commonly
# /etc/mosquitto/underback, gets ca.crt (give it to each node: ca_file), ca.key (keep it: whoever has it can pose as the
# broker), server.crt and server.key. Run again at will: what is there and still good for 30 days stays; --renew makes a
# new server certificate whatever there is.
set -euo pipefail
umask 077

fail() { echo "make-certs.sh: $*" >&2; exit 2; }

days=825 renew=""
while [[ "${1:-}" == --* ]]; do
    case "$1" in
        --days) days=${2:-}; shift 2 ;;
        --renew) renew=1; shift ;;
        *) fail "unknown option $1" ;;
    esac
done
[ $# -ge 2 ] || fail "wanted: a folder and at least one name, such as /etc/mosquitto/underback brewhouse.local"
[[ "$days" =~ ^[1-9][0-9]{0,4}$ ]] || fail "--days $days: a whole number of days from 1"
folder=$1; shift
command -v openssl >/dev/null || fail "openssl is missing: install the package openssl"

names=""
for name in "$@"; do
    [[ "$name" =~ ^[A-Za-z0-9._:-]+$ ]] || fail "'$name' is no host name and no address"
    if [[ "$name" =~ ^[0-9.]+$ || "$name" == *:* ]]; then names+="${names:+,}IP:$name"; else names+="${names:+,}DNS:$name"; fi
done

mkdir -p "$folder"
curve=(-newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes)

if [ ! -s "$folder/ca.crt" ]; then
    openssl req -x509 "${curve[@]}" -keyout "$folder/ca.key" -out "$folder/ca.crt" -days 3650 -subj "/CN=underback brewhouse authority" \
        -addext basicConstraints=critical,CA:TRUE,pathlen:0 -addext keyUsage=critical,keyCertSign,cRLSign 2>/dev/null
fi

soon=$((30 * 86400))
if [ -n "$renew" ] || [ ! -s "$folder/server.crt" ] || ! openssl x509 -in "$folder/server.crt" -checkend "$soon" >/dev/null; then
    work=$(mktemp -d)
    trap 'rm -rf "$work"' EXIT
    printf 'subjectAltName=%s\nbasicConstraints=critical,CA:FALSE\nkeyUsage=critical,digitalSignature\nextendedKeyUsage=serverAuth\n' "$names" > "$work/extensions"
    openssl req -new "${curve[@]}" -keyout "$work/server.key" -out "$work/server.csr" -subj "/CN=$1" 2>/dev/null
    openssl x509 -req -in "$work/server.csr" -CA "$folder/ca.crt" -CAkey "$folder/ca.key" -CAcreateserial -days "$days" \
        -extfile "$work/extensions" -out "$work/server.crt" 2>/dev/null
    cat "$work/server.key" > "$folder/server.key"
    cat "$work/server.crt" > "$folder/server.crt"
fi

chmod 0644 "$folder/ca.crt" "$folder/server.crt"
if [ "$(id -u)" = 0 ] && getent group mosquitto >/dev/null; then
    chgrp mosquitto "$folder" "$folder/server.key"
    chmod 0750 "$folder"
    chmod 0640 "$folder/server.key"
fi
echo "certificate for $names, $(openssl x509 -in "$folder/server.crt" -noout -enddate); tell the broker: systemctl restart mosquitto"
