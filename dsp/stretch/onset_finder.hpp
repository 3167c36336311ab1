#pragma once

#include <complex>
#include <cstddef>
#include <cstdint>
#include <vector>

#include "dsp/spectrum/real_fft.hpp"
#include "dsp/stretch/onset_list.hpp"
#include "dsp/stretch/sample_ring.hpp"

namespace lowstride::dsp::stretch {

struct OnsetFinderOptions {
  double sample_rate_hz = 44100.0;
  std::size_t channel_count = 2;
  std::vector<double> crossovers_hz = {700.0, 3000.0};  // bands of the splitter, lowest first
  double threshold_db = 0.9;       // mean news over all bands of hearing that makes an onset
  double band_rise_db = 0.7;       // mean news within a band that cuts it
  double low_change_share = 0.05;  // new energy over all energy that cuts the lowest band
  double least_gap_seconds = 0.03;
};

/// Finds the places where something new begins, while the sound streams by.
///
/// Two steps. Frames of 12 ms every 3 ms give the energy in some 24 bands of hearing; each is
/// compared with its own highest value in the 45 ms before, so that the pulses of a low string or
/// the beating of two partials are no news, and the mean rise over 1 dB is the novelty (spectral
/// flux with a maximum over the past; cf. Böck & Widmer, "Maximum filter vibrato suppression for
/// onset detection", DAFx 2013, who take it over frequency). A peak of it is then placed to 0.4 ms
/// where the energy over the lowest crossover after / before is largest.
/// The lowest band is cut only where its own spectrum over 90 ms changes.
class OnsetFinder {
 public:
  explicit OnsetFinder(const OnsetFinderOptions& options);

  void clear() noexcept;

  /// All onsets before this input place have been found.
  [[nodiscard]] Place known_until() const noexcept { return known_until_; }
  /// How far behind the end of the bands that place stays at most.
  [[nodiscard]] std::size_t read_ahead_samples() const noexcept;

  /// Looks at what is new in `input` and in its `bands` and appends to `onsets`.
  void advance(const SampleRing& input, const std::vector<SampleRing>& bands,
               OnsetList& onsets) noexcept;

 private:
  struct HearingBand {
    std::size_t first_bin;
    std::size_t last_bin;  // one past
    unsigned band;         // of the splitter
  };
  struct Frame {
    std::vector<float> level_db;  // by hearing band
    float novelty_db = 0.0F;
  };
  void measure(const SampleRing& input, Place index) noexcept;
  void judge(const std::vector<SampleRing>& bands, Place index, OnsetList& onsets) noexcept;
  [[nodiscard]] Place place_rise(const std::vector<SampleRing>& bands, Place around) noexcept;
  [[nodiscard]] bool low_band_changes(const SampleRing& low, Place cut) noexcept;
  [[nodiscard]] Frame& frame(Place index) noexcept {
    return frames_[static_cast<std::size_t>(index) % frames_.size()];
  }
  [[nodiscard]] float rise_db(Place index, std::size_t band) noexcept;

  OnsetFinderOptions options_;
  std::size_t hop_;
  RealFft fft_;
  RealFft low_fft_;
  std::vector<float> window_, low_window_;
  std::vector<float> samples_, low_samples_;
  std::vector<std::complex<float>> bins_, low_bins_;
  std::vector<float> power_, power_before_;
  std::vector<HearingBand> hearing_;
  std::vector<Frame> frames_;
  std::vector<float> steps_;  // energies of 16 samples around a rise
  float loudest_db_ = -300.0F;
  Place next_frame_ = 0;
  Place next_judged_ = 0;
  Place last_rise_ = -1000000;
  Place known_until_ = 0;
};

}  // namespace lowstride::dsp::stretch
