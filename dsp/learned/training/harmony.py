"""Chord progressions for practice recordings: common forms of the trade and random ones, our own composing.

A chord is (root_pc, quality, bass_pc), quality in the order of dsp/base/chord_quality.hpp, or None.
"""
import numpy as np

NAMES = ('', 'm', '7', 'M7', 'm7', 'mM7', 'h', 'o7', '6', 'm6', 'sus', '7sus', '+', 'o')
TONES = ((0, 4, 7), (0, 3, 7), (0, 4, 7, 10), (0, 4, 7, 11), (0, 3, 7, 10), (0, 3, 7, 11), (0, 3, 6, 10), (0, 3, 6, 9),
         (0, 4, 7, 9), (0, 3, 7, 9), (0, 5, 7), (0, 5, 7, 10), (0, 4, 8), (0, 3, 6))
_MAJOR, _DORIAN, _MIXO, _DIM = (0, 2, 4, 5, 7, 9, 11), (0, 2, 3, 5, 7, 9, 10), (0, 2, 4, 5, 7, 9, 10), (0, 2, 3, 5, 6, 8, 9, 11)
SCALES = (_MAJOR, (0, 2, 3, 5, 7, 8, 10), _MIXO, (0, 2, 4, 6, 7, 9, 11), _DORIAN, (0, 2, 3, 5, 7, 9, 11), (0, 1, 3, 5, 6, 8, 10), _DIM,
          _MAJOR, (0, 2, 3, 5, 7, 9, 11), _MIXO, _MIXO, (0, 2, 4, 6, 8, 10), _DIM)
# tensions that leave the label true
TENSIONS = ((2, 9), (2, 5), (2, 9, 6, 1, 3, 8), (2, 9, 6), (2, 5), (2, 9), (2, 5), (2, 11), (2,), (2,), (2,), (2, 9), (), ())
_ROMAN = {'VII': 11, 'VI': 9, 'IV': 5, 'V': 7, 'III': 4, 'II': 2, 'I': 0}


def parse(text):
    """'I7|IIm7 V7|I/3' -> list of bars, each a list of (degree in semitones, quality, bass above the root)."""
    bars = []
    for bar in text.split('|'):
        out = []
        for word in bar.split():
            word, _, over = word.partition('/')
            shift = 0
            while word[0] in 'b#':
                shift += 1 if word[0] == '#' else -1
                word = word[1:]
            roman = next(r for r in ('VII', 'VI', 'IV', 'V', 'III', 'II', 'I') if word.startswith(r))
            quality = NAMES.index(word[len(roman):])
            bass = TONES[quality][{'': 0, '3': 1, '5': 2, '7': -1}[over]] if over in ('', '3', '5', '7') else int(over[1:])
            out.append(((_ROMAN[roman] + shift) % 12, quality, bass))
        bars.append(out)
    return bars


