#!/usr/bin/env bash
# Installs what is missing and builds. Called by samples/demo.sh and tests/run.sh; may be run alone:
#   src/install/setup.sh product|tests [cmake options …]
# Builds into build/ (or $LOWSTRIDE_BUILD_DIR). Quick when there is nothing to do.
set -euo pipefail

part=${1:?usage: setup.sh product|tests [cmake options]}
shift
top=$(cd "$(dirname "${BASH_SOURCE[0]}")/../.." && pwd)
build=${LOWSTRIDE_BUILD_DIR:-$top/build}

stop() {
  echo "setup: $*" >&2
  exit 1
}

command -v dpkg-query >/dev/null && command -v apt-get >/dev/null ||
  stop "this system has no apt-get; install the packages of src/install/packages.txt by hand, then build with cmake."

list=$(sed -n '/^# \[product\]/,/^# \[tests\]/p' "$top/src/install/packages.txt" | grep -v '^#')
[ "$part" = tests ] && list=$(grep -v '^#' "$top/src/install/packages.txt")
missing=()
for package in $list; do
  [ "$(dpkg-query -W -f '${db:Status-Status}' "$package" 2>/dev/null)" = installed ] || missing+=("$package")
done
if [ ${#missing[@]} -gt 0 ]; then
  echo "setup: installing ${#missing[@]} Debian packages: ${missing[*]}"
  run=()
  if [ "$(id -u)" -ne 0 ]; then
    command -v sudo >/dev/null || stop "not root and no sudo; as root run: apt-get install ${missing[*]}"
    run=(sudo)
  fi
  log=$(mktemp)
  trap 'rm -f "$log"' EXIT
  export DEBIAN_FRONTEND=noninteractive
  { "${run[@]}" apt-get update && "${run[@]}" apt-get install -y --no-install-recommends "${missing[@]}"; } \
    >"$log" 2>&1 || { tail -n 5 "$log" >&2; stop "apt-get could not install the packages; its last words are above."; }
fi

options=(-DCMAKE_BUILD_TYPE=Release)
if command -v ccache >/dev/null; then
  options+=(-DCMAKE_C_COMPILER_LAUNCHER=ccache -DCMAKE_CXX_COMPILER_LAUNCHER=ccache)
  export CCACHE_NOHASHDIR=1 CCACHE_BASEDIR="$top"
fi
# The demo needs no tests; a build folder that has them keeps them.
if [ "$part" = tests ]; then
  options+=(-DLOWSTRIDE_BUILD_TESTS=ON)
elif [ ! -f "$build/CMakeCache.txt" ]; then
  options+=(-DLOWSTRIDE_BUILD_TESTS=OFF)
fi
log=${log:-$(mktemp)}
trap 'rm -f "$log"' EXIT
echo "setup: building in ${build#"$top"/}"
cmake -S "$top" -B "$build" -G Ninja "${options[@]}" "$@" >"$log" 2>&1 ||
  { tail -n 20 "$log" >&2; stop "cmake could not configure the build; its last words are above."; }
if [ -t 1 ]; then
  cmake --build "$build"
else
  cmake --build "$build" >"$log" 2>&1 ||
    { grep -E 'error|warning|FAILED' "$log" | head -n 40 >&2; stop "the build failed; the first errors are above."; }
fi
