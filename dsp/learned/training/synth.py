"""Sound sources: a General MIDI synthesiser through ctypes, recorded notes, and plucked strings by formula."""
import csv
import ctypes as ct
import ctypes.util
import os

import numpy as np

RATE = 22050
BLOCK = 64                     # the synthesiser lets events take effect at multiples of this
HERE = os.path.dirname(os.path.abspath(__file__))


def library(name):
    for n in (ctypes.util.find_library(name), f'lib{name}.so.3', f'lib{name}.so.1', f'lib{name}.so'):
        if n:
            try:
                return ct.CDLL(n)
            except OSError:
                pass
    raise SystemExit(f'lib{name} is not installed: install it (Debian: libfluidsynth3, libsndfile1).')


class _SfInfo(ct.Structure):
    _fields_ = [('frames', ct.c_int64), ('samplerate', ct.c_int), ('channels', ct.c_int), ('format', ct.c_int), ('sections', ct.c_int), ('seekable', ct.c_int)]


def read_sound(path):
    """-> (float32 samples [n][channels], rate)"""
    lib = library('sndfile')
    lib.sf_open.restype = ct.c_void_p
    info = _SfInfo()
    h = lib.sf_open(os.fsencode(path), 0x10, ct.byref(info))
    if not h:
        raise SystemExit(f'{path} cannot be read as sound: check the file.')
    x = np.zeros((info.frames, info.channels), np.float32)
    lib.sf_readf_float.restype = ct.c_int64
    lib.sf_readf_float(ct.c_void_p(h), x.ctypes.data_as(ct.c_void_p), ct.c_int64(info.frames))
    lib.sf_close(ct.c_void_p(h))
    return x, info.samplerate


def audible_delay(x):
    """Samples until the level passes 15 % of its peak within the first 0.6 s."""
    a = np.abs(x[:int(0.6 * RATE)])
    peak = a.max() if len(a) else 0
    return int(np.argmax(a >= 0.15 * peak)) if peak > 0 else 0


