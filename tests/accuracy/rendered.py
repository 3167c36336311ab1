#!/usr/bin/python3
"""The whole command against an independent synthesizer: lines of known notes, played by fluidsynth with two of
Debian's sound fonts (TimGM6mb, FluidR3 GM), lifted by `lowstride lift`, judged by mir_eval's published metrics
(Raffel et al., "mir_eval: a transparent implementation of common MIR metrics", ISMIR 2014).

    rendered.py LOWSTRIDE WORK_FOLDER [--keep]

Every line is composed here from a seed: walking in four and three, root and fifth, a boogie figure, one guitar with
stabs. Prints a row a clip; exits 1 when a style falls below its floor.
"""
import argparse
import os
import random
import shutil
import subprocess
import sys

import mido
import mir_eval
import numpy as np
import soundfile

FONTS = {"tim": "/usr/share/sounds/sf2/TimGM6mb.sf2", "fluid": "/usr/share/sounds/sf2/FluidR3_GM.sf2"}
QUALITIES = {"7": (0, 4, 7, 10), "min7": (0, 3, 7, 10), "maj7": (0, 4, 7, 11), "maj": (0, 4, 7), "min": (0, 3, 7)}
ROOTS = ["C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B"]
PROGRESSIONS = {
    "blues": [(0, "7"), (5, "7"), (0, "7"), (0, "7"), (5, "7"), (5, "7"), (0, "7"), (9, "7"), (2, "min7"), (7, "7"),
              (0, "7"), (7, "7")],
    "cadences": [(2, "min7"), (7, "7"), (0, "maj7"), (9, "min7"), (2, "min7"), (7, "7"), (0, "maj7"), (0, "maj7")],
    "minor": [(0, "min7"), (5, "min7"), (10, "7"), (3, "maj7"), (8, "maj7"), (2, "min7"), (7, "7"), (0, "min7")],
    "folk": [(0, "maj"), (5, "maj"), (0, "maj"), (7, "maj"), (9, "min"), (5, "maj"), (7, "maj"), (0, "maj")],
}
# name, font, program, low note, progression, key, bpm, beats a bar, way of playing, parts
CLIPS = [
    ("solo-acoustic-tim", "tim", 32, 28, "blues", 5, 126, 4, "walk", ()),
    ("solo-finger-fluid", "fluid", 33, 28, "cadences", 10, 160, 4, "walk", ()),
    ("solo-waltz-tim", "tim", 33, 28, "folk", 7, 150, 3, "walk", ()),
    ("solo-boogie-fluid", "fluid", 32, 28, "blues", 4, 112, 4, "boogie", ()),
    ("duo-piano-tim", "tim", 32, 28, "cadences", 3, 138, 4, "walk", ("piano",)),
    ("duo-guitar-fluid", "fluid", 32, 28, "minor", 0, 104, 4, "fifths", ("guitar",)),
    ("trio-tim", "tim", 32, 28, "blues", 8, 176, 4, "walk", ("piano", "drums")),
    ("trio-fluid", "fluid", 33, 28, "cadences", 2, 208, 4, "walk", ("piano", "drums")),
    ("guitar-nylon-fluid", "fluid", 24, 40, "folk", 9, 96, 4, "fifths", ("stabs",)),
    ("guitar-steel-tim", "tim", 25, 40, "blues", 4, 108, 4, "walk", ("stabs",)),
]
# Floors a style must reach: note F1, beat F, chord root (None where the line alone implies the chords).
FLOORS = {"solo": (0.93, 0.85, None), "duo": (0.85, 0.85, 0.55), "trio": (0.75, 0.85, 0.45), "guitar": (0.90, 0.80, 0.45)}


def compose_bar(chance, way, root, quality, following, low, beats):
    """MIDI notes of a bar: (place in beats, length, note)."""
    tones = [root + t for t in QUALITIES[quality]]
    third, fifth = tones[1], tones[2]
    if way == "fifths":
        return [(0, 2, root), (2, beats - 2, fifth if fifth - 12 < low else fifth - 12)]
    if way == "boogie":
        return [(k, 1, n) for k, n in enumerate([root, third, fifth, root + 9][:beats])]
    approach = following + chance.choice([-1, 1])
    if approach < low:
        approach = following + 1
    middle = [chance.choice([third, fifth, root + 12 if root + 12 < low + 22 else fifth])]
    while len(middle) < beats - 2:
        middle.append(chance.choice([n for n in (third, fifth, root, tones[-1]) if n != middle[-1]]))
    return [(k, 1, n) for k, n in enumerate([root] + middle + [approach])]


