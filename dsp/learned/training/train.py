"""Renders practice recordings and trains the three nets.

  train.py --out FOLDER [--clips 3600] [--minutes 20] [--fonts A.sf2 B.sf2] [--start FOLDER/ears.pt] [--seed 1]

Writes FOLDER/ears.pt (all that training needs to go on) and FOLDER/train.log. Needs libfluidsynth and libsndfile; a GPU is used when there is one.
"""
import argparse
import json
import os
import sys
import time

for name in ('OMP_NUM_THREADS', 'OPENBLAS_NUM_THREADS', 'MKL_NUM_THREADS'):
    os.environ.setdefault(name, '1')
import numpy as np
import torch
from torch.nn import functional as F

import data
from augment import Spoiler
from frontend import HOP, FrontEnd
from nets import NETS, Ears
from synth import MidiSynth, UprightSamples

FONTS = ('/usr/share/sounds/sf2/FluidR3_GM.sf2', '/usr/share/fluidr3mono-gm-soundfont/FluidR3Mono_GM.sf3', '/usr/share/sounds/sf2/sf_GMbank.sf2')


def losses(z, t):
    """Named losses of one batch; z: logits of nets.Ears, t: targets on the device."""
    bce = F.binary_cross_entropy_with_logits
    z = {k: v.float() for k, v in z.items()}
    mask = t['onset_mask'].float()
    onset = bce(z['onset'], t['onset'], pos_weight=torch.tensor(3.0, device=mask.device), reduction='none').sum(1)
    known = (t['guitar'] >= 0).float()
    return {
        'pitch': F.cross_entropy(z['pitch'], t['pitch'], ignore_index=-100, label_smoothing=.02),
        'onset': .25 * (onset * mask).sum() / mask.sum(),
        'dead': .5 * bce(z['dead'], t['dead'], pos_weight=torch.tensor(2.0, device=mask.device)),
        'guitar': .1 * (bce(z['guitar'].mean(1), t['guitar'].clamp(min=0), reduction='none') * known).sum() / known.sum().clamp(min=1),
        'chord': .5 * F.cross_entropy(z['chord'], t['chord'], label_smoothing=.02),
        'chord_bass': .15 * F.cross_entropy(z['chord_bass'], t['chord_bass'], ignore_index=-100),
        'beat': 2 * (bce(z['beat'][:, 0], t['beat'][:, 0], pos_weight=torch.tensor(1.5, device=mask.device)) +
                     bce(z['beat'][:, 1], t['beat'][:, 1], pos_weight=torch.tensor(3.0, device=mask.device)))}


