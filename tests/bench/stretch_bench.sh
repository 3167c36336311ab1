#!/bin/sh
# stretch_bench.sh PROGRAM [RATIOS]: the table of the stretcher beside the libraries, and the speeds
# of all in the same run. PROGRAM is lowstride_stretch_file. Needs the scorer of the shared folder
# (LOWSTRIDE_SHARED, or ../shared beside the project) and Python with numpy, scipy and soundfile;
# says 'skipped' and succeeds where they are missing. Work is kept in $STRETCH_BENCH_WORK
# (default: stretch_bench_work in the current folder). STRETCH_BENCH_ENGINES names the columns; a
# column takes about two minutes a ratio on an idle core.
set -eu
program=$1
ratios=${2:-0.8,1.25,1.5,2,3,4}
here=$(cd "$(dirname "$0")" && pwd)
scorer=${LOWSTRIDE_SHARED:-$here/../../../shared}/eval
work=${STRETCH_BENCH_WORK:-stretch_bench_work}
python=${PYTHON:-/usr/bin/python3}
engines=${STRETCH_BENCH_ENGINES:-ideal ours finer faster splices}

if [ ! -r "$scorer/tsm_score.py" ]; then
  echo "stretch bench skipped: no tsm_score.py in $scorer; set LOWSTRIDE_SHARED"
  exit 0
fi
if ! "$python" -c 'import numpy, scipy, soundfile' 2>/dev/null; then
  echo "stretch bench skipped: install python3-numpy, python3-scipy and python3-soundfile"
  exit 0
fi
mkdir -p "$work"
[ -r "$work/signals/manifest.json" ] || "$python" "$scorer/tsm_signals.py" "$work/signals"

set --
builtin=
for engine in $engines; do
  if [ "$engine" = ideal ]; then
    builtin="--builtin ideal"
  elif "$program" "$work/signals/clicks.wav" "$work/probe.wav" --ratio 1.5 --engine $engine 2>/dev/null
  then
    set -- "$@" --engine "$engine=$program {in} {out} --ratio {ratio} --engine $engine"
  else
    echo "left out: $engine (its library was not there at configuring)"
  fi
done
"$python" "$scorer/tsm_score.py" run --signals "$work/signals" --work "$work" --ratios "$ratios" \
  $builtin --json "$work/table.json" "$@"
"$python" "$scorer/tsm_score.py" versus "$work/table.json" ours finer || true
if [ -r "$work/signals/bench.wav" ]; then
  "$python" "$scorer/tsm_score.py" bench --clip "$work/signals/bench.wav" --work "$work" \
    --ratio 1.5,2 --reps 3 --json "$work/speed.json" "$@"
fi
