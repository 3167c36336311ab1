"""Writes the weights file that the library embeds, and the values that the C++ test compares itself with.

  export.py FOLDER/ears.pt … | pitch=PATH[,PATH] chord=PATH beat=PATH [--version 1] [--weights ../weights/lowstride.ears] [--reference ../../../tests/learned/reference.txt]

Weights file: text lines `LOWSTRIDE EARS 1`, `version ...`, `licence ...`, `recipe ...`, `commit ...`, then `tensor NAME NDIM D0 D1 .. OFFSET`
for each tensor (offset counted in values), then `data COUNT CRC32HEX` (CRC-32 of zlib over the bytes that follow) and COUNT little-endian IEEE
float16 values.

Reference: the evidence of `test_signal()` by PyTorch with the float16-rounded weights, a4 = 440. Lines: `frames T chord_frames J`, then
`TABLE ROW v v v ..` for some rows, then `guitar_share v`.
"""
import argparse
import os
import subprocess
import zlib

import numpy as np
import torch

from frontend import RATE, FrontEnd, scale
from nets import NETS, Ears, evidence

HERE = os.path.dirname(os.path.abspath(__file__))


def test_signal():
    """Three seconds by formula, all in double precision: twelve low notes of 0.25 s with four partials each, a held chord, a click a second.
    x(n), n = 0 .. 66149, t = n / 22050:
      note k = floor(4 t), u = t - k / 4, midi m_k = (33, 37, 40, 42, 38, 42, 45, 43, 40, 44, 47, 46)[k], f = 440 2^((m_k - 69) / 12):
        e^(-6 u) (1 - e^(-400 u)) sum over p = 1 .. 4 of (0.5, 1, 0.6, 0.3)[p - 1] sin(2 pi p f u)
      chord: 0.15 sum over m in (57, 61, 64, 67) of sin(2 pi 440 2^((m - 69) / 12) t)
      click: v = t - floor(t): 0.4 e^(-300 v) sin(2 pi 3000 v)
    Then scaled to RMS 0.1 as every recording is."""
    t = np.arange(3 * RATE) / RATE
    k = np.floor(4 * t).astype(int)
    u = t - k / 4
    f = 440 * 2.0 ** ((np.array([33, 37, 40, 42, 38, 42, 45, 43, 40, 44, 47, 46])[k] - 69) / 12)
    x = np.exp(-6 * u) * (1 - np.exp(-400 * u)) * sum(g * np.sin(2 * np.pi * p * f * u) for p, g in zip((1, 2, 3, 4), (.5, 1, .6, .3)))
    x += .15 * sum(np.sin(2 * np.pi * 440 * 2.0 ** ((m - 69) / 12) * t) for m in (57, 61, 64, 67))
    v = t - np.floor(t)
    x += .4 * np.exp(-300 * v) * np.sin(2 * np.pi * 3000 * v)
    return scale(x)


def recipe(stored, net):
    """How one net of a state was trained, in words."""
    runs = [h for h in stored['history'] if len(h) < 4 or net in h[3]]
    return ', then '.join(f'{steps} steps on {clips} recordings (seed {seed})' for clips, seed, steps, *_ in runs)


def chosen(words):
    """Net -> the states whose mean it is to be. `words`: PATH … for all nets, or NET=PATH,PATH … for each."""
    paths = {net: [] for net in NETS}
    for word in words:
        net, found, listed = word.partition('=')
        if not found:
            for each in paths.values():
                each.append(word)
        elif net in paths:
            paths[net] += listed.split(',')
        else:
            raise SystemExit(f"export.py: '{word}' names no net: say {', '.join(NETS)}.")
    missing = [net for net, each in paths.items() if not each]
    if missing:
        raise SystemExit(f'export.py: no state for the {" and ".join(missing)} net.')
    load = lambda path: torch.load(path, map_location='cpu', weights_only=False)
    return {net: [load(path) for path in each] for net, each in paths.items()}


def main():
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument('states', nargs='+', help='ears.pt of a run, or NET=PATH,PATH for each net; of several states the mean is taken')
    ap.add_argument('--version', default='1')
    ap.add_argument('--weights', default=os.path.join(HERE, '../weights/lowstride.ears'))
    ap.add_argument('--reference', default=os.path.join(HERE, '../../../tests/learned/reference.txt'))
    a = ap.parse_args()
    states = chosen(a.states)
    ears = Ears().eval()
    mean = lambda k, of: sum(x['ears'][k].float() for x in of) / len(of) if of[-1]['ears'][k].is_floating_point() else of[-1]['ears'][k]
    ears.load_state_dict({k: mean(k, states[k.split('.')[0]]) for k in ears.state_dict()})
    tensors = {k: v.to(torch.float16) for k, v in ears.folded_tensors().items()}
    if not all(torch.isfinite(v).all() for v in tensors.values()):
        raise SystemExit(f'{" ".join(a.states)}: values that float16 cannot hold: train with a lower rate.')
    commit = subprocess.run(['git', '-C', HERE, 'log', '-1', '--format=%H', '--', '.'], capture_output=True, text=True).stdout.strip() or 'unknown'
    lines, offset = [], 0
    for name, v in tensors.items():
        lines.append(f'tensor {name} {v.dim()} {" ".join(str(d) for d in v.shape)} {offset}')
        offset += v.numel()
    data = np.concatenate([v.numpy().reshape(-1) for v in tensors.values()]).astype('<f2').tobytes()
    fonts = ', '.join({'FluidR3': 'FluidR3 GM (MIT)', 'sf_GMba': 'sf_GMbank (public domain)'}.get(f[:7], f) for f in states['pitch'][-1]['fonts'])
    head = ['LOWSTRIDE EARS 1', f'version {a.version}',
            f'licence GPL-3.0-or-later; trained on own compositions played by {fonts}, electric upright samples (CC0 1.0) and own synthesis',
            'recipe dsp/learned/training: ' + '; '.join(f'{net}: {recipe(of[-1], net)}' + (f', mean of {len(of)} states' if len(of) > 1 else '') for net, of in states.items()),
            f'commit {commit}']
    os.makedirs(os.path.dirname(os.path.abspath(a.weights)), exist_ok=True)
    with open(a.weights + '.part', 'wb') as f:
        f.write('\n'.join(head + lines + [f'data {offset} {zlib.crc32(data):08x}', '']).encode() + data)
    os.replace(a.weights + '.part', a.weights)

    folded = Ears(folded=True).eval().load_folded(tensors)
    t = evidence(FrontEnd(), folded, test_signal())
    os.makedirs(os.path.dirname(os.path.abspath(a.reference)), exist_ok=True)
    with open(a.reference, 'w') as f:
        f.write(f'frames {len(t["pitch"])} chord_frames {len(t["chord"])}\n')
        for name, rows in (('pitch', (0, 10, 24, 46, 130, 200, 258)), ('onset', (0, 21, 22, 43, 64, 65, 258)), ('chord', (0, 5, 16, 32)), ('chord_bass', (0, 5, 16, 32))):
            for r in rows:
                f.write(f'{name} {r} ' + ' '.join(f'{x:.7g}' for x in t[name][r]) + '\n')
        for name in ('beat', 'downbeat', 'dead'):
            f.write(f'{name} 0 ' + ' '.join(f'{x:.7g}' for x in t[name]) + '\n')
        f.write(f'guitar_share {float(t["guitar_share"]):.7g}\n')
    print(f'{a.weights}: {offset} values, {os.path.getsize(a.weights)} bytes; {a.reference}')


if __name__ == '__main__':
    main()
