#include "dsp/harmony/chord_decoder.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numeric>
#include <utility>

#include "dsp/harmony/chord_path.hpp"
#include "dsp/harmony/chord_priors.hpp"
#include "dsp/harmony/chord_repeats.hpp"
#include "dsp/harmony/form.hpp"
#include "dsp/harmony/implied.hpp"
#include "dsp/harmony/key.hpp"
#include "dsp/harmony/rootless.hpp"

namespace lowstride::dsp {
namespace {

constexpr double evidence_scale = .7;  // neighbouring frames say the same thing again
constexpr float posterior_floor = 1e-4F;
constexpr double chord_frame_seconds =
    static_cast<double>(evidence_hop_samples * chord_hop_frames) / analysis_rate_hz;
constexpr double shortest_segment_seconds = 0.01;
constexpr double inversion_price = 2.5;  // natural logarithm, against the root in the bass
constexpr double repeat_weight = .4;     // of the other choruses together, against a bar's own 1
constexpr std::size_t most_alternatives = 3;

/// A stretch with one chord: from one beat to the next.
struct Segment {
  double begin_seconds = 0.0;
  double end_seconds = 0.0;
};

/// How long the chord of the last beat is heard: a bar at most, and not into silence.
double last_end(const Evidence& evidence, const DecodedGrid& grid, double begin_seconds) {
  const double beat_seconds = 60.0 / grid.tempo_bpm.value_or(120.0);
  const double sound_end = static_cast<double>(evidence.chord.row_count()) * chord_frame_seconds;
  const double latest = std::min(begin_seconds + grid.beats_per_bar * beat_seconds, sound_end);
  double end = std::min(begin_seconds + beat_seconds, sound_end);
  while (end < latest) {
    const auto row = static_cast<std::size_t>(end / chord_frame_seconds);
    if (row >= evidence.chord.row_count() || evidence.chord.at(row, no_chord_column) > 0.5F) break;
    end = std::min(latest, end + chord_frame_seconds);
  }
  return std::max(end, begin_seconds + shortest_segment_seconds);
}

std::vector<Segment> segments_of(const Evidence& evidence, const DecodedGrid& grid) {
  std::vector<Segment> segments;
  const auto& beats = grid.beats;
  for (std::size_t i = 0; i < beats.size(); ++i) {
    const double begin = beats[i].time_seconds;
    const double end =
        i + 1 < beats.size() ? beats[i + 1].time_seconds : last_end(evidence, grid, begin);
    segments.push_back({begin, end});
  }
  return segments;
}

/// Sum over the segment's share of each row of `weight(row)`.
template <typename Visit>
void for_each_row(const ProbabilityTable& table, const Segment& segment, Visit visit) {
  if (table.empty()) return;
  // Row j stands for half a chord frame to each side of its centre.
  const double begin = segment.begin_seconds / chord_frame_seconds + 0.5;
  const double end = segment.end_seconds / chord_frame_seconds + 0.5;
  const auto end_row = std::min(static_cast<double>(table.row_count()), std::ceil(end));
  for (auto row = static_cast<std::size_t>(std::max(0.0, std::floor(begin)));
       static_cast<double>(row) < end_row; ++row) {
    const auto place = static_cast<double>(row);
    const double share = std::min(end, place + 1.0) - std::max(begin, place);
    if (share > 0.0) visit(row, share);
  }
}

Table log_sums(const ProbabilityTable& table, std::size_t column_count,
               const std::vector<Segment>& segments) {
  Table sums(segments.size(), column_count);
  for (std::size_t i = 0; i < segments.size(); ++i) {
    const auto sum = sums.row(i);
    for_each_row(table, segments[i], [&](std::size_t row, double share) {
      const auto values = table.row(row);
      for (std::size_t c = 0; c < column_count; ++c) {
        sum[c] +=
            static_cast<float>(evidence_scale * share) * std::log(values[c] + posterior_floor);
      }
    });
  }
  return sums;
}

/// The note that holds most of the first half of a segment.
std::optional<int> bass_pitch_class(const std::vector<DecodedNote>& notes, const Segment& segment) {
  const double end = 0.5 * (segment.begin_seconds + segment.end_seconds);
  const double early = 0.06;  // players push the beat
  auto note = std::lower_bound(notes.begin(), notes.end(), segment.begin_seconds - early,
                               [](const DecodedNote& n, double t) { return n.offset_seconds < t; });
  double longest = 0.02;
  std::optional<int> result;
  for (; note != notes.end() && note->onset_seconds < end; ++note) {
    const double held = std::min(end, note->offset_seconds) -
                        std::max(segment.begin_seconds - early, note->onset_seconds);
    if (held > longest && !note->is_dead) {
      longest = held;
      result = note->midi % 12;
    }
  }
  return result;
}

std::size_t column_of(const ChordReading& chord) {
  return chord.root_pc ? chord_column(*chord.root_pc, chord.quality) : no_chord_column;
}

/// The bass note under a chord: its root unless another tone of it is plainly heard there.
int chord_bass(std::size_t column, const Table& bass_sums, std::size_t first, std::size_t last) {
  const int root = column_root(column);
  const auto tones = chord_tone_mask(column_quality(column));
  int best = root;
  double best_score = 0.0;
  for (int degree = 0; degree < 12; ++degree) {
    if ((tones >> static_cast<unsigned>(degree) & 1U) == 0) continue;
    const auto pitch_class = static_cast<std::size_t>((root + degree) % 12);
    double score = degree == 0 ? 0.0 : -inversion_price;
    for (std::size_t i = first; i < last; ++i) {
      score += bass_sums.row(i)[pitch_class] - bass_sums.row(i)[static_cast<std::size_t>(root)];
    }
    if (score > best_score) {
      best_score = score;
      best = static_cast<int>(pitch_class);
    }
  }
  return best;
}

/// Mean of the rows of a table over a stretch of time; all zero where there are none.
std::vector<double> mean_row(const ProbabilityTable& table, const Segment& segment) {
  std::vector<double> mean(table.column_count(), 0.0);
  double total = 0.0;
  for_each_row(table, segment, [&](std::size_t row, double share) {
    const auto values = table.row(row);
    for (std::size_t c = 0; c < mean.size(); ++c) mean[c] += share * values[c];
    total += share;
  });
  for (double& value : mean) value /= std::max(total, 1e-9);
  return mean;
}

/// What neighbours, line and key add to the evidence's own probability once they agreed with it:
/// a quarter in the logarithm of the odds, by logistic regression on the same recordings.
double with_context(double probability) {
  constexpr double context_odds = 1.28;
  return probability * context_odds / (1.0 + probability * (context_odds - 1.0));
}

/// Writes the spans that a path makes.
class SpanWriter {
 public:
  /// `heard`: the columns of the path before rootless dominants were put in place.
  SpanWriter(const Evidence& evidence, const std::vector<Segment>& segments, const ChordPath& path,
             std::vector<std::size_t> heard)
      : evidence_(evidence),
        segments_(segments),
        path_(path),
        heard_(std::move(heard)),
        implied_(evidence.chord),
        bass_sums_(log_sums(evidence.chord_bass, pitch_class_count, segments)) {}

