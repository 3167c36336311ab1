"""The held-out set: another way of composing, another sound font. Nothing of it is ever trained on.

  heldout.py --out FOLDER [--count 40] [--seed 9] [--font /usr/share/sounds/sf2/TimGM6mb.sf2]

Writes NAME.wav and NAME.json in the format of the measuring corpus. Unlike compose.py, which draws note after note, lines here are built from
whole-bar cells joined by voice leading, progressions are grown from a tonic by rewriting (a chord may be prepared by its fifth, a fifth by its
second, a fifth be replaced by the tritone), comping follows evenly spread pulses, and time moves by a slow sine. TimGM6mb (GPL-2) is used for
measuring only.
"""
import argparse
import json
import os
import wave

import numpy as np

from harmony import TONES
from render import level
from synth import RATE, MidiSynth

LABEL = ('maj', 'min', '7', 'maj7', 'min7', 'minmaj7', 'hdim7', 'dim7', 'maj6', 'min6', 'sus4', 'sus4(b7)', 'aug', 'dim')
NOTE = ('C', 'Db', 'D', 'Eb', 'E', 'F', 'Gb', 'G', 'Ab', 'A', 'Bb', 'B')
# cells of one bar of four: (beat, length, degree); degrees: r root, t third, f fifth, s seventh or sixth, o octave, n approach from above to the
# next root, u from below, x dead, = the note before again, w whole step above the root
CELLS4 = ('0 1 r,1 1 t,2 1 f,3 1 n', '0 1 r,1 1 f,2 1 t,3 1 u', '0 1 r,1 1 w,2 1 t,3 1 u', '0 1 r,1 1 s,2 1 f,3 1 n', '0 1 o,1 1 s,2 1 f,3 1 t', '0 1 r,1 1 r,2 1 f,3 1 u',
          '0 1 r,1 .66 t,1.66 .3 =,2 1 f,3 1 n', '0 .66 r,.66 .2 x,1 1 t,2 1 f,3 .66 s,3.66 .3 u', '0 1 r,1 1 t,2 .33 f,2.33 .33 =,2.67 .33 f,3 1 n', '0 1 t,1 1 f,2 1 o,3 1 u',
          '0 1 f,1 1 t,2 1 r,3 1 n')
CELLS2 = ('0 2 r,2 2 f', '0 1.66 r,1.66 .3 =,2 2 f', '0 2 r,2 1 f,3 1 u', '0 3 r,3 1 n', '0 4 r', '0 1.5 r,1.5 .5 f,2 1.5 f,3.5 .5 u')
CELLS8 = ('0 .5 r,.5 .5 r,1 .5 r,1.5 .5 r,2 .5 r,2.5 .5 r,3 .5 f,3.5 .5 u', '0 1 r,1.5 .5 f,2 .5 s,2.5 1 o,3.5 .5 n', '0 .75 r,.75 .2 x,1 .5 o,2 .5 r,2.5 .5 t,3 .5 f,3.5 .3 x', '0 .5 r,1 .5 t,2 .5 f,3 .5 s')
CELLS3 = ('0 3 r', '0 1 r,1 1 t,2 1 f', '0 1 r,1 1 f,2 1 n', '0 2 r,2 1 u', '0 1 r,1 1 f,2 1 f')


