#!/usr/bin/env bash
# Desktop entry, file type, icon and software catalogue, each by the checker of its own standard, and a double click.
#   desktop.sh BUILD FOLDER
set -euo pipefail

build=$1
folder=$2
type=application/vnd.lowstride.take+json
fail() {
  echo "FAILED: $*" >&2
  exit 1
}
for program in desktop-file-validate appstreamcli update-mime-database gio xmllint; do
  command -v "$program" >/dev/null || { echo "skipped: $program is missing"; exit 77; }
done

rm -rf "$folder"
mkdir -p "$folder/home" "$folder/work"
cmake --install "$build" --prefix "$folder/prefix" >"$folder/log" 2>&1 || { cat "$folder/log"; fail "cmake --install"; }
share=$folder/prefix/share

# Desktop Entry Specification, AppStream, Shared MIME-info: checked by the tools that their authors give.
desktop-file-validate "$share/applications/org.example.Lowstride.desktop" >"$folder/entry" 2>&1 ||
  { cat "$folder/entry"; fail "desktop-file-validate"; }
[ -s "$folder/entry" ] && { cat "$folder/entry"; fail "desktop-file-validate has remarks"; }
appstreamcli validate --no-net --strict "$share/metainfo/org.example.Lowstride.metainfo.xml" >"$folder/catalogue" 2>&1 ||
  { cat "$folder/catalogue"; fail "appstreamcli validate"; }
[ "$("$folder/prefix/bin/lowstride" --version | awk 'NR == 1 {print $2}')" = \
  "$(xmllint --xpath 'string(/component/releases/release[1]/@version)' "$share/metainfo/org.example.Lowstride.metainfo.xml")" ] ||
  fail "the catalogue tells another version than the command"
update-mime-database "$share/mime" || fail "update-mime-database"
update-desktop-database -q "$share/applications" || fail "update-desktop-database"
for size in 32 48 64 128 256; do
  picture=$share/icons/hicolor/${size}x${size}/apps/lowstride.png
  [ -e "$picture" ] || { echo "skipped: icons in pixels, for rsvg-convert is missing"; break; }
  # Width of a PNG: the first number of its header (ISO/IEC 15948, 11.2.2).
  [ "$(od -An -j 16 -N 4 --endian=big -t u4 "$picture" | tr -d ' ')" = $size ] || fail "$picture has another width"
done
xmllint --noout "$share/icons/hicolor/scalable/apps/lowstride.svg" "$share/icons/hicolor/scalable/mimetypes/${type/\//-}.svg" || fail "icon"

# What a desktop says of a take: by its name, and by what is in it when the name tells nothing.
export XDG_DATA_DIRS=$share XDG_DATA_HOME=$folder/home/data XDG_CONFIG_HOME=$folder/home/config XDG_CACHE_HOME=$folder/home/cache
export HOME=$folder/home PATH=$folder/prefix/bin:$PATH
cd "$folder/work"
printf 'header\nonset_s\toffset_s\tmidi\n0.5\t1.0\t40\n1.0\t1.5\t43\n' | tail -n +2 >line.notes.tsv
lowstride read line.notes.tsv -o line.take >/dev/null 2>read.txt || { cat read.txt; fail "lowstride read"; }
cp line.take unnamed
kind_of() { gio info -a standard::content-type "$1" | awk '/standard::content-type:/ {print $2}'; }
[ "$(kind_of line.take)" = $type ] || fail "line.take is taken for $(kind_of line.take)"
[ "$(kind_of unnamed)" = $type ] || fail "a take without its ending is taken for $(kind_of unnamed)"
gio mime $type >offered
grep -q 'org.example.Lowstride.desktop' offered || fail "nothing opens a take: $(cat offered)"
gio mime audio/flac | grep -q 'org.example.Lowstride.desktop' || fail "nothing opens a recording"

# The double click itself: `gio open` is what a file manager does with it.
for program in Xvfb xdotool; do
  command -v "$program" >/dev/null || { echo "skipped: the double click, for $program is missing"; exit 0; }
done
Xvfb -displayfd 3 -screen 0 1280x720x24 -noreset 3>"$folder/display" 2>/dev/null &
screen=$!
trap 'kill $(cat "$folder/desk" 2>/dev/null) 2>/dev/null || true; kill $screen 2>/dev/null || true' EXIT
until [ -s "$folder/display" ]; do sleep 0.1; done
export DISPLAY=:$(head -n 1 "$folder/display") SDL_AUDIODRIVER=dummy LIBGL_ALWAYS_SOFTWARE=1
unset DBUS_SESSION_BUS_ADDRESS WAYLAND_DISPLAY
gio open line.take 2>open.txt || { cat open.txt; fail "gio open"; }
for _ in $(seq 120); do
  window=$(xdotool search --onlyvisible --class '^lowstride$' 2>/dev/null | head -n 1) && [ -n "$window" ] && break
  sleep 0.25
done
[ -n "$window" ] || fail "no window came"
xdotool getwindowpid "$window" >"$folder/desk"
for _ in $(seq 40); do
  name=$(xdotool getwindowname "$window")
  case $name in *line*) break ;; esac
  sleep 0.25
done
case $name in *line*) ;; *) fail "the window shows '$name', not the take" ;; esac
echo "well: a double click on line.take opens '$name'"
