#!/usr/bin/env bash
# The manual page: formatted by man without a warning, looked through by mandoc's linter, and as complete as the help.
#   man_page.sh LOWSTRIDE
set -euo pipefail

lowstride=$1
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
fail() {
  echo "FAILED: $*" >&2
  exit 1
}
command -v man >/dev/null || { echo "skipped: man is missing"; exit 77; }

"$lowstride" --man-page >"$work/lowstride.1"
MANROFFSEQ='' MANWIDTH=100 LC_ALL=C.UTF-8 man --warnings -E UTF-8 -l "$work/lowstride.1" >"$work/page" 2>"$work/warnings"
[ -s "$work/warnings" ] && { cat "$work/warnings"; fail "man warns"; }
col -b <"$work/page" >"$work/plain" 2>/dev/null || cp "$work/page" "$work/plain"
grep -q 'lowstride-desk - turn a recording' "$work/plain" || fail "whatis and apropos find no NAME line"
if command -v mandoc >/dev/null; then
  mandoc -T lint -W warning "$work/lowstride.1" >"$work/lint" || { cat "$work/lint"; fail "mandoc's linter"; }
else
  echo "skipped: mandoc's linter, for mandoc is missing"
fi

# Every command, every option and every example of the help is in the page, as the help itself prints them.
"$lowstride" --help | sed -n '/^Subcommands:/,$p' | awk '/^  [a-z]/ {print $1}' >"$work/commands"
[ "$(wc -l <"$work/commands")" -ge 12 ] || fail "the help lists only $(wc -l <"$work/commands") commands"
while read -r name; do
  "$lowstride" "$name" --help >"$work/help"
  awk -v name="$name" '/^   [a-z-]+$/ {inside = ($1 == name)} inside' "$work/plain" >"$work/section"
  [ -s "$work/section" ] || fail "the page has no section on $name"
  for option in $(grep -oE '^ +(-[a-z],)?--[a-z0-9-]+' "$work/help" | grep -oE '\-\-[a-z0-9-]+' | grep -v '^--help$'); do
    grep -qE -- "(^|[ ,])$option( |,|\$)" "$work/section" || fail "$name $option is not in the page"
  done
  grep -E '^  lowstride ' "$work/help" | while read -r example; do
    grep -qF -- "$example" "$work/plain" || fail "this example of $name is not in the page: $example"
  done
done <"$work/commands"
echo "well: $(wc -l <"$work/plain") lines, every command, option and example of the help"
