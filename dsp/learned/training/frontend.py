"""The front end of the learned ears: from sound to the tables that the nets read.

Everything here has a twin in C++; each number below is part of the contract between the two.

Input: mono float samples at 22,050 Hz. The whole recording is scaled first: x * 0.1 / max(RMS, 1e-5),
RMS over all samples. Nothing else is done to the samples (no DC removal, no pre-emphasis).

Frames: hop 256. Frame i is centred on sample 256 i; a recording of N samples has N // 256 + 1 frames.
Samples before 0 and from N on count as zero. The frame of a window of W samples reads samples
256 i - W/2 .. 256 i + W/2 - 1. Windows are periodic Hann, sin^2(pi n / W).

Spectra: magnitude of the unscaled DFT of the windowed frame, times 2 / W (a sine of amplitude a shows
a peak of a / 2).
  A: W 8192, FFT 8192 (bins of 2.69 Hz)
  B: W 2048, zero-padded to FFT 4096 (bins of 5.38 Hz); where the frame lies within the FFT changes
     phases only
  C: W 1024, FFT 1024 (bins of 21.5 Hz)

Log-frequency map of A and B (`pitch_map`): 280 bins, 3 a semitone; bin k stands for
MIDI m_k = (32 + k) / 3, that is 10.667 .. 103.667, f_k = a4 2^((m_k - 69) / 12); with measured a4 the
whole grid moves. With p_k = f_k FFT / 22050 (position in DFT bins, a fraction) and
h_k = max(1, p_k (2^(1/36) - 1)):
  weight of DFT bin j = max(0, 1 - |j - p_k| / h_k) / sqrt(sum over j of those numerators)
Where the log bins lie closer than the DFT bins (h_k = 1) this is linear interpolation; above, where
third-semitones are wider than DFT bins, it is a triangle that lets no partial fall between the bins.
The sum over j runs over 0 .. FFT/2.

Bands of C (`band_map`): 40 triangles on the mel scale mel(f) = 2595 log10(1 + f / 700) (O'Shaughnessy
1987): 42 edges equally spaced in mel from 40 to 10,500 Hz; band b rises linearly in Hz from edge b to
edge b + 1 and falls to edge b + 2, at DFT bin frequencies 22050 j / 1024; weights of a band are divided
by their sum.

Compression of all mapped values s: y = (log10(s + 2e-5) + 4.7) / 2.35 - 0.6.

Harmonic stack (`harmonic_stack`): 135 rows, row r is MIDI (68 + r) / 3 (22.667 .. 67.333), which is log
bin 36 + r; channel c = 0..7 reads A and c = 8..15 reads B, at log bin 36 + r + S[c mod 8] with
S = round(36 log2 h), h = 0.5, 1, 1.5, 2, 3, 4, 5, 6 = -36, 0, 21, 36, 57, 72, 84, 93.
Semitone s (MIDI 23 + s) owns rows 3 s, 3 s + 1, 3 s + 2.
"""
import numpy as np
import torch

RATE = 22050
HOP = 256
LOG_BINS = 280
LOW_LOG = 32                      # bin k is MIDI (LOW_LOG + k) / 3
ROWS = 135
ROW_BIN = 36                      # row 0 of the stack is log bin 36
HARMONICS = (0.5, 1, 1.5, 2, 3, 4, 5, 6)
SHIFTS = tuple(int(round(36 * np.log2(h))) for h in HARMONICS)
BANDS = 40
SPECTRA = {'A': (8192, 8192), 'B': (2048, 4096), 'C': (1024, 1024)}   # window, FFT


def frame_count(samples):
    return samples // HOP + 1


def pitch_map(fft, a4=440.0):
    """[LOG_BINS][fft / 2 + 1] weights, float64."""
    m = (LOW_LOG + np.arange(LOG_BINS)) / 3.0
    p = a4 * 2.0 ** ((m - 69.0) / 12.0) * fft / RATE
    h = np.maximum(1.0, p * (2.0 ** (1.0 / 36.0) - 1.0))
    w = np.maximum(0.0, 1.0 - np.abs(np.arange(fft // 2 + 1)[None, :] - p[:, None]) / h[:, None])
    return w / np.sqrt(w.sum(1, keepdims=True))


def band_map():
    """[BANDS][513] weights, float64."""
    mel = np.linspace(2595 * np.log10(1 + 40 / 700), 2595 * np.log10(1 + 10500 / 700), BANDS + 2)
    edge = 700 * (10 ** (mel / 2595) - 1)
    f = np.arange(513) * RATE / 1024.0
    up = (f[None, :] - edge[:-2, None]) / (edge[1:-1] - edge[:-2])[:, None]
    down = (edge[2:, None] - f[None, :]) / (edge[2:] - edge[1:-1])[:, None]
    w = np.maximum(0.0, np.minimum(up, down))
    return w / w.sum(1, keepdims=True)


def scale(x):
    """The whole recording to RMS 0.1. x: numpy samples."""
    return (x * (0.1 / max(float(np.sqrt(np.mean(np.square(x, dtype=np.float64)))), 1e-5))).astype(np.float32)


class FrontEnd(torch.nn.Module):
    """(batch, samples) -> log spectra A, B (batch, 280, frames) and bands C (batch, 40, frames)."""

    def __init__(self, a4=440.0):
        super().__init__()
        for name, (window, fft) in SPECTRA.items():
            w = band_map() if name == 'C' else pitch_map(fft, a4)
            top = int(np.nonzero(w.sum(0))[0].max()) + 1          # DFT bins above that weigh nothing
            self.register_buffer('map_' + name, torch.tensor(w[:, :top], dtype=torch.float32))
            self.register_buffer('window_' + name, torch.hann_window(window, periodic=True) * (2.0 / window))

    @staticmethod
    def compress(s):
        return (torch.log10(s + 2e-5) + 4.7) / 2.35 - 0.6

    def one(self, x, name):
        window, fft = SPECTRA[name]
        w = getattr(self, 'map_' + name)
        z = torch.stft(x, fft, hop_length=HOP, win_length=window, window=getattr(self, 'window_' + name),
                       center=True, pad_mode='constant', return_complex=True)
        return self.compress(torch.matmul(w, z[:, :w.shape[1]].abs()))

    def forward(self, x):
        return self.one(x, 'A'), self.one(x, 'B'), self.one(x, 'C')


def harmonic_stack(a, b):
    """(batch, 280, frames) twice -> (batch, 16, 135 rows, frames)."""
    return torch.stack([s[:, ROW_BIN + k:ROW_BIN + k + ROWS] for s in (a, b) for k in SHIFTS], 1)
