"""The three nets of the learned ears. Every layer has a twin in C++; names below are the names in the
weights file.

Layers. `Unit` is a convolution, batch norm folded into weight and bias when exported, then ReLU unless
said; every convolution pads with zeros (after the last layer's output, at the two ends of the recording
and at the lowest and highest row), so time and rows keep their length unless said. Weights are stored
[out][in][row taps][time taps] (2-d), [out][in][time taps] (1-d); correlation, as PyTorch: out(r, t) =
bias + sum w[i][j] in(r + i - (taps_r - 1) / 2, t + dilation (j - (taps_t - 1) / 2)).
T = frames at 86.13 a second.

Pitch net (`pitch.`), in: harmonic stack (16, 135, T), bands C (40, T)
  c1       16->12, 3 rows x 3 times
  c2       12->12, 5 x 3
  c3       12->32, 3 x 3, stride 3 over rows without padding of rows: 135 -> 45 semitones
  e1, e2   1-d, 5 times: 40->24->16 on the bands; the result is e (16, T)
  join     32->32, 1 x 5, no ReLU; plus join_bands (plain 1-d, 5 times, 16->32 on e, with bias) added to
           every row; then ReLU
  pre      32->20, 1 x 1
  octave   20->20, 25 x 1 (an octave both ways): h
  g1       1-d, 5 times, 56->32 on [mean of h over rows (20), max of h over rows (20), e (16)]: g
  g2..g4   1-d, 5 times, 32->32, dilation 4, 16, 48; residual: g = g + Unit(g). Hears 1.6 s each way
  lift     plain 1-d, 1 time, 32->20 on g, added to every row of h
  r1, r2   20->20, 3 rows x 5 times, time dilation 2, 4; residual: h = h + Unit(h)
  out      plain 1 x 1, 20->2: channel 0 pitch logit, channel 1 onset logit, of each semitone
  f1       1-d, 5 times, 88->32 on [mean of h over rows, max of h over rows, e, g]
  f2       plain 1-d, 1 time, 32->3: logit of none, of a dead stroke, of one guitar playing bass and chords
  pitch posterior = softmax over the 45 pitch logits and none; onset, dead = sigmoid;
  guitar_share = sigmoid of the mean over all frames of the third logit.

Chord net (`chord.`), J = ceil(T / 8) chord frames; chord frame j gathers frames 8 j - 4 .. 8 j + 3, those
that exist. In: 20 channels x 12 pitch classes (0 = C):
  0..5     A at MIDI 24 + 12 o + pc, o = 0..5: the greatest of the semitone's three log bins
           (3 m - 33 .. 3 m - 31), then the mean over the frames of j
  6..11    the same of B
  12..15   pitch posterior at MIDI 24 + 12 o + pc, o = 0..3 (above 67: 0), mean over the frames of j
  16..19   onset probability likewise, greatest over the frames of j
  first    20->40, circular over 12 pitch classes: out(p) = bias + sum over q = 0..11 of
           w[..][..][q][0] in((p + q) mod 12), ReLU: h (40, 12, J)
  a1..a7   40->40, circular like `first`, ReLU: u = a(h)
  b1..b7   40->40, 1 x 5 times, dilation 1, 2, 4, 8, 16, 32, 64: h = h + Unit(u)
  out      plain 1 x 1, 40->15: 14 quality logits for a chord rooted at this pitch class (order of
           chord_quality.hpp), and the logit of this pitch class being the chord's bass note
  none     plain 1-d, 1 time, 80->1 on [mean of h over pitch classes, max]
  chord posterior = softmax over 12 x 14 logits (root_pc * 14 + quality) and none; chord bass = softmax
  over the 12 bass logits.

Beat net (`beat.`), K = ceil(T / 2) beat frames (43 a second); beat frame k gathers frames 2 k and 2 k + 1
(the last may be alone). In, 97 channels:
  0..39    bands C, mean over the frames of k
  40..79   rise of the bands, max(0, y(t) - y(t - 1)), 0 at t = 0; greatest over the frames of k
  80..91   pitch posterior folded to pitch classes (all octaves added), mean over the frames of k
  92       probability of none, mean
  93       greatest onset probability over pitches, greatest over the frames of k
  94       dead stroke probability, greatest over the frames of k
  95, 96   chord change: half the sum over 13 (12 roots, qualities added up, and none) of
           |R(j) - R(j - 1)| and of |R(j) - R(j - 2)| (indices below 0 read 0), at j = min((k + 2) // 4, J - 1)
  first    97->48, 5 times
  d1..d8   48->48, 5 times, dilation 1, 2, 4 .. 128; residual: h = h + Unit(h)
  out      plain, 1 time, 48->2: beat and downbeat, sigmoid
  At frame t the value is read by linear interpolation at beat frame (t - 0.5) / 2, clamped to 0 .. K - 1.

Multiply-adds a second of sound: pitch 170 M, chord 26 M, beat 5 M.
Frames heard each way of frame t: pitch 158, chord + 8 * 254 + 4, beat + 2 * 512 + 2 (pitch and chord added
as far as they feed the beat net).
"""
import torch
from torch import nn
from torch.nn import functional as F