class MidiSynth:
    """libfluidsynth at 22,050 Hz, no reverb, no chorus. Fonts are loaded once; worker processes inherit them by fork."""

    def __init__(self, fonts):
        f = self.lib = library('fluidsynth')
        for n in ('new_fluid_settings', 'new_fluid_synth', 'fluid_synth_get_channel_preset'):
            if hasattr(f, n):
                getattr(f, n).restype = ct.c_void_p
        s = ct.c_void_p(f.new_fluid_settings())
        f.fluid_settings_setnum(s, b'synth.sample-rate', ct.c_double(RATE))
        f.fluid_settings_setnum(s, b'synth.gain', ct.c_double(0.4))
        for n in (b'synth.reverb.active', b'synth.chorus.active'):
            f.fluid_settings_setint(s, n, 0)
        f.fluid_settings_setint(s, b'synth.cpu-cores', 1)
        self.synth = ct.c_void_p(f.new_fluid_synth(s))
        self.fonts = []
        for path in fonts:
            i = f.fluid_synth_sfload(self.synth, os.fsencode(path), 0)
            if i < 0:
                raise SystemExit(f'{path} cannot be loaded as a sound font: check the path.')
            self.fonts.append(i)
        self.delays, self.tunings = {}, {}
        for c in range(16):
            f.fluid_synth_pitch_wheel_sens(self.synth, c, 12)

    def select(self, channel, font, bank, program):
        """True when the font holds the preset."""
        return self.lib.fluid_synth_program_select(self.synth, channel, self.fonts[font], bank, program) == 0

    def render(self, events, samples):
        """events: (sample, function name, channel, arguments...) in any order -> float32 mono."""
        f, out, at = self.lib, np.zeros(samples + BLOCK, np.float32), 0
        f.fluid_synth_system_reset(self.synth)
        for c in range(16):
            f.fluid_synth_pitch_wheel_sens(self.synth, c, 12)
        left, right = np.zeros(samples + BLOCK, np.float32), np.zeros(samples + BLOCK, np.float32)
        for e in sorted(events, key=lambda e: (e[0], e[1] != 'select', e[1] != 'fluid_synth_noteoff')) + [(samples, 'end')]:
            to = min(int(round(e[0] / BLOCK)) * BLOCK, samples // BLOCK * BLOCK)
            if to > at:
                f.fluid_synth_write_float(self.synth, to - at, left.ctypes.data_as(ct.c_void_p), at, 1, right.ctypes.data_as(ct.c_void_p), at, 1)
                at = to
            if e[1] == 'select':
                self.select(*e[2:])
            elif e[1] != 'end':
                getattr(f, e[1])(self.synth, *[int(v) for v in e[2:]])
        out = (left + right) * 0.5
        f.fluid_synth_system_reset(self.synth)
        return out[:samples]

    def delay(self, font, program, midi, velocity):
        """Measured samples from note-on until the note can be heard."""
        key = (font, program, midi, velocity // 16)
        if key not in self.delays:
            x = self.render([(0, 'select', 0, font, 0, program), (0, 'fluid_synth_noteon', 0, midi, velocity // 16 * 16 + 8)], int(0.6 * RATE))
            self.delays[key] = audible_delay(x)
        return self.delays[key]

    def own_tuning(self, font, program, midi):
        """Cents by which the preset sounds above equal temperament at A4 = 440 Hz: fonts were sampled from instruments. Of partials 1 to 5 the
        highest peaks of a finely spaced Fourier transform within 40 cents, weighted by their power."""
        key = (font, program, midi)
        if key not in self.tunings:
            x = self.render([(0, 'select', 0, font, 0, program), (0, 'fluid_synth_noteon', 0, midi, 90)], int(1.6 * RATE))[int(.15 * RATE):]
            n = 1 << 20                 # 0.02 Hz a bin: under a cent at B0
            power = np.abs(np.fft.rfft(x * np.hanning(len(x)), n)) ** 2
            cents, weight = [], []
            for partial in range(1, 6):
                f = partial * 440 * 2 ** ((midi - 69) / 12) * n / RATE
                near = power[int(f * 2 ** (-40 / 1200)):int(f * 2 ** (40 / 1200)) + 2]
                if len(near):
                    k = int(near.argmax())
                    cents.append(1200 * np.log2((int(f * 2 ** (-40 / 1200)) + k) / f))
                    weight.append(near[k])
            self.tunings[key] = float(np.average(cents, weights=np.array(weight) + 1e-12))
        return self.tunings[key]


class Sampler:
    """Plays one voice or many from whole-note waveforms, with glides. `wave(midi, layer)` -> (samples, true midi)."""

    def __init__(self, wave, release=0.03):
        self.wave, self.release = wave, release

    def note(self, midi, velocity, seconds, path=(), rng=None):
        """path: [(seconds from onset, semitones from midi)] pitch bends, linear between -> samples, delay of audibility."""
        x, at = self.wave(midi, int(np.clip(velocity * 3, 0, 2)))
        n = int((seconds + 6 * self.release) * RATE)
        base = 2.0 ** ((midi - at) / 12)
        if path:
            t = np.arange(n) / RATE
            pos = np.cumsum(base * 2.0 ** (np.interp(t, [p[0] for p in path], [p[1] for p in path]) / 12)) - base
        else:
            pos = np.arange(n) * base
        pos = pos[pos < len(x) - 1]
        if base == 1.0 and not path:
            y = x[:len(pos)].copy()
        else:
            i = pos.astype(np.int64)
            w = (pos - i).astype(np.float32)
            y = x[i] * (1 - w) + x[i + 1] * w
        k = int(seconds * RATE)
        if len(y) > k:
            y[k:] *= np.exp(-np.arange(len(y) - k, dtype=np.float32) / (self.release * RATE))
        y *= velocity ** 1.3
        return y, audible_delay(y)


class UprightSamples:
    def __init__(self, folder=os.path.join(HERE, 'sounds')):
        x = read_sound(os.path.join(folder, 'electric-upright.flac'))[0][:, 0]
        rows = list(csv.DictReader(open(os.path.join(folder, 'electric-upright.tsv')), delimiter='\t'))
        self.notes = [(float(r['midi']), int(r['layer']), x[int(r['begin']):int(r['end'])]) for r in rows]

    def sampler(self, rng):
        shift = rng.normal(0, 1.0)            # brighter or darker instrument: take the neighbour's sample
        peak = {id(n[2]): float(np.abs(n[2]).max()) + 1e-6 for n in self.notes}

        def wave(midi, layer):
            m, _, x = min(self.notes, key=lambda n: abs(n[0] - midi - shift) + 3 * abs(n[1] - layer))
            return x * np.float32(0.5 / peak[id(x)]), m
        return Sampler(wave, rng.uniform(.015, .06))


class PluckedString:
    """An additive plucked string whose build is drawn once; every pitch of it shares that build.

    Partial n of a stiff string lies at n f0 sqrt(1 + B n^2) (Fletcher & Rossing, The Physics of Musical Instruments, chapter 2); a pluck at
    the fraction p of the string excites it by sin(n pi p) / n, a pick-up at q hears it by sin(n pi q)."""

    def __init__(self, rng, guitar=False):
        self.seed = int(rng.integers(1 << 31))
        self.tau = float(np.exp(rng.uniform(np.log(.35), np.log(5.0)))) if rng.random() < .9 else 20.0
        self.a, self.b = rng.uniform(.03, .6), rng.uniform(.7, 1.5)
        self.pick, self.pickup = rng.uniform(.06, .5), rng.uniform(.04, .5) if rng.random() < .6 else 0.0
        self.tilt = rng.uniform(.3, 2.0)
        self.stiff = 10 ** rng.uniform(-5.3, -3.5)
        self.floor_hz = rng.uniform(15, 60) if rng.random() < .45 else rng.uniform(60, 220)       # below it the fundamental is weak
        self.top_hz = np.exp(rng.uniform(np.log(350), np.log(8000)))
        if guitar:
            self.floor_hz, self.top_hz = rng.uniform(40, 140), np.exp(rng.uniform(np.log(1200), np.log(9000)))
        self.body = [(np.exp(rng.uniform(np.log(70), np.log(1500))), rng.uniform(.05, .3), rng.uniform(-.6, 1.8)) for _ in range(5)]
        self.attack = rng.uniform(.0005, .012)
        self.noise = 10 ** (rng.uniform(-45, -14) / 20)
        self.noise_hz = np.exp(rng.uniform(np.log(300), np.log(6000)))
        self.bloom = rng.uniform(0, .8) if rng.random() < .4 else 0.0
        self.bloom_s = rng.uniform(.03, .25)
        self.beating = rng.uniform(0, .4)
        self.sharp = rng.uniform(0, .012) if rng.random() < .5 else 0.0
        self.vibrato = rng.uniform(.002, .008) if rng.random() < .12 else 0.0
        self.buzz = rng.uniform(.5, 4.0) if rng.random() < .25 else 0.0
        self.jitter = rng.uniform(1, 5)
        self.cents = rng.normal(0, 3, 128)
        self.cache = {}
        self.guitar = guitar
        self.release = rng.uniform(.01, .07)

    def sampler(self):
        return Sampler(self.wave, self.release)

    def wave(self, midi, layer):
        key = (midi, layer)
        if key not in self.cache:
            self.cache[key] = self.make(midi, layer)
        return self.cache[key], midi + self.cents[midi] / 100

    def make(self, midi, layer):
        rng = np.random.default_rng([self.seed, midi, layer])
        f0 = 440 * 2 ** ((midi - 69) / 12 + self.cents[midi] / 1200)
        seconds = min(2.6 if self.guitar else 3.2, 5 * self.tau + .2)
        n = int(seconds * RATE)
        t = np.arange(n, dtype=np.float32) / RATE
        tau = self.tau * (60 / f0) ** .45
        top = self.top_hz * (1 + .35 * (layer - 1))
        rate, amp = [], []                             # the note is a sum of decaying complex exponentials
        for k in range(1, 61):
            f = k * f0 * np.sqrt(1 + self.stiff * k * k)
            if f > .46 * RATE:
                break
            g = abs(np.sin(np.pi * k * self.pick)) / k ** self.tilt * (abs(np.sin(np.pi * k * self.pickup)) + .03 if self.pickup else 1)
            g *= (f / self.floor_hz) ** 2 / (1 + (f / self.floor_hz) ** 2) / (1 + (f / top) ** 4) ** .5
            for c, width, gain in self.body:
                e = np.exp(-(np.log(f / c) / width) ** 2)
                g *= 1 + gain * e if gain > 0 else 1 / (1 - gain * e)
            g = (g + 2e-4) * 10 ** (rng.normal(0, self.jitter) / 20) * np.exp(1j * rng.uniform(0, 6.28))
            s = -(1 + self.a * (k - 1) ** self.b) / tau + 2j * np.pi * f
            beat = self.beating * np.exp(1j * rng.uniform(0, 6.28)), 2j * np.pi * rng.uniform(.2, 2.5)
            if abs(g) < 3e-4:
                continue
            for q, d in ((1, 0), beat) if self.beating else ((1, 0),):
                rate.append(s + d)
                amp.append(g * q)
                if self.bloom and k > 1:
                    rate.append(s + d - 1 / self.bloom_s)
                    amp.append(-g * q * self.bloom)
        rate, amp = np.array(rate), np.array(amp)
        step = 256
        coarse = np.exp(rate[None, :] * (np.arange(-(-n // step))[:, None] * step / RATE)).astype(np.complex64)
        fine = (amp[:, None] * np.exp(rate[:, None] * (np.arange(step)[None, :] / RATE))).astype(np.complex64)
        y = (coarse.real @ fine.real - coarse.imag @ fine.imag).reshape(-1)[:n]
        if self.sharp or self.vibrato:                 # the pitch starts sharp; the hand shakes
            at = np.arange(n) + RATE * (self.sharp * (.4 + .3 * layer) * .03 * (1 - np.exp(-t / .03)) +
                                        self.vibrato / (2 * np.pi * 5.3) * np.sin(2 * np.pi * 5.3 * t) * np.minimum(1, t / .5))
            y = np.interp(at, np.arange(n), y).astype(np.float32)
        y *= 1 - np.exp(-t / np.float32(self.attack / 2))
        peak = np.abs(y[:RATE // 2]).max() + 1e-9
        y *= .5 / peak
        if self.buzz:
            y = (np.tanh(y * (1 + self.buzz) + .3) - np.tanh(.3)).astype(np.float32)
            y -= y.mean() * np.exp(-t / np.float32(tau))
            y *= .5 / (np.abs(y).max() + 1e-9)
        m = int(.06 * RATE)
        burst = rng.normal(0, 1, m) * np.exp(-np.arange(m) / (rng.uniform(.003, .02) * RATE))
        y[:m] += (self.noise * .5 * band(burst, self.noise_hz * .4, self.noise_hz * 1.6)).astype(np.float32)
        return y


def band(x, low, high):
    """Zero-phase band by the spectrum, second-order skirts."""
    z = np.fft.rfft(x)
    f = np.fft.rfftfreq(len(x), 1 / RATE) + 1e-3
    return np.fft.irfft(z / (1 + (low / f) ** 4) ** .5 / (1 + (f / high) ** 4) ** .5, len(x))


def dead_stroke(rng, midi):
    n = int(.12 * RATE)
    t = np.arange(n) / RATE
    f0 = 440 * 2 ** ((midi - 69) / 12)
    y = rng.normal(0, 1, n) * np.exp(-t / rng.uniform(.006, .03))
    y = band(y, rng.uniform(50, 300), rng.uniform(400, 3000))
    y = y / (np.abs(y).max() + 1e-9)
    y += rng.uniform(0, .6) * np.sin(2 * np.pi * f0 * rng.uniform(1, 3.2) * t) * np.exp(-t / rng.uniform(.01, .03))
    return (y * .35).astype(np.float32)


def speech(rng, n):
    """Syllables of a buzzing voice through moving formants, with hisses and pauses; no words."""
    y = np.zeros(n)
    at = int(rng.uniform(0, .5) * RATE)
    pitch = rng.uniform(85, 240)
    while at < n - RATE // 4:
        m = int(rng.uniform(.08, .32) * RATE)
        m = min(m, n - at)
        t = np.arange(m) / RATE
        f = pitch * np.exp(np.cumsum(rng.normal(0, .002, m // 64 + 1)).repeat(64)[:m] + rng.normal(0, .12) + rng.normal(0, .5) * t)
        ph = 2 * np.pi * np.cumsum(f) / RATE
        forms = [rng.uniform(280, 850), rng.uniform(900, 2300), rng.uniform(2300, 3200)]
        s = np.zeros(m)
        for k in range(1, int(4500 / f.mean())):
            fk = k * f.mean()
            s += sum(g / (1 + ((fk - c) / 90) ** 2) for c, g in zip(forms, (1, .6, .3))) * np.sin(k * ph + k)
        s *= np.sin(np.pi * np.minimum(1, np.arange(m) / m)) ** .4
        y[at:at + m] += s / (np.abs(s).max() + 1e-9) * rng.uniform(.3, 1)
        at += m
        if rng.random() < .4:
            m = min(int(rng.uniform(.04, .12) * RATE), n - at)
            if m > 32:
                y[at:at + m] += .25 * band(rng.normal(0, 1, m), 2500, 9000) * np.hanning(m)
            at += max(m, 0)
        at += int((rng.uniform(.2, 1.2) if rng.random() < .18 else rng.uniform(0, .06)) * RATE)
    return y.astype(np.float32)


def noise(rng, n, kind):
    x = rng.normal(0, 1, n)
    z = np.fft.rfft(x)
    f = np.fft.rfftfreq(n, 1 / RATE) + 20
    y = np.fft.irfft(z * f ** -rng.uniform(0, 1.3), n)
    y /= y.std() + 1e-9
    t = np.arange(n) / RATE
    if kind == 'hum':
        h = sum(rng.uniform(0, 1) / k * np.sin(2 * np.pi * k * rng.choice([50, 60]) * t + rng.uniform(0, 6)) for k in range(1, 9))
        y = y * .05 + h / (h.std() + 1e-9)
    elif kind == 'noise' and rng.random() < .5:
        knots = rng.uniform(0, 1, 24) ** 2
        y *= np.interp(t, np.linspace(0, n / RATE, 24), knots)
        if rng.random() < .4:                          # claps
            for _ in range(int(rng.integers(50, 600))):
                i = int(rng.integers(0, n - 900))
                y[i:i + 800] += rng.normal(0, 1, 800) * np.exp(-np.arange(800) / 120) * rng.uniform(.5, 4)
    elif kind == 'silence':
        y *= 1e-3
    return y.astype(np.float32)