FORMS = {
    'blues': (
        'I7|IV7|I7|I7|IV7|IV7|I7|I7|V7|IV7|I7|V7',
        'I7|I7|I7|I7|IV7|IV7|I7|I7|V7|IV7|I7|I7',
        'I7|IV7|I7|Vm7 I7|IV7|#IVo7|I7|VI7|IIm7|V7|I7 VI7|IIm7 V7',
        'I7|IV7 #IVo7|I7|Vm7 I7|IV7|IVm7 bVII7|IIIm7|bIIIm7|IIm7|V7|IIIm7 VI7|IIm7 V7',
        'IM7|VIIh III7|VIm7 II7|Vm7 I7|IV7|IVm7 bVII7|IIIm7|bIIIm7 bVI7|IIm7|V7|I7 VI7|IIm7 V7',
        'Im7|Im7|Im7|Im7|IVm7|IVm7|Im7|Im7|bVI7|V7|Im7|V7',
        'Im6|IVm6|Im6|I7|IVm7|IVm7|Im6|Im6|IIh|V7|Im6|IIh V7',
        'I7|V7|IV7|IV7|I7|V7|I7|V7',
        'I|I|IV|IV|I|V|I|V7', 'I|IV|I|I|IV|IV|I|I|V|IV|I|V',
        'I6|I6|I6|I7|IV7|IVm6|I6|VI7|II7|V7|I6 VI7|II7 V7'),
    'aaba': (
        'I6 VI7|IIm7 V7|IIIm7 VI7|IIm7 V7|I7|IV7 #IVo7|I/5 VI7|IIm7 V7',
        'IM7 VIm7|IIm7 V7|IM7 VIm7|IIm7 V7|I7|IV6 IVm6|IIIm7 VI7|IIm7 V7',
        'IM7|IM7|IVm7|bVII7|IM7|VI7|IIm7|V7', 'I6|II7|IIm7|V7|I6|II7|IIm7 V7|I6',
        'VIm7|II7|IIm7 V7|IM7|IVM7|VIIh III7|VIm6|VI7', 'Im6|IIh V7|Im6|IVm6|bVI7|V7|Im6|IIh V7',
        'IM7|#Io7|IIm7|#IIo7|IIIm7|VI7|IIm7|V7', 'IM7|I7|IVM7|IVm6|IIIm7 VI7|IIm7 V7|I6|IIm7 V7',
        'I|Io7|IIm7|V7|I|IV IVm|I/5 V7|I', 'IM7|bIIIM7|bVIM7|bII7|IM7|VIm7|IIm7|bII7'),
    'bridge': (
        'III7|III7|VI7|VI7|II7|II7|V7|V7', 'Vm7|I7|IVM7|IVM7|VIm7|II7|IIm7|V7', 'IVM7|bVII7|IM7|VIm7|IIm7|II7|IIm7|V7',
        'bIIIm7|bVI7|bIIM7|bIIM7|IIm7|V7|IM7|V7sus', 'IVm7|bVII7|bIIIM7|bIIIM7|IIIm7|VI7|IIm7|V7', 'IV|#IVo7|I/5|VI7|II7|II7|V7sus|V7'),
    'line': (
        'Im|ImM7|Im7|Im6', 'Im ImM7|Im7 Im6|bVIM7|V7', 'Im|bVII|bVI|V7', 'I|I/b11|VIm|V', 'I|I+|I6|I7', 'Im|Im/b10|bVIM7|V7',
        'I|I/3|IV|#IVo7|I/5|V7|I|I', 'IM7|VIIh|bVII7|VI7|bVI7|V7|I6|V7', 'I V/3|VIm I/5|IV I/3|IIm V7', 'Im V/3|bVII IV/3|bVI|V7sus V7',
        'Im7|bVII7|bVIM7|V7', 'I7|VII7|bVII7|VI7|bVI7|V7|I7|V7'),
    'circle': (
        'IM7|IVM7|VIIh|IIIm7|VIm7|IIm7|V7|IM7', 'Im7|IVm7|bVII7|bIIIM7|bVIM7|IIh|V7|Im6', 'I7|IV7|bVII7|bIII7|bVI7|bII7|I6|V7',
        'VI7|II7|V7|I7', 'III7|VI7|II7|V7|I6|I6|IIm7|V7', 'I|IV|VIIo|IIIm|VIm|IIm|V|I', 'Im|IVm|bVII|bIII|bVI|IIo|V|Im'),
    'folk': (
        'I|V|VIm|IV', 'VIm|IV|I|V', 'I|VIm|IV|V', 'I|IV|V|IV', 'I|IIIm|IV|V', 'Im|bVI|bIII|bVII', 'I|bVII|IV|I', 'I|I|IV|V',
        'I|V/3|VIm|I/5|IV|I/3|IIm|V', 'Im|IVm|Im|V', 'Im|bVII|Im|V', 'Isus|I|IVsus|IV', 'I|IVm|I|IVm', 'IV|V|IIIm|VIm',
        'I|I|V|V|V|V|I|I', 'I|IV|I|V7|I|IV|V7|I', 'Im|Im|bVII|bVII|bVI|bVI|V|V', 'I|V|IIm|IV', 'IM7|IIIm7|IVM7|V7sus', 'I I7|IV IVm|I V|I',
        'I|bIII|IV|bVI', 'Im7|IV7', 'IM7|IVM7', 'I6|IIm7', 'Im7|bVIM7|bIIIM7|bVII'),
    'waltz': (
        'I|I|V7|V7|V7|V7|I|I', 'IM7|VIm7|IIm7|V7|IIIm7|VI7|IIm7|V7', 'I|I7|IV|IVm|I/5|V7|I|V7', 'Im|Im|IVm|IVm|V7|V7|Im|V7',
        'IM7|bVIIM7|IM7|bVIIM7|IVM7|IVm6|IIIm7 VI7|IIm7 V7'),
}
_SUBS = {0: (0, 0, 8, 3, 10, 0), 1: (1, 1, 4, 9, 5), 2: (2, 2, 2, 11), 3: (3, 3, 8, 0), 4: (4, 4, 1), 8: (8, 0, 3), 9: (9, 1, 5), 6: (6, 13), 7: (7, 13)}
_PLAIN = {2: 0, 3: 0, 4: 1, 5: 1, 6: 13, 7: 13, 8: 0, 9: 1, 11: 10}


