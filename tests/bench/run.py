#!/usr/bin/env python3
"""Speed, kept: ratios of our processor time to that of reference libraries, measured in one run, beside those that are stored.

    run.py BUILD [--store] [--table FILE]

Each ratio is our time by the library's time for the same or a fixed work, so that a faster or busier machine changes both. A ratio
that is more than 15 % above the stored one is reported and ends the run with 1; one more than 15 % below is reported too, to be stored
with --store. Each side is measured several times, turn by turn, and its least time counts.

    stretch            half speed of the demo, beside Rubber Band's finer engine (R3, offline)
    resampling         a semitone up, one channel, beside libsoxr at its usual quality with a rate that may change
    fft                4096 real samples, beside FFTW called bare
    listening          spectra and nets, beside FFTW's time for their transforms alone (one over the FFT's share)
    transcription      a whole lift, beside FFTW's time for the same transforms; its speed is told in x real time of one core
"""
import json
import os
import pathlib
import re
import subprocess
import sys
import tempfile

TOLERANCE = 0.15
ROUNDS = 3


def cpu_of(words, **more):
    """User and system time of a command, which must succeed."""
    process = subprocess.Popen([str(word) for word in words], stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, **more)
    said = process.stderr.read()
    _, status, usage = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode != 0:
        raise RuntimeError(f"{words[0]}: {said.decode()[-200:]}")
    return usage.ru_utime + usage.ru_stime


def least_of(program, names):
    """The least processor time of each named benchmark of a Google Benchmark program, in ms a pass."""
    least = {}
    printed = subprocess.run([str(program), "--benchmark_format=json", f"--benchmark_filter=^({'|'.join(names)})$",
                              "--benchmark_repetitions=20", "--benchmark_enable_random_interleaving=true",
                              "--benchmark_min_time=0.05"], check=True, capture_output=True, text=True).stdout
    for row in json.loads(printed)["benchmarks"]:
        if row.get("run_type") == "iteration":
            least[row["run_name"]] = min(row["cpu_time"], least.get(row["run_name"], float("inf")))
    return least


def measure(build, skipped):
    bench = build / "tests" / "bench"
    ratios = {}
    notes = {}
    if (bench / "lowstride_reference_bench").exists():
        times = least_of(bench / "lowstride_reference_bench", ["resampling_ours", "resampling_soxr", "fft_ours", "fft_fftw"])
        ratios["resampling"] = times["resampling_ours"] / times["resampling_soxr"]
        ratios["fft"] = times["fft_ours"] / times["fft_fftw"]
    else:
        skipped += ["resampling", "fft"]
    fftw_times_real_time = None
    if (bench / "lowstride_learned_bench").exists():
        times = least_of(bench / "lowstride_learned_bench", ["fftw_alone", "whole_survey", "whole_listener"])
        ours = times["whole_survey"] + times["whole_listener"]
        ratios["listening"] = ours / times["fftw_alone"]
        notes["listening"] = f"FFT's share {100 * times['fftw_alone'] / ours:.0f} %, {10_000 / ours:.0f} x real time"
        fftw_times_real_time = 10_000 / times["fftw_alone"]
    else:
        skipped += ["listening"]
    if fftw_times_real_time and (bench / "lowstride_lift_bench").exists():
        best = 0.0
        for _ in range(ROUNDS):
            printed = subprocess.run([bench / "lowstride_lift_bench", "2"], check=True, capture_output=True, text=True).stdout
            best = max(best, float(re.search(r"at ([0-9.]+) x real time", printed).group(1)))
        ratios["transcription"] = fftw_times_real_time / best
        notes["transcription"] = f"{best:.0f} x real time on one core"
    else:
        skipped += ["transcription"]
    stretch_file = bench / "lowstride_stretch_file"
    with tempfile.TemporaryDirectory() as folder:
        sound = pathlib.Path(folder) / "in.wav"
        demo = pathlib.Path(__file__).resolve().parents[2] / "samples" / "ferry-slip.ogg"
        subprocess.run([build / "src/cli/lowstride", "slow", demo, "--speed", "100%", "--to", "20", "-o", sound], check=True,
                       stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        try:
            least = {}
            for _ in range(ROUNDS):
                for engine in ("ours", "finer"):
                    used = cpu_of([stretch_file, sound, pathlib.Path(folder) / "out.wav", "--ratio", "2", "--engine", engine])
                    least[engine] = min(used, least.get(engine, float("inf")))
            ratios["stretch"] = least["ours"] / least["finer"]
        except (RuntimeError, FileNotFoundError) as error:
            skipped.append(f"stretch ({error})")
    return ratios, notes


def main():
    words = sys.argv[1:]
    table = pathlib.Path(__file__).with_name("ratios.tsv")
    if "--table" in words:
        at = words.index("--table")
        table = pathlib.Path(words[at + 1])
        del words[at:at + 2]
    stores = "--store" in words
    words = [word for word in words if word != "--store"]
    if len(words) != 1:
        sys.exit(__doc__)
    stored = {}
    if table.exists():
        stored = {name: float(ratio) for name, ratio in
                  (line.split("\t") for line in table.read_text(encoding="utf-8").splitlines()[1:])}
    skipped = []
    ratios, notes = measure(pathlib.Path(words[0]).resolve(), skipped)
    lost = []
    for name, ratio in sorted(ratios.items()):
        change = ratio / stored[name] - 1.0 if name in stored else None
        verdict = "new" if change is None else f"{100 * change:+.0f} %"
        if change is not None and change > TOLERANCE:
            verdict += "  LOST SPEED"
            lost.append(name)
        elif change is not None and change < -TOLERANCE:
            verdict += "  gained: --store keeps it"
        print(f"{name:<14} {ratio:8.3f} of the reference's time, stored {stored.get(name, float('nan')):8.3f}  {verdict:<24} {notes.get(name, '')}")
    for name in skipped:
        print(f"skipped: {name}, not built or its library is missing")
    for name in sorted(set(stored) - set(ratios) - {word.split()[0] for word in skipped}):
        print(f"LOST: {name} is stored and was not measured")
        lost.append(name)
    if stores:
        kept = dict(stored, **ratios)
        table.write_text("what\tratio\n" + "".join(f"{name}\t{kept[name]:.3f}\n" for name in sorted(kept)), encoding="utf-8")
    elif lost:
        sys.exit(f"More than {100 * TOLERANCE:.0f} % slower against the reference: {', '.join(lost)}")


main()