def grow(rng, depth, minor, meter):
    """[(root, quality, beats)] of a period of four bars by rewriting. A chord is prepared in the time of the one before it, so that what was
    prepared keeps its place: resolutions fall on bar lines or, of half-bar chords, on the half bar, and the tonic always on a bar line. The first
    chord is prepared at the period's end, as turnarounds do."""
    tonic = (0, int(rng.choice([9, 4, 1] if minor else [3, 8, 0])), 2 * meter)
    seq = [tonic, tonic]

    def prepare(i, root, q):
        before, what, beats = seq[i - 1]
        if beats < meter or before == root % 12:       # half a bar is the shortest; a bar of three parts in two and one
            return
        seq[i - 1] = (before, what, beats - beats // 2)
        seq.insert(i if i else len(seq), (root % 12, q, beats // 2))
    for _ in range(depth):
        i = int(rng.integers(len(seq)))
        root, q, beats = seq[i]
        r = rng.random()
        if r < .45:                                    # by its fifth
            prepare(i, root + 7, 2)
        elif r < .65 and q == 2:                       # a fifth by its second
            prepare(i, root + 7, 6 if minor else 4)
        elif r < .75 and q == 2:                       # tritone
            seq[i] = ((root + 6) % 12, 2, beats)
        elif r < .85:                                  # by the subdominant
            prepare(i, root + 5, 4 if minor else 3)
        elif r < .93:                                  # by the passing diminished from below
            prepare(i, root - 1, 7)
        else:
            seq[i] = (root, int(rng.choice([10, 11] if q == 2 else [q, 8 if not minor else 9])), beats)
    return seq


def bar_cells(rng, style, bars, chord_at, meter, low, high, swing):
    out, last = [], (low + high) // 2 - 5
    pool = {'walk': CELLS4, 'two': CELLS2, 'eighth': CELLS8}.get(style, CELLS4) if meter == 4 else CELLS3
    sw = swing / (1 + swing)
    bend = lambda b: int(b) + (b % 1 * 2 * sw if b % 1 <= .5 else sw + (b % 1 - .5) * 2 * (1 - sw)) if abs(b % 1 - .5) < .01 or abs(b % 1 - .25) < .01 else b
    near = lambda pc, ref: min((m for m in range(low, high + 1) if m % 12 == pc % 12), key=lambda m: (abs(m - ref), m))
    for bar in range(bars):
        for part in pool[rng.integers(len(pool))].split(','):
            beat, length, what = part.split()
            beat, length = float(beat), float(length)
            at = bar * meter + beat
            root, q = chord_at(at)
            nxt = chord_at(int(at) + 1 if length <= 1 else (bar + 1) * meter)[0]
            ones = TONES[q]
            if chord_at(int(at))[0] != chord_at(max(0, int(at) - 1))[0] and beat % 1 == 0 and what not in 'nu':
                what = 'r'
            if what == 'r':
                m = near(root, last)
            elif what in 'tfs':
                m = near(root + ones[min({'t': 1, 'f': 2, 's': 3}[what], len(ones) - 1)], last)
            elif what == 'o':
                m = near(root, last)
                m = m + 12 if m + 12 <= high else m
            elif what == 'w':
                m = near(root + 2, last)
            elif what in 'nu':
                m = min(high, max(low, near(nxt, last) + (1 if what == 'n' else -1)))
            else:
                m = last
            out.append([bend(at), length * (.92 if what != 'x' else .3), m, what == 'x'])
            last = m if what != 'x' else last
    return out


def pulses(k, n):
    """k onsets spread as evenly as possible over n steps (Bjorklund's rhythm, written by rounding)."""
    return [i * n // k for i in range(k)]


def make(rng, synth, style, seconds):
    meter = 3 if rng.random() < .15 else 4
    bpm = float(rng.choice([52, 66, 80, 92, 104, 120, 138, 152, 176, 200, 232, 270]) * rng.uniform(.95, 1.05))
    minor = rng.random() < .4
    seq = grow(rng, int(rng.integers(4, 10)), minor, meter)
    key = int(rng.integers(12))
    bars = max(4, int(seconds * bpm / 60 / meter) - 1)
    beats = bars * meter
    line = []
    while sum(n for _, _, n in line) < beats:
        line += seq
    chords = []
    for r, q, n in line:
        chords += [((r + key) % 12, q)] * n
    chords = chords[:beats]
    chord_at = lambda b: chords[min(max(0, int(b)), beats - 1)]
    swing = float(rng.choice([1, 1, 1.5, 2, 2.4]))
    how = str(rng.choice(['walk', 'walk', 'two', 'eighth'])) if bpm < 180 else 'walk' if rng.random() < .7 else 'two'
    low, high = (40, 57) if style == 'guitar' else (28, 55)
    bass = bar_cells(rng, how, bars, chord_at, meter, low, high, swing)
    wander = rng.choice([0, .01, .03, .06])
    count = meter if style in ('trio', 'band') and rng.random() < .5 else 0
    i = np.arange(beats + count + 2)
    period = 60 / bpm * (1 + wander * np.sin(2 * np.pi * i / rng.uniform(12, 40) + rng.uniform(0, 6)))
    time = rng.uniform(.1, .8) + np.concatenate([[0], np.cumsum(period)])[:len(i)]
    sec = lambda b: float(np.interp(b + count, i, time))
    total = min(int((sec(beats) + 1.2) * RATE), int(60 * RATE))
    program = int(rng.choice([24, 25, 26, 27] if style == 'guitar' else [32, 32, 33, 33, 34, 35]))
    truth, ev = [], [(0, 'select', 0, 0, 0, program), (0, 'select', 1, 0, 0, program)]
    bass.sort(key=lambda x: x[0])
    for k, (b, d, m, ghost) in enumerate(bass):
        on = round((sec(b) + rng.normal(0, .006)) * RATE / 64) * 64
        nxt = sec(bass[k + 1][0]) if k + 1 < len(bass) else 1e9
        off = min(sec(b + d), nxt)
        v = int(np.clip(rng.normal(95, 9) - 25 * ghost, 40, 120))
        if ghost:
            off = on / RATE + .045
        if off - on / RATE < .03 or on < 0:
            continue
        ev += [(on, 'fluid_synth_noteon', k % 2, m, v), (off * RATE, 'fluid_synth_noteoff', k % 2, m)]
        truth.append(dict(onset=(on + synth.delay(0, program, m, v)) / RATE, offset=off, midi=m, ghost=bool(ghost)))
    heard = []      # (power, cents) of each part: the font's own tuning is part of the truth

    def part(events, program, db):
        notes = [e[3] for e in events if e[1] == 'fluid_synth_noteon']
        heard.append((10 ** (db / 10), float(np.mean([synth.own_tuning(0, program, m) for m in notes])) if notes else 0.0))
        return level(synth.render(events, total)).astype(np.float64) * 10 ** (db / 20)
    mix = part(ev, program, rng.uniform(-4, 3))
    if style != 'solo-bass':
        prog = program if style == 'guitar' else int(rng.choice([0, 4, 5, 26, 25, 16, 11]))
        steps, k = meter * 2, int(rng.integers(1, 6))
        ev = [(0, 'select', 2, 0, 0, prog)]
        turn = int(rng.integers(steps))
        for bar in range(bars):
            for p in sorted({(x + turn) % steps for x in pulses(k, steps)} | ({0} if bar % 4 == 0 else set())):
                b = bar * meter + p // 2 + (swing / (1 + swing) if p % 2 else 0)
                root, q = chord_at(b)
                base = 55 if style == 'guitar' else 52
                for t in TONES[q][0 if k < 4 else 1:]:
                    m = base + (root + t - base) % 12
                    on = sec(b) * RATE + rng.normal(0, 100)
                    ev += [(max(0, on), 'fluid_synth_noteon', 2, m, int(rng.normal(78, 6))), (max(200, sec(b + rng.uniform(.3, 1)) * RATE), 'fluid_synth_noteoff', 2, m)]
        mix += part(ev, prog, rng.uniform(-9, 0))
    if style in ('trio', 'band'):
        ev = [(0, 'select', 9, 0, 128, 0)]
        hit = lambda b, key, v: ev.extend([(sec(b) * RATE, 'fluid_synth_noteon', 9, key, v), (sec(b) * RATE + 2000, 'fluid_synth_noteoff', 9, key)])
        for c in range(count):
            hit(c - count, 37, 90)
        for b in range(beats):
            hit(b, 51, 80)
            if swing > 1.2 and b % 2:
                hit(b + swing / (1 + swing), 51, 60)
            elif swing <= 1.2:
                hit(b + .5, 42, 60)
            if b % meter in (1, 3):
                hit(b, 44 if swing > 1.2 else 38, 85)
            if b % meter == 0:
                hit(b, 36, 70)
        mix += level(synth.render(ev, total), .08).astype(np.float64) * 10 ** (rng.uniform(-10, 0) / 20)
    if style == 'band':
        prog = int(rng.choice([56, 65, 66, 71, 26, 57]))
        ev, m = [(0, 'select', 3, 0, 0, prog)], 67
        b = 2.0
        while b < beats:
            d = float(rng.choice([.5, .5, 1, 1.5, 2]))
            root, q = chord_at(b)
            m = min(range(57, 80), key=lambda x: abs(x - m - rng.normal(0, 4)) + (0 if (x - root) % 12 in TONES[q] else 2))
            if rng.random() < .8:
                ev += [(sec(b) * RATE, 'fluid_synth_noteon', 3, m, 90), (sec(b + d * .9) * RATE, 'fluid_synth_noteoff', 3, m)]
            b += d
        mix += part(ev, prog, rng.uniform(-8, 2))
    marks = []
    for b, c in enumerate(chords):
        if not marks or marks[-1][2] != c:
            marks.append([b, b + 1, c])
        marks[-1][1] = b + 1
    spans = [dict(start=sec(x), end=sec(y), label=f'{NOTE[c[0]]}:{LABEL[c[1]]}') for x, y, c in marks]
    if spans[0]['start'] > 0:
        spans.insert(0, dict(start=0.0, end=spans[0]['start'], label='N'))
    tuning = 440 * 2 ** (np.average([c for _, c in heard], weights=[w for w, _ in heard]) / 1200)
    return mix, dict(sample_rate=RATE, channels=1, duration=total / RATE, tuning_hz=tuning, time_signature=f'{meter}/4', tempo=bpm, swing=swing, style=style,
                     instrument='guitar' if style == 'guitar' else 'bass', beats=[dict(t=sec(b), bar=b // meter + 1, beat=b % meter + 1) for b in range(-count, beats)],
                     chords=spans, bass=truth)


def main():
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument('--out', required=True)
    ap.add_argument('--count', type=int, default=40)
    ap.add_argument('--seconds', type=float, default=32)
    ap.add_argument('--seed', type=int, default=9)
    ap.add_argument('--font', default='/usr/share/sounds/sf2/TimGM6mb.sf2')
    a = ap.parse_args()
    os.makedirs(a.out, exist_ok=True)
    synth = MidiSynth([a.font])
    styles = ('solo-bass', 'duo', 'trio', 'band', 'guitar')
    for i in range(a.count):
        rng = np.random.default_rng([a.seed, i])
        style = styles[i % 5]
        mix, truth = make(rng, synth, style, a.seconds)
        name = f'held-{i:02d}-{style}'
        truth['file'] = name + '.wav'
        x = np.round(mix / (np.abs(mix).max() + 1e-9) * 29000).astype('<i2')
        with wave.open(os.path.join(a.out, name + '.wav'), 'wb') as f:
            f.setnchannels(1)
            f.setsampwidth(2)
            f.setframerate(RATE)
            f.writeframes(x.tobytes())
        with open(os.path.join(a.out, name + '.json'), 'w') as f:
            json.dump(truth, f)


if __name__ == '__main__':
    main()