def compose(clip, chance):
    _, _, _, low, progression, key, bpm, beats, way, parts = clip
    chords = PROGRESSIONS[progression] * (2 if len(PROGRESSIONS[progression]) < 12 else 1)

    def place(degree):
        note = low + (key + degree - low) % 12
        return note + 12 if note < low + 3 and chance.random() < 0.3 else note
    roots = [place(d) for d, _ in chords]
    spb = 60.0 / bpm
    bass, stabs, truth_chords, truth_beats = [], [], [], []
    start = 0.5
    for bar, (degree, quality) in enumerate(chords):
        t0 = start + bar * beats * spb
        following = roots[bar + 1] if bar + 1 < len(roots) else roots[bar]
        for at, length, note in compose_bar(chance, way, roots[bar], quality, following, low, beats):
            onset = t0 + at * spb + chance.gauss(0, 0.005)
            bass.append((onset, t0 + (at + length) * spb - 0.015, note, chance.randint(78, 104)))
        truth_chords.append((t0, t0 + beats * spb, ROOTS[(key + degree) % 12] + ":" + quality))
        truth_beats += [(t0 + b * spb, b + 1) for b in range(beats)]
        base = 60 if "stabs" in parts else 53
        voicing = sorted(base + (key + degree + t - base) % 12 for t in QUALITIES[quality])
        hits = [1, 3][: beats - 1] if "stabs" in parts else chance.choice([[0, 1.5], [1, 2.5], [0.5, 2]])
        for hit in hits:
            stabs += [(t0 + hit * spb + chance.gauss(0, 0.006), t0 + (hit + 0.7) * spb, n, chance.randint(52, 70))
                      for n in voicing]
    bass = [(a, min(b, bass[k + 1][0] - 0.005) if k + 1 < len(bass) else b, n, v) for k, (a, b, n, v) in enumerate(bass)]
    return bass, stabs, truth_chords, truth_beats


def play(font, tracks, path):
    song = mido.MidiFile(type=1, ticks_per_beat=960)
    for channel, program, notes in tracks:
        track, now = mido.MidiTrack(), 0
        track.append(mido.Message("program_change", channel=channel, program=program, time=0))
        events = [(a, 1, n, v) for a, _, n, v in notes] + [(b, 0, n, 0) for _, b, n, _ in notes]
        for t, on, n, v in sorted(events):
            tick = max(now, round(t * 1920))  # 960 to a beat at mido's 120 bpm
            track.append(mido.Message("note_on" if on else "note_off", channel=channel, note=n, velocity=v, time=tick - now))
            now = tick
        song.tracks.append(track)
    song.save(path + ".mid")
    subprocess.run(["fluidsynth", "-ni", "-q", "-F", path, "-r", "44100", "-R", "0", "-C", "0", FONTS[font], path + ".mid"],
                   check=True, stdout=subprocess.DEVNULL)


def audible_onsets(path, bass):
    """When each note can be heard: its 5 ms level passes 15 % of its peak."""
    sound, rate = soundfile.read(path, always_2d=True)
    power = np.mean(sound, axis=1) ** 2
    width = rate // 200
    level = np.sqrt(np.convolve(power, np.ones(width) / width, "same"))
    out = []
    for onset, offset, note, _ in bass:
        i = int(onset * rate)
        part = level[i: i + int(min(0.25, offset - onset) * rate)]
        before = level[max(0, i - width): i].mean() if i > width else 0.0
        hits = np.nonzero(part > max(0.15 * part.max(), min(before * 1.2, 0.5 * part.max())))[0]
        out.append((onset + (hits[0] / rate if len(hits) else 0.0), offset, note))
    return out


