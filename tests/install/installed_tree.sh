#!/usr/bin/env bash
# Installs into a prefix, moves it to a path with a space in it, and does the main job from there.
#   installed_tree.sh BUILD RECORDING FOLDER
set -euo pipefail

build=$1
recording=$2
folder=$3
fail() {
  echo "FAILED: $*" >&2
  exit 1
}

rm -rf "$folder"
mkdir -p "$folder/home" "$folder/work"
cmake --install "$build" --prefix "$folder/first" --strip >"$folder/log" 2>&1 || { cat "$folder/log"; fail "cmake --install"; }
place="$folder/another place"
mv "$folder/first" "$place"
for file in bin/lowstride libexec/lowstride/lowstride-decode share/man/man1/lowstride.1 share/doc/lowstride/copyright \
  share/doc/lowstride/LICENSE share/bash-completion/completions/lowstride share/zsh/vendor-completions/_lowstride \
  share/fish/vendor_completions.d/lowstride.fish; do
  [ -s "$place/$file" ] || fail "$file is not installed"
done
# Nothing in it names the folder that it was built in (debug information, of which a release has none, is stripped).
if grep -rlF "$build" "$place" >"$folder/named"; then fail "the build folder is named in $(cat "$folder/named")"; fi

# An empty environment: nothing of the build tree or of this session can be found by it.
run() { env -i PATH=/usr/bin:/bin HOME="$folder/home" LANG=C.UTF-8 "$place/bin/lowstride" "$@"; }
run --version >"$folder/version"
head -n 1 "$folder/version" | grep -qE '^lowstride [0-9]+\.[0-9]+\.[0-9]+$' || fail "no version: $(cat "$folder/version")"
for word in commit compiler libraries FFTW; do grep -q "$word" "$folder/version" || fail "--version tells no $word"; done

cp "$recording" "$folder/work/demo.ogg"
cd "$folder/work"
run lift demo.ogg >tab.txt || fail "lift"
grep -q '^E|' tab.txt || fail "lift printed no tab"
run export demo.take --format pdf -o demo.pdf || fail "export"
head -c 5 demo.pdf | grep -q '%PDF-' || fail "no page was written"
# A file that only lowstride-decode can read, which lies in another folder than the command.
if command -v ffmpeg >/dev/null; then
  ffmpeg -v error -t 6 -i demo.ogg -c:a aac phone.m4a
  run slow phone.m4a --speed 50% -o phone-half.wav || fail "slow of an m4a"
  [ "$(stat -c %s phone-half.wav)" -gt 1000000 ] || fail "twelve seconds of sound are more than $(stat -c %s phone-half.wav) bytes"
else
  echo "skipped: m4a, for ffmpeg is missing"
fi
if [ -e "$place/bin/lowstride-desk" ]; then
  # Without a screen the window says so itself: it was found and begun.
  run desk demo.take >desk.txt 2>&1 && fail "a window without a screen"
  grep -q '^lowstride desk: ' desk.txt || fail "lowstride desk did not become lowstride-desk: $(cat desk.txt)"
fi
echo "well: moved to '$place' it lifts, exports, decodes and begins the desk"
