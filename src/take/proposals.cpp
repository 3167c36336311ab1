#include "src/take/proposals.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

#include "src/take/validate.hpp"

namespace lowstride::take {
namespace {

/// Probabilities are written with four decimals: far finer than they are true.
double rounded_share(double value) {
  if (!std::isfinite(value)) return 0.0;
  return std::round(std::clamp(value, 0.0, 1.0) * 1e4) / 1e4;
}

/// A chord without a root has no quality or bass either.
dsp::ChordReading plain(const dsp::ChordReading& chord) {
  return chord.root_pc ? chord : dsp::ChordReading{};
}

Note proposed_note(const dsp::DecodedNote& decoded, const Take& take) {
  Note note;
  note.onset_samples = to_samples(decoded.onset_seconds, take.time_base_hz);
  note.offset_samples =
      std::min(to_samples(decoded.offset_seconds, take.time_base_hz), take.length_samples);
  note.midi = decoded.midi;
  note.acoustic_midi = decoded.midi;
  note.is_dead = decoded.is_dead;
  note.confidence = rounded_share(decoded.confidence);
  note.octave_margin = rounded_share(decoded.octave_margin);
  note.alternatives = decoded.alternatives;
  for (auto& candidate : note.alternatives) {
    candidate.probability = rounded_share(candidate.probability);
  }
  return note;
}

Beat proposed_beat(const dsp::DecodedBeat& decoded, const Take& take) {
  Beat beat;
  beat.time_samples = to_samples(decoded.time_seconds, take.time_base_hz);
  beat.bar = decoded.bar;
  beat.beat = decoded.beat;
  beat.confidence = rounded_share(decoded.confidence);
  return beat;
}

ChordSpan proposed_chord(const dsp::DecodedChord& decoded, const Take& take) {
  ChordSpan span;
  span.begin_samples =
      std::max<std::int64_t>(0, to_samples(decoded.begin_seconds, take.time_base_hz));
  span.end_samples =
      std::min(to_samples(decoded.end_seconds, take.time_base_hz), take.length_samples);
  span.chord = plain(decoded.chord);
  span.confidence = rounded_share(decoded.confidence);
  span.is_implied = decoded.is_implied;
  span.alternatives = decoded.alternatives;
  for (auto& candidate : span.alternatives) {
    candidate.chord = plain(candidate.chord);
    candidate.probability = rounded_share(candidate.probability);
  }
  return span;
}

bool was_analysed(const Take& take) { return !take.analysis_version.empty(); }

}  // namespace

std::int64_t to_samples(double seconds, std::int64_t time_base_hz) noexcept {
  const double samples = seconds * static_cast<double>(time_base_hz);
  if (!std::isfinite(samples)) return 0;
  constexpr double most = 1e15;  // far beyond any take, far inside 64 bits
  return std::llround(std::clamp(samples, -most, most));
}

double to_seconds(std::int64_t samples, std::int64_t time_base_hz) noexcept {
  return static_cast<double>(samples) / static_cast<double>(time_base_hz);
}

Take new_take(RecordingRef recording, std::int64_t rate_hz, const std::string& title) {
  Take take;
  take.title = to_plain_text(title);
  take.time_base_hz = rate_hz;
  take.length_samples = recording.sample_count;
  take.recording = std::move(recording);
  return take;
}

Edit proposals_edit(const Take& take, const Proposals& proposals, std::int64_t begin_samples,
                    std::int64_t end_samples) {
  ReplaceProposals edit;
  edit.begin_samples = begin_samples;
  edit.end_samples = end_samples;
  for (const auto& note : proposals.notes) edit.notes.push_back(proposed_note(note, take));
  for (const auto& beat : proposals.grid.beats) edit.beats.push_back(proposed_beat(beat, take));
  for (const auto& chord : proposals.harmony.chords) {
    edit.chords.push_back(proposed_chord(chord, take));
  }
  const bool is_whole = begin_samples <= 0 && end_samples >= take.length_samples;
  if (!is_whole && was_analysed(take)) return edit;
  edit.sets_facts = true;
  if (const auto& key = proposals.harmony.key) {
    edit.key = Key{key->tonic_pc, key->is_minor, State::proposed, rounded_share(key->confidence)};
  }
  edit.swing_ratio = proposals.grid.swing_ratio;
  if (proposals.a4_hz) {
    // A tenth of a cent at A4 is 0.025 Hz; no ear and no recording is finer.
    edit.a4_hz = std::round(*proposals.a4_hz * 100.0) / 100.0;
  }
  if (!proposals.grid.beats.empty()) edit.beats_per_bar = proposals.grid.beats_per_bar;
  edit.form = proposals.form;
  edit.voice = proposals.voice;
  edit.analysis_version = proposals.analysis_version;
  return edit;
}

std::vector<dsp::DecidedSpan> decided_spans(const Take& take) {
  std::vector<dsp::DecidedSpan> spans;
  const auto add = [&](std::int64_t begin, std::int64_t end) {
    spans.push_back({to_seconds(begin, take.time_base_hz), to_seconds(end, take.time_base_hz)});
  };
  for (const Note& note : take.notes) {
    if (note.state == State::confirmed) add(note.onset_samples, note.offset_samples);
  }
  for (const ConfirmedGap& gap : take.gaps) add(gap.begin_samples, gap.end_samples);
  std::sort(spans.begin(), spans.end(),
            [](const auto& a, const auto& b) { return a.begin_seconds < b.begin_seconds; });
  return spans;
}

void add_confirmed_grid(const Take& take, dsp::BeatDecoderOptions& options) {
  for (const Beat& beat : take.beats) {
    if (beat.state != State::confirmed) continue;
    const double seconds = to_seconds(beat.time_samples, take.time_base_hz);
    options.fixed_beats_seconds.push_back(seconds);
    if (beat.bar == 1 && beat.beat == 1 && !options.first_bar_seconds) {
      options.first_bar_seconds = seconds;
    }
  }
  const bool is_known_meter = take.beats_per_bar == 3 || take.beats_per_bar == 4;
  if (take.meter_state == State::confirmed && is_known_meter && !options.beats_per_bar) {
    options.beats_per_bar = take.beats_per_bar;
  }
}

void add_confirmed_harmony(const Take& take, dsp::ChordDecoderOptions& options) {
  for (const ChordSpan& span : take.chords) {
    if (span.state != State::confirmed) continue;
    options.fixed.push_back({to_seconds(span.begin_samples, take.time_base_hz),
                             to_seconds(span.end_samples, take.time_base_hz), span.chord});
  }
  if (take.key && take.key->state == State::confirmed && !options.key) {
    options.key = dsp::DecodedKey{take.key->tonic_pc, take.key->is_minor, 1.0};
  }
}

}  // namespace lowstride::take