def _functional(rng, minor):
    """A walk over degrees: tonic, subdominant, dominant, with secondary dominants and related seconds."""
    triads = rng.random() < 0.35
    if minor:
        deg = {0: (1 if triads else rng.choice([4, 9, 1, 5])), 3: 0 if triads else 3, 5: 1 if triads else 4, 7: 0 if triads else 2, 8: 0 if triads else 3,
               10: 0 if triads else 2, 2: 13 if triads else 6}
        move = {0: (5, 8, 3, 7, 2, 10), 3: (8, 5, 10, 2), 5: (7, 10, 0, 2), 7: (0, 0, 8), 8: (2, 5, 7, 10), 10: (3, 0, 8), 2: (7, 7)}
    else:
        deg = {0: 0 if triads else rng.choice([3, 8, 0]), 2: 1 if triads else 4, 4: 1 if triads else 4, 5: 0 if triads else 3, 7: 0 if triads else 2,
               9: 1 if triads else 4, 11: 13 if triads else 6}
        move = {0: (5, 9, 2, 4, 7), 2: (7, 7, 4, 5), 4: (9, 5, 2), 5: (7, 0, 2, 4), 7: (0, 0, 9, 4), 9: (2, 5, 7), 11: (4, 0)}
    out, d = [], 0
    for _ in range(int(rng.integers(4, 13))):
        out.append([(d, int(deg[d]), 0)])
        d = int(rng.choice(move[d]))
        r = rng.random()
        if r < 0.15:
            out.append([((d + 7) % 12, 2, 0)])
        elif r < 0.22:
            out.append([((d + 2) % 12, 6 if minor else 4, 0), ((d + 7) % 12, 2, 0)])
        elif r < 0.27:
            out.append([((d + 1) % 12, 2, 0)])
        elif r < 0.31:
            out.append([((d - 1) % 12, 7, 0)])
    return out


def _foreign(rng):
    """Roots and qualities at random; now and then one quality moved about."""
    n = int(rng.integers(2, 9))
    pool = rng.permutation(14)[:int(rng.integers(1, 5))]
    steps = rng.choice([1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11], size=int(rng.integers(1, 4)))
    out, d = [], 0
    for _ in range(n):
        q = int(rng.choice(pool)) if rng.random() < 0.8 else int(rng.integers(14))
        over = int(rng.choice(TONES[q])) if rng.random() < 0.12 else 0
        out.append([(d, q, over)])
        d = int((d + rng.choice(steps)) % 12)
    return out


def _vamp(rng):
    a = int(rng.choice([4, 2, 3, 11, 10, 0, 1, 9, 5, 12]))
    b = int(rng.choice([a, a, 4, 2, 3, 11, 0]))
    gap = int(rng.choice([1, 2, 3, 5, 7, 10, 11]))
    n = int(rng.choice([1, 2, 4, 8]))
    bars = [[(0, a, 0)]] * n + [[(gap, b, 0)]] * n
    return bars if rng.random() < 0.8 else [[(0, a, 0)]]


