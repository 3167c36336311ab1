#!/usr/bin/env bash
# The desk in a real window on a virtual screen, worked by key and mouse as a player does: drop a
# recording into it, let it be lifted, correct a pitch, name a chord, undo, save, loop two bars, be
# killed, open again, find everything, write a page and practice audio, answer a drill. Pictures stay
# in the folder given, to be looked at.
#   real_window.sh LOWSTRIDE RECORDING FOLDER
set -euo pipefail

lowstride=$1
recording=$2
folder=$3
here=$(cd "$(dirname "$0")" && pwd)
for program in Xvfb xdotool import python3; do
  command -v "$program" >/dev/null || { echo "skipped: $program is missing"; exit 77; }
done

rm -rf "$folder"
mkdir -p "$folder/work"
cp "$recording" "$folder/work/demo.ogg"
take=$folder/work/demo.take
export XDG_CONFIG_HOME=$folder/config XDG_STATE_HOME=$folder/state XDG_CACHE_HOME=$folder/cache
export XDG_DATA_HOME=$folder/data
export SDL_AUDIODRIVER=dummy LIBGL_ALWAYS_SOFTWARE=1

Xvfb -displayfd 3 -screen 0 1280x720x24 -noreset 3>"$folder/display" 2>/dev/null &
screen=$!
desk=
trap 'kill -9 $desk 2>/dev/null || true; kill $screen 2>/dev/null || true' EXIT
until [ -s "$folder/display" ]; do sleep 0.1; done
export DISPLAY=:$(head -n 1 "$folder/display")

fail() {
  import -window root "$folder/failed.png" || true
  echo "FAILED: $*" >&2
  exit 1
}
picture() { import -window root "$folder/$1.png"; }
# Waits until a Python expression on the take (as t) and the journal's text (as j) holds.
wait_for() {
  for _ in $(seq 240); do
    if python3 - "$take" "$1" <<'PY' 2>/dev/null
import json, os, sys
t = json.load(open(sys.argv[1]))
path = sys.argv[1] + ".journal"
j = open(path).read().splitlines() if os.path.exists(path) else []
sys.exit(0 if eval(sys.argv[2]) else 1)
PY
    then return; fi
    sleep 0.5
  done
  fail "waited too long for: $1"
}
press() { xdotool key --delay 60 "$@"; sleep 0.4; }
# The take with its journal, as the command sees it.
tables() { "$lowstride" export "$take" --format tables -o "$folder/$1"; }

"$lowstride" desk &
desk=$!
for _ in $(seq 100); do
  window=$(xdotool search --name '^Lowstride$' 2>/dev/null | tail -n 1) && [ -n "$window" ] && break
  sleep 0.2
done
[ -n "${window:-}" ] || fail "no window"
sleep 1
picture 0-empty
/usr/bin/env python3 "$here/drop_file.py" "$window" "$folder/work/demo.ogg" || fail "the drop was not taken"
wait_for 'any("Lift" in line for line in j)'
sleep 2
picture 1-lifted
tables lifted
[ "$(wc -l <"$folder/lifted.notes.tsv")" -gt 95 ] || fail "too few notes were lifted"

# The first note, a semitone up.
xdotool mousemove 500 300
press Home
press Right
press Up
wait_for 'len(j) > 2'
sleep 1
tables moved
first() { sed -n 2p "$folder/$1.notes.tsv" | cut -f 3; }
[ "$(first moved)" -eq $(($(first lifted) + 1)) ] || fail "the first note did not go up"
picture 2-corrected

# The chord under it, by typing.
press h
sleep 0.5
xdotool type --delay 80 'Am7b5'
sleep 0.3
press Return
sleep 1
tables named
grep -q 'A:hdim7' "$folder/named.chords.lab" || fail "the chord was not set"
picture 3-chord

# Both undone, the first done again.
press ctrl+z
press ctrl+z
sleep 1
tables undone
cmp -s "$folder/lifted.notes.tsv" "$folder/undone.notes.tsv" || fail "undo did not give back the line"
cmp -s "$folder/lifted.chords.lab" "$folder/undone.chords.lab" || fail "undo did not give back the chords"
press ctrl+shift+z
press ctrl+s
wait_for 't["notes"][0]["state"] == "confirmed"'

# It plays, in silence at the pace of the clock.
press space
sleep 3
picture 4-playing
press space

# Two bars marked by dragging over their numbers: they loop, with the low voice alone.
xdotool mousemove 240 94 mousedown 1 mousemove 300 94 mousemove 420 94 mousemove 480 94 mouseup 1
sleep 0.4
press space
press b
press b
sleep 2
picture 4b-looping
press space
press b
press b
xdotool mousemove 500 300

# Killed with an edit that was not saved.
press Right
press Up
wait_for 'len(j) > 1'
sleep 1.5
tables before-kill
kill -9 $desk
wait $desk 2>/dev/null || true
"$lowstride" desk "$take" &
desk=$!
sleep 6
picture 5-recovered
tables after-kill
cmp -s "$folder/before-kill.notes.tsv" "$folder/after-kill.notes.tsv" || fail "the edit was lost"
press Escape

# Help, evidence, sheets: to be looked at.
press F1
sleep 1
picture 6-keys
press Escape
press e
press r
sleep 1
picture 7-evidence
press ctrl+e
sleep 4
picture 8-sheets
# The page is written, then practice audio of the marked stretch.
xdotool mousemove 206 375 click 1
for _ in $(seq 60); do [ -s "$folder/work/demo.pdf" ] && break; sleep 0.25; done
head -c 5 "$folder/work/demo.pdf" | grep -q '%PDF' || fail "the page was not written"
press ctrl+e
sleep 1
xdotool mousemove 218 149 click 1
sleep 1
picture 8b-practice
xdotool mousemove 206 627 click 1
for _ in $(seq 240); do [ -s "$folder/work/demo practice.ogg" ] && break; sleep 0.5; done
[ -s "$folder/work/demo practice.ogg" ] || fail "the practice audio was not written"
cmp -s "$folder/work/demo.ogg" "$recording" || fail "the recording was touched"
sleep 1
press Escape

# Everything confirmed, and a drill on it: a note by typing, which is kept.
xdotool mousemove 500 300
press ctrl+a
press c
sleep 1
press d
sleep 1
press Return
sleep 4
picture 8c-drill
press Return
sleep 3
for _ in $(seq 10); do
  xdotool type --delay 60 '!'
  press Return
  [ -s "$folder/data/lowstride/player.history" ] && break
done
sleep 1
picture 8d-drill
[ -s "$folder/data/lowstride/player.history" ] || fail "no history was kept"
press Escape
press Escape
press F10
sleep 1
picture 9-light
press ctrl+q
for _ in $(seq 40); do
  kill -0 $desk 2>/dev/null || break
  sleep 0.25
done
kill -0 $desk 2>/dev/null && fail "the window did not close"
wait $desk || fail "the desk ended with an error"
echo "well: pictures are in $folder"
