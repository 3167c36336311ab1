#include "dsp/learned/listener.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <deque>

#include "dsp/base/contracts.hpp"
#include "dsp/learned/front_end.hpp"
#include "dsp/learned/grouping.hpp"
#include "dsp/learned/nets.hpp"

namespace lowstride::dsp {
namespace {

constexpr std::size_t step_frames = 48;        // frames that go through the nets at once: 0.56 s
constexpr std::size_t chord_step_frames = 24;  // fewer would fill no vector: 2.2 s
constexpr double target_rms = 0.1;
constexpr double least_rms = 1e-5;

constexpr std::size_t fold_octaves = 6;  // MIDI 24 to 95
constexpr std::size_t fold_lanes = fold_octaves * pitch_class_count;
constexpr std::size_t fold_first_bin = 3 * 24 - 33;  // lowest third of MIDI 24
constexpr std::size_t low_octaves = 4;               // MIDI 24 to 71
constexpr std::size_t low_lanes = low_octaves * pitch_class_count;
constexpr std::size_t beat_hop_frames = 2;
constexpr std::size_t pitch_class_of_lowest = lowest_evidence_midi % pitch_class_count;

float sigmoid(float logit) noexcept { return 1.0F / (1.0F + std::exp(-logit)); }

void softmax(std::span<float> values) noexcept {
  const float top = *std::max_element(values.begin(), values.end());
  float sum = 0.0F;
  for (float& value : values) {
    value = std::exp(value - top);
    sum += value;
  }
  for (float& value : values) value /= sum;
}

FrontEndOptions front_end_options(const SurveyResult& survey) {
  FrontEndOptions options;
  if (survey.tuning) {
    options.a4_hz = survey.tuning->a4_hz;
    options.drift_cents_per_minute = survey.tuning->drift_cents_per_minute;
    options.middle_seconds = 0.5 * static_cast<double>(survey.sample_count) / analysis_rate_hz;
  }
  options.gain = static_cast<float>(target_rms / std::max(survey.rms, least_rms));
  return options;
}

}  // namespace

struct Listener::State {
  State(const Weights& weights, const SurveyResult& survey);

  void advance(bool is_last);
  void add_spectra();
  void add_pitches();
  void add_chords(bool is_last);
  void add_beats(bool is_last);
  void interpolate_beats();
  [[nodiscard]] std::array<float, 2> chord_change(std::size_t chord_frame) const;

  HumFilter hum;
  FrontEnd front_end;
  PitchNet pitch_net;
  ChordNet chord_net;
  BeatNet beat_net;
  Evidence evidence;

  std::vector<float> clean;
  FrameQueue spectra{spectrum_lane_count}, bands{band_count};
  FrameQueue pitch_logits{pitch_net_lane_count};
  FrameQueue chord_logits{chord_net_lane_count};
  FrameQueue beat_logits{2};

  Grouping fold_groups{2 * fold_lanes, 0, chord_hop_frames, chord_hop_frames / 2};
  Grouping low_groups{low_lanes, low_lanes, chord_hop_frames, chord_hop_frames / 2};
  FrameQueue folds{2 * fold_lanes}, lows{2 * low_lanes};
  Grouping band_groups{band_count, band_count, beat_hop_frames, 0};
  Grouping voice_groups{pitch_class_count + 1, 2, beat_hop_frames, 0};
  FrameQueue beat_bands{2 * band_count}, beat_voices{pitch_class_count + 3};

  std::array<float, band_count> previous_bands{};
  std::size_t spectrum_frame_count = 0;
  std::size_t beat_input_count = 0;
  double guitar_logit_sum = 0.0;
  std::vector<float> slow_beats, slow_downbeats;  // at 43 frames a second

