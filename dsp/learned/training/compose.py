"""Whole practice recordings as notes with exact truth: form, low line, comping, drums, solo, time. Our own composing.

`compose(rng, seconds)` -> Piece. Times are seconds; a note is (onset, offset, midi, velocity 0..1, kind).
"""
from dataclasses import dataclass, field

import numpy as np

import lines
from harmony import SCALES, TENSIONS, TONES, progression, spread


@dataclass
class Piece:
    seconds: float
    bass: list = field(default_factory=list)      # (on, off, midi, velocity, kind); kind 0 struck, 1 dead, 2 slurred
    comp: list = field(default_factory=list)      # (on, off, midi, velocity)
    solo: list = field(default_factory=list)
    drums: list = field(default_factory=list)     # (on, key, velocity), General MIDI percussion keys
    beats: list = field(default_factory=list)     # (time, beat in bar from 1)
    chords: list = field(default_factory=list)    # (start, end, root, quality, bass); root -1: none
    guitar: bool = False                          # one guitar plays bass and chords
    comp_kind: str = 'keys'                       # 'keys', 'pad', 'strum'
    low_voice: str = 'bass'                       # 'bass', 'guitar', 'other' or 'none'
    noise: str = ''                               # '', 'speech', 'noise': made in sound.py
    style: str = ''


def tempo_bpm(rng):
    r = rng.random()
    if r < 0.55:
        return float(np.exp(rng.uniform(np.log(68), np.log(235))))
    return float(np.exp(rng.uniform(np.log(40), np.log(320))))


def beat_times(rng, bpm, beats, start):
    """Steady, drifting or rubato."""
    r = rng.random()
    drift, jitter = (0.0, 0.0) if r < 0.3 else (0.012, 0.003) if r < 0.75 else (0.035, 0.006) if r < 0.92 else (0.10, 0.012)
    walk = np.cumsum(rng.normal(0, 1, beats)) / np.sqrt(8)
    walk -= np.convolve(np.pad(walk, 16, mode='edge'), np.ones(33) / 33, 'valid') * rng.uniform(0, 1)
    trend = np.linspace(0, 1, beats) * rng.normal(0, drift)
    curve = np.exp(np.clip(drift * walk + trend, -0.35, 0.35))
    if drift == 0.10 and rng.random() < 0.6:                          # the phrase breathes: slower into each fourth bar
        curve *= 1 + rng.uniform(0, 0.25) * np.maximum(0, np.sin(np.arange(beats) / 16 * 2 * np.pi - 1)) ** 2
    if rng.random() < .15:                                            # leaning forward and back by turns
        curve = curve * (1 + rng.uniform(.01, .07) * np.sin(2 * np.pi * np.arange(beats) / rng.uniform(12, 40) + rng.uniform(0, 6)))
    t = start + np.concatenate([[0], np.cumsum(60 / bpm * curve)])[:beats]
    return t + np.clip(rng.normal(0, 1, beats), -2, 2) * min(jitter, 6 / bpm * 0.1)


# grips of the left hand without root: guide tones with two tensions, or stacked fourths
UPPER = {2: ((4, 9, 10, 2), (10, 2, 4, 9), (4, 8, 10, 3), (4, 8, 10, 1), (4, 9, 10, 1), (4, 10, 2, 7), (4, 10, 3), (10, 4, 9)), 3: ((4, 7, 11, 2), (4, 9, 2, 11), (11, 2, 4, 6), (4, 9, 2)),
         4: ((3, 7, 10, 2), (10, 2, 3, 7), (5, 10, 3, 7), (3, 10, 2), (0, 5, 10, 3)), 5: ((3, 7, 11, 2), (11, 2, 3, 9)), 6: ((3, 6, 10, 2), (10, 0, 3, 6), (6, 10, 0, 5)),
         8: ((4, 7, 9, 2), (4, 9, 2, 7)), 9: ((3, 7, 9, 2), (9, 2, 3, 7)), 11: ((5, 9, 10, 2), (10, 2, 5), (10, 0, 5, 9)), 7: ((3, 6, 9, 2), (3, 6, 9, 11))}


