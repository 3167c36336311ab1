"""Measures a state of training on recordings with truth, by a plain decoding of the evidence.

  evaluate.py ears.pt --truth FOLDER [--est FOLDER] [--only PART] [--score /path/to/score.py]

Reads NAME.json with the file it names, writes the tables of the measuring corpus's format (NAME.notes.tsv, .chords.lab, .beats.tsv, .tuning.txt)
and calls the scorer. The tuned grid is taken from the truth: this measures nets, not the tuning block; the library's own decoders do better.
"""
import argparse
import json
import os
import subprocess
import sys

import numpy as np
import torch

from data import FRAME
from frontend import RATE, FrontEnd, scale
from heldout import LABEL, NOTE
from nets import Ears, evidence
from synth import read_sound


def load(path):
    """Mono at 22,050 Hz, resampled by cutting the spectrum."""
    x, rate = read_sound(path)
    x = x.mean(1)
    if rate == RATE:
        return x
    n = len(x)
    pad = (-n) % (rate // np.gcd(rate, RATE))
    z = np.fft.rfft(np.pad(x, (0, pad)))
    m = (n + pad) * RATE // rate
    return (np.fft.irfft(z[:m // 2 + 1], m) * m / (n + pad)).astype(np.float32)[:n * RATE // rate]


def notes(e):
    """Viterbi over 45 pitches and none. -> [(onset, offset, midi, mean posterior)]"""
    p, o = e['pitch'], e['onset'].copy()
    t = len(p)
    emit = .35 * np.maximum(np.log(p + 1e-9), -12)
    wide = np.pad(o, ((3, 3), (0, 0)))
    peak = np.max([wide[i:i + t] for i in range(7)], 0)
    raw = o.copy()
    o[o < peak] = 0
    enter, stay, again = np.log(o + 2e-3) - .5, np.log(1 - np.minimum(o, .9999)), np.log(o + 1e-9) - .7
    v = np.full(46, -1e9)
    v[45] = emit[0, 45]
    v[:45] = emit[0, :45] - 3
    back, struck = np.zeros((t, 46), np.int16), np.zeros((t, 46), bool)
    for i in range(1, t):
        order = np.argsort(v)
        first, second = order[-1], order[-2]
        source = np.where(np.arange(46) == first, second, first)
        move = v[source]
        move[:45] += enter[i]
        move[45] -= 2.5
        hold = np.maximum(stay[i], again[i])
        keep = v + np.append(hold, 0)
        new = move > keep
        back[i] = np.where(new, source, np.arange(46))
        struck[i] = new
        struck[i, :45] |= again[i] > stay[i]
        v = np.maximum(move, keep) + emit[i]
    s = int(np.argmax(v))
    path, strike = np.zeros(t, int), np.zeros(t, bool)
    for i in range(t - 1, -1, -1):
        path[i], strike[i] = s, struck[i, s]
        s = back[i, s]
    out = []
    for i in range(t):
        if path[i] == 45:
            continue
        if not out or strike[i] or i == 0 or path[i - 1] != path[i]:
            at = float(i)
            if 0 < i < t - 1:
                a, b, c = np.log(raw[i - 1:i + 2, path[i]] + 1e-6)
                if a + c < 2 * b:
                    at += float(np.clip(.5 * (a - c) / (a - 2 * b + c), -.5, .5))
            out.append([at, i + 1, path[i], []])
        out[-1][1] = i + 1
        out[-1][3].append(p[i, path[i]])
    return [(a * FRAME, b * FRAME, m + 23, float(np.mean(c))) for a, b, m, c in out]


def beats(e):
    """-> [(time, beat in bar)], by a path over beat times with a preference for steady periods, then one meter and phase."""
    a, d = np.clip(e['beat'], 1e-4, 1 - 1e-4), np.clip(e['downbeat'], 1e-4, 1 - 1e-4)
    t, periods = len(a), np.arange(16, 130)
    off = np.concatenate([[0], np.cumsum(.5 * np.log(1 - a))])
    la = np.log(a)
    penalty = 60 * np.abs(periods[None] / periods[:, None] - 1)         # [from][to]
    v = np.full((t, len(periods)), -1e9)
    m = np.full((t, len(periods)), -1e9)
    back = np.zeros((t, len(periods)), np.int16)
    for i in range(t):
        for_start = la[i] + off[max(0, i - 2)]
        lead = i - periods
        ok = lead >= 0
        g = np.maximum(1, periods // 12)
        if ok.any():
            k = np.nonzero(ok)[0]
            seg = off[i - g[k]] - off[np.minimum(lead[k] + g[k] + 1, i - g[k])]
            v[i, k] = m[lead[k], k] + seg + la[i]
        if i < 200:
            v[i] = np.maximum(v[i], for_start)
        w = v[i][:, None] - penalty
        back[i] = w.argmax(0)
        m[i] = w.max(0)
    end = np.arange(max(0, t - 400), t)
    tail = v[end] + (off[-1] - off[np.minimum(end + 2, t)])[:, None]
    i, k = np.unravel_index(tail.argmax(), tail.shape)
    i = int(end[i])
    path = [i]
    while True:
        start = la[i] + off[max(0, i - 2)]
        if i < 200 and abs(v[i, k] - start) < 1e-9 or i - periods[k] < 0:
            break
        i = i - periods[k]
        k = back[i, k]
        path.append(i)
    path = np.array(path[::-1])
    path = np.array([max(range(max(0, p - 2), min(t, p + 3)), key=lambda q: a[q]) for p in path])
    best = (-1e9, 4, 0)
    for meter in (3, 4):
        for phase in range(meter):
            down = (np.arange(len(path)) - phase) % meter == 0
            dd = np.array([d[max(0, p - 2):p + 3].max() for p in path])
            s = np.log(dd[down]).sum() + np.log(1 - dd[~down]).sum()
            best = max(best, (s, meter, phase))
    _, meter, phase = best
    return [(p * FRAME, (k - phase) % meter + 1) for k, p in enumerate(path)]


def chords(e, grid, duration):
    """-> [(start, end, Harte label)] on the beats."""
    p = np.log(e['chord'] + 1e-6)
    edges = [b[0] for b in grid] or [0.0]
    edges = ([0.0] if edges[0] > .05 else []) + edges + [duration]
    at = [x / FRAME / 8 for x in edges]
    score, cost = [], []
    number = {round(b[0], 4): b[1] for b in grid}
    for k in range(len(edges) - 1):
        i, j = int(np.ceil(at[k])), int(np.ceil(at[k + 1]))
        rows = p[min(i, len(p) - 1):max(j, i + 1)]
        score.append(rows.mean(0) * (at[k + 1] - at[k]) * 8 / 8 * .6 * 8 / 2)
        n = number.get(round(edges[k], 4), 1)
        cost.append(3.5 * (1 if n == 1 else 1.3 if n == 3 else 2))
    v, back = score[0], []
    for k in range(1, len(score)):
        j = int(v.argmax())
        jump = v[j] - cost[k]
        new = jump > v
        back.append(np.where(new, j, np.arange(169)))
        v = np.maximum(v, jump) + score[k]
    s = int(v.argmax())
    path = [s]
    for b in back[::-1]:
        s = int(b[s])
        path.append(s)
    path = path[::-1]
    out = []
    for k, c in enumerate(path):
        name = 'N' if c == 168 else f'{NOTE[c // 14]}:{LABEL[c % 14]}'
        if out and out[-1][2] == name:
            out[-1][1] = edges[k + 1]
        else:
            out.append([edges[k], edges[k + 1], name])
    return out


def main():
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument('state')
    ap.add_argument('--truth', required=True)
    ap.add_argument('--est', default='/tmp/ears-estimates')
    ap.add_argument('--only', default='')
    ap.add_argument('--score', help='score.py of the measuring corpus')
    a = ap.parse_args()
    torch.set_num_threads(1)
    ears = Ears().eval()
    ears.load_state_dict(torch.load(a.state, map_location='cpu', weights_only=False)['ears'])
    os.makedirs(a.est, exist_ok=True)
    for name in sorted(n[:-5] for n in os.listdir(a.truth) if n.endswith('.json') and a.only in n):
        truth = json.load(open(os.path.join(a.truth, name + '.json')))
        if 'duration' not in truth:
            continue
        x = scale(load(os.path.join(a.truth, truth['file'])))
        a4 = truth.get('tuning_hz') or 440.0
        e = evidence(FrontEnd(a4), ears, x)
        grid = beats(e)
        f = lambda ext: open(os.path.join(a.est, name + ext), 'w')
        with f('.notes.tsv') as o:
            o.write('onset\toffset\tmidi\tconfidence\n')
            o.writelines(f'{n[0]:.4f}\t{n[1]:.4f}\t{n[2]}\t{n[3]:.3f}\n' for n in notes(e))
        with f('.beats.tsv') as o:
            o.write('time\tbar\tbeat\n')
            bar = 0
            for t, b in grid:
                bar += b == 1
                o.write(f'{t:.4f}\t{bar}\t{b}\n')
        with f('.chords.lab') as o:
            o.writelines(f'{s:.4f} {t:.4f} {c}\n' for s, t, c in chords(e, grid, truth['duration']))
        with f('.tuning.txt') as o:
            o.write(f'{a4}\n')
        with f('.guitar.txt') as o:
            o.write(f'{float(e["guitar_share"]):.3f}\n')
    if a.score:
        sys.exit(subprocess.run(['/usr/bin/python3', a.score, '--truth', a.truth, '--est', a.est] + (['--only', a.only] if a.only else [])).returncode)


if __name__ == '__main__':
    main()
