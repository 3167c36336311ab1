"""Practice recordings in memory, and training crops with targets."""
import collections
import mmap
import multiprocessing as mp
import os
import pickle

import numpy as np

from compose import compose
from frontend import HOP, RATE
from render import STEMS, render

SECONDS = 34.0
CLIP = int(SECONDS * RATE)
FRAME = HOP / RATE
PITCHES, LOWEST = 45, 23
_shared = {}


def _render_one(job):
    i, seed = job
    rng = np.random.default_rng([seed, i])
    try:
        stems, truth = render(compose(rng, SECONDS), rng, _shared['synth'], _shared['upright'])
    except Exception as error:
        raise RuntimeError(f'recording {i} of seed {seed} could not be made: {error!r}') from error
    _shared['stems'][i] = stems
    return i, truth


def render_all(count, seed, synth, upright, processes, progress=None, keep=None):
    """-> stems int16 [count][4][CLIP] in memory shared by fork, truths. The same seed gives the same set.
    `keep`: a path; the set is kept there, and read from there when it is there (the first `count` of it)."""
    size = count * STEMS * CLIP * 2
    if keep and os.path.exists(keep + '.truth'):
        stems = np.memmap(keep, np.int16, 'r', shape=(count, STEMS, CLIP))
        with open(keep + '.truth', 'rb') as f:
            return stems, pickle.load(f)[:count]
    if keep:
        with open(keep, 'wb') as f:
            f.truncate(size)
        with open(keep, 'r+b') as f:
            memory = mmap.mmap(f.fileno(), size)
    else:
        memory = mmap.mmap(-1, size)
    _shared.update(synth=synth, upright=upright, stems=np.frombuffer(memory, np.int16).reshape(count, STEMS, CLIP))
    truths = [None] * count
    with mp.get_context('fork').Pool(processes) as pool:
        for done, (i, truth) in enumerate(pool.imap_unordered(_render_one, [(i, seed) for i in range(count)], chunksize=4), 1):
            truths[i] = truth
            if progress and done % 500 == 0:
                progress(done)
    if keep:
        with open(keep + '.truth', 'wb') as f:
            pickle.dump(truths, f)
    return _shared['stems'], truths


def bump(target, at, sigma, value=1.0):
    """A Gaussian of height 1 about the frame `at` (a fraction) in a row of frames."""
    lo, hi = max(0, int(at - 4 * sigma)), min(len(target), int(at + 4 * sigma) + 2)
    if lo < hi:
        f = np.arange(lo, hi)
        target[lo:hi] = np.maximum(target[lo:hi], value * np.exp(-.5 * ((f - at) / sigma) ** 2))


