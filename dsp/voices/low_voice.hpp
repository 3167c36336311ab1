#pragma once

#include <complex>
#include <cstddef>
#include <cstdint>
#include <vector>

#include "dsp/base/audio_view.hpp"
#include "dsp/spectrum/real_fft.hpp"

namespace lowstride::dsp {

/// A note of the low voice, in samples of the stream that is filtered.
struct LowVoiceNote {
  std::int64_t onset_samples = 0;
  std::int64_t offset_samples = 0;  // half-open
  double f0_hz = 55.0;
};

struct LowVoiceOptions {
  double sample_rate_hz = 44100.0;
  std::size_t channel_count = 2;
  /// In order of time, not overlapping. Empty: the low voice is whatever lies in the low band.
  std::vector<LowVoiceNote> notes{};
  double band_hz = 200.0;  // of the low band: half way down; from 3/4 to 5/4 of it the slope
};

/// Takes the low voice out of a mix: where its notes are known, the partials of the note that
/// sounds (a mask round each of them in the short-time spectrum, 186 ms windows); else the low
/// band. All channels get the same mask, so the stereo place stays. What is left is input minus
/// output.
///
/// While a note sounds, everything under 115 Hz goes with it: its body and its attack, where nobody
/// else plays. A partial over 160 Hz on which another instrument sounds as well is stronger than
/// its neighbours: but for the fundamental, none passes more than 3 dB over the mean of the
/// partials round it, a rule after Klapuri, "Multiple fundamental frequency estimation based on
/// harmonicity and spectral smoothness", IEEE Trans. Speech Audio Proc. 11(6), 2003. Partials of a
/// stiff string lie at k f0 sqrt(1 + B k^2) (Fletcher & Rossing, "The Physics of Musical
/// Instruments"), here with B = 1e-4, that of a bass.
///
/// Work goes in steps of `hop_samples()`; the frames lie at multiples of it whatever the start, so
/// that a sample comes out alike from wherever the stream began. The constructor takes all memory.
class LowVoice {
 public:
  explicit LowVoice(const LowVoiceOptions& options);

  [[nodiscard]] std::size_t hop_samples() const noexcept { return hop_; }
  /// The output lies this many samples behind the end of the input.
  [[nodiscard]] std::size_t delay_samples() const noexcept { return fft_.size(); }
  [[nodiscard]] bool is_from_notes() const noexcept { return !options_.notes.empty(); }

  /// A stream whose first sample is at `place`, a multiple of `hop_samples()` (it may be negative).
  /// The first `delay_samples()` that come out are before that place or incomplete.
  void restart(std::int64_t place) noexcept;

  /// Takes the next `hop_samples()` of input and gives as many of the low voice: those that begin
  /// at the end of this input less `delay_samples()`.
  void step(AudioView in, MutableAudioView low) noexcept;

 private:
  void make_mask(std::int64_t centre) noexcept;
  void mask_note(const LowVoiceNote& note, float share) noexcept;

  LowVoiceOptions options_;
  RealFft fft_;
  std::size_t hop_;
  std::int64_t place_ = 0;  // of the next input
  std::vector<float> window_;
  float scale_ = 1.0F;
  std::vector<std::vector<float>> input_;  // the newest window, by channel
  std::vector<std::vector<float>> output_;
  std::vector<std::vector<std::complex<float>>> bins_;
  std::vector<float> frame_;
  std::vector<float> power_;  // of all channels
  std::vector<float> mask_;   // 0..1 by bin
  std::vector<float> band_mask_;
  std::vector<float> partials_;
};

}  // namespace lowstride::dsp