def measures(z, t):
    """Simple shares on a batch, for the log: frames right, root and chord right."""
    keep = t['pitch'] >= 0
    p = z['pitch'].argmax(1)
    c = z['chord'].argmax(1)
    voiced = (t['pitch'] < 45) & keep
    has = t['chord'] < 168
    return {'frame': (p == t['pitch'])[keep].float().mean(), 'voiced': (p == t['pitch'])[voiced].float().mean() if voiced.any() else torch.tensor(0.),
            'false': (p < 45)[keep & ~voiced].float().mean() if (keep & ~voiced).any() else torch.tensor(0.),
            'root': (c // 14 == t['chord'] // 14)[has].float().mean() if has.any() else torch.tensor(0.),
            'quality': (c == t['chord'])[has].float().mean() if has.any() else torch.tensor(0.),
            'none': (c == 168)[~has].float().mean() if (~has).any() else torch.tensor(0.)}


def to_device(batch, device):
    return {k: torch.as_tensor(v) if k in ('clip', 'start', 'extra') else torch.as_tensor(v).to(device, torch.float32 if k == 'onset' else None, non_blocking=True)
            for k, v in batch.items()}


def main():
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument('--out', required=True)
    ap.add_argument('--clips', type=int, default=3600)
    ap.add_argument('--minutes', type=float, default=20, help='of training, after rendering')
    ap.add_argument('--render-minutes', type=float, default=0, help='when given, training also ends this many minutes plus --minutes after the start')
    ap.add_argument('--steps', type=int, default=0, help='when given, as many steps instead of --minutes')
    ap.add_argument('--seconds', type=float, default=24.0, help='of one crop')
    ap.add_argument('--batch', type=int, default=24)
    ap.add_argument('--rate', type=float, default=4e-3)
    ap.add_argument('--seed', type=int, default=1)
    ap.add_argument('--start', help='go on from this ears.pt')
    ap.add_argument('--only', nargs='+', choices=NETS, default=NETS, help='train these nets; the others stay as --start has them')
    ap.add_argument('--part', type=float, nargs=2, default=(0.0, 1.0), help='which part of the schedule this run does; above 0 it takes up the optimiser of --start')
    ap.add_argument('--fresh', action='store_true', help='make the nets of --only anew, whatever --start has')
    ap.add_argument('--without', choices=('spoiling', 'moving', 'balance'), help='for an ablation: no spoiling; no transposing; every part at its written level')
    ap.add_argument('--keep', help='keep the rendered set in this file, and take it from there when it is there')
    ap.add_argument('--fonts', nargs='+', default=[f for f in FONTS if os.path.exists(f)][:2])
    a = ap.parse_args()
    began = time.time()
    os.makedirs(a.out, exist_ok=True)
    log_file = open(os.path.join(a.out, 'train.log'), 'a')

    def log(text):
        line = f'{time.time() - began:7.1f} {text}'
        print(line, flush=True)
        log_file.write(line + '\n')
        log_file.flush()

    if not a.fonts:
        sys.exit('train.py: no sound font found: install fluid-soundfont-gm, or name one with --fonts.')
    workers = data.cores()
    synth, upright = MidiSynth(a.fonts), UprightSamples()
    log(f'fonts loaded: {" ".join(os.path.basename(f) for f in a.fonts)}; {workers} cores')
    stems, truths = data.render_all(a.clips, a.seed, synth, upright, workers, lambda n: log(f'{n} recordings rendered'), a.keep)
    held = max(2, min(48, a.clips // 20))                # the last ones are for watching only
    notes = sum(len(t['bass']) for t in truths)
    log(f'{a.clips} recordings, {notes} low notes')
    samples = int(a.seconds * data.RATE) // HOP * HOP
    crops = data.Crops(truths[:-held], samples, a.batch, a.seed + 1000, a.without)
    watch = data.Crops(truths[-held:], samples, min(held, 24), 7)
    watch_batches = [watch(s) for s in range(2)]
    pool, batches = data.stream(crops, a.steps or 10 ** 6, max(1, workers - 3), int(10 ** 6 * (1 + a.part[0])) if a.start else 0)

    device = torch.device('cuda' if torch.cuda.is_available() else 'cpu')
    fast = device.type == 'cuda'
    torch.manual_seed(a.seed)
    torch.backends.cudnn.benchmark = True
    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    sound = torch.from_numpy(np.asarray(stems))
    if fast:
        gpu = torch.empty(sound.shape, dtype=torch.int16, device=device)
        for i in range(0, len(sound), 64):
            gpu[i:i + 64] = sound[i:i + 64].to(device)
        sound = gpu
        log(f'{torch.cuda.get_device_name()}; stems on it, {torch.cuda.memory_allocated() / 2 ** 30:.1f} GiB')
    front, ears, spoil = FrontEnd().to(device), Ears().to(device), Spoiler(samples, device)
    stored = torch.load(a.start, map_location=device, weights_only=False) if a.start else None
    if stored:
        own = ears.state_dict()
        fits = {k: v for k, v in stored['ears'].items() if k in own and v.shape == own[k].shape}
        anew = sorted({k.split('.')[0] for k in own.keys() - fits.keys()} | (set(a.only) if a.fresh else set()))
        if set(anew) - set(a.only):
            sys.exit(f'train.py: {a.start} has other layers than nets.py in {", ".join(anew)}: name them with --only.')
        ears.load_state_dict({k: v for k, v in fits.items() if k.split('.')[0] not in anew}, strict=False)
        log(f'from {a.start}; made anew: {", ".join(anew) or "nothing"}')
    elif set(a.only) != set(NETS):
        sys.exit('train.py: --only needs --start, which has the other nets.')
    groups = [list(getattr(ears, name).parameters()) for name in a.only]
    for name in set(NETS) - set(a.only):
        getattr(ears, name).requires_grad_(False)
    opt = torch.optim.AdamW([{'params': g} for g in groups], lr=a.rate, weight_decay=1e-3, **({'fused': True} if fast and torch.__version__[0] != '1' else {}))
    if stored and a.part[0] > 0 and 'opt' in stored:
        opt.load_state_dict(stored['opt'])
    step, sums, count, first = 0, {}, 0, time.time()
    budget = a.minutes * 60
    if a.render_minutes:
        budget = max(20.0, (a.minutes + a.render_minutes) * 60 - (first - began))
    log(f'training for {budget:.0f} s' if not a.steps else f'training for {a.steps} steps')

    def save():
        torch.save({'ears': ears.state_dict(), 'opt': opt.state_dict(), 'step': step + (stored['step'] if stored else 0), 'seed': a.seed, 'clips': a.clips, 'fonts': [os.path.basename(f) for f in a.fonts],
                    'history': (stored.get('history', []) if stored else []) + [(a.clips, a.seed, step, list(a.only))]}, os.path.join(a.out, 'ears.pt.part'))
        os.replace(os.path.join(a.out, 'ears.pt.part'), os.path.join(a.out, 'ears.pt'))

    def learn():
        for name in NETS:
            getattr(ears, name).train(name in a.only)

    def look():
        ears.eval()
        got = []
        with torch.no_grad():
            for b in watch_batches:
                t = to_device({**b, 'clip': b['clip'] + a.clips - held, 'extra': b['extra'] * 0 - 1}, device)
                with torch.autocast(device.type, dtype=torch.bfloat16, enabled=fast):
                    z = ears(*front(spoil(sound, t, plain=True)))
                got.append({**{'L' + k: v for k, v in losses(z, t).items()}, **measures(z, t)})
        learn()
        return ' '.join(f'{k} {np.mean([float(g[k]) for g in got]):.3f}' for k in got[0])

    learn()
    for batch in batches:
        done = step / a.steps if a.steps else (time.time() - first) / budget
        if done >= 1:
            break
        done = a.part[0] + (a.part[1] - a.part[0]) * done
        rate = a.rate * min(1, (step + 1) / 100) * (1 if done < .3 else .5 * (1 + np.cos(np.pi * (done - .3) / .7)))
        for g in opt.param_groups:
            g['lr'] = float(rate)
        t = to_device(batch, device)
        with torch.no_grad():
            spectra = front(spoil(sound, t, plain=a.without == 'spoiling'))
        with torch.autocast(device.type, dtype=torch.bfloat16, enabled=fast):
            z = ears(*spectra)
        parts = losses(z, t)
        loss = sum(v for v in parts.values() if v.requires_grad)
        opt.zero_grad(set_to_none=True)
        loss.backward()
        for g in groups:
            torch.nn.utils.clip_grad_norm_(g, 2.0)
        opt.step()
        step += 1
        count += 1
        for k, v in parts.items():
            sums[k] = sums.get(k, 0) + v.detach()
        if step in (1, 20) or step % 200 == 0:
            log(f'step {step} rate {rate:.5f} ' + ' '.join(f'{k} {float(v) / count:.3f}' for k, v in sums.items()))
            sums, count = {}, 0
        if step % 800 == 0:
            log('watch ' + look())
            save()
        if a.steps and step >= a.steps:
            break
    log('watch ' + look())
    save()
    if pool:
        pool.terminate()
    log(f'{step} steps done')
    json.dump({'steps': step, 'seed': a.seed, 'clips': a.clips, 'seconds_rendered': a.clips * data.SECONDS, 'low_notes': notes,
               'device': torch.cuda.get_device_name() if fast else 'processor'}, open(os.path.join(a.out, 'train.json'), 'w'))


if __name__ == '__main__':
    main()
