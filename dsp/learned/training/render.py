"""From a composed piece to four stems (low voice, comping, drums, solo) with audible truth."""
import numpy as np

from synth import BLOCK, RATE, PluckedString, audible_delay, band, dead_stroke, noise, speech

BASS = ((32, .34), (33, .25), (34, .13), (35, .11), (36, .05), (37, .04), (38, .04), (39, .04))
OTHER_LOW = (0, 1, 5, 16, 17, 19, 58, 43, 42, 57, 67, 70, 12, 87, 81, 22)
GUITARS = (24, 25, 26, 27, 24, 25, 26, 28)
KEYS = (0, 0, 0, 1, 2, 3, 4, 5, 4, 7, 11, 16, 17, 18, 21, 6, 12)
STRUMS = (24, 25, 26, 27, 26, 24, 25, 105, 28, 46, 29)
PADS = (48, 49, 50, 51, 52, 16, 17, 19, 88, 89, 90, 61, 20, 63)
SOLOS = (56, 57, 59, 60, 64, 65, 66, 67, 71, 73, 40, 22, 11, 26, 27, 0, 4, 65, 66, 75, 68, 52, 69, 41, 105, 78, 80, 29, 42)
KITS = (0, 0, 8, 16, 24, 32, 40, 48)
STEMS = 4


def weighted(rng, table):
    w = np.array([x[1] for x in table])
    return table[rng.choice(len(table), p=w / w.sum())][0]


def chains(notes):
    """Groups of notes sounded by one stroke: a struck note and those slurred to it."""
    out = []
    for n in notes:
        if n[4] == 2 and out and out[-1][-1][4] != 1 and abs(n[2] - out[-1][-1][2]) <= 5 and n[0] - out[-1][-1][1] < .06 and len(out[-1]) < 4:
            out[-1].append(n)
        else:
            out.append([n])
    return out


def glide_path(rng, chain, scoop):
    """[(seconds from the stroke, semitones)], and the moment of each slurred note."""
    path, at, on = [], 0.0, chain[0][0]
    if scoop:
        path += [(0.0, -rng.uniform(.5, 2)), (rng.uniform(.03, .12), 0.0)]
    for n in chain[1:]:
        t = n[0] - on
        g = min(rng.uniform(.006, .09), t * .5)
        path += [(max(t - g / 2, (path[-1][0] if path else 0) + 1e-3), at), (t + g / 2, n[2] - chain[0][2])]
        at = n[2] - chain[0][2]
    return path


def low_by_sampler(rng, piece, sampler, n, notes_out, scoop):
    y = np.zeros(n, np.float32)
    for chain in chains(piece.bass):
        on, kind = chain[0][0], chain[0][4]
        i = int(on * RATE)
        if i >= n:
            continue
        if kind == 1:
            w, d = dead_stroke(rng, chain[0][2]) * chain[0][3], 0
            notes_out.append((on, min(on + .08, chain[0][1]), chain[0][2], 1))
        else:
            path = glide_path(rng, chain, rng.random() < scoop)
            w, d = sampler.note(chain[0][2], chain[0][3], max(.05, chain[-1][1] - on), path)
            notes_out.append((on + d / RATE, chain[0][1], chain[0][2], 0))
            notes_out.extend((x[0], x[1], x[2], 0) for x in chain[1:])
        w = w[:n - i]
        y[i:i + len(w)] += w
    return y


def many_by_sampler(notes, sampler, n):
    y = np.zeros(n, np.float32)
    for on, off, midi, v in notes:
        i = int(on * RATE)
        if i < n:
            w = sampler.note(midi, v, off - on)[0][:n - i]
            y[i:i + len(w)] += w
    return y