def voicing(rng, chord, previous, kind, low, high):
    """Pitches between low and high, close to the previous grip."""
    root, q, _ = chord
    pcs = list(TONES[q])
    if kind == 'rootless':
        pcs = [t for t in pcs if t != 0] + ([int(rng.choice(TENSIONS[q]))] if TENSIONS[q] and rng.random() < 0.6 else [])
    elif kind == 'shell':
        pcs = [t for t in pcs if t not in (7,)] if len(pcs) == 4 else pcs
    elif kind == 'rich' and TENSIONS[q]:
        pcs += [int(rng.choice(TENSIONS[q]))]
    elif kind == 'upper' and q in UPPER:
        pcs = list(UPPER[q][rng.integers(len(UPPER[q]))])
    elif kind == 'guide' and len(pcs) == 4:
        pcs = [pcs[1], pcs[3]] + ([int(rng.choice(TENSIONS[q]))] if TENSIONS[q] and rng.random() < .5 else [])
    pcs = [(root + t) % 12 for t in pcs]
    if previous and rng.random() < 0.85:
        centre = float(np.mean(previous))
    else:
        centre = rng.uniform(low + 5, high - 6)
    notes = []
    for pc in pcs:
        c = [m for m in range(low, high + 1) if m % 12 == pc]
        if c:
            m = min(c, key=lambda x: abs(x - centre) + rng.random() * 2)
            if m not in notes:
                notes.append(m)
    if kind == 'full':
        notes += [m + 12 for m in notes if m + 12 <= high and rng.random() < 0.5]
        r = [m for m in range(max(36, low - 8), low + 5) if m % 12 == chord[2]]
        notes += r[:1]
    return sorted(set(notes))


COMP_RHYTHMS = {                                       # (beat, fraction, length in beats)
    'whole': ((0, 0, 4),), 'half': ((0, 0, 1.9), (2, 0, 1.9)), 'four': ((0, 0, .7), (1, 0, .7), (2, 0, .7), (3, 0, .7)),
    'charleston': ((0, 0, .8), (1, .5, .5)), 'back': ((1, 0, .4), (3, 0, .4)), 'offbeats': ((0, .5, .3), (1, .5, .3), (2, .5, .3), (3, .5, .3)),
    'eighths': tuple((b, f, .4) for b in range(4) for f in (0, .5)), 'push': ((1, .5, 1), (3, .5, 2.2)), 'red': ((0, .5, .4), (2, .5, .8)),
    'syncopated': ((0, 0, .5), (1, .5, .4), (2, .5, .4), (3, .5, .4)), 'reverse': ((0, .5, .4), (2, 0, 1)), 'clave': ((0, 0, .5), (1, .5, .5), (3, 0, .5)),
}


