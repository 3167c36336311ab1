"""Low lines over chords: one function a way of playing. Our own composing.

A note is [beat position, length in beats, midi, velocity 0..1, kind]; kind 0 struck, 1 dead, 2 slurred or slid from the note before.
"""
import numpy as np

from harmony import SCALES, TONES


class Player:
    """Where the hand is and how far it reaches."""

    def __init__(self, rng, low, high, swing):
        self.rng, self.low, self.high, self.swing = rng, low, high, swing
        self.prev = int(rng.integers(low, (low + high) // 2 + 1))
        self.busy = rng.choice([0.0, 0.05, 0.12, 0.25])               # ornaments
        self.dead = rng.choice([0.0, 0.0, 0.03, 0.1])
        self.rest = rng.choice([0.0, 0.02, 0.06])
        self.slur = rng.choice([0.0, 0.0, 0.05, 0.15])
        self.legato = rng.uniform(0.55, 1.0) if rng.random() < 0.4 else rng.uniform(0.85, 1.0)

    def off(self, beat, fraction):
        """Position with the off-beat swung."""
        s = self.swing / (1 + self.swing)
        f = fraction * 2 * s if fraction <= 0.5 else s + (fraction - 0.5) * 2 * (1 - s)
        return beat + f

    def place(self, pc, near=None, jump=False):
        """The pitch of class pc nearest to the hand, within reach."""
        near = self.prev if near is None else near
        c = [m for m in range(self.low, self.high + 1) if m % 12 == pc % 12]
        if not c:
            return self.low
        if jump and self.rng.random() < 0.5:
            return int(self.rng.choice(c))
        middle = (self.low + self.high) / 2 - 2
        return min(c, key=lambda m: abs(m - near) + 0.15 * abs(m - middle) + self.rng.random() * 1.5)

    def clamp(self, m):
        while m < self.low:
            m += 12
        while m > self.high:
            m -= 12
        return int(m) if m >= self.low else self.low

    def step(self, m, chord, up):
        scale = {(chord[0] + s) % 12 for s in SCALES[chord[1]]}
        m += 1 if up else -1
        while m % 12 not in scale:
            m += 1 if up else -1
        return m

    def vel(self, accent=0.0):
        return float(np.clip(0.72 + accent + self.rng.normal(0, 0.08), 0.25, 1.0))


def chord_or(chords, b):
    return chords[min(b, len(chords) - 1)] or (0, 0, 0)


def tone(p, chord, near=None):
    pcs = [(chord[0] + t) % 12 for t in TONES[chord[1]]]
    w = np.array([3.0, 1.5, 2.0, 1.2][:len(pcs)])
    return p.place(int(p.rng.choice(pcs, p=w / w.sum())), near)


def walk(p, chords, b0, b1, meter):
    out, up, rng = [], rng_bool(p.rng), p.rng
    for b in range(b0, b1):
        c, n, before = chord_or(chords, b), chord_or(chords, b + 1), chord_or(chords, b - 1) if b > b0 else None
        new = before is None or c[:2] != before[:2] or (b - b0) % meter == 0
        r = rng.random()
        if new and r < 0.82:
            m = p.place(c[2], jump=r < 0.06)
        elif new:
            m = tone(p, c)
        elif n != c or (b + 1 - b0) % meter == 0 and rng.random() < 0.7:
            target = p.place(n[2])
            m = target + int(rng.choice([1, -1, 2, -2, 7, -5, 5, 0], p=[.25, .27, .1, .1, .1, .1, .05, .03]))
            m = p.clamp(m)
        elif r < 0.42:
            m = tone(p, c, p.prev + (4 if up else -4))
        elif r < 0.80:
            m = p.step(p.prev, c, up)
        elif r < 0.87:
            m = p.prev + (1 if up else -1)
        elif r < 0.95:
            m = p.prev
        else:
            m = p.prev + (12 if p.prev + 12 <= p.high else -12)
        if not p.low <= m <= p.high:
            up = m < p.low
            m = p.clamp(m)
        if rng.random() < 0.25:
            up = not up
        p.prev = m
        if rng.random() < p.rest:
            continue
        if rng.random() < p.dead * 0.3:
            out.append([b, 0.3, m, p.vel(), 1])
            continue
        r = rng.random()
        if r < p.busy * 0.45:                                         # skip on the off-beat
            at = p.off(b, 0.5)
            k = rng.random()
            second = m if k < 0.4 else p.clamp(p.place(n[2], m) + int(rng.choice([-1, 1, 2, -2]))) if k < 0.7 else tone(p, c)
            out += [[b, (at - b) * p.legato, m, p.vel(.05), 0], [at, (b + 1 - at) * p.legato, second, p.vel(-.12), int(rng.random() < p.dead * 3)]]
        elif r < p.busy * 0.62:                                       # triplet
            ms = [m, p.step(m, c, True), m] if rng.random() < 0.4 else [m, tone(p, c), p.clamp(p.place(n[2], m) + int(rng.choice([-1, 1])))]
            if rng.random() < 0.3:
                ms = [m, m, m]
            out += [[b + k / 3, p.legato / 3, x, p.vel(-.1 * (k > 0)), int(k > 0 and rng.random() < p.dead * 3)] for k, x in enumerate(ms)]
        elif r < p.busy * 0.72:                                       # raked dead stroke before the next beat
            at = b + 2 / 3
            out += [[b, (2 / 3) * p.legato, m, p.vel(), 0], [at, 0.2, m, p.vel(-.2), 1]]
        elif r < p.busy * 0.78 and b + 1 < b1 and c == n:
            out.append([b, 1.95 * p.legato, m, p.vel(.05), 0])        # held over two beats
        elif out and out[-1][0] > b:
            continue
        else:
            kind = 2 if rng.random() < p.slur * 0.5 and out and abs(out[-1][2] - m) <= 4 and out[-1][4] == 0 else 0
            out.append([b, p.legato, m, p.vel(.06 if (b - b0) % meter in (1, 3) else 0), kind])
    return drop_overlaps(out)


def rng_bool(rng):
    return bool(rng.random() < 0.5)


def drop_overlaps(notes):
    notes.sort(key=lambda n: n[0])
    out = []
    for n in notes:
        if out and n[0] - out[-1][0] < 0.08:
            continue
        if out and out[-1][0] + out[-1][1] > n[0]:
            out[-1][1] = n[0] - out[-1][0]
        out.append(n)
    return out


def two_feel(p, chords, b0, b1, meter):
    out, rng, b = [], p.rng, b0
    while b < b1:
        n = 2 if meter == 4 else 3
        c = chord_or(chords, b)
        first = (b - b0) % meter == 0 or c != chord_or(chords, b - 1)
        m = p.place(c[2]) if first or rng.random() < 0.2 else p.place(c[0] + TONES[c[1]][2]) if rng.random() < 0.75 else tone(p, c)
        p.prev = m
        if chord_or(chords, min(b + 1, b1 - 1)) != c and n > 1:       # the chord changes under the long note: play the change too
            out.append([b, p.legato, m, p.vel(.05), 0])
            k = b + 1
            while k < min(b + n, b1):
                m2 = p.place(chord_or(chords, k)[2])
                out.append([k, p.legato, m2, p.vel(), 0])
                p.prev = m2
                k += 1
        elif rng.random() < p.busy + 0.1:
            lead = p.clamp(p.place(chord_or(chords, b + n)[2]) + int(rng.choice([-1, 1, -2, 2, 0])))
            at = p.off(b + n - 1, 0.5) if rng.random() < 0.5 else b + n - 1
            out += [[b, (at - b) * p.legato, m, p.vel(.05), 0], [at, (b + n - at) * p.legato, lead, p.vel(-.08), int(rng.random() < p.dead)]]
        else:
            out.append([b, n * p.legato, m, p.vel(.05), 0])
        b += n
    return out


def root_fifth(p, chords, b0, b1, meter):
    out, rng = [], p.rng
    step = int(rng.choice([1, 2])) if meter == 4 else 1
    below = rng_bool(rng)
    pattern = [0, 1] if meter == 4 else ([0, 1, 1] if rng.random() < 0.5 else [0, None, None] if rng.random() < 0.4 else [0, 1, 0])
    for k, b in enumerate(range(b0, b1, step)):
        c = chord_or(chords, b)
        which = pattern[k % len(pattern)]
        if which is None:
            continue
        if b > b0 and c != chord_or(chords, b - 1):
            which = 0
        root = p.place(c[2])
        fifth = (root - root) + c[0] + TONES[c[1]][2]
        m = root if which == 0 else p.place(fifth, root - 5 if below else root + 7)
        p.prev = root
        long = step if None not in pattern else 3
        out.append([b, long * p.legato * (0.6 if rng.random() < 0.1 else 1), m, p.vel(.05 * (which == 0)), 0])
    return out


def boogie(p, chords, b0, b1, meter):
    rng = p.rng
    shapes = ([0, 4, 7, 9, 10, 9, 7, 4], [0, 4, 7, 9], [0, 0, 4, 4, 7, 7, 9, 9], [0, 7, 9, 7], [0, 7, 9, 10], [0, 12, 10, 7], [0, 3, 4, 7, 9, 7, 4, 3],
              [0, 0, 7, 7, 9, 9, 10, 9], [0, 4, 5, 6, 7, 10, 9, 7], [0, 12, 0, 12])
    shape = list(shapes[rng.integers(len(shapes))])
    eighths = rng.random() < 0.4
    out, i = [], 0
    for b in range(b0, b1):
        c = chord_or(chords, b)
        if b == b0 or c != chord_or(chords, b - 1):
            i, root = 0, p.place(c[2], p.low + 6)
        third = 3 if 3 in TONES[c[1]] else 4
        for f in ([0, 0.5] if eighths else [0]):
            s = shape[i % len(shape)]
            m = p.clamp(root + (third if s == 4 else s))
            out.append([p.off(b, f), (0.5 if eighths else 1) * p.legato, m, p.vel(.05 if f == 0 else -.05), 0])
            i += 1
    p.prev = root
    return drop_overlaps(out)


def rhythm(rng, beats, grid, density, rests=0.0):
    """Onset positions on a grid of `grid` a beat (3 = triplets), first on 0 mostly; -> [(beat, fraction)]."""
    out = []
    for b in range(beats):
        for k in range(grid):
            on = density * (1.6 if k == 0 else 1.0 if 2 * k == grid else 0.7)
            if (b == 0 and k == 0 and rng.random() < 0.93) or rng.random() < on:
                if rng.random() >= rests:
                    out.append((b, k / grid))
    return out or [(0, 0.0)]


def riff(p, chords, b0, b1, meter):
    """A figure of one or two bars, moved with the chords, sometimes varied."""
    rng = p.rng
    beats = meter * int(rng.choice([1, 1, 2]))
    grid = int(rng.choice([2, 2, 2, 3, 4, 1]))
    figure = rhythm(rng, beats, grid, rng.uniform(0.15, 0.6))
    pool = (0, 3, 5, 7, 10, 12) if rng.random() < 0.5 else (0, 2, 4, 7, 9, 12) if rng.random() < 0.5 else (0, 7, 10, 12, 6, 5)
    semis = [0] + [int(rng.choice(pool)) if rng.random() < 0.75 else None for _ in figure[1:]]
    for i, s in enumerate(semis):
        if s is None:
            semis[i] = semis[i - 1]
    fixed = rng.random() < 0.3
    short = rng.uniform(0.3, 1.0)
    dead = [rng.random() < p.dead for _ in figure]
    out, home = [], p.place(chord_or(chords, b0)[0], p.low + 5)
    for start in range(b0, b1, beats):
        for i, (b, f) in enumerate(figure):
            if start + b >= b1:
                break
            c = chord_or(chords, start + b)
            root = home if fixed else p.place(c[2], home)
            m = p.clamp(root + semis[i])
            if not fixed and 3 not in TONES[c[1]] and (m - c[0]) % 12 == 3:
                m += 1
            nb, nf = figure[i + 1] if i + 1 < len(figure) else (beats, 0.0)
            at = start + b + f if grid == 3 else p.off(start + b, f)
            end = start + nb + nf if grid == 3 else p.off(start + nb, nf)
            if rng.random() < 0.04:
                continue
            out.append([at, max(0.1, (end - at) * (short if rng.random() < 0.8 else 1.0)), m, p.vel(), int(dead[i])])
    p.prev = home
    return drop_overlaps(out)


def motif(p, chords, b0, b1, meter):
    """A shape under the hand moved from string to string: the same intervals a fourth or fifth away, whatever the chord."""
    rng = p.rng
    n = int(rng.integers(3, 9))
    grid = int(rng.choice([1, 2, 2, 3]))
    shape = [0] + [int(rng.choice([-2, -1, 1, 2, 3, 4, 5, 7, 0])) for _ in range(n - 1)]
    slots = rhythm(rng, meter, grid, rng.uniform(0.4, 0.9))
    out, root = [], p.place(chord_or(chords, b0)[2], p.low + 4)
    for start in range(b0, b1, meter):
        for i, (b, f) in enumerate(slots):
            if start + b >= b1:
                break
            m = p.clamp(root + shape[i % n])
            at = start + b + f if grid == 3 else p.off(start + b, f)
            out.append([at, p.legato * 0.95 / grid, m, p.vel(), 2 if i and rng.random() < p.slur and abs(shape[i % n] - shape[i % n - 1]) < 4 else 0])
        root = p.place(chord_or(chords, start + meter)[2]) if rng.random() < 0.5 else p.clamp(root + int(rng.choice([5, -5, 7, 5])))
    return drop_overlaps(out)


def pedal(p, chords, b0, b1, meter):
    rng = p.rng
    pc = int(chord_or(chords, b0)[0] + rng.choice([0, 0, 7]))
    m = p.place(pc)
    octave = p.clamp(m + 12)
    grid = int(rng.choice([1, 1, 2, 2, 4]))
    slots = rhythm(rng, meter, grid, rng.choice([0.15, 0.4, 1.0]))
    use = rng.random() < 0.3
    out = []
    for start in range(b0, b1, meter):
        for i, (b, f) in enumerate(slots):
            if start + b >= b1:
                break
            nb, nf = slots[i + 1] if i + 1 < len(slots) else (meter, 0.0)
            at, end = p.off(start + b, f), p.off(start + nb, nf)
            out.append([at, (end - at) * p.legato, octave if use and i % 2 else m, p.vel(.1 if b == 0 else 0), int(rng.random() < p.dead)])
    p.prev = m
    return drop_overlaps(out)


def drive(p, chords, b0, b1, meter):
    """Repeated eighths or quarters on the root, now and then leading on."""
    rng = p.rng
    grid = int(rng.choice([1, 2, 2, 2, 3, 4]))
    out = []
    for b in range(b0, b1):
        c, n = chord_or(chords, b), chord_or(chords, b + 1)
        m = p.place(c[2])
        p.prev = m
        for k in range(grid):
            x = m
            if k == grid - 1 and n != c and rng.random() < 0.4:
                x = p.clamp(p.place(n[2]) + int(rng.choice([-1, 1, -2, 2])))
            elif rng.random() < 0.06:
                x = p.clamp(m + int(rng.choice([12, 7, -5])))
            at = b + k / grid if grid == 3 else p.off(b, k / grid)
            end = b + (k + 1) / grid if grid == 3 else p.off(b, (k + 1) / grid) if k + 1 < grid else b + 1
            out.append([at, (end - at) * p.legato, x, p.vel(.08 if k == 0 else -.03), int(k > 0 and rng.random() < p.dead * .5)])
    return drop_overlaps(out)


def chromatic(p, chords, b0, b1, meter):
    rng = p.rng
    grid = int(rng.choice([1, 1, 2]))
    out, up, m = [], rng_bool(rng), p.place(chord_or(chords, b0)[2])
    for b in range(b0, b1):
        for k in range(grid):
            out.append([p.off(b, k / grid), p.legato / grid, m, p.vel(), 2 if rng.random() < p.slur else 0])
            m += 1 if up else -1
            if not p.low <= m <= p.high or rng.random() < 0.12:
                up = not up
                m = p.clamp(m + (2 if up else -2))
            if rng.random() < 0.08:
                m = p.place(chord_or(chords, b)[2])
    p.prev = m
    return drop_overlaps(out)


def unschooled(p, chords, b0, b1, meter):
    """Any rhythm, any pitch."""
    rng = p.rng
    out, at, m = [], float(b0), p.prev
    lengths = rng.choice([0.25, 1 / 3, 0.5, 0.5, 1, 1, 1.5, 2, 3, 0.75], size=int(rng.integers(2, 6)))
    reach = int(rng.choice([2, 4, 7, 12, 20]))
    while at < b1:
        d = float(rng.choice(lengths))
        if rng.random() < 0.9:
            out.append([at, d * rng.uniform(0.4, 1.0), m, p.vel(), 1 if rng.random() < p.dead else 2 if rng.random() < p.slur and out else 0])
        m = p.clamp(m + int(rng.integers(-reach, reach + 1))) if rng.random() < 0.85 else m
        at += d
    p.prev = m
    return drop_overlaps(out)


def latin(p, chords, b0, b1, meter):
    """Dotted and anticipated figures: bossa, tumbao and kin."""
    rng = p.rng
    shapes = (((0, 0, 0), (1, .5, 2), (2, 0, 2), (3, .5, 0)), ((0, 0, 0), (1, .5, 0), (2, 0, 2), (3, .5, 2)), ((1, .5, 2), (3, 0, 0)),
              ((0, 0, 0), (0, .5, 0), (1, .5, 2), (2, .5, 0)), ((0, 0, 0), (1, .5, 2), (3, 0, 2)), ((0, 0, 0), (1, .5, 0), (3, 0, 0)))
    shape = shapes[rng.integers(len(shapes))] if meter == 4 else ((0, 0, 0), (1, .5, 2), (2, .5, 0))
    out = []
    for start in range(b0, b1, meter):
        for i, (b, f, which) in enumerate(shape):
            if start + b >= b1:
                break
            late = f > 0 and b == meter - 1 or shape[0][0] == 1 and b == 3        # sounds the next chord early
            c = chord_or(chords, start + (meter if late else b))
            m = p.place(c[2] if which == 0 else c[0] + TONES[c[1]][2])
            nb, nf, _ = shape[i + 1] if i + 1 < len(shape) else (meter + shape[0][0], shape[0][1], 0)
            out.append([p.off(start + b, f), max(.2, (nb + nf - b - f) * p.legato), m, p.vel(), int(rng.random() < p.dead * .5)])
            p.prev = m
    return drop_overlaps(out)


def funk(p, chords, b0, b1, meter):
    """Sixteenths with dead strokes and octaves."""
    rng = p.rng
    slots = rhythm(rng, meter, 4, rng.uniform(0.2, 0.55))
    plan = [int(rng.choice([0, 0, 12, 10, 7, -2, 1])) for _ in slots]
    dead = [k > 0 and rng.random() < 0.25 for k in range(len(slots))]
    out = []
    for start in range(b0, b1, meter):
        for i, (b, f) in enumerate(slots):
            if start + b >= b1:
                break
            c = chord_or(chords, start + b)
            root = p.place(c[2], p.low + 6)
            m = p.clamp(root + (0 if i == 0 else plan[i]))
            out.append([start + b + f, rng.uniform(0.12, 0.3), m, p.vel(.1 if b == 0 else 0), int(dead[i])])
            p.prev = m
    return drop_overlaps(out)


def solo(p, chords, b0, b1, meter):
    """A bass solo: eighths, triplets and longer notes through the scale."""
    rng = p.rng
    out, up, m = [], True, p.place(chord_or(chords, b0)[0], (p.low + p.high) // 2 + 4)
    for b in range(b0, b1):
        c = chord_or(chords, b)
        r = rng.random()
        parts = [(0, 1)] if r < 0.2 else [(0, 1 / 3), (1 / 3, 1 / 3), (2 / 3, 1 / 3)] if r < 0.38 else [] if r < 0.47 else [(0, .5), (.5, .5)]
        for f, d in parts:
            at = b + f if len(parts) == 3 else p.off(b, f)
            m = p.step(m, c, up) if rng.random() < 0.65 else tone(p, c, m + (5 if up else -5)) if rng.random() < 0.7 else m + int(rng.choice([-1, 1]))
            if not p.low <= m <= p.high or rng.random() < 0.2:
                up = not up
            m = p.clamp(m)
            out.append([at, d * p.legato, m, p.vel(), 2 if out and rng.random() < p.slur * 1.5 and 0 < abs(out[-1][2] - m) < 5 else 0])
    p.prev = m
    return drop_overlaps(out)


def long_notes(p, chords, b0, b1, meter):
    out, b = [], b0
    while b < b1:
        c = chord_or(chords, b)
        e = b + 1
        while e < b1 and chord_or(chords, e) == c and e - b < 2 * meter:
            e += 1
        if p.rng.random() < 0.5 and (b - b0) % meter == 0:
            e = min(e, b + meter)
        m = p.place(c[2])
        out.append([b, (e - b) * p.legato, m, p.vel(), 0])
        p.prev, b = m, e
    return out


def pairs(p, chords, b0, b1, meter):
    """Every note of a walking line struck twice or more."""
    slow = chords[b0:b1:2] + [chords[-1]]
    line = walk(p, slow, 0, max(1, (b1 - b0 + 1) // 2), 2)
    times = int(p.rng.choice([2, 2, 2, 4]))
    out = []
    for at, length, m, v, kind in line:
        if at % 1 == 0:
            out += [[b0 + 2 * at + 2 * k / times, 2 / times * p.legato, m, p.vel(.04 * (k == 0)), 0 if k else kind] for k in range(times)]
        else:
            out.append([b0 + 2 * at, 2 * length, m, v, kind])
    return drop_overlaps([x for x in out if x[0] < b1])


def cells(p, chords, b0, b1, meter):
    """A few bar-long cells of steps above the root, drawn in turn: the bar is heard in the figure, wherever the chords change. Most end on a
    step or half step that leads into the next bar."""
    rng = p.rng
    grid = int(rng.choice([1, 1, 2, 2, 3]))
    made = []
    for _ in range(int(rng.integers(1, 5))):
        slots = rhythm(rng, meter, grid, rng.uniform(.25, .9))
        made.append([(b, f, ('root' if i == 0 and rng.random() < .85 else str(rng.choice(['root', 'tone', 'step', 'same', 'octave'], p=[.2, .4, .2, .1, .1])))
                      if i + 1 < len(slots) or rng.random() < .35 else 'lead') for i, (b, f) in enumerate(slots)])
    out, up = [], rng_bool(rng)
    for start in range(b0, b1, meter):
        cell = made[rng.integers(len(made))]
        for i, (b, f, what) in enumerate(cell):
            if start + b >= b1:
                break
            c = chord_or(chords, start + b)
            if what != 'lead' and (i == 0 or f == 0 and c != chord_or(chords, start + b - 1)) and rng.random() < .8:
                what = 'root'
            if what == 'root':
                m = p.place(c[2])
            elif what == 'lead':
                m = p.clamp(p.place(chord_or(chords, start + meter)[2]) + int(rng.choice([1, -1, -1, 2, -2])))
            elif what == 'step':
                m = p.clamp(p.step(p.prev, c, up))
            elif what == 'octave':
                m = p.clamp(p.place(c[2]) + 12)
            else:
                m = p.prev if what == 'same' else tone(p, c, p.prev + (4 if up else -4))
            nb, nf, _ = cell[i + 1] if i + 1 < len(cell) else (meter, 0.0, '')
            at, end = (start + b + f, start + nb + nf) if grid == 3 else (p.off(start + b, f), p.off(start + nb, nf))
            out.append([at, (end - at) * p.legato, m, p.vel(.06 if b == 0 and f == 0 else 0), int(f > 0 and rng.random() < p.dead)])
            p.prev = m
        up = rng_bool(rng)
    return drop_overlaps(out)


STYLES = {'pairs': pairs, 'cells': cells, 'walk': walk, 'two_feel': two_feel, 'root_fifth': root_fifth, 'boogie': boogie, 'riff': riff, 'motif': motif, 'pedal': pedal, 'drive': drive,
          'chromatic': chromatic, 'unschooled': unschooled, 'latin': latin, 'funk': funk, 'solo': solo, 'long_notes': long_notes}
WEIGHTS = {'walk': .26, 'two_feel': .11, 'cells': .08, 'root_fifth': .06, 'boogie': .06, 'riff': .10, 'motif': .05, 'pedal': .03, 'drive': .07, 'chromatic': .03,
           'unschooled': .05, 'latin': .04, 'funk': .02, 'solo': .03, 'long_notes': .03, 'pairs': .04}