from frontend import harmonic_stack

NETS = ('pitch', 'chord', 'beat')
QUALITIES = 14
NO_CHORD = 12 * QUALITIES


class Unit(nn.Module):
    """Convolution, batch norm (or a bias once folded), ReLU."""

    def __init__(self, dims, cin, cout, taps, stride=1, pad=0, dilation=1, relu=True, folded=False):
        super().__init__()
        conv = nn.Conv2d if dims == 2 else nn.Conv1d
        self.conv = conv(cin, cout, taps, stride=stride, padding=pad, dilation=dilation, bias=folded)
        self.norm = None if folded else (nn.BatchNorm2d if dims == 2 else nn.BatchNorm1d)(cout)
        self.relu = relu

    def forward(self, x):
        x = self.conv(x)
        if self.norm is not None:
            x = self.norm(x)
        return F.relu(x) if self.relu else x

    def fold(self):
        """(weight, bias) with the batch norm's running statistics worked in."""
        if self.norm is None:
            return self.conv.weight.detach(), self.conv.bias.detach()
        s = self.norm.weight.detach() / torch.sqrt(self.norm.running_var + self.norm.eps)
        w = self.conv.weight.detach() * s.view(-1, *[1] * (self.conv.weight.dim() - 1))
        return w, self.norm.bias.detach() - self.norm.running_mean * s