def comp_part(rng, chords, meter, beats, player, kind, low, high):
    """-> [beat position, length, midi, velocity]"""
    grip = str(rng.choice(['close', 'rootless', 'shell', 'rich', 'full', 'upper', 'guide'], p=[.29, .17, .12, .13, .10, .14, .05]))
    names = list(COMP_RHYTHMS)
    style = 'pad' if kind == 'pad' else str(rng.choice(['fixed', 'free', 'arpeggio', 'sparse', 'stride', 'tremolo'], p=[.44, .28, .12, .08, .06, .02]))
    fixed = COMP_RHYTHMS[str(rng.choice(names))]
    early = rng.random() < 0.2
    hold = rng.uniform(0.4, 1.3)
    out, prev = [], None
    level = rng.uniform(0.45, 0.75)

    def strike(at, length, chord, soft=0.0):
        nonlocal prev
        if chord is None:
            return
        notes = voicing(rng, chord, prev, grip, low, high)
        prev = notes
        spread_time = rng.uniform(0, 0.06) if kind == 'strum' and rng.random() < 0.7 else 0.0
        for i, m in enumerate(notes):
            out.append([at + i * spread_time / max(1, len(notes)) * 2, length, m, float(np.clip(level - soft + rng.normal(0, .07), .15, 1))])

    def at_or_end(b):
        return chords[min(b, beats - 1)]

    b = 0
    while b < beats:
        bar_end = min(beats, b + meter - b % meter if b % meter else b + meter)
        if style == 'pad':
            e = b + 1
            while e < beats and chords[e] == chords[b] and e - b < 4 * meter:
                e += 1
            strike(b, (e - b) * rng.uniform(0.9, 1.02), chords[b])
            b = e
            continue
        if rng.random() < 0.04:
            b = bar_end
            continue
        if style == 'arpeggio':
            for k in range(b, bar_end):
                if chords[k] is None:
                    continue
                notes = voicing(rng, chords[k], prev, grip, low, high) if k == b or chords[k] != chords[k - 1] or not prev else prev
                prev = notes
                for f in (0, .5):
                    j = int(2 * (k - b) + 2 * f)
                    out.append([player.off(k, f), rng.uniform(.4, 2), notes[(j if (j // len(notes)) % 2 == 0 else -1 - j) % len(notes)], float(np.clip(level + rng.normal(0, .06), .15, 1))])
        elif style == 'stride':
            for k in range(b, bar_end):
                if chords[k] is None:
                    continue
                if (k - b) % meter in ((0, 2) if meter == 4 else (0,)) and rng.random() < 0.6:
                    r = [m for m in range(36, 55) if m % 12 == chords[k][2]]
                    out.append([k, .8, int(rng.choice(r)), float(level)])
                else:
                    strike(k, .5, chords[k])
        elif style == 'tremolo':
            for k in range(b, bar_end):
                for f in (0, .25, .5, .75):
                    strike(k + f, .24, chords[k], .1)
        else:
            pattern = fixed
            if style == 'free':
                pattern = COMP_RHYTHMS[names[rng.integers(len(names))]] if rng.random() < 0.5 else tuple(
                    (k, f, float(rng.uniform(.3, 1.5))) for k, f in lines.rhythm(rng, meter, 2, rng.uniform(.1, .45)))
            elif style == 'sparse':
                pattern = ((0, 0, meter),) if rng.random() < .8 else ((int(rng.integers(meter)), 0.5, 1),)
            struck = False
            for k, f, d in pattern:
                at = b + k
                if at >= bar_end:
                    continue
                chord = at_or_end(at + 1) if f >= .5 and early else chords[at]
                strike(player.off(at, f), d * hold, chord, .05 * (f > 0))
                struck = True
            for k in range(b + 1, bar_end):            # a change inside the bar is mostly heard
                if chords[k] != chords[k - 1] and rng.random() < 0.6 and not any(abs(n[0] - k) < .3 for n in out[-12:]):
                    strike(k, .8 * hold, chords[k])
            if not struck and rng.random() < .7:
                strike(b, meter * .9, chords[b])
        b = bar_end
    return out


def solo_part(rng, chords, meter, beats, player, low, high):
    out, m, up = [], int(rng.integers(low + 3, high - 3)), True
    dense = rng.uniform(.3, 1.0)
    b = 0
    helper = lines.Player(rng, low, high, player.swing)
    while b < beats:
        if rng.random() < 0.10:
            b += int(rng.integers(1, 5))
            continue
        c = chords[min(b, beats - 1)] or (0, 0, 0)
        r = rng.random() * 1.3
        parts = [(0, 2)] if r > dense + .15 else [(0, 1)] if r > dense else [(0, .5), (.5, .5)] if r < .75 else [(0, 1 / 3), (1 / 3, 1 / 3), (2 / 3, 1 / 3)]
        for f, d in parts:
            m = helper.step(m, c, up) if rng.random() < .6 else m + int(rng.integers(-7, 8)) if rng.random() < .3 else lines.tone(helper, c, m + (4 if up else -4))
            if m < low or m > high or rng.random() < .22:
                up = not up
            m = helper.clamp(m)
            at = b + f if len(parts) == 3 else player.off(b, f)
            out.append([at, d * rng.uniform(.7, 1.0), m, float(np.clip(.7 + rng.normal(0, .1), .2, 1))])
        b += 2 if parts[0][1] == 2 else 1
    return out


def drum_part(rng, meter, beats, player, bass, style):
    """-> [position, key, velocity]"""
    out = []
    ride = int(rng.choice([51, 51, 42, 59, 53, 46]))
    snare = int(rng.choice([38, 40, 37, 39]))
    level = rng.uniform(.5, .9)
    half = rng.random() < 0.12
    fill = rng.random() < 0.5
    ones = style not in ('rock', 'four', 'march', 'waltz') and rng.random() < .35     # a kick under every one
    crash = int(rng.choice([49, 57, 51])) if rng.random() < .25 else 0
    hit = lambda at, key, v: out.append([at, key, float(np.clip(v * level + rng.normal(0, .05), .05, 1))])
    for b in range(beats):
        k = b % meter
        back = k in ((1, 3) if meter == 4 else (1, 2)) and not half or half and k == 2
        if ones and k == 0:
            hit(b, int(rng.choice([35, 36])), .75)
        if crash and k == 0 and (b // meter) % 4 == 0 and rng.random() < .6:
            hit(b, crash, .8)
        if fill and (b // meter) % 4 == 3 and k == meter - 1 and rng.random() < .6:
            for f in (0, .25, .5, .75) if rng.random() < .4 else (0, .5):
                hit(b + f, int(rng.choice([38, 45, 47, 50, 41, 43])), .9)
            continue
        if style in ('swing', 'shuffle'):
            hit(b, ride, .8)
            if style == 'shuffle' or k in (1, 3) or meter == 3 and k == 1 or rng.random() < .1:
                hit(player.off(b, .5), ride, .6)
            if back:
                hit(b, 44, .7)
                if style == 'shuffle':
                    hit(b, snare, .9)
            if rng.random() < (.5 if style == 'shuffle' else .15) or style == 'swing' and rng.random() < .1:
                hit(b, int(rng.choice([35, 36])), .55)
            if rng.random() < .18:
                hit(player.off(b, .5), snare, .4)
        elif style == 'brushes':
            for f in (0, .5):
                hit(player.off(b, f), int(rng.choice([40, 38, 69, 70])), .22 + .12 * back)
            if back and rng.random() < .8:
                hit(b, 44, .5)
        elif style == 'rock':
            for f in (0, .5):
                hit(player.off(b, f), ride, .7 - .2 * (f > 0))
            if back:
                hit(b, snare, 1)
            if k == 0 or k == 2 and not half or rng.random() < .15:
                hit(b, 36, .95)
            if rng.random() < .2:
                hit(player.off(b, .5), 36, .7)
        elif style == 'four':
            hit(b, 36, .95)
            hit(player.off(b, .5), 42, .7)
            if back:
                hit(b, snare, .9)
        elif style == 'latin':
            for f in (0, .25, .5, .75) if rng.random() < .2 else (0, .5):
                hit(b + f, int(rng.choice([42, 70, 69])), .5)
            if (b % 8, 0) in ((0, 0), (3, 0), (4, 0), (6, 0)):
                hit(b, 37, .7)
            hit(b, 36, .6) if k in (0, 2) else hit(b + .5, 36, .5)
        elif style == 'march':
            hit(b, snare if k % 2 else 36, .8)
            if rng.random() < .4:
                hit(b + .5, snare, .5)
        elif style == 'hats':
            if back or rng.random() < .2:
                hit(b, 44, .7)
        elif style == 'waltz':
            hit(b, 36 if k == 0 else ride, .8 if k == 0 else .55)
            if k and rng.random() < .3:
                hit(b, snare, .4)
    if rng.random() < .3:                              # the kick follows the bass
        out += [[n[0], 36, float(level * .7)] for n in bass if n[4] != 1 and rng.random() < .7]
    return out


def compose(rng, seconds=28.0):
    piece = Piece(seconds)
    r = rng.random()
    kind = ('solo-bass' if r < .13 else 'duo' if r < .30 else 'trio' if r < .47 else 'band' if r < .69 else 'guitar' if r < .90 else 'no-bass' if r < .965 else 'none')
    piece.style = kind
    if kind == 'none':
        piece.low_voice, piece.noise = 'none', str(rng.choice(['speech', 'noise', 'hum', 'silence'], p=[.5, .3, .12, .08]))
        piece.chords = [(0.0, seconds, -1, 0, 0)]
        return piece
    meter = 3 if rng.random() < .17 else 4
    bpm = tempo_bpm(rng)
    r = rng.random()
    swing = 1.0 if r < .38 else rng.uniform(1.2, 1.7) if r < .52 else rng.uniform(1.7, 2.3) if r < .88 else rng.uniform(2.3, 3.0)
    if bpm > 240:
        swing = min(swing, 1.5)
    key = int(rng.integers(12))
    bars, form = progression(rng, meter)
    # lead-in: silence, count-in of sticks, pick-up beats of the line
    start = rng.uniform(0.02, 1.2) if rng.random() < .6 else 0.02
    count = int(rng.choice([0, 0, 0, meter, 2, 2 * meter])) if kind in ('trio', 'band', 'duo', 'guitar', 'no-bass') and rng.random() < .5 else 0
    lead = count if count else (int(rng.integers(1, meter)) if rng.random() < .22 else 0)
    total = int(np.ceil((seconds - start) / (60 / bpm) * 1.35)) + 4 + lead
    t = beat_times(rng, bpm, total, start)
    total = int(np.searchsorted(t, seconds + 1)) if t[-1] > seconds + 1 else total
    t = t[:total]
    n = total - lead                                   # beats from the first downbeat on
    ends = rng.random() < .3 and n > 3 * meter
    if ends:                                           # the tune ends inside the recording
        n = max(2 * meter, int(n * rng.uniform(.55, .95))) // meter * meter
    chords = spread(bars, meter, key, n, rng)
    if rng.random() < .05:                             # a break: nothing but the line, or silence
        at = int(rng.integers(max(1, n // meter))) * meter
        chords[at:at + meter] = [None] * len(chords[at:at + meter])
    # the low line
    low, high = 28, int(rng.integers(48, 61))
    r = rng.random()
    if kind == 'guitar':
        low, high = (40, int(rng.integers(52, 62))) if r < .85 else (38, 57)
    elif r < .13:
        low = 23
    elif r < .25:
        low, high = int(rng.integers(30, 41)), int(rng.integers(55, 68))
    player = lines.Player(rng, low, high, swing)
    names, weight = list(lines.WEIGHTS), np.array(list(lines.WEIGHTS.values()))
    plan = [str(rng.choice(names, p=weight / weight.sum())) for _ in range(int(rng.choice([1, 1, 2, 3])))]
    if kind in ('trio', 'band', 'duo', 'guitar') and rng.random() < .14:      # a slow line under a busy band
        plan = [str(rng.choice(['two_feel', 'long_notes', 'long_notes', 'root_fifth']))]
    elif bpm < 95 and rng.random() < .45:              # slow pieces in eighths, quick ones in two: the beat is where the harmony says
        plan = [str(rng.choice(['drive', 'boogie', 'riff', 'solo', 'motif', 'latin', 'cells', 'cells']))]
    elif bpm > 185 and rng.random() < .45:
        plan = [str(rng.choice(['two_feel', 'two_feel', 'long_notes', 'root_fifth', 'walk', 'cells']))]
    bass, b = [], 0
    while b < n:
        e = min(n, b + meter * int(rng.choice([4, 8, 8, 16])))
        style = plan[rng.integers(len(plan))]
        if bpm > 200 and style in ('funk', 'solo', 'drive') or bpm > 260 and style in ('riff', 'motif', 'latin', 'boogie'):
            style = 'walk'
        bass += lines.STYLES[style](player, chords, b, e, meter)
        b = e
    if lead and not count:                             # pick-up notes
        bass = [[k - lead, .9, player.clamp(player.place(chords[0][2] if chords[0] else 0) - (lead - k)), .6, 0] for k in range(lead)] + bass
    elif count and rng.random() < .2:
        bass = [[-1 + f, .45, player.clamp(player.place(chords[0][2] if chords[0] else 0) + int(rng.choice([-2, -1, 1]))), .6, 0] for f in (0, .5)] + bass
    if rng.random() < .12:                             # the line rests for some bars
        at = int(rng.integers(n)) // meter * meter
        k = meter * int(rng.choice([1, 2, 4, 8]))
        bass = [x for x in bass if not at <= x[0] < at + k]
    if rng.random() < .05:                             # or enters late
        k = meter * int(rng.choice([2, 4, 8]))
        bass = [x for x in bass if x[0] >= k]
    if ends and chords[0] and bass:
        bass.append([n, meter * rng.uniform(.5, 1.5), player.place(chords[0][0]), .8, 0])
    bass = lines.drop_overlaps([x[:2] + [player.clamp(x[2])] + x[3:] for x in bass])
    # the others
    solo_bass = kind == 'solo-bass'
    comp, solo, drums = [], [], []
    all_chords = chords
    if kind in ('duo', 'trio', 'band', 'guitar', 'no-bass') and not (kind == 'band' and rng.random() < .08):
        r = rng.random()
        piece.comp_kind = 'strum' if kind == 'guitar' or r < .35 else 'pad' if r < .47 else 'keys'
        lo, hi = (int(rng.integers(48, 56)), int(rng.integers(66, 78)))
        if kind == 'no-bass':
            lo, hi = 57, 80
        comp = comp_part(rng, all_chords, meter, n, player, 'strum' if kind == 'guitar' and rng.random() < .5 else piece.comp_kind, lo, hi)
        if kind == 'no-bass' or kind == 'guitar':
            comp = [c for c in comp if c[2] >= lo - 2]
        if kind != 'guitar' and kind != 'no-bass' and rng.random() < .09:      # the pianist's left hand doubles the line
            shift = int(rng.choice([0, 12, 12]))
            comp += [[x[0], x[1], x[2] + shift, .45] for x in bass if x[4] != 1]
        if ends:
            comp += [[n, meter, m, .6] for m in voicing(rng, chords[0] or (0, 0, 0), None, 'close', lo, hi)]
    if kind == 'guitar':                               # the thumb's note is always the lowest
        piece.guitar = True
        grid = [(x[0], x[0] + x[1], x[2]) for x in bass]
        comp = [c for c in comp if not any(s - .1 <= c[0] < e and c[2] <= m + 2 for s, e, m in grid)]
        if rng.random() < .5:                          # short stabs, few notes
            comp = [[c[0], min(c[1], rng.uniform(.2, .6)), c[2], c[3]] for c in comp]
    if kind == 'band' or kind == 'no-bass' and rng.random() < .8:
        lo, hi = ((48, 72), (55, 80), (58, 84), (62, 90), (42, 64))[int(rng.choice(5, p=[.2, .28, .24, .14, .14]))]
        if kind == 'no-bass':
            lo, hi = max(lo, 60), max(hi, 80)
        solo = solo_part(rng, chords, meter, n, player, lo, hi)
    if kind == 'no-bass':
        r = rng.random()
        comp, drums_on = ([], True) if r < .25 else (comp, rng.random() < .3) if r < .7 else ([], False)
        solo = [] if r < .25 else solo
        bass, piece.low_voice = [], 'none'
    else:
        drums_on = kind == 'trio' or kind == 'band' and rng.random() < .85 or kind in ('solo-bass', 'guitar') and rng.random() < .06
        piece.low_voice = 'guitar' if kind == 'guitar' else 'other' if rng.random() < .07 else 'bass'
    if drums_on:
        style = 'waltz' if meter == 3 and rng.random() < .4 else str(
            rng.choice(['swing', 'shuffle', 'brushes', 'hats'], p=[.5, .22, .2, .08]) if swing > 1.25 else rng.choice(['rock', 'four', 'latin', 'march', 'hats', 'brushes', 'swing'],
                                                                                              p=[.4, .08, .2, .04, .08, .08, .12]))
        drums = drum_part(rng, meter, n, player, bass, style)
        if rng.random() < .15:                         # drums enter late or leave
            cut = int(rng.integers(n))
            drums = [d for d in drums if (d[0] >= cut) == (cut < n / 2)]
    if count:
        clicks = [k - lead for k in range(count)] if count <= meter else [0 - lead, 2 - lead] + [k - meter for k in range(meter)] if meter == 4 else [k - lead for k in range(count)]
        key_of = int(rng.choice([31, 37, 42, 76, 75]))
        drums = [[float(c), key_of, .8] for c in clicks] + drums
    # from beats to seconds
    index = np.arange(total) - lead
    sec = lambda pos: float(np.interp(pos, index, t)) if pos <= index[-1] else float(t[-1] + (pos - index[-1]) * 60 / bpm)
    push, scatter = rng.normal(0, .008), rng.choice([.002, .006, .009, .014])
    late = lambda s: float(np.clip(rng.normal(0, s), -2.5 * s, 2.5 * s))
    for x in bass:
        on = max(.005, sec(x[0]) + push + late(scatter))
        piece.bass.append([on, sec(x[0] + x[1]) + push, x[2], x[3], x[4]])
    piece.bass.sort(key=lambda x: x[0])
    for a, c in zip(piece.bass, piece.bass[1:]):
        a[1] = min(a[1], c[0])
    piece.bass = [tuple(x) for x in piece.bass if x[1] - x[0] > .03 and x[0] < seconds - .06]
    for source, target, s in ((comp, piece.comp, .010), (solo, piece.solo, .014)):
        lag = rng.normal(0, .01)
        chord_lag = {}
        for x in source:
            lag_here = chord_lag.setdefault(round(x[0], 3), late(s))
            on = max(.005, sec(x[0]) + lag + lag_here)
            target.append((on, max(on + .04, sec(x[0] + x[1]) + lag), int(x[2]), x[3]))
    lag = rng.normal(0, .005)
    piece.drums = [(max(.005, sec(x[0]) + lag + late(.004)), int(x[1]), x[2]) for x in drums]
    last = n if ends else total - lead
    first = -lead
    if solo_bass and not lead:
        first = 0
    piece.beats = [(sec(k), k % meter + 1) for k in range(first, last + (1 if ends else 0)) if 0 <= sec(k) < seconds]
    if kind == 'no-bass' and not piece.comp and not piece.solo:
        marks = [(-1, 0.0, n)]
    else:
        marks = []
        for k in range(n):
            c = chords[k]
            if not marks or marks[-1][0] != c:
                marks.append([c, k, k + 1])
            else:
                marks[-1][2] = k + 1
    out = [(0.0, sec(0), -1, 0, 0)] if sec(0) > 0 else []
    for c, k0, k1 in marks:
        out.append((sec(k0), sec(k1), -1, 0, 0) if c in (None, -1) else (sec(k0), sec(k1), c[0], c[1], c[2]))
    if ends and out and chords[0]:
        c = chords[0]
        tail = sec(n + meter)
        out += [(sec(n), tail, c[0], c[1], c[2] if kind == 'no-bass' else c[0]), (tail, seconds + 1, -1, 0, 0)]
    piece.chords = [c for c in out if c[0] < seconds and c[1] > c[0]]
    return piece