def _two_fives(rng):
    out, d = [], 0
    for _ in range(int(rng.integers(2, 6))):
        minor = rng.random() < 0.35
        ii, one = (6, int(rng.choice([9, 4, 5]))) if minor else (4, int(rng.choice([3, 8, 3])))
        five = ((d + 1) % 12 if rng.random() < 0.12 else (d + 7) % 12, 2, 0)
        two = ((d + 2) % 12, ii, 0)
        if rng.random() < 0.5:
            out += [[two], [five], [(d, one, 0)]] + ([[(d, one, 0)]] if rng.random() < 0.5 else [])
        else:
            out += [[two, five], [(d, one, 0)]]
        d = int((d + rng.choice([5, 10, 2, 8, 4, 3, 1, 7])) % 12)
    return out


_MOTION = {0: (5, 7, 9, 2, 10, 8, 4, 3, 1), 1: (0, 6, 8), 2: (7, 7, 7, 5, 1), 3: (8, 5, 10, 2), 4: (9, 5, 3), 5: (7, 0, 10, 6, 4, 2), 6: (5, 7, 11),
           7: (0, 0, 0, 8, 9, 5), 8: (7, 1, 10, 5), 9: (2, 2, 5, 7, 8), 10: (0, 3, 9, 5), 11: (4, 0)}
_STEMS = ((4,), (4,), (4,), (8,), (2, 2), (2, 2), (2, 2), (3, 1), (2, 1, 1), (1, 1, 2), (1, 1, 1, 1), (4, 3, 1), (6, 2), (4, 4), (5, 3), (2, 4, 2), (7, 1), (3, 5))
_STEMS3 = ((3,), (3,), (3,), (6,), (2, 1), (1, 2), (1, 1, 1), (3, 3), (3, 2, 1), (5, 1))


def timed(rng, meter):
    """Sections of chords whose lengths are counted in beats, not bars: single-beat passing chords, changes on any beat, early changes,
    sections of uneven length; a few sections in some order. -> [(degree, quality, bass above root, beats)]"""
    shapes = [(_STEMS if meter == 4 else _STEMS3)[i] for i in rng.integers(len(_STEMS if meter == 4 else _STEMS3), size=int(rng.integers(1, 4)))]
    minor, colours = rng.random() < .4, rng.random()
    tonic = int(rng.choice([1, 4, 5, 9] if minor else [0, 3, 8, 2]))

    def quality(d, goes_to_fifth_below):
        if colours < .18:
            return 1 if d in ((2, 4, 9) if not minor else (0, 5)) else 0
        if goes_to_fifth_below and rng.random() < .7:
            return 2 if rng.random() < .9 else int(rng.choice([11, 12]))
        if d == 0:
            return tonic
        q = ({2: 6, 3: 3, 5: 4, 7: 2, 8: 3, 10: 2, 11: 7, 1: 7, 6: 6, 4: 7, 9: 6} if minor else {2: 4, 4: 4, 5: 3, 7: 2, 9: 4, 11: 6, 1: 7, 3: 7, 6: 7, 8: 2, 10: 2})[d]
        return int(rng.choice(_SUBS.get(q, (q,)))) if rng.random() < .25 else q

    def section(bars):
        lengths = []
        while sum(lengths) < bars * meter:
            lengths += shapes[rng.integers(len(shapes))] if rng.random() < .85 else (meter,)
        lengths[-1] -= sum(lengths) - bars * meter
        lengths = [int(n) for n in lengths if n > 0]
        degrees, d = [], 0 if rng.random() < .7 else int(rng.choice([2, 5, 9, 7]))
        for _ in lengths:
            degrees.append(d)
            d = int(rng.choice(_MOTION[d])) if rng.random() < .93 else int(rng.integers(12))
        out = []
        for k, (n, d) in enumerate(zip(lengths, degrees)):
            after = degrees[(k + 1) % len(degrees)]
            q = quality(d, (d - after) % 12 == 7 or (d - after) % 12 == 1)
            over = int(rng.choice(TONES[q])) if rng.random() < .1 else 0
            out.append((d, q, over, n))
        if rng.random() < .25:                                        # the change comes a beat early
            for k in range(len(out) - 1):
                if out[k][3] > 1 and rng.random() < .5:
                    out[k], out[k + 1] = out[k][:3] + (out[k][3] - 1,), out[k + 1][:3] + (out[k + 1][3] + 1,)
        return out

    plans = ('a', 'ab', 'aab', 'aaba', 'abac', 'abcb', 'aabb')
    size = int(rng.choice([2, 4, 4, 4, 8, 3, 6]))
    made = {}
    out = []
    for name in plans[rng.integers(len(plans))]:
        if name not in made:
            made[name] = section(size)
        part = list(made[name])
        if rng.random() < .15 and len(part) > 1:                      # another turn at the end
            d, q, over, n = part[-1]
            part[-1] = (int(rng.choice([7, 1, 2, 5])), 2, 0, n)
        out += part
    return out


