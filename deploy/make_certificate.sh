#!/bin/sh
# Make a certificate that signs itself, for a board without a public one:
# sudo sh deploy/make_certificate.sh broker|pages NAME
# NAME is what sensors and people call the board, as in board.local. One that is there stays.
set -eu

usage() {
    printf '%s\n' "usage: sudo sh deploy/make_certificate.sh broker|pages NAME" >&2
    exit 2
}

[ $# -eq 2 ] || usage
case $1 in
broker) folder=${CERTIFICATES:-/etc/mosquitto/certs} reader=mosquitto ;;
pages) folder=${CERTIFICATES:-/etc/ssl/graftvigil} reader=root ;;
*) usage ;;
esac
if [ -e "$folder/$1.crt" ]; then
    printf '%s\n' "$folder/$1.crt is there already and stays. Take it away to make a new one."
    exit 0
fi
mkdir -p -- "$folder"
umask 077
openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes -days 3650 \
    -subj "/CN=$2" -addext "subjectAltName=DNS:$2,DNS:localhost" \
    -keyout "$folder/$1.key" -out "$folder/$1.crt.new" 2>/dev/null
# The broker and nginx read it as themselves; nobody else does.
[ "$(id -u)" -ne 0 ] || chgrp "$reader" "$folder/$1.key"
chmod 640 "$folder/$1.key"
chmod 644 "$folder/$1.crt.new"
mv -- "$folder/$1.crt.new" "$folder/$1.crt"
printf '%s\n' "made $folder/$1.crt for $2, and its key; it ends in ten years"