def targets(truth, start, ratio, semitones, samples, no_bass, no_harmony):
    """Targets of the stretch of `samples` output samples that begins at source second `start`; source runs `ratio` times as fast."""
    t_count = samples // HOP + 1
    k_count, j_count = -(-t_count // 2), -(-t_count // 8)
    sec = lambda x: (x - start) / ratio
    pitch = np.full(t_count, PITCHES, np.int64)
    onset = np.zeros((PITCHES, t_count), np.float16)
    ignore = np.zeros(t_count, bool)
    dead = np.zeros(t_count, np.float32)
    if not no_bass:
        for on, off, midi, kind in truth['bass']:
            a, b = sec(on) / FRAME, sec(off) / FRAME
            if b < -8 or a > t_count + 8:
                continue
            i, j = max(0, int(np.ceil(a))), min(t_count, int(np.ceil(b)))
            row = int(midi) + semitones - LOWEST
            if kind == 1:
                bump(dead, a, .013 / FRAME)
                ignore[max(0, i - 2):max(0, j + 3)] = True
            elif not 0 <= row < PITCHES:
                ignore[max(0, i - 2):max(0, j + 3)] = True
            else:
                if i < j:
                    pitch[i:j] = row
                bump(onset[row], a, .013 / FRAME)
    pitch[ignore & (pitch == PITCHES)] = -100
    beat = np.zeros((2, k_count), np.float32)
    for t, k in truth['beats']:
        at = (sec(t) / FRAME - .5) / 2
        if -4 < at < k_count + 4:
            bump(beat[0], at, .018 / FRAME / 2)
            if k == 1:
                bump(beat[1], at, .018 / FRAME / 2)
    chord = np.full(j_count, 168, np.int64)
    bass = np.full(j_count, -100, np.int64)
    if not no_harmony:
        for a, b, root, quality, low in truth['chords']:
            i, j = max(0, int(np.ceil(sec(a) / FRAME / 8))), min(j_count, int(np.ceil(sec(b) / FRAME / 8)))
            if i < j and root >= 0:
                chord[i:j] = (int(root) + semitones) % 12 * 14 + int(quality)
                bass[i:j] = (int(low) + semitones) % 12
    return dict(pitch=pitch, onset=onset, onset_mask=~ignore, dead=dead, beat=beat, chord=chord, chord_bass=bass)


class Crops:
    """Draws training crops: which clip, where, how shifted, which parts play, with targets."""

    def __init__(self, truths, samples, batch, seed, without=None):
        """`without`: 'moving' for no transposing, 'balance' for every part at its written level; for ablations."""
        self.truths, self.samples, self.batch, self.seed, self.without = truths, samples, batch, seed, without
        style = np.array([t['style'] for t in truths])
        self.noisy = np.nonzero(style == 'none')[0]

    def __call__(self, step):
        rng = np.random.default_rng([self.seed, step])
        rows = []
        for _ in range(self.batch):
            i = int(rng.integers(len(self.truths)))
            truth = self.truths[i]
            semis = int(rng.integers(-3, 4)) if self.without != 'moving' else 0
            ratio = 2.0 ** ((semis + rng.normal(0, .08)) / 12)
            start = rng.uniform(0, max(.01, SECONDS - self.samples * ratio / RATE)) if rng.random() > .1 else 0.0
            has = [len(truth['bass']) > 0, True, True, True]
            plays = np.ones(STEMS, np.float32)
            style = truth['style']
            if style in ('trio', 'band', 'duo'):
                for part, p in ((1, .12), (2, .15), (3, .15), (0, .03)):
                    if rng.random() < p:
                        plays[part] = 0
                if not plays[0] and not plays[1]:
                    plays[1] = 1
            no_bass = not (has[0] and plays[0])
            gain = np.array([rng.uniform(-7, 5), rng.uniform(-11, 3), rng.uniform(-15, 3), rng.uniform(-11, 4)])
            if truth['guitar']:
                gain[1] = gain[0] + rng.uniform(-7, 3)
            if self.without == 'balance':
                gain[:] = 0
            t = targets(truth, start, ratio, semis, self.samples, no_bass, style == 'none')
            t.update(clip=np.int64(i), start=np.int64(start * RATE), ratio=np.float64(ratio), gain=(plays * 10 ** (gain / 20)).astype(np.float32),
                     guitar=np.float32(-1 if no_bass else float(truth['guitar'])),
                     extra=np.int64(rng.choice(self.noisy)) if len(self.noisy) and rng.random() < .12 else np.int64(-1))
            rows.append(t)
        return {k: np.stack([r[k] for r in rows]) for k in rows[0]}


def _crop(step):
    return _shared['crops'](step)


def stream(crops, steps, processes, first=0):
    """Batches in order, made ahead by other processes. Call before the GPU is touched: processes are forked."""
    _shared['crops'] = crops
    if processes <= 1:
        return None, (crops(s) for s in range(first, first + steps))
    pool = mp.get_context('fork').Pool(processes)

    def ahead():
        waiting = collections.deque()
        for s in range(first, first + steps):
            waiting.append(pool.apply_async(_crop, (s,)))
            if len(waiting) > 6 * processes:
                yield waiting.popleft().get()
        while waiting:
            yield waiting.popleft().get()
    return pool, ahead()


def cores():
    return len(os.sched_getaffinity(0))