  // Probability of each root and of none, of the chord frames that the beat net still asks for.
  std::deque<std::array<float, pitch_class_count + 1>> roots;
  std::size_t first_root_frame = 0;
};

Listener::State::State(const Weights& weights, const SurveyResult& survey)
    : hum(survey.hum),
      front_end(front_end_options(survey)),
      pitch_net(weights),
      chord_net(weights),
      beat_net(weights) {
  evidence.a4_hz = front_end_options(survey).a4_hz;
  evidence.pitch = ProbabilityTable(evidence_pitch_count + 1);
  evidence.onset = ProbabilityTable(evidence_pitch_count);
  evidence.chord = ProbabilityTable(chord_column_count);
  evidence.chord_bass = ProbabilityTable(pitch_class_count);
}

void Listener::State::advance(bool is_last) {
  add_spectra();
  pitch_net.run(pitch_logits, is_last);
  add_pitches();
  if (is_last) {
    fold_groups.finish(folds);
    low_groups.finish(lows);
    band_groups.finish(beat_bands);
    voice_groups.finish(beat_voices);
  }
  add_chords(is_last);
  add_beats(is_last);
}

/// New spectra to the pitch net, and what the other nets need of them to their waiting rooms.
void Listener::State::add_spectra() {
  const std::size_t count = spectra.frame_count();
  pitch_net.spectra().append(spectra, 0, count);
  pitch_net.bands().append(bands, 0, count);
  std::array<float, 2 * fold_lanes> fold{};
  std::array<float, band_count> band{}, rise{};
  for (std::size_t t = 0; t < count; ++t) {
    for (std::size_t s = 0; s < 2; ++s) {
      for (std::size_t i = 0; i < fold_lanes; ++i) {
        const std::size_t lane = s * log_bin_count + fold_first_bin + 3 * i;
        fold[s * fold_lanes + i] =
            std::max({spectra.lane(lane)[t], spectra.lane(lane + 1)[t], spectra.lane(lane + 2)[t]});
      }
    }
    fold_groups.add(fold, {}, folds);
    for (std::size_t b = 0; b < band_count; ++b) {
      band[b] = bands.lane(b)[t];
      rise[b] = spectrum_frame_count == 0 ? 0.0F : std::max(0.0F, band[b] - previous_bands[b]);
    }
    band_groups.add(band, rise, beat_bands);
    previous_bands = band;
    ++spectrum_frame_count;
  }
  spectra.drop(count);
  bands.drop(count);
}

/// Logits of the pitch net to evidence, and to what chord and beat net read of it.
void Listener::State::add_pitches() {
  const std::size_t count = pitch_logits.frame_count();
  std::array<float, evidence_pitch_count + 1> pitch{};
  std::array<float, evidence_pitch_count> onset{};
  std::array<float, low_lanes> low_pitch{}, low_onset{};
  for (std::size_t t = 0; t < count; ++t) {
    for (std::size_t i = 0; i < pitch.size(); ++i) {
      pitch[i] = pitch_logits.lane(pitch_logit_lane + i)[t];
    }
    softmax(pitch);
    for (std::size_t i = 0; i < onset.size(); ++i) {
      onset[i] = sigmoid(pitch_logits.lane(onset_logit_lane + i)[t]);
    }
    const float dead = sigmoid(pitch_logits.lane(dead_logit_lane)[t]);
    guitar_logit_sum += static_cast<double>(pitch_logits.lane(guitar_logit_lane)[t]);
    evidence.pitch.append(pitch);
    evidence.onset.append(onset);
    evidence.dead.push_back(ProbabilityTable::rounded(dead));

    // Lane 0 is C1 (24), the second pitch of the evidence; above G4 nothing sounds.
    std::copy(pitch.begin() + 1, pitch.begin() + evidence_pitch_count, low_pitch.begin());
    std::copy(onset.begin() + 1, onset.end(), low_onset.begin());
    low_groups.add(low_pitch, low_onset, lows);

    std::array<float, pitch_class_count + 1> voice{};
    for (std::size_t i = 0; i < evidence_pitch_count; ++i) {
      voice[(pitch_class_of_lowest + i) % pitch_class_count] += pitch[i];
    }
    voice.back() = pitch[no_pitch_column];
    const std::array<float, 2> strikes{*std::max_element(onset.begin(), onset.end()), dead};
    voice_groups.add(voice, strikes, beat_voices);
  }
  pitch_logits.drop(count);
}

void Listener::State::add_chords(bool is_last) {
  const std::size_t ready = std::min(folds.frame_count(), lows.frame_count());
  if (ready < chord_step_frames && !is_last) return;
  FrameQueue& input = chord_net.input();
  const std::size_t first = input.grow(ready);
  for (std::size_t lane = 0; lane < chord_input_lane_count; ++lane) {
    const float* from = lane < 2 * fold_lanes ? folds.lane(lane) : lows.lane(lane - 2 * fold_lanes);
    std::copy_n(from, ready, input.lane(lane) + first);
  }
  folds.drop(ready);
  lows.drop(ready);
  chord_net.run(chord_logits, is_last);

  std::array<float, chord_column_count> chord{};
  std::array<float, pitch_class_count> bass{};
  for (std::size_t t = 0; t < chord_logits.frame_count(); ++t) {
    for (std::size_t i = 0; i < chord.size(); ++i) chord[i] = chord_logits.lane(i)[t];
    for (std::size_t i = 0; i < bass.size(); ++i) {
      bass[i] = chord_logits.lane(chord_bass_logit_lane + i)[t];
    }
    softmax(chord);
    softmax(bass);
    auto& sums = roots.emplace_back();
    for (std::size_t i = 0; i < no_chord_column; ++i) sums[i / chord_quality_count] += chord[i];
    sums.back() = chord[no_chord_column];
    evidence.chord.append(chord);
    evidence.chord_bass.append(bass);
  }
  chord_logits.drop(chord_logits.frame_count());
}

/// How much the root moved from the last chord frame and from the one before: 0..1.
std::array<float, 2> Listener::State::chord_change(std::size_t chord_frame) const {
  const auto roots_of = [this](std::size_t index) -> const auto& {
    return roots[index - first_root_frame];
  };
  const auto& now = roots_of(chord_frame);
  std::array<float, 2> change{};
  for (std::size_t distance : {1U, 2U}) {
    const auto& before = roots_of(chord_frame - std::min<std::size_t>(chord_frame, distance));
    for (std::size_t i = 0; i < now.size(); ++i) {
      change[distance - 1] += 0.5F * std::abs(now[i] - before[i]);
    }
  }
  return change;
}

void Listener::State::add_beats(bool is_last) {
  const std::size_t chord_count = evidence.chord.row_count();
  FrameQueue& input = beat_net.input();
  std::size_t ready = std::min(beat_bands.frame_count(), beat_voices.frame_count());
  if (!is_last) {
    // Beat frame k asks for chord frame (k + 2) / 4.
    const std::size_t known = 4 * chord_count < 2 ? 0 : 4 * chord_count - 2;
    ready = std::min(ready, known - std::min(known, beat_input_count));
  }
  const std::size_t first = input.grow(ready);
  for (std::size_t lane = 0; lane < 2 * band_count; ++lane) {
    std::copy_n(beat_bands.lane(lane), ready, input.lane(lane) + first);
  }
  for (std::size_t lane = 0; lane < beat_voices.lane_count(); ++lane) {
    std::copy_n(beat_voices.lane(lane), ready, input.lane(2 * band_count + lane) + first);
  }
  for (std::size_t k = 0; k < ready; ++k) {
    const auto change = chord_change(std::min((beat_input_count + k + 2) / 4, chord_count - 1));
    input.lane(beat_input_lane_count - 2)[first + k] = change[0];
    input.lane(beat_input_lane_count - 1)[first + k] = change[1];
  }
  beat_input_count += ready;
  // The next beat frame looks two chord frames back.
  while (first_root_frame + 2 < std::min((beat_input_count + 2) / 4, chord_count - 1)) {
    roots.pop_front();
    ++first_root_frame;
  }
  beat_bands.drop(ready);
  beat_voices.drop(ready);
  beat_net.run(beat_logits, is_last);
  for (std::size_t k = 0; k < beat_logits.frame_count(); ++k) {
    slow_beats.push_back(sigmoid(beat_logits.lane(0)[k]));
    slow_downbeats.push_back(sigmoid(beat_logits.lane(1)[k]));
  }
  beat_logits.drop(beat_logits.frame_count());
}

/// Beat frame k lies between frames 2 k and 2 k + 1.
void Listener::State::interpolate_beats() {
  evidence.beat.reserve(evidence.frame_count());
  evidence.downbeat.reserve(evidence.frame_count());
  const std::size_t last = slow_beats.size() - 1;
  for (std::size_t t = 0; t < evidence.frame_count(); ++t) {
    const float at =
        std::clamp((static_cast<float>(t) - 0.5F) / 2.0F, 0.0F, static_cast<float>(last));
    const auto before = static_cast<std::size_t>(at);
    const std::size_t after = std::min(before + 1, last);
    const float share = at - static_cast<float>(before);
    const auto between = [&](const std::vector<float>& slow) {
      return ProbabilityTable::rounded(slow[before] * (1.0F - share) + slow[after] * share);
    };
    evidence.beat.push_back(between(slow_beats));
    evidence.downbeat.push_back(between(slow_downbeats));
  }
}

Listener::Listener(const Weights& weights, const SurveyResult& survey)
    : state_(std::make_unique<State>(weights, survey)) {}
Listener::Listener(Listener&&) noexcept = default;
Listener& Listener::operator=(Listener&&) noexcept = default;
Listener::~Listener() = default;

void Listener::process(std::span<const float> samples) {
  State& state = *state_;
  // In pieces of at most a step, so that memory does not depend on the caller's blocks.
  while (!samples.empty()) {
    const auto piece = samples.first(std::min(samples.size(), step_frames * evidence_hop_samples));
    samples = samples.subspan(piece.size());
    state.clean.clear();
    for (const float sample : piece) state.clean.push_back(std::isfinite(sample) ? sample : 0.0F);
    state.hum.process(state.clean);
    state.front_end.process(state.clean, state.spectra, state.bands);
    if (state.spectra.frame_count() >= step_frames) state.advance(false);
  }
}

Evidence Listener::finish() {
  State& state = *state_;
  state.front_end.finish(state.spectra, state.bands);
  state.advance(true);
  if (state.evidence.frame_count() > 0) {
    state.evidence.guitar_share =
        1.0 / (1.0 + std::exp(-state.guitar_logit_sum /
                              static_cast<double>(state.evidence.frame_count())));
    state.interpolate_beats();
  }
  return std::move(state.evidence);
}

}  // namespace lowstride::dsp
