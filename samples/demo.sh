#!/usr/bin/env bash
# The main job on the demo recording: installs what is missing, builds, lifts the line, prints the tab and
# the summary, and writes the half-speed audio. Run it as often as you like.
#   samples/demo.sh [OUTPUT_FOLDER]      default: build/demo
set -euo pipefail

top=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd)
"$top/src/install/setup.sh" product
lowstride=${LOWSTRIDE_BUILD_DIR:-$top/build}/src/cli/lowstride
out=${1:-${LOWSTRIDE_BUILD_DIR:-$top/build}/demo}
mkdir -p "$out"

"$lowstride" lift "$top/samples/ferry-slip.ogg" -o "$out/ferry-slip.take"
"$lowstride" slow "$top/samples/ferry-slip.ogg" --speed 50% -o "$out/ferry-slip-half-speed.ogg"
"$lowstride" export "$out/ferry-slip.take" --format midi -o "$out/ferry-slip.mid"
echo
echo "Written to $out: the take, the half-speed audio and a MIDI file of the line."
