#!/usr/bin/env bash
# Mutates the inputs of every reader (or of those named) under address and undefined sanitizers.
#   tests/fuzz/run.sh [SECONDS] [READER…]     60 seconds each when left out
# What is found lies in build-fuzz/found; copy it to tests/fuzz/corpus/READER/found-WHAT and mend it.
# Needs clang, clang++ and libclang-rt-14-dev; says 'skipped' and ends with 77 where they are missing.
set -euo pipefail

top=$(cd "$(dirname "${BASH_SOURCE[0]}")/../.." && pwd)
build=${LOWSTRIDE_FUZZ_BUILD_DIR:-$top/build-fuzz}
seconds=${1:-60}
shift || true
if ! echo 'extern "C" int LLVMFuzzerTestOneInput(const unsigned char*, unsigned long) { return 0; }' |
  clang++ -x c++ -fsanitize=fuzzer,address - -o /dev/null 2>/dev/null; then
  echo "skipped: the fuzzers need clang and its libFuzzer (apt install clang libclang-rt-14-dev)" >&2
  exit 77
fi
if [ ! -f "$build/build.ninja" ]; then
  cmake -S "$top" -B "$build" -G Ninja -DCMAKE_C_COMPILER=clang -DCMAKE_CXX_COMPILER=clang++ \
    -DCMAKE_BUILD_TYPE=RelWithDebInfo "-DCMAKE_CXX_FLAGS_RELWITHDEBINFO=-O1 -gline-tables-only" \
    -DCMAKE_CXX_COMPILER_LAUNCHER=ccache -DLOWSTRIDE_FUZZ=ON -DLOWSTRIDE_BUILD_TESTS=OFF \
    -DLOWSTRIDE_BUILD_BENCHES=OFF -DLOWSTRIDE_WARNINGS_AS_ERRORS=OFF > /dev/null
fi
ninja -C "$build" lowstride_fuzz
readers=("$@")
if [ ${#readers[@]} -eq 0 ]; then
  for folder in "$top"/tests/fuzz/corpus/*/; do readers+=("$(basename "$folder")"); done
fi
mkdir -p "$build/found"
failed=()
for reader in "${readers[@]}"; do
  mkdir -p "$build/corpus/$reader"
  log=$build/corpus/$reader.log
  # The first folder takes what is new; the repository's own corpus is only read.
  if "$build/tests/fuzz/lowstride_fuzz" "--reader=$reader" -max_total_time="$seconds" -timeout=20 -rss_limit_mb=2048 \
    -print_final_stats=1 "-artifact_prefix=$build/found/$reader-" \
    "$build/corpus/$reader" "$top/tests/fuzz/corpus/$reader" > "$log" 2>&1; then
    echo "$reader: $(sed -n 's/^stat::number_of_executed_units: *//p' "$log") inputs$(sed -n 's/^child deaths: /, child deaths: /p' "$log")"
  else
    failed+=("$reader")
    tail -30 "$log"
  fi
done
if [ ${#failed[@]} -gt 0 ]; then
  echo "Something was found in: ${failed[*]} (see $build/found)" >&2
  exit 1
fi