def progression(rng, meter):
    """-> list of bars of the form; each bar a list of (degree, quality, bass above root). Also its kind. Of kind 'timed' the list is what
    timed() gives."""
    if rng.random() < .28:
        return timed(rng, meter), 'timed'
    r = rng.random()
    pick = lambda k: parse(FORMS[k][rng.integers(len(FORMS[k]))])
    if meter == 3 and r < 0.3:
        kind, bars = 'waltz', pick('waltz')
    else:
        kind = str(rng.choice(['blues', 'aaba', 'line', 'circle', 'folk', 'functional', 'foreign', 'vamp', 'two_fives', 'static'],
                              p=[.17, .11, .07, .07, .13, .19, .1, .06, .09, .01]))
        if kind == 'aaba':
            a, b = pick('aaba'), pick('bridge')
            bars = a + a + b + a if rng.random() < 0.6 else (b + a if rng.random() < 0.5 else a)
        elif kind == 'functional':
            bars = _functional(rng, rng.random() < 0.45)
        elif kind == 'foreign':
            bars = _foreign(rng)
        elif kind == 'vamp':
            bars = _vamp(rng)
        elif kind == 'two_fives':
            bars = _two_fives(rng)
        elif kind == 'static':
            bars = [[(0, int(rng.integers(14)), 0)]]
        else:
            bars = pick(kind)
    mode = rng.random()
    if mode < 0.14:                                                   # plain triads
        bars = [[(d, _PLAIN.get(q, q), o if o in TONES[_PLAIN.get(q, q)] else 0) for d, q, o in bar] for bar in bars]
    elif mode < 0.34:                                                 # other colours of the same function
        bars = [[(d, int(rng.choice(_SUBS.get(q, (q,)))), 0) for d, q, o in bar] for bar in bars]
    r = rng.random()                                                  # harmonic rhythm
    if r < 0.10 and kind != 'vamp':
        bars = [[c for bar in bars[i:i + 2] for c in bar] for i in range(0, len(bars), 2)]
    elif r < 0.22:
        bars = [b for bar in bars for b in ([bar, bar] if len(bar) == 1 else [[bar[0]], [bar[-1]]])]
    elif r < 0.27:
        bars = [b for bar in bars for b in ([bar] * 4 if len(bar) == 1 else [[bar[0]], [bar[0]], [bar[-1]], [bar[-1]]])]
    elif r < 0.30:
        bars = [bar if len(bar) > 1 else [bar[0], ((bar[0][0] + rng.choice([5, 7, 1, 11])) % 12, bar[0][1], 0)] for bar in bars]
    return bars, kind


def spread(bars, meter, key, beats, rng):
    """One chord (or None) for each of `beats` beats, the form repeated from its start or from some bar on."""
    out = []
    if isinstance(bars[0], tuple):
        for d, q, over, n in bars:
            root = (key + d) % 12
            out += [(int(root), int(q), int((root + over) % 12))] * n
        first = int(rng.integers(len(out) // meter)) * meter if rng.random() < .4 else 0
        return [out[(first + b) % len(out)] for b in range(beats)]
    i = int(rng.integers(len(bars))) if rng.random() < 0.4 else 0
    while len(out) < beats:
        bar = bars[i % len(bars)]
        n = len(bar)
        if n == 1:
            lengths = [meter]
        elif n == 2:
            lengths = [2, meter - 2] if meter == 4 or rng.random() < 0.5 else [1, 2]
            if meter == 4 and rng.random() < 0.05:
                lengths = [3, 1]
        else:
            n = min(n, meter)
            lengths = [meter // n + (1 if k < meter % n else 0) for k in range(n)]
        for (d, q, over), k in zip(bar[:n], lengths):
            root = (key + d) % 12
            out += [(int(root), int(q), int((root + over) % 12))] * k
        i += 1
    return out[:beats]
