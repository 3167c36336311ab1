"""Scores two sets of tables with mir_eval, which is not ours: prints one score a line.
Usage: score_tables.py ESTIMATE_STEM REFERENCE_STEM"""
import sys
import warnings

import mir_eval
import numpy as np

warnings.filterwarnings("ignore")


def rows(path):
    with open(path) as lines:
        return [line.rstrip("\n").split("\t") for line in lines][1:]


def notes(stem):
    sounding = [row for row in rows(stem + ".notes.tsv") if row[6] != "dead note"]
    intervals = np.array([[float(row[0]), float(row[1])] for row in sounding]).reshape(-1, 2)
    return intervals, mir_eval.util.midi_to_hz(np.array([float(row[2]) for row in sounding]))


def chords(stem):
    lines = [line.split() for line in open(stem + ".chords.lab")]
    return np.array([[float(a), float(b)] for a, b, _ in lines]), [label for *_, label in lines]


def beats(stem, only_first):
    return np.array([float(r[0]) for r in rows(stem + ".beats.tsv") if not only_first or r[2] == "1"])


def main():
    estimate, reference = sys.argv[1:3]
    est_i, est_p = notes(estimate)
    ref_i, ref_p = notes(reference)
    score = mir_eval.transcription.precision_recall_f1_overlap
    for ratio, name in ((None, "notes"), (0.2, "ends")):
        p, r, f, _ = score(ref_i, ref_p, est_i, est_p, offset_ratio=ratio)
        print(name, p, r, f)
    print("beats", mir_eval.beat.f_measure(beats(reference, False), beats(estimate, False)))
    print("downbeats", mir_eval.beat.f_measure(beats(reference, True), beats(estimate, True)))
    ref_iv, ref_l = chords(reference)
    est_iv, est_l = chords(estimate)
    est_iv, est_l = mir_eval.util.adjust_intervals(est_iv, est_l, ref_iv.min(), ref_iv.max(), "N", "N")
    merged, a, b = mir_eval.util.merge_labeled_intervals(ref_iv, ref_l, est_iv, est_l)
    time = mir_eval.util.intervals_to_durations(merged)
    for name in ("root", "majmin", "sevenths"):
        print(name, mir_eval.chord.weighted_accuracy(getattr(mir_eval.chord, name)(a, b), time))


main()
