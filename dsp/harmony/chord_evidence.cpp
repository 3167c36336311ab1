#include "dsp/harmony/chord_evidence.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>

#include "dsp/spectrum/windows.hpp"

namespace lowstride::dsp {
namespace {

constexpr std::size_t frame_samples = 8192;  // tells semitones apart from 70 Hz upwards
constexpr std::size_t hop_samples = evidence_hop_samples * chord_hop_frames;
constexpr float bass_limit_midi = 52.0F;
constexpr float lowest_midi = 28.0F;
constexpr float highest_midi = 94.0F;
constexpr double overtone_decay = 0.5;
constexpr double sharpness = 14.0;     // of the posterior, per unit of likeness
constexpr double bass_on_root = 2.2;   // per unit of bass chroma at the root
constexpr double quiet_ratio = 0.003;  // under it nothing sounds

using Chroma = std::array<float, pitch_class_count>;

void scale_to_unit(Chroma& chroma) {
  const float norm =
      std::sqrt(std::inner_product(chroma.begin(), chroma.end(), chroma.begin(), 0.0F));
  if (norm > 0.0F) {
    for (float& value : chroma) value /= norm;
  }
}

void scale_to_sum(std::span<float> row) {
  const float sum = std::accumulate(row.begin(), row.end(), 0.0F);
  for (float& value : row) value /= sum;
}

/// Which qualities are how usual in the music at hand, as an added likeness.
float commonness(ChordQuality quality) {
  switch (quality) {
    case ChordQuality::dominant_seventh:
      return 0.05F;
    case ChordQuality::minor_seventh:
      return 0.04F;
    case ChordQuality::major:
    case ChordQuality::major_sixth:
    case ChordQuality::major_seventh:
      return 0.03F;
    case ChordQuality::minor:
    case ChordQuality::half_diminished_seventh:
    case ChordQuality::diminished_seventh:
      return 0.0F;
    default:
      return -0.06F;
  }
}

}  // namespace

ChordEvidence::ChordEvidence(double a4_hz)
    : fft_(frame_samples),
      window_(hann_window(frame_samples)),
      pending_(frame_samples / 2, 0.0F),  // frame 0 is centred on sample 0
      windowed_(frame_samples),
      spectrum_(fft_.bin_count()),
      pitch_of_bin_(fft_.bin_count(), 0.0F),
      chord_(0, chord_column_count),
      chord_bass_(0, pitch_class_count) {
  for (std::size_t bin = 1; bin < pitch_of_bin_.size(); ++bin) {
    const double hz =
        static_cast<double>(bin) * analysis_rate_hz / static_cast<double>(frame_samples);
    pitch_of_bin_[bin] = static_cast<float>(69.0 + 12.0 * std::log2(hz / a4_hz));
  }
  for (std::size_t quality = 0; quality < chord_quality_count; ++quality) {
    const auto tones = chord_tone_mask(static_cast<ChordQuality>(quality));
    for (std::size_t tone = 0; tone < pitch_class_count; ++tone) {
      if ((tones >> tone & 1U) == 0) continue;
      // The first five partials lie 0, 12, 19, 24 and 28 semitones up.
      double weight = 1.0;
      for (const std::size_t interval : {0U, 0U, 7U, 0U, 4U}) {
        templates_[quality][(tone + interval) % pitch_class_count] += static_cast<float>(weight);
        weight *= overtone_decay;
      }
    }
    scale_to_unit(templates_[quality]);
  }
}

void ChordEvidence::process(std::span<const float> samples) {
  while (!samples.empty()) {
    const std::size_t taken = std::min(samples.size(), frame_samples - pending_.size());
    pending_.insert(pending_.end(), samples.begin(),
                    samples.begin() + static_cast<std::ptrdiff_t>(taken));
    samples = samples.subspan(taken);
    if (pending_.size() == frame_samples) {
      read_frame();
      pending_.erase(pending_.begin(), pending_.begin() + static_cast<std::ptrdiff_t>(hop_samples));
    }
  }
}

void ChordEvidence::read_frame() {
  for (std::size_t n = 0; n < frame_samples; ++n) windowed_[n] = pending_[n] * window_[n];
  fft_.forward(windowed_, spectrum_);
  Chroma treble{};
  Chroma bass{};
  double level = 0.0;
  for (std::size_t bin = 1; bin + 1 < spectrum_.size(); ++bin) {
    const float midi = pitch_of_bin_[bin];
    if (midi < lowest_midi || midi > highest_midi) continue;
    const float magnitude = std::abs(spectrum_[bin]);
    level += magnitude;
    // Peaks alone: what lies between them is noise and the skirts of the window.
    if (magnitude < std::abs(spectrum_[bin - 1]) || magnitude < std::abs(spectrum_[bin + 1])) {
      continue;
    }
    const float off = midi - std::round(midi);
    const float weight = std::sqrt(magnitude) * std::exp(-off * off / (2.0F * 0.2F * 0.2F));
    const auto pitch_class = static_cast<std::size_t>(std::lround(midi)) % pitch_class_count;
    if (midi < bass_limit_midi) bass[pitch_class] += weight;
    if (midi > bass_limit_midi - 4.0F) treble[pitch_class] += weight;
  }
  loudest_ = std::max({level, loudest_ * 0.999, 1e-2});
  scale_to_unit(treble);
  scale_to_unit(bass);

  std::array<float, chord_column_count> posterior{};
  double best = 0.0;
  std::array<double, chord_column_count> likeness{};
  for (std::size_t root = 0; root < pitch_class_count; ++root) {
    for (std::size_t quality = 0; quality < chord_quality_count; ++quality) {
      float sum = 0.0F;
      for (std::size_t k = 0; k < pitch_class_count; ++k) {
        sum += treble[(root + k) % pitch_class_count] * templates_[quality][k];
      }
      sum += commonness(static_cast<ChordQuality>(quality));
      const double value = sharpness * sum + bass_on_root * bass[root];
      likeness[root * chord_quality_count + quality] = value;
      best = std::max(best, value);
    }
  }
  likeness[no_chord_column] =
      level < quiet_ratio * loudest_ || level < 1e-2 ? best + 8.0 : best - 6.0;
  for (std::size_t column = 0; column < chord_column_count; ++column) {
    posterior[column] = static_cast<float>(std::exp(likeness[column] - best)) + 1e-6F;
  }
  scale_to_sum(posterior);
  chord_.append(posterior);
  for (float& value : bass) value = value * value + 0.01F;
  scale_to_sum(bass);
  chord_bass_.append(bass);
}

void ChordEvidence::finish(std::size_t frame_count, Evidence& evidence) {
  const std::size_t row_count = (frame_count + chord_hop_frames - 1) / chord_hop_frames;
  const std::vector<float> silence(hop_samples, 0.0F);
  while (chord_.row_count() < row_count) process(silence);
  const auto first_rows = [row_count](const Table& table) {
    Table result(row_count, table.column_count());
    for (std::size_t i = 0; i < row_count; ++i) {
      std::copy(table.row(i).begin(), table.row(i).end(), result.row(i).begin());
    }
    return result;
  };
  evidence.chord = first_rows(chord_);
  evidence.chord_bass = first_rows(chord_bass_);
}

}  // namespace lowstride::dsp
