#pragma once

#include <cstddef>
#include <memory>
#include <optional>
#include <span>
#include <variant>

#include "dsp/base/evidence.hpp"
#include "dsp/learned/weights.hpp"
#include "dsp/pitch/tuning.hpp"
#include "dsp/spectrum/hum.hpp"

/// Listening takes two passes over the same sound, mono at `analysis_rate_hz`, each in blocks of
/// any size; how the sound is cut does not change a bit of the result.
///
///   Survey survey;
///   for (block) survey.process(block);
///   const SurveyResult heard = survey.finish();
///   auto weights = embedded_weights();           // Weights or WeightsError
///   Listener listener(std::get<Weights>(weights), heard);
///   for (block) listener.process(block);
///   const Evidence evidence = listener.finish();
namespace lowstride::dsp {

/// What the first pass tells the second.
struct SurveyResult {
  std::size_t sample_count = 0;
  std::size_t bad_sample_count = 0;      // not finite; they count as zero everywhere
  double rms = 0.0;                      // over the whole recording; 1 = full scale
  bool is_silent = true;                 // rms under 1e-5 (-100 dB): there is nothing to hear
  std::optional<TuningEstimate> tuning;  // nothing: the grid stays at 440 Hz
  std::optional<MainsHum> hum;

  bool operator==(const SurveyResult&) const = default;
};

/// First pass: level, tuning, hum. Memory does not grow with length. One instance a thread.
class Survey {
 public:
  Survey();
  Survey(Survey&&) noexcept;
  Survey& operator=(Survey&&) noexcept;
  ~Survey();

  void process(std::span<const float> samples);
  [[nodiscard]] SurveyResult finish() const;

 private:
  struct State;
  std::unique_ptr<State> state_;
};

/// Second pass: hum out, level to RMS 0.1, spectra on the tuned grid (which follows a drift), nets,
/// evidence.
/// Beside the evidence itself, memory does not grow with length (about 30 MB). One instance a
/// thread; instances share nothing.
/// Source of the nets and their training: dsp/learned/training.
class Listener {
 public:
  /// `weights` as `read_weights` or `embedded_weights` gave them; they are copied.
  Listener(const Weights& weights, const SurveyResult& survey);
  Listener(Listener&&) noexcept;
  Listener& operator=(Listener&&) noexcept;
  ~Listener();

  void process(std::span<const float> samples);

  /// The evidence of everything processed: `samples / evidence_hop_samples + 1` frames, no frame at
  /// all for no samples. To be called once; the listener is spent afterwards.
  [[nodiscard]] Evidence finish();

 private:
  struct State;
  std::unique_ptr<State> state_;
};

}  // namespace lowstride::dsp
