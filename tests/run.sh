#!/usr/bin/env bash
# Installs what is missing, builds, and tests.
#   tests/run.sh            the quick tier: unit and end-to-end tests, accuracy on clips rendered here, format, clang-tidy
#                           on changed files
#   tests/run.sh --long     adds what takes longer: tests labelled `long`, address, undefined and thread sanitizers, a minute of
#                           each fuzzer, clang-tidy on every file
set -euo pipefail

top=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd)
cd "$top"
long=no
for word in "$@"; do
  case $word in
    --long) long=yes ;;
    *) echo "run.sh: '$word' means nothing here; usage: tests/run.sh [--long]" >&2; exit 2 ;;
  esac
done

build=${LOWSTRIDE_BUILD_DIR:-$top/build}
src/install/setup.sh tests
left_out=()

echo "== format"
git ls-files '*.cpp' '*.hpp' | xargs clang-format --dry-run --Werror

echo "== clang-tidy"
if [ $long = yes ]; then
  python3 tests/tidy.py "$build"
else
  # Changed in the last commit or since (a clone of one commit cannot tell); the long run looks at every file.
  { git diff --name-only --diff-filter=d HEAD~1 2>/dev/null || true; } | { grep '\.cpp$' || true; } | xargs -r python3 tests/tidy.py "$build"
  left_out+=("clang-tidy on unchanged files")
fi

echo "== tests"
if [ $long = yes ]; then
  ctest --test-dir "$build" --output-on-failure -j "$(nproc)"
  echo "== tests under address and undefined sanitizers"
  # At -O1 the build takes less than half as long as at -O2, and the stacks in reports stay readable.
  LOWSTRIDE_BUILD_DIR=$build-sanitize src/install/setup.sh tests -DCMAKE_BUILD_TYPE=RelWithDebInfo \
    "-DCMAKE_CXX_FLAGS_RELWITHDEBINFO=-O1 -g1" "-DCMAKE_C_FLAGS_RELWITHDEBINFO=-O1 -g1" -DLOWSTRIDE_SANITIZE=address,undefined -DLOWSTRIDE_BUILD_BENCHES=OFF
  ctest --test-dir "$build-sanitize" --output-on-failure -j "$(nproc)" -LE 'long|accuracy'
  echo "== threads"
  LOWSTRIDE_THREADS_BUILD_DIR=$build-threads tests/threads.sh
  echo "== fuzzers"
  LOWSTRIDE_FUZZ_BUILD_DIR=$build-fuzz tests/fuzz/run.sh 60 || { status=$?; [ $status -eq 77 ] || exit $status; left_out+=("fuzzers"); }
  left_out+=("benches (build/tests/bench/)")
else
  left_out+=("tests labelled long" "sanitizers" "benches (build/tests/bench/)")
  echo
  printf 'Left out of the quick tier: %s\n' "${left_out[@]}"
  ctest --test-dir "$build" --output-on-failure -j "$(nproc)" -LE long
  exit
fi
printf 'Left out: %s\n' "${left_out[@]}"
