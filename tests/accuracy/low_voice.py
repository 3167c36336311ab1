#!/usr/bin/python3
"""The low voice brought out and taken away, in numbers.

    low_voice.py LOWSTRIDE WORK_FOLDER [--shared FOLDER] [--clips N]

Two parts. Mixes of a bass and the rest, each rendered alone by fluidsynth (lines of rendered.py), are lifted, and what
`lowstride slow --speed 100% --bass only|minus|up` makes of them is held against the two stems:

    SDR     10 log10(|stem|^2 / |stem - estimate|^2), the source-to-distortion ratio of Vincent, Gribonval & Fevotte
            (IEEE TASLP 14(4), 2006) without the filtering that it forgives: of `only` against the bass, of `minus`
            against the rest. `before` is that of the mix itself.
    up      level of the bass in `up` against the bass stem, dB: 9 is meant
    attack  10-90 % rise time of the notes of `only` over that of the stem (median), and energy in the 60 ms before the
            attack against the 30 ms after it, dB, less what the stem has (median): soft attacks and pre-echo

Recordings of a corpus with true notes (FOLDER/corpus, says 'skipped' where there is none) have no stems: there the power
at the first six partials of each true note, and that of everything else over 50 Hz, are held against the recording's.
Prints a row a clip; exits 1 when the mean of a column falls below its floor.
"""
import argparse
import glob
import json
import os
import random
import subprocess
import sys

import numpy as np
import soundfile

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
import rendered  # noqa: E402

WAYS = ("only", "minus", "up")
# Floors of the means over the rendered mixes, dB: what is reached now (14.1 and 3.9), less a little.
FLOORS = {"only": 12.5, "minus": 2.5}


def mono(path):
    sound, rate = soundfile.read(path, always_2d=True)
    return sound.mean(axis=1), rate


def ratio_db(above, below):
    return 10 * np.log10((np.sum(above ** 2) + 1e-12) / (np.sum(below ** 2) + 1e-12))


def ways_of(lowstride, sound, take, work, guitar=False):
    """Lifts a recording and renders it in all ways; gives their samples."""
    rendered.lift(lowstride, sound, take, guitar, os.path.join(work, "tables"))
    made = {}
    for way in WAYS:
        out = os.path.join(work, way + ".wav")
        subprocess.run([lowstride, "slow", take, "--speed", "100%", "--bass", way, "--fade-in", "0", "--bits", "24", "-o", out],
                       check=True, stdout=subprocess.DEVNULL)
        made[way], _ = mono(out)
    return made


def envelope(sound, rate):
    width = int(0.006 * rate)
    return np.sqrt(np.convolve(sound ** 2, np.ones(width) / width, "same"))


def attacks(sound, notes, rate):
    """Rise time (s) and pre-echo (dB) of each note that follows a gap of 20 ms or more, or another by a step in level."""
    level = envelope(sound, rate)
    rises, echoes = [], []
    for onset in notes:
        at = int(onset * rate)
        part = level[max(0, at - int(0.06 * rate)): at + int(0.12 * rate)]
        if len(part) < int(0.18 * rate):
            continue
        peak = int(np.argmax(part))
        low = part[:peak + 1].min()
        span = part[peak] - low
        if span <= 0.3 * part[peak]:
            continue  # it does not stand out of the note before it
        start = peak - np.argmax(part[peak::-1] <= low + 0.1 * span)
        end = start + np.argmax(part[start:peak + 1] >= low + 0.9 * span)
        rises.append(max(end - start, 1) / rate)
        before = sound[max(0, at - int(0.06 * rate)): max(0, at - int(0.004 * rate))]
        after = sound[at: at + int(0.03 * rate)]
        echoes.append(10 * np.log10((np.mean(before ** 2) + 1e-12) / (np.mean(after ** 2) + 1e-12)))
    return np.array(rises), np.array(echoes)