def time_unit(cin, cout, taps=5, dilation=1, folded=False):
    return Unit(1, cin, cout, taps, pad=dilation * (taps - 1) // 2, dilation=dilation, folded=folded)


class PitchNet(nn.Module):
    W = 20

    def __init__(self, folded=False):
        super().__init__()
        f, w = folded, self.W
        self.c1 = Unit(2, 16, 12, (3, 3), pad=(1, 1), folded=f)
        self.c2 = Unit(2, 12, 12, (5, 3), pad=(2, 1), folded=f)
        self.c3 = Unit(2, 12, 32, (3, 3), stride=(3, 1), pad=(0, 1), folded=f)
        self.e1 = time_unit(40, 24, folded=f)
        self.e2 = time_unit(24, 16, folded=f)
        self.join = Unit(2, 32, 32, (1, 5), pad=(0, 2), relu=False, folded=f)
        self.join_bands = nn.Conv1d(16, 32, 5, padding=2)
        self.pre = Unit(2, 32, w, (1, 1), folded=f)
        self.octave = Unit(2, w, w, (25, 1), pad=(12, 0), folded=f)
        self.g1 = time_unit(2 * w + 16, 32, folded=f)
        self.g2 = time_unit(32, 32, dilation=4, folded=f)
        self.g3 = time_unit(32, 32, dilation=16, folded=f)
        self.g4 = time_unit(32, 32, dilation=48, folded=f)
        self.lift = nn.Conv1d(32, w, 1)
        self.r1 = Unit(2, w, w, (3, 5), pad=(1, 4), dilation=(1, 2), folded=f)
        self.r2 = Unit(2, w, w, (3, 5), pad=(1, 8), dilation=(1, 4), folded=f)
        self.out = nn.Conv2d(w, 2, 1)
        self.f1 = time_unit(2 * w + 16 + 32, 32, folded=f)
        self.f2 = nn.Conv1d(32, 3, 1)

    def forward(self, stack, bands):
        """-> pitch logits (batch, 46, T), onset logits (batch, 45, T), dead logit (batch, T), guitar logit (batch, T)"""
        e = self.e2(self.e1(bands))
        h = self.c3(self.c2(self.c1(stack)))
        h = F.relu(self.join(h) + self.join_bands(e)[:, :, None])
        h = self.octave(self.pre(h))
        g = self.g1(torch.cat([h.mean(2), h.amax(2), e], 1))
        for unit in (self.g2, self.g3, self.g4):
            g = g + unit(g)
        h = h + self.lift(g)[:, :, None]
        h = h + self.r1(h)
        h = h + self.r2(h)
        o = self.out(h)
        f = self.f2(self.f1(torch.cat([h.mean(2), h.amax(2), e, g], 1)))
        return torch.cat([o[:, 0], f[:, :1]], 1), o[:, 1], f[:, 1], f[:, 2]


class Circular(Unit):
    """Over all twelve pitch classes, the same in every key."""

    def __init__(self, cin, cout, folded=False):
        super().__init__(2, cin, cout, (12, 1), folded=folded)

    def forward(self, x):
        return super().forward(torch.cat([x, x[:, :, :11]], 2))


class ChordNet(nn.Module):
    W = 40
    DILATIONS = (1, 2, 4, 8, 16, 32, 64)

    def __init__(self, folded=False):
        super().__init__()
        self.first = Circular(20, self.W, folded)
        for i, d in enumerate(self.DILATIONS, 1):
            setattr(self, f'a{i}', Circular(self.W, self.W, folded))
            setattr(self, f'b{i}', Unit(2, self.W, self.W, (1, 5), pad=(0, 2 * d), dilation=(1, d), folded=folded))
        self.out = nn.Conv2d(self.W, QUALITIES + 1, 1)
        self.none = nn.Conv1d(2 * self.W, 1, 1)

    def forward(self, x):
        """(batch, 20, 12, J) -> chord logits (batch, 169, J), bass logits (batch, 12, J)"""
        h = self.first(x)
        for i in range(1, len(self.DILATIONS) + 1):
            h = h + getattr(self, f'b{i}')(getattr(self, f'a{i}')(h))
        o = self.out(h)                                              # (batch, 15, 12, J)
        none = self.none(torch.cat([h.mean(2), h.amax(2)], 1))
        chord = o[:, :QUALITIES].transpose(1, 2).flatten(1, 2)       # root * 14 + quality
        return torch.cat([chord, none], 1), o[:, QUALITIES]


class BeatNet(nn.Module):
    W = 48
    DILATIONS = (1, 2, 4, 8, 16, 32, 64, 128)

    def __init__(self, folded=False):
        super().__init__()
        self.first = time_unit(97, self.W, folded=folded)
        for i, d in enumerate(self.DILATIONS, 1):
            setattr(self, f'd{i}', time_unit(self.W, self.W, dilation=d, folded=folded))
        self.out = nn.Conv1d(self.W, 2, 1)

    def forward(self, x):
        """(batch, 97, K) -> logits of beat and downbeat (batch, 2, K)"""
        h = self.first(x)
        for i in range(1, len(self.DILATIONS) + 1):
            h = h + getattr(self, f'd{i}')(h)
        return self.out(h)


def mean_groups(x, size, lead=0):
    """Mean over frames size * j - lead .. size * j - lead + size - 1 that exist; j < ceil(T / size)."""
    n = -(-x.shape[-1] // size)
    tail = max(0, n * size - lead - x.shape[-1])
    count = F.pad(torch.ones_like(x[..., :1, :]), (lead, tail))[..., :n * size].unflatten(-1, (n, size)).sum(-1)
    return F.pad(x, (lead, tail))[..., :n * size].unflatten(-1, (n, size)).sum(-1) / count


def max_groups(x, size, lead=0):
    """The same, greatest; x must not be negative."""
    n = -(-x.shape[-1] // size)
    tail = max(0, n * size - lead - x.shape[-1])
    return F.pad(x, (lead, tail))[..., :n * size].unflatten(-1, (n, size)).amax(-1)


def fold_spectrum(s):
    """(batch, 280, T) -> (batch, 6, 12, J)"""
    m = s[:, 3 * 24 - 33:3 * 96 - 33].unflatten(1, (72, 3)).amax(2)
    return mean_groups(m, 8, 4).unflatten(1, (6, 12))


def chord_input(a, b, pitch, onset):
    """pitch (batch, 46, T) posterior, onset (batch, 45, T) probability -> (batch, 20, 12, J)"""
    def octaves(x):                                                  # MIDI 23..67 -> 24..71
        return F.pad(x[:, 1:45].transpose(1, 2), (0, 4)).transpose(1, 2)
    p = mean_groups(octaves(pitch), 8, 4).unflatten(1, (4, 12))
    o = max_groups(octaves(onset), 8, 4).unflatten(1, (4, 12))
    return torch.cat([fold_spectrum(a), fold_spectrum(b), p, o], 1)


def beat_input(bands, pitch, onset, dead, chord):
    """bands (batch, 40, T), probabilities of the other nets; chord (batch, 169, J) -> (batch, 97, K)"""
    rise = F.pad(F.relu(bands[..., 1:] - bands[..., :-1]), (1, 0))
    up = F.pad(pitch[:, :45].transpose(1, 2), (11, 4)).transpose(1, 2)   # rows from MIDI 12 to 71
    folded = up.unflatten(1, (5, 12)).sum(1)
    root = torch.cat([chord[:, :NO_CHORD].unflatten(1, (12, QUALITIES)).sum(2), chord[:, NO_CHORD:]], 1)
    steps = [0.5 * (root - torch.cat([root[..., :1]] * d + [root], -1)[..., :root.shape[-1]]).abs().sum(1, keepdim=True)
             for d in (1, 2)]
    k = -(-bands.shape[-1] // 2)
    j = ((torch.arange(k, device=bands.device) + 2) // 4).clamp(max=root.shape[-1] - 1)
    change = torch.cat(steps, 1)[..., j]
    return torch.cat([mean_groups(bands, 2), max_groups(rise, 2), mean_groups(folded, 2), mean_groups(pitch[:, 45:], 2),
                      max_groups(onset.amax(1, keepdim=True), 2), max_groups(dead[:, None], 2), change], 1)


class Ears(nn.Module):
    """All three, from spectra to logits. Inputs of a later net are detached from the earlier one."""

    def __init__(self, folded=False):
        super().__init__()
        self.pitch = PitchNet(folded)
        self.chord = ChordNet(folded)
        self.beat = BeatNet(folded)

    def forward(self, a, b, c):
        pitch, onset, dead, guitar = self.pitch(harmonic_stack(a, b), c)
        p, o, d = pitch.detach().float().softmax(1), onset.detach().float().sigmoid(), dead.detach().float().sigmoid()
        chord, bass = self.chord(chord_input(a, b, p, o))
        beat = self.beat(beat_input(c, p, o, d, chord.detach().float().softmax(1)))
        return {'pitch': pitch, 'onset': onset, 'dead': dead, 'guitar': guitar, 'chord': chord, 'chord_bass': bass, 'beat': beat}

    def folded_tensors(self):
        """Name -> tensor of everything that the weights file holds, in the order of the file."""
        out = {}
        for name, m in self.named_modules():
            if isinstance(m, Unit):
                out[name + '.weight'], out[name + '.bias'] = m.fold()
            elif isinstance(m, (nn.Conv1d, nn.Conv2d)) and not name.endswith('.conv'):
                out[name + '.weight'], out[name + '.bias'] = m.weight.detach(), m.bias.detach()
        return out

    def load_folded(self, tensors):
        """Fills a net made with folded=True."""
        for name, m in self.named_modules():
            if isinstance(m, Unit) or (isinstance(m, (nn.Conv1d, nn.Conv2d)) and not name.endswith('.conv')):
                conv = m.conv if isinstance(m, Unit) else m
                conv.weight.data.copy_(tensors[name + '.weight'].float())
                conv.bias.data.copy_(tensors[name + '.bias'].float())
        return self


def upsample_beats(p, frames):
    """(batch, 2, K) -> (batch, 2, frames)"""
    at = ((torch.arange(frames, device=p.device) - 0.5) / 2).clamp(0, p.shape[-1] - 1)
    i = at.floor().long()
    j = (i + 1).clamp(max=p.shape[-1] - 1)
    w = (at - i).to(p.dtype)
    return p[..., i] * (1 - w) + p[..., j] * w


@torch.no_grad()
def evidence(front, ears, x):
    """One scaled recording (numpy samples) -> numpy tables as dsp/base/evidence.hpp defines them."""
    a, b, c = front(torch.as_tensor(x, dtype=torch.float32, device=front.map_A.device)[None])
    z = {k: v.float() for k, v in ears(a, b, c).items()}
    beat = upsample_beats(z['beat'].sigmoid(), a.shape[-1])
    t = {'pitch': z['pitch'].softmax(1)[0].T, 'onset': z['onset'].sigmoid()[0].T, 'dead': z['dead'].sigmoid()[0],
         'guitar_share': z['guitar'].mean().sigmoid(), 'chord': z['chord'].softmax(1)[0].T,
         'chord_bass': z['chord_bass'].softmax(1)[0].T, 'beat': beat[0, 0], 'downbeat': beat[0, 1]}
    return {k: v.cpu().numpy() for k, v in t.items()}
