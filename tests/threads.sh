#!/usr/bin/env bash
# The tests of everything that has threads of its own, under the thread sanitizer: sound engine, journal, background
# analysis, drill and desk. Part of the long tier.
#   tests/threads.sh [GTEST_FILTER]
# Builds into build-threads (or $LOWSTRIDE_THREADS_BUILD_DIR).
set -euo pipefail

top=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd)
build=${LOWSTRIDE_THREADS_BUILD_DIR:-$top/build-threads}
filter=${1:-*}

launcher=()
if command -v ccache > /dev/null; then
  launcher=(-DCMAKE_C_COMPILER_LAUNCHER=ccache -DCMAKE_CXX_COMPILER_LAUNCHER=ccache)
  export CCACHE_NOHASHDIR=1 CCACHE_BASEDIR=${CCACHE_BASEDIR:-$top}
fi
cmake -S "$top" -B "$build" -G Ninja "${launcher[@]}" -DCMAKE_BUILD_TYPE=RelWithDebInfo \
  "-DCMAKE_CXX_FLAGS_RELWITHDEBINFO=-O1 -g1" "-DCMAKE_C_FLAGS_RELWITHDEBINFO=-O1 -g1" \
  -DLOWSTRIDE_SANITIZE=thread -DLOWSTRIDE_BUILD_TESTS=ON -DLOWSTRIDE_BUILD_BENCHES=OFF > /dev/null
rooms=(audio take analysis drill)
if grep -q lowstride_gui_tests "$build/build.ninja"; then
  rooms+=(gui)
else
  echo "threads: without the packages of the desk its tests are left out"
fi
targets=("${rooms[@]/#/lowstride_}")
log=$build/build.log
ninja -C "$build" "${targets[@]/%/_tests}" > "$log" ||
  { grep -E 'error|FAILED' "$log" | head -n 40 >&2; echo "threads: the build failed; the first errors are above." >&2; exit 1; }

failed=()
for room in "${rooms[@]}"; do
  echo "== threads: $room"
  TSAN_OPTIONS="suppressions=$top/tests/threads.supp exitcode=66 history_size=4" \
    "$build/tests/$room/lowstride_${room}_tests" --gtest_brief=1 "--gtest_filter=$filter" || failed+=("$room")
done
if [ ${#failed[@]} -gt 0 ]; then
  echo "threads: something was found in: ${failed[*]}" >&2
  exit 1
fi
