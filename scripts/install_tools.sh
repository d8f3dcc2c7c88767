#!/usr/bin/env bash
# Install what the tests judge Railwright with and pip cannot bring: ngspice (the outside check of the
# rehearsal) and pdftoppm (reads the report's pages); given names: only these. Does nothing where they are there.
set -euo pipefail

declare -A package=([ngspice]=ngspice [pdftoppm]=poppler-utils)
missing=()
[ "$#" -gt 0 ] || set -- "${!package[@]}"
for tool in "$@"; do
  command -v "$tool" >/dev/null 2>&1 || missing+=("${package[$tool]}")
done
[ "${#missing[@]}" -eq 0 ] && exit 0

give_up() {
  echo "the tests need ${missing[*]}: $1" >&2
  exit 1
}

command -v apt-get >/dev/null 2>&1 || give_up "install them with this system's package manager, then run it again."
as_root=()
if [ "$(id -u)" -ne 0 ]; then
  command -v sudo >/dev/null 2>&1 || give_up "run as root: apt-get install ${missing[*]}"
  as_root=(sudo)
fi
echo "Installing ${missing[*]} ..."
log=$(mktemp)
trap 'rm -f "$log"' EXIT
export DEBIAN_FRONTEND=noninteractive
if ! { "${as_root[@]}" apt-get update -qq && "${as_root[@]}" apt-get install -y -qq --no-install-recommends "${missing[@]}"; } >"$log" 2>&1; then
  tail -n 20 "$log" >&2
  give_up "apt-get could not install them (above)."
fi