  /// Beats [first, last), all of one chord. Probabilities are the evidence's own, averaged over the
  /// span: measured on held-out recordings they are right as often as they say (expected
  /// calibration error .03), while those of the path, which counts each beat as new evidence, say
  /// too much (.22).
  [[nodiscard]] DecodedChord span(std::size_t first, std::size_t last) const {
    DecodedChord chord;
    chord.begin_seconds = segments_[first].begin_seconds;
    chord.end_seconds = segments_[last - 1].end_seconds;
    const std::size_t column = path_.columns[first];
    chord.chord = reading(column, first, last);
    // A dominant was put in place because the bass plays its root.
    if (heard_[first] != column && chord.chord.root_pc) chord.chord.bass_pc = *chord.chord.root_pc;
    const auto mean = mean_row(evidence_.chord, {chord.begin_seconds, chord.end_seconds});
    const double sure =
        heard_[first] == column ? mean[column] : probability_with_rootless(mean, column);
    chord.confidence = with_context(std::clamp(sure, 0.0, 1.0));
    chord.is_implied =
        column != no_chord_column && implied_.is_implied(chord.begin_seconds, chord.end_seconds);
    std::array<std::size_t, chord_column_count> order{};
    std::iota(order.begin(), order.end(), std::size_t{0});
    std::partial_sort(order.begin(), order.begin() + most_alternatives + 1, order.end(),
                      [&](std::size_t a, std::size_t b) {
                        return mean[a] != mean[b] ? mean[a] > mean[b] : a < b;
                      });
    for (const std::size_t c : order) {
      if (chord.alternatives.size() == most_alternatives) break;
      if (c == column || mean[c] < 1e-3) continue;
      chord.alternatives.push_back({reading(c, first, last), mean[c]});
    }
    return chord;
  }

 private:
  [[nodiscard]] ChordReading reading(std::size_t column, std::size_t first,
                                     std::size_t last) const {
    if (column == no_chord_column) return {};
    return {column_root(column), column_quality(column),
            chord_bass(column, bass_sums_, first, last)};
  }

