#!/bin/sh
# The launcher where there is nothing: a minimal Debian with python3 and apt, and a copy of this checkout. By hand, as
# root, some minutes; downloads a few hundred megabytes.
#
#   tests/fresh_root.sh [SUITE] [COMMAND...]     default: the suite this machine runs, and the README's two commands
#
# Needs debootstrap. Mirror, certificates, name servers and pip's settings are this machine's: they belong to the place,
# not to what is tried. Everything lies in one temporary folder, which is deleted unless KEEP=yes.
set -eu

here=$(CDPATH='' cd -- "$(dirname -- "$0")/.." && pwd -P)
suite=${1:-$(. /etc/os-release && echo "$VERSION_CODENAME")}
[ $# -eq 0 ] || shift
mirror=$(cat /etc/apt/sources.list /etc/apt/sources.list.d/* 2>/dev/null |
    awk '/^URIs:/ {print $2; exit} /^deb / {for (i = 2; i <= NF; i++) if ($i ~ /:\/\//) {print $i; exit}}')
fresh=$(mktemp -d)
chmod 755 "$fresh" # other users than root must be able to live in it
finish() {
    umount "$fresh/proc" 2>/dev/null || :
    [ "${KEEP:-}" = yes ] && echo "kept: $fresh" || rm -rf --one-file-system "$fresh"
}
trap finish EXIT

echo "== $suite, with python3 and apt only"
debootstrap --variant=minbase --include=python3 "$suite" "$fresh" "$mirror" >"$fresh.log" 2>&1 || {
    tail "$fresh.log"
    exit 1
}
rm "$fresh.log"
mount -t proc proc "$fresh/proc"
cp /etc/resolv.conf "$fresh/etc/resolv.conf"
# Twice: as it is, and where Debian's ca-certificates looks when it is installed on the way and makes the file anew.
mkdir -p "$fresh/etc/ssl/certs" "$fresh/usr/local/share/ca-certificates"
cp -L /etc/ssl/certs/ca-certificates.crt "$fresh/etc/ssl/certs/"
cp -r /usr/local/share/ca-certificates/. "$fresh/usr/local/share/ca-certificates/"
env | grep -E '^(PIP_(CERT|INDEX_URL|DEFAULT_TIMEOUT)|SSL_CERT_FILE|https?_proxy|no_proxy)=' >"$fresh/env" || :
mkdir "$fresh/bandfloor"
(cd "$here" && git ls-files -z --cached --others --exclude-standard |
    tar --null --ignore-failed-read -T - -cf - 2>/dev/null) | tar -xf - -C "$fresh/bandfloor"
# For trials: a folder whose files are laid over the copy.
[ -z "${OVERLAY:-}" ] || cp -r "$OVERLAY/." "$fresh/bandfloor/"

inside() {
    began=$(date +%s%N)
    echo "== $*"
    status=0
    # The words of env are NAME=value lines without blanks.
    # shellcheck disable=SC2046
    chroot "$fresh" env -i HOME=/root PATH=/usr/sbin:/usr/bin:/sbin:/bin LANG=C.UTF-8 $(cat "$fresh/env") \
        sh -c 'cd /bandfloor && exec "$@"' sh "$@" || status=$?
    echo "== exit $status after $((($(date +%s%N) - began) / 1000000)) ms"
    return "$status"
}

inside python3 -V
if [ $# -gt 0 ]; then
    inside "$@"
    inside "$@"
else
    inside ./bandfloor list circuits
    inside ./bandfloor list circuits
    inside ./bandfloor demo
    inside ./bandfloor test
fi
