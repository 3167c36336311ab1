#!/usr/bin/python3
"""Lifts every recording of a corpus with truth and prints its scores.

    corpus.py LOWSTRIDE WORK_FOLDER [--shared FOLDER] [--jobs N] [--only PART] [--guess-voice]

The corpus lies in FOLDER/corpus (recordings, and NAME.json with the truth), the scorer is FOLDER/eval/score.py; FOLDER
defaults to $LOWSTRIDE_SHARED, else `shared` beside the repository. Says 'skipped' and exits 77 where they are absent.
The voice that is given to `lift` is the truth's `instrument` unless --guess-voice.
"""
import argparse
import bisect
import concurrent.futures
import json
import os
import subprocess
import sys

NAMES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
# Overall scores that the run must not fall below on any corpus.
FLOORS = {"NoteF": 0.975, "NoteOff": 0.93, "BeatPit": 0.99, "Root": 0.76, "Sev": 0.64}
LARGEST_CALIBRATION_ERROR = 0.05  # of notes; that of beats and chords is printed


def lift(options, corpus, truth):
    name = truth["name"]
    stem = os.path.join(options.work, name)
    take = stem + ".take"
    if os.path.exists(take):
        os.remove(take)
    voice = [] if options.guess_voice else ["--voice", truth["instrument"]]
    neck = ["--instrument", "guitar" if truth["instrument"] == "guitar" else "bass5"]
    with open(stem + ".log", "w") as log:
        for command in ([options.lowstride, "lift", os.path.join(corpus, truth["file"]), "-o", take] + voice + neck,
                        [options.lowstride, "export", take, "--format", "tables", "-o", stem]):
            if subprocess.run(command, stdout=log, stderr=log).returncode != 0:
                return name
    return None


def chord_parts(label):
    """(root pitch class, quality with the bass left out), or None for no chord."""
    if label in ("N", "X"):
        return None
    head = label.split("/")[0]
    root, _, quality = head.partition(":")
    pc = NAMES[root[0]] + root.count("#") - root.count("b")
    return pc % 12, quality or "maj"


def judged(truth, take, rate):
    """(confidence, was it right) of every note, beat and chord of a take."""
    out = {"notes": [], "beats": [], "chords": []}
    real = [n for n in truth["bass"] if not n.get("ghost")]
    ghosts = [n["onset"] for n in truth["bass"] if n.get("ghost")]
    for note in take["notes"]:
        at = note["onset_samples"] / rate
        right = any(abs(n["onset"] - at) <= 0.05 and n["midi"] == note["midi"] for n in real)
        if right or not any(abs(t - at) <= 0.05 for t in ghosts):
            out["notes"].append((note["confidence"], right))
    beats = [b["t"] for b in truth["beats"]]
    for beat in take["beats"]:
        at = beat["time_samples"] / rate
        k = bisect.bisect(beats, at)
        near = [j for j in (k - 1, k) if 0 <= j < len(beats) and abs(beats[j] - at) <= 0.07]
        out["beats"].append((beat["confidence"], any(truth["beats"][j]["beat"] == beat["beat"] for j in near)))
    for chord in take["chords"]:
        a, b = chord["begin_samples"] / rate, chord["end_samples"] / rate
        mine = chord_parts(chord["chord"])
        held = sum(max(0.0, min(b, c["end"]) - max(a, c["start"])) for c in truth["chords"] if chord_parts(c["label"]) == mine)
        if mine is not None:
            out["chords"].append((chord["confidence"], held > 0.5 * (b - a)))
    return out


def calibration(pairs):
    """Expected calibration error over ten bins of equal width (Guo et al., "On calibration of modern neural networks",
    ICML 2017), and a row a bin: entries, mean confidence, share right."""
    bins = [[] for _ in range(10)]
    for confidence, right in pairs:
        bins[min(9, int(10 * confidence))].append((confidence, right))
    rows = [(len(x), sum(c for c, _ in x) / len(x), sum(r for _, r in x) / len(x)) if x else (0, 0.0, 0.0) for x in bins]
    return sum(n * abs(c - r) for n, c, r in rows) / max(1, len(pairs)), rows


def print_calibration(options, truths):
    total = {"notes": [], "beats": [], "chords": []}
    for truth in truths:
        path = os.path.join(options.work, truth["name"] + ".take")
        if not os.path.exists(path):
            continue
        with open(path) as text:
            take = json.load(text)
        for what, pairs in judged(truth, take, take["time_base_hz"]).items():
            total[what] += pairs
    print("\ncalibration: entries, mean confidence and share right in ten bins of confidence")
    errors = {}
    for what, pairs in total.items():
        errors[what], rows = calibration(pairs)
        print(f"{what:7} expected calibration error {errors[what]:.3f}  " +
              "  ".join(f"{n}:{c:.2f}/{r:.2f}" for n, c, r in rows if n))
    return errors


def main():
    words = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    words.add_argument("lowstride")
    words.add_argument("work")
    here = os.path.dirname(os.path.abspath(__file__))
    words.add_argument("--shared", default=os.environ.get("LOWSTRIDE_SHARED", os.path.join(here, "../../../shared")))
    words.add_argument("--jobs", type=int, default=os.cpu_count())
    words.add_argument("--only", default="")
    words.add_argument("--guess-voice", action="store_true")
    options = words.parse_args()
    corpus, scorer = os.path.join(options.shared, "corpus"), os.path.join(options.shared, "eval", "score.py")
    if not os.path.isdir(corpus) or not os.path.isfile(scorer):
        print("skipped: no corpus at " + os.path.normpath(corpus))
        return 77
    os.makedirs(options.work, exist_ok=True)
    truths = []
    for file in sorted(os.listdir(corpus)):
        if file.endswith(".json") and options.only in file:
            with open(os.path.join(corpus, file)) as text:
                truths.append({"name": file[:-5], **json.load(text)})
    with concurrent.futures.ThreadPoolExecutor(options.jobs) as pool:
        failed = [name for name in pool.map(lambda t: lift(options, corpus, t), truths) if name]
    for name in failed:
        print("failed: " + name)
    subprocess.run([sys.executable, scorer, "--truth", corpus, "--est", options.work, "--clips", "--only", options.only,
                    "--json", os.path.join(options.work, "scores.json")], check=True)
    with open(os.path.join(options.work, "scores.json")) as text:
        overall = json.load(text)["overall"]
    low = [f"{k} {overall[k]:.3f} is below {v}" for k, v in FLOORS.items() if overall.get(k, 1.0) < v]
    error = print_calibration(options, truths)["notes"]
    if error > LARGEST_CALIBRATION_ERROR:
        low.append(f"calibration error of notes {error:.3f} is above {LARGEST_CALIBRATION_ERROR}")
    for sentence in low:
        print(sentence)
    return 1 if failed or low else 0


if __name__ == "__main__":
    sys.exit(main())