def rendered_row(lowstride, clip, work):
    chance = random.Random(clip[0])
    name, font, program, parts = clip[0], clip[1], clip[2], clip[9]
    bass, stabs, _, beats = rendered.compose(clip, chance)
    rest = []
    if stabs and parts:
        rest.append((1, 0 if "piano" in parts else 26, stabs))
    if "drums" in parts:
        rest.append((9, 0, [(t, t + 0.1, 51 if b % 2 else 42, 70) for t, b in beats]))
    paths = [os.path.join(work, name + ending) for ending in ("-bass.wav", "-rest.wav")]
    rendered.play(font, [(0, program, bass)], paths[0])
    rendered.play(font, rest, paths[1])
    low, rate = mono(paths[0])
    other, _ = mono(paths[1])
    length = min(len(low), len(other))
    low, other = low[:length], other[:length]
    scale = 0.5 / np.max(np.abs(low + other))
    low, other = scale * low, scale * other
    mix = os.path.join(work, name + ".wav")
    soundfile.write(mix, low + other, rate, subtype="PCM_24")
    made = {way: sound[:length] for way, sound in ways_of(lowstride, mix, mix + ".take", work).items()}
    onsets = [a for a, _, _ in rendered.audible_onsets(paths[0], bass)]
    true_rise, true_echo = attacks(low, onsets, rate)
    rise, echo = attacks(made["only"], onsets, rate)
    gain = np.dot(made["up"], low) / np.dot(low, low)
    return {"before only": ratio_db(low, other), "only": ratio_db(low, low - made["only"]),
            "before minus": ratio_db(other, low), "minus": ratio_db(other, other - made["minus"]),
            "up": 20 * np.log10(max(gain, 1e-6)), "rise x": np.median(rise) / np.median(true_rise),
            "pre-echo": np.median(echo) - np.median(true_echo)}


def partial_power(sound, rate, notes):
    """Power at the notes' partials and elsewhere over 50 Hz, from the middle of each note."""
    size = 1 << int(np.ceil(np.log2(0.18 * rate)))
    window = np.hanning(size)
    hertz = np.fft.rfftfreq(size, 1 / rate)
    at, off = 0.0, 0.0
    for onset, offset, midi in notes:
        middle = int((0.5 * (onset + min(offset, onset + 0.4))) * rate)
        part = sound[middle - size // 2: middle + size // 2]
        if len(part) < size or offset - onset < 0.15:
            continue
        power = np.abs(np.fft.rfft(window * part)) ** 2
        f0 = 440 * 2 ** ((midi - 69) / 12)
        is_partial = np.zeros(len(hertz), bool)
        for k in range(1, 7):
            is_partial |= np.abs(hertz - k * f0) < max(2.5 * rate / size, 0.012 * k * f0)
        at += power[is_partial].sum()
        off += power[~is_partial & (hertz > 50)].sum()
    return at, off


def corpus_row(lowstride, path, work):
    with open(path) as file:
        truth = json.load(file)
    sound = os.path.join(os.path.dirname(path), truth["file"])
    made = ways_of(lowstride, sound, os.path.join(work, truth["name"] + ".take"), work, truth["instrument"] == "guitar")
    original, rate = mono(sound)
    shift = 12 * np.log2(truth["tuning_hz"] / 440)
    notes = [(n["onset"], n["offset"], n["midi"] + shift) for n in truth["bass"] if not n["ghost"]]
    at, off = partial_power(original, rate, notes)
    row = {}
    for way in WAYS:
        at_way, off_way = partial_power(made[way], rate, notes)
        row[way + " bass"] = 10 * np.log10(at_way / at)
        row[way + " rest"] = 10 * np.log10(off_way / off)
    return row


def show(rows):
    if not rows:
        return {}
    columns = list(next(iter(rows.values())))
    means = {c: float(np.mean([row[c] for row in rows.values()])) for c in columns}
    print(f"{'':28}" + "".join(f"{c:>14}" for c in columns))
    for name, row in list(rows.items()) + [("mean", means)]:
        print(f"{name:28}" + "".join(f"{row[c]:14.1f}" for c in columns), flush=True)
    return means


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("lowstride")
    parser.add_argument("work")
    parser.add_argument("--shared", default=os.environ.get("LOWSTRIDE_SHARED", "../shared"))
    parser.add_argument("--clips", type=int, default=6, help="recordings of the corpus, evenly chosen")
    options = parser.parse_args()
    os.makedirs(options.work, exist_ok=True)
    means = show({clip[0]: rendered_row(options.lowstride, clip, options.work)
                  for clip in rendered.CLIPS if clip[9] and "stabs" not in clip[9]})
    paths = sorted(glob.glob(os.path.join(options.shared, "corpus", "*.json")))
    if paths:
        chosen = paths[::max(1, len(paths) // options.clips)][:options.clips]
        print()
        show({os.path.basename(p)[:-5]: corpus_row(options.lowstride, p, options.work) for p in chosen})
    else:
        print("corpus skipped: none in", options.shared)
    low = [name for name, floor in FLOORS.items() if means[name] < floor]
    if low:
        print("below its floor:", ", ".join(low))
    return 1 if low else 0


if __name__ == "__main__":
    sys.exit(main())