def lift(lowstride, sound, take, guitar, tables):
    subprocess.run([lowstride, "lift", sound, "-o", take] + (["--voice", "guitar", "--instrument", "guitar"] if guitar else []),
                   check=True, stdout=subprocess.DEVNULL)
    subprocess.run([lowstride, "export", take, "--format", "tables", "-o", tables], check=True, stdout=subprocess.DEVNULL)


def rows(path):
    with open(path) as lines:
        return [line.rstrip("\n").split("\t") for line in lines][1:]


def judge(truth, chords, beats, tables):
    est = rows(tables + ".notes.tsv")
    ref_i, ref_p = np.array([[a, b] for a, b, _ in truth]), np.array([mir_eval.util.midi_to_hz(n) for *_, n in truth])
    f1 = f1_end = 0.0
    if est:
        est_i = np.array([[float(r[0]), float(r[1])] for r in est])
        est_p = np.array([mir_eval.util.midi_to_hz(float(r[2])) for r in est])
        score = mir_eval.transcription.precision_recall_f1_overlap
        f1 = score(ref_i, ref_p, est_i, est_p, onset_tolerance=0.05, offset_ratio=None)[2]
        f1_end = score(ref_i, ref_p, est_i, est_p, onset_tolerance=0.05, offset_ratio=0.2)[2]
    found = np.array([float(r[0]) for r in rows(tables + ".beats.tsv")])
    beat_f = mir_eval.beat.f_measure(np.array([t for t, _ in beats]), found) if len(found) else 0.0
    labels = [line.split() for line in open(tables + ".chords.lab")]
    root = 0.0
    if labels:
        ref_iv, ref_l = np.array([[a, b] for a, b, _ in chords]), [c for *_, c in chords]
        est_iv, est_l = mir_eval.util.adjust_intervals(
            np.array([[float(a), float(b)] for a, b, _ in labels]), [c for *_, c in labels], ref_iv.min(), ref_iv.max(),
            mir_eval.chord.NO_CHORD, mir_eval.chord.NO_CHORD)
        merged, a, b = mir_eval.util.merge_labeled_intervals(ref_iv, ref_l, est_iv, est_l)
        root = mir_eval.chord.weighted_accuracy(mir_eval.chord.root(a, b), mir_eval.util.intervals_to_durations(merged))
    return f1, f1_end, beat_f, root


def main():
    words = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    words.add_argument("lowstride")
    words.add_argument("work")
    words.add_argument("--keep", action="store_true", help="leave the rendered clips and tables in the work folder")
    options = words.parse_args()
    shutil.rmtree(options.work, ignore_errors=True)
    os.makedirs(options.work)
    print("clip                     note F1  with ends  beat F  chord root")
    styles = {}
    for number, clip in enumerate(CLIPS):
        name, font, program, *_, parts = clip
        bass, stabs, chords, beats = compose(clip, random.Random(7000 + number))
        sound = os.path.join(options.work, name + ".wav")
        tracks = [(0, program, bass)]
        play(font, tracks, sound)
        truth = audible_onsets(sound, bass)
        if parts:
            if "piano" in parts or "guitar" in parts:
                tracks.append((1, 0 if "piano" in parts else 26, stabs))
            if "stabs" in parts:
                tracks.append((1, program, stabs))
            if "drums" in parts:
                tracks.append((9, 0, [(t, t + 0.1, 51, 60) for t, _ in beats] + [(t, t + 0.1, 44, 55) for t, b in beats if b % 2 == 0]))
            play(font, tracks, sound)
        stem = os.path.join(options.work, name)
        lift(options.lowstride, sound, stem + ".take", "stabs" in parts, stem)
        result = judge(truth, chords, beats, stem)
        print(f"{name:24} {result[0]:7.3f} {result[1]:10.3f} {result[2]:7.3f} {result[3]:11.3f}")
        styles.setdefault(name.split("-")[0], []).append(result)
    failed = 0
    for style, results in styles.items():
        note, beat, root = FLOORS[style]
        mean = np.mean(results, axis=0)
        for what, value, floor in (("note F1", mean[0], note), ("beat F", mean[2], beat), ("chord root", mean[3], root)):
            if floor is not None and value < floor:
                print(f"{style}: {what} {value:.3f} is below its floor of {floor}")
                failed += 1
    if not options.keep:
        shutil.rmtree(options.work)
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