def low_by_midi(rng, piece, synth, font, program, n, notes_out, scoop):
    events = [(0, 'select', c, font, 0, program) for c in (0, 1)]
    thumps = np.zeros(n, np.float32)
    loud = rng.uniform(70, 112)
    for k, chain in enumerate(chains(piece.bass)):
        on, c = int(round(chain[0][0] * RATE / BLOCK)) * BLOCK, k % 2
        if on >= n:
            continue
        if chain[0][4] == 1:
            w = dead_stroke(rng, chain[0][2])[:n - on] * chain[0][3]
            thumps[on:on + len(w)] += w
            notes_out.append((on / RATE, min(on / RATE + .08, chain[0][1]), chain[0][2], 1))
            continue
        v = int(np.clip(loud * (.55 + .6 * chain[0][3]), 20, 127))
        off = max(on + 2 * BLOCK, int(chain[-1][1] * RATE))
        path = glide_path(rng, chain, rng.random() < scoop)
        cents = rng.normal(0, .03)
        events.append((on, 'fluid_synth_pitch_bend', c, int(np.clip(8192 + (cents + (path[0][1] if path and path[0][0] == 0 else 0)) * 8192 / 12, 0, 16383))))
        if path:
            for t in np.arange(max(0, path[0][0]), path[-1][0] + .01, BLOCK / RATE):
                s = float(np.interp(t, [p[0] for p in path], [p[1] for p in path]))
                events.append((on + t * RATE, 'fluid_synth_pitch_bend', c, int(np.clip(8192 + (s + cents) * 8192 / 12, 0, 16383))))
        events += [(on, 'fluid_synth_noteon', c, chain[0][2], v), (off, 'fluid_synth_noteoff', c, chain[0][2])]
        d = synth.delay(font, program, chain[0][2], v)
        notes_out.append(((on + d) / RATE, chain[0][1], chain[0][2], 0))
        notes_out.extend((x[0], x[1], x[2], 0) for x in chain[1:])
    y = synth.render(events, n)
    peak = np.abs(y).max()
    return y + thumps * (peak if peak > 0 else .3)


def by_midi(rng, notes, synth, font, program, n, loud, bank=0, channel=0):
    events = [(0, 'select', channel, font, bank, program)]
    for on, off, midi, v in notes:
        if on * RATE < n:
            events += [(on * RATE, 'fluid_synth_noteon', channel, midi, int(np.clip(loud * (.4 + .8 * v), 8, 127))),
                       (off * RATE, 'fluid_synth_noteoff', channel, midi)]
    return synth.render(events, n)


def drums_by_midi(rng, hits, synth, font, kit, n):
    events = [(0, 'select', 9, font, 128, kit if synth.select(9, font, 128, kit) else 0)]
    for on, key, v in hits:
        if on * RATE < n:
            events += [(on * RATE, 'fluid_synth_noteon', 9, key, int(np.clip(v * 120, 5, 127))), (on * RATE + .12 * RATE, 'fluid_synth_noteoff', 9, key)]
    y = synth.render(events, n)
    if rng.random() < .25:                             # a boomy kick or floor tom: low, pitched, and not the bass
        hz, tau, peak = rng.uniform(42, 95), rng.uniform(.05, .35), np.abs(y).max() * rng.uniform(.2, 1.2)
        t = np.arange(int(min(1.0, 5 * tau) * RATE)) / RATE
        w = (np.sin(2 * np.pi * (hz * t + hz * rng.uniform(.2, 2) * .02 * (1 - np.exp(-t / .02)))) * np.exp(-t / tau) * (1 - np.exp(-t / .002))).astype(np.float32)
        for on, key, v in hits:
            i = int(on * RATE)
            if key in (35, 36, 41, 43) and i < n:
                y[i:i + len(w)] += w[:n - i] * np.float32(peak * v)
    return y


