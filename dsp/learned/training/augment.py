"""Mixing and spoiling on the device: every batch meets other levels, rooms, machines and faults."""
import math

import torch

from frontend import RATE

KNOTS = 10                                             # of the random tone curve, 30 Hz to 11 kHz


def uniform(n, low, high, device):
    return torch.rand(n, device=device) * (high - low) + low


def maybe(n, p, device):
    return (torch.rand(n, device=device) < p).float()


class Spoiler:
    def __init__(self, samples, device):
        self.samples, self.device = samples, device
        self.read = int(samples * 1.22) + 64           # source samples read for one crop
        self.fft = -(-(self.read + 16000) // 4096) * 4096
        f = torch.fft.rfftfreq(self.fft, 1 / RATE, device=device)
        self.f = f
        x = (torch.log(f.clamp(min=30)) - math.log(30)) / (math.log(11025) - math.log(30)) * (KNOTS - 1)
        i = x.floor().clamp(0, KNOTS - 2)
        w = torch.zeros(KNOTS, len(f), device=device)
        w.scatter_(0, i.long()[None], (1 - (x - i))[None])
        w.scatter_(0, i.long()[None] + 1, (x - i)[None])
        self.knots = w

    def tone(self, n, db):
        """[n][bins] gains of a random smooth curve with the given spread in dB (one for each row)."""
        k = torch.randn(n, KNOTS, device=self.device) * db[:, None]
        return torch.exp((k @ self.knots) * (math.log(10) / 20))

    def source(self, stems, clip, start):
        """int16 [clips][4][samples] -> float [batch][4][read], zeros past the end."""
        out = torch.zeros(len(clip), stems.shape[1], self.read, device=self.device)
        for b, (c, s) in enumerate(zip(clip.tolist(), start.tolist())):
            part = stems[c, :, s:s + self.read]
            out[b, :, :part.shape[1]] = part.to(self.device, torch.float32) / 32768
        return out

    def coded(self, y):
        """What coding at a low rate leaves of some rows: weak components beside strong ones are gone."""
        rows = (torch.rand(len(y)) < .18).nonzero().flatten().to(self.device)
        if len(rows) == 0:
            return y
        window = torch.hann_window(1024, device=self.device)
        z = torch.stft(y[rows], 1024, 512, window=window, return_complex=True)
        m = z.abs()
        near = torch.nn.functional.avg_pool1d(m.transpose(1, 2).flatten(0, 1)[:, None], 17, 1, 8, count_include_pad=False)[:, 0]
        near = near.unflatten(0, (len(rows), -1)).transpose(1, 2)
        keep = m > near * uniform(len(rows), .2, 1.0, self.device)[:, None, None]
        y = y.clone()
        y[rows] = torch.istft(z * keep, 1024, 512, window=window, length=y.shape[1])
        return y

    @torch.no_grad()
    def __call__(self, stems, batch, plain=False):
        """batch: as data.Crops, tensors on the device -> mixed crops [batch][samples] at RMS about 0.1."""
        d = self.device
        n = len(batch['clip'])
        x = self.source(stems, batch['clip'], batch['start'])
        gain = batch['gain'].to(d)
        if plain:
            y = (x * gain[:, :, None]).sum(1)
        else:
            extra = batch['extra']
            use = (extra >= 0).nonzero().flatten().tolist()
            for b in use:
                x[b, 3] += stems[int(extra[b]), 3, :self.read].to(d, torch.float32) / 32768 * 10 ** (-(12 + 20 * float(torch.rand(()))) / 20)
                gain[b, 3] = gain[b, 3].clamp(min=.4)
            z = torch.fft.rfft(x, self.fft)
            z = (z * (self.tone(n * 4, uniform(n * 4, 0, 4, d) * maybe(n * 4, .7, d)).view(n, 4, -1) * gain[:, :, None])).sum(1)
            h = self.tone(n, uniform(n, 0, 4, d) * maybe(n, .6, d))
            # low cut: mostly none, sometimes a small loudspeaker or a telephone
            low = torch.where(maybe(n, .2, d) > 0, uniform(n, 50, 260, d), uniform(n, 5, 35, d))
            order = torch.where(maybe(n, .5, d) > 0, 4.0, 2.0)
            h = h / torch.sqrt(1 + (low[:, None] / self.f.clamp(min=.1)[None]) ** order[:, None])
            high = torch.where(maybe(n, .4, d) > 0, torch.exp(uniform(n, math.log(1800), math.log(10000), d)), uniform(n, 11000, 14000, d))
            steep = torch.where(maybe(n, .4, d) > 0, 24.0, 4.0)
            h = h / torch.sqrt(1 + (self.f[None] / high[:, None]) ** steep[:, None])
            # a telephone: what lies between 300 and 3400 Hz
            call = maybe(n, .06, d)[:, None]
            h = h * (1 - call + call / torch.sqrt(1 + (300 / self.f.clamp(min=.1)[None]) ** 6) / torch.sqrt(1 + (self.f[None] / 3400) ** 16))
            # room: early sound plus decaying noise, duller as it decays
            m = RATE * 7 // 10
            t = torch.arange(m, device=d) / RATE
            tail = torch.randn(n, m, device=d) * torch.exp(-t[None] / torch.exp(uniform(n, math.log(.03), math.log(.35), d))[:, None])
            tail = tail * (t[None] > uniform(n, .001, .02, d)[:, None])
            r = torch.fft.rfft(tail, self.fft) / torch.sqrt((tail ** 2).sum(1, keepdim=True) + 1e-9)
            r = r / torch.sqrt(1 + (self.f[None] / uniform(n, 1500, 9000, d)[:, None]) ** 2)
            wet = 10 ** (uniform(n, -26, -2, d) / 20) * maybe(n, .45, d)
            h = h * (1 + r * wet[:, None])
            # one channel of a wide mix folded onto the other a little late
            comb = uniform(n, .2, .9, d) * maybe(n, .12, d)
            h = h * (1 + comb[:, None] * torch.exp(-2j * math.pi * self.f[None] * uniform(n, .0001, .003, d)[:, None]))
            y = torch.fft.irfft(z * h, self.fft)[:, :self.read]
        if not plain:
            y = self.coded(y)
        r = torch.sqrt((y ** 2).mean(1, keepdim=True)).clamp(min=1e-4)
        y = y / r
        if not plain:
            # crowd and hand on the fader; levelling
            k = 24
            ride = torch.nn.functional.interpolate(torch.randn(n, 1, k, device=d), size=self.read, mode='linear')[:, 0]
            y = y * torch.exp(ride * (uniform(n, 0, .5, d) * maybe(n, .2, d))[:, None])
            e = torch.nn.functional.avg_pool1d(y.abs()[:, None], 4096, 512, padding=2048, count_include_pad=False)
            e = torch.nn.functional.interpolate(e, size=self.read, mode='linear')[:, 0] + .05
            y = y * e ** -(uniform(n, .1, .8, d) * maybe(n, .3, d))[:, None]
            y = y / torch.sqrt((y ** 2).mean(1, keepdim=True)).clamp(min=1e-4)
            drive = uniform(n, .1, 1.2, d)[:, None]
            bias = (uniform(n, 0, .3, d) * maybe(n, .5, d))[:, None]
            on = maybe(n, .3, d)[:, None]
            y = torch.where(on > 0, (torch.tanh(drive * y + bias) - torch.tanh(bias)) / drive, y)
            hiss = 10 ** (uniform(n, -62, -24, d) / 20) * maybe(n, .6, d)
            w = torch.randn_like(y)
            w = torch.where(maybe(n, .4, d)[:, None] > 0, torch.nn.functional.avg_pool1d(w[:, None], 7, 1, 3)[:, 0] * 2.6, w)
            y = y + w * hiss[:, None]
            t = torch.arange(self.read, device=d) / RATE
            mains = torch.where(maybe(n, .6, d) > 0, 50.0, 60.0) * uniform(n, .99, 1.01, d)
            hum = sum(torch.sin(2 * math.pi * (q * mains)[:, None] * t[None] + 6.28 * torch.rand(n, 1, device=d)) * torch.rand(n, 1, device=d) / q ** .5 for q in range(1, 7))
            y = y + hum * (10 ** (uniform(n, -50, -22, d) / 20) * maybe(n, .15, d))[:, None]
        # transposed and out of tune by reading faster or slower; tape wobble
        i = torch.arange(self.samples, device=d, dtype=torch.float64)
        pos = i[None] * batch['ratio'].to(d)[:, None]
        if not plain:
            for rate, depth, p in ((uniform(n, .3, 2, d), .0025, .15), (uniform(n, 4, 9, d), .001, .1)):
                a = depth * torch.rand(n, device=d) * maybe(n, p, d) / (2 * math.pi * rate) * RATE
                pos = pos + (a[:, None] * torch.sin(2 * math.pi * rate[:, None] * (i[None] / RATE).float() + 6.28 * torch.rand(n, 1, device=d))).double()
        pos = pos.clamp(1, self.read - 4)
        j = pos.floor().long()
        w = (pos - j).float()
        a, b, c, e = (y.gather(1, j + o) for o in (-1, 0, 1, 2))
        y = b + .5 * w * (c - a + w * (2 * a - 5 * b + 4 * c - e + w * (3 * (b - c) + e - a)))
        y = y * (.1 / torch.sqrt((y ** 2).mean(1, keepdim=True)).clamp(min=1e-4))
        return y if plain else y * 10 ** (uniform(n, -2.5, 2.5, d)[:, None] / 20)