  const Evidence& evidence_;
  const std::vector<Segment>& segments_;
  const ChordPath& path_;
  std::vector<std::size_t> heard_;
  ImpliedHarmony implied_;
  Table bass_sums_;
};

/// A blues stands on its tonic although its dominant sevenths all look elsewhere.
void follow_blues(const DecodedGrid& grid, DecodedHarmony& harmony) {
  const auto form = recognise_form(chords_by_bar(grid, harmony.chords));
  if (!form || !form->tonic_pc || !harmony.key || harmony.key_spans.size() > 1) return;
  const bool is_minor = form->kind == FormKind::minor_blues;
  const bool is_news =
      harmony.key->tonic_pc != *form->tonic_pc || harmony.key->is_minor != is_minor;
  // The form says how sure it is of itself; where chords and form agree, the surer one counts.
  const double confidence =
      is_news ? form->confidence : std::max(form->confidence, harmony.key->confidence);
  harmony.key = DecodedKey{*form->tonic_pc, is_minor, confidence};
  harmony.key_spans = {{grid.beats.front().time_seconds, *harmony.key}};
}

/// Confirmed chords stand as they are; the others fill what is left between them.
std::vector<DecodedChord> with_fixed(std::vector<DecodedChord> chords,
                                     const std::vector<FixedChord>& fixed) {
  std::vector<DecodedChord> result;
  result.reserve(fixed.size() + chords.size());
  for (const auto& confirmed : fixed) {
    result.push_back(
        {confirmed.begin_seconds, confirmed.end_seconds, confirmed.chord, 1.0, false, {}});
  }
  for (auto& chord : chords) {
    double begin = chord.begin_seconds;
    for (const auto& confirmed : fixed) {
      if (confirmed.end_seconds <= begin || confirmed.begin_seconds >= chord.end_seconds) continue;
      if (confirmed.begin_seconds > begin) {
        DecodedChord part = chord;
        part.begin_seconds = begin;
        part.end_seconds = confirmed.begin_seconds;
        result.push_back(std::move(part));
      }
      begin = confirmed.end_seconds;
    }
    if (begin >= chord.end_seconds) continue;
    chord.begin_seconds = begin;
    result.push_back(std::move(chord));
  }
  std::sort(result.begin(), result.end(), [](const DecodedChord& a, const DecodedChord& b) {
    return a.begin_seconds < b.begin_seconds;
  });
  return result;
}

}  // namespace

DecodedHarmony decode_harmony(const Evidence& evidence, const DecodedGrid& grid,
                              const std::vector<DecodedNote>& notes,
                              const ChordDecoderOptions& options) {
  DecodedHarmony harmony;
  harmony.key = options.key;
  if (grid.beats.empty() || evidence.chord.empty()) return harmony;

  const auto segments = segments_of(evidence, grid);
  std::vector<ChordBeat> beats;
  std::vector<double> beat_seconds;
  for (std::size_t i = 0; i < segments.size(); ++i) {
    ChordBeat beat;
    beat.beat_in_bar = grid.beats[i].beat;
    beat.bass_pc = bass_pitch_class(notes, segments[i]);
    const double middle = 0.5 * (segments[i].begin_seconds + segments[i].end_seconds);
    for (const auto& confirmed : options.fixed) {
      if (confirmed.begin_seconds <= middle && middle < confirmed.end_seconds) {
        beat.fixed_column = column_of(confirmed.chord);
      }
    }
    beats.push_back(beat);
    beat_seconds.push_back(segments[i].end_seconds - segments[i].begin_seconds);
  }
  Table emission = log_sums(evidence.chord, chord_column_count, segments);

  ChordPathOptions path_options;
  path_options.beats_per_bar = grid.beats_per_bar;
  path_options.key = options.key;
  ChordPath path = find_chords(emission, beats, path_options);
  read_rootless_dominants(path, beats);
  // Second reading: with the key, and with what other choruses say.
  if (!options.key) harmony.key = path_options.key = estimate_key(path.posterior, beat_seconds);
  emission = with_repeats(emission, path.posterior, grid, repeat_weight);
  path = {};  // the next one's table is as large
  path = find_chords(emission, beats, path_options);
  std::vector<std::size_t> heard = path.columns;
  read_rootless_dominants(path, beats);

  if (options.key) {
    harmony.key_spans = {{grid.beats.front().time_seconds, *options.key}};
  } else {
    for (const auto& stretch : key_stretches(path.posterior, beat_seconds, grid.beats_per_bar)) {
      harmony.key_spans.push_back({segments[stretch.first_beat].begin_seconds, stretch.key});
    }
  }

  const SpanWriter writer(evidence, segments, path, std::move(heard));
  std::size_t first = 0;
  for (std::size_t i = 1; i <= beats.size(); ++i) {
    if (i < beats.size() && path.columns[i] == path.columns[first]) continue;
    harmony.chords.push_back(writer.span(first, i));
    first = i;
  }
  if (!options.key) follow_blues(grid, harmony);
  harmony.chords = with_fixed(std::move(harmony.chords), options.fixed);
  return harmony;
}

}  // namespace lowstride::dsp