def level(y, target=.1):
    """To the RMS `target` over the parts that sound; limited softly."""
    y = y - y.mean()
    e = np.sqrt(np.mean(y[:len(y) // 512 * 512].reshape(-1, 512) ** 2, 1))
    top = e.max() if len(e) else 0
    if top < 1e-6:
        return np.zeros(len(y), np.int16)
    r = np.sqrt(np.mean(e[e > top * .05] ** 2))
    y = np.tanh(y * (target / r) / .95) * .95
    return np.round(y * 32767).astype(np.int16)


def render(piece, rng, synth, upright):
    """-> (stems int16 [4][n], truth): truth['bass'] rows of (on, off, midi, kind: 0 note, 1 dead), audible onsets."""
    n = int(piece.seconds * RATE)
    stems = np.zeros((STEMS, n), np.int16)
    notes = []
    fonts = len(synth.fonts)
    font = lambda: int(rng.integers(1, fonts)) if fonts > 1 and rng.random() < .3 else 0
    if piece.noise:
        stems[3] = level(speech(rng, n) if piece.noise == 'speech' else noise(rng, n, piece.noise))
        if piece.noise == 'silence':
            stems[3] //= 64
    scoop = rng.uniform(.05, .3) if rng.random() < .2 else 0.0
    own_guitar = None
    guitar_program, guitar_font = int(rng.choice(GUITARS)), font()
    if piece.bass:
        r = rng.random()
        if piece.low_voice == 'guitar' and r < .42:
            own_guitar = PluckedString(rng, guitar=True).sampler()
            y = low_by_sampler(rng, piece, own_guitar, n, notes, scoop)
        elif piece.low_voice == 'guitar':
            y = low_by_midi(rng, piece, synth, guitar_font, guitar_program, n, notes, 0)
        elif piece.low_voice == 'other':
            y = low_by_midi(rng, piece, synth, font(), int(rng.choice(OTHER_LOW)), n, notes, 0)
        elif r < .42:
            y = low_by_sampler(rng, piece, PluckedString(rng).sampler(), n, notes, scoop)
        elif r < .56:
            y = low_by_sampler(rng, piece, upright.sampler(rng), n, notes, scoop)
        else:
            y = low_by_midi(rng, piece, synth, font(), weighted(rng, BASS), n, notes, scoop)
        if rng.random() < .15:                         # finger squeaks and knocks between notes
            for _ in range(int(rng.integers(3, 25))):
                m = int(rng.uniform(.02, .15) * RATE)
                i = int(rng.integers(0, n - m))
                y[i:i + m] += (band(rng.normal(0, 1, m), rng.uniform(300, 1500), rng.uniform(1500, 5000)) * np.hanning(m) * np.abs(y).max() * rng.uniform(.01, .12)).astype(np.float32)
        stems[0] = level(y)
    if piece.comp:
        loud = rng.uniform(60, 105)
        if piece.guitar and own_guitar is not None:
            y = many_by_sampler(piece.comp, own_guitar, n)
        elif piece.guitar:
            y = by_midi(rng, piece.comp, synth, guitar_font, guitar_program, n, loud)
        elif rng.random() < (.3 if piece.comp_kind == 'strum' else .18):
            y = many_by_sampler(piece.comp, PluckedString(rng, guitar=True).sampler(), n)
        else:
            y = by_midi(rng, piece.comp, synth, font(), int(rng.choice({'keys': KEYS, 'strum': STRUMS, 'pad': PADS}[piece.comp_kind])), n, loud)
        stems[1] = level(y)
    if piece.drums:
        f = font()
        stems[2] = level(drums_by_midi(rng, piece.drums, synth, f, int(rng.choice(KITS)), n), .08)
    if piece.solo:
        stems[3] = level(by_midi(rng, piece.solo, synth, font(), int(rng.choice(SOLOS)), n, rng.uniform(70, 110)))
    notes.sort()
    for i in range(len(notes) - 1):
        on, off, m, k = notes[i]
        notes[i] = (on, max(on + .02, min(off, notes[i + 1][0])), m, k)
    return stems, {'bass': np.array([x for x in notes if x[0] < piece.seconds], np.float64).reshape(-1, 4),
                   'beats': np.array(piece.beats, np.float64).reshape(-1, 2), 'chords': np.array(piece.chords, np.float64).reshape(-1, 5),
                   'guitar': piece.guitar, 'low_voice': piece.low_voice, 'style': piece.style}
