#include "src/analysis/rereading.hpp"

#include <algorithm>
#include <cmath>

#include "src/analysis/evidence_cache.hpp"
#include "src/analysis/reading.hpp"
#include "src/take/proposals.hpp"

namespace lowstride::analysis {
namespace {

constexpr double replaced_bars = 4.0;
constexpr double viewed_bars = 16.0;
constexpr double replaced_seconds = 8.0;
constexpr double viewed_seconds = 30.0;

/// A stretch widened by bars where there is a grid, else by seconds, inside the take.
take::Stretch widened(const take::Take& take, const take::Stretch& stretch, double bars,
                      double seconds) {
  const auto margin = static_cast<std::int64_t>(seconds * static_cast<double>(take.time_base_hz));
  std::int64_t begin = stretch.begin_samples - margin;
  std::int64_t end = stretch.end_samples + margin;
  const auto first = take::bar_position(take, static_cast<double>(stretch.begin_samples));
  const auto last = take::bar_position(take, static_cast<double>(stretch.end_samples));
  if (first && last) {
    const auto at = [&](int bar) { return take::sample_at(take, {bar, 1.0}); };
    const auto from = at(first->bar - static_cast<int>(bars));
    const auto to = at(last->bar + static_cast<int>(bars) + 1);
    if (from) begin = std::llround(*from);
    if (to) end = std::llround(*to);
  }
  return {std::max<std::int64_t>(begin, 0), std::min(end, take.length_samples)};
}

dsp::ProbabilityTable rows_of(const dsp::ProbabilityTable& from, std::size_t begin,
                              std::size_t end) {
  dsp::ProbabilityTable rows(from.column_count());
  rows.append_rows(from, begin, end);
  return rows;
}

/// The take's beats as the chord decoder wants them, inside [begin, end).
dsp::DecodedGrid grid_of(const take::Take& take, const take::Stretch& stretch) {
  dsp::DecodedGrid grid;
  grid.beats_per_bar = take.beats_per_bar;
  grid.swing_ratio = take.swing_ratio;
  for (const take::Beat& beat : take.beats) {
    if (beat.time_samples < stretch.begin_samples || beat.time_samples >= stretch.end_samples) {
      continue;
    }
    grid.beats.push_back({take::to_seconds(beat.time_samples, take.time_base_hz), beat.bar,
                          beat.beat, beat.confidence});
  }
  return grid;
}

}  // namespace

dsp::Evidence slice_evidence(const dsp::Evidence& evidence, std::size_t begin, std::size_t end) {
  end = std::min(end, evidence.frame_count());
  begin = std::min(begin, end) / dsp::chord_hop_frames * dsp::chord_hop_frames;
  dsp::Evidence slice;
  slice.a4_hz = evidence.a4_hz;
  slice.guitar_share = evidence.guitar_share;
  slice.pitch = rows_of(evidence.pitch, begin, end);
  slice.onset = rows_of(evidence.onset, begin, end);
  const auto part = [&](const std::vector<float>& from) {
    return std::vector<float>(from.begin() + static_cast<std::ptrdiff_t>(begin),
                              from.begin() + static_cast<std::ptrdiff_t>(end));
  };
  slice.beat = part(evidence.beat);
  slice.downbeat = part(evidence.downbeat);
  slice.dead = part(evidence.dead);
  const std::size_t first = begin / dsp::chord_hop_frames;
  const std::size_t last = std::min((end + dsp::chord_hop_frames - 1) / dsp::chord_hop_frames,
                                    evidence.chord.row_count());
  slice.chord = rows_of(evidence.chord, first, last);
  slice.chord_bass = rows_of(evidence.chord_bass, first, last);
  return slice;
}

std::optional<take::Edit> rereading_edit(const take::Take& take, const dsp::Evidence& evidence,
                                         const take::Stretch& touched, bool are_beats_touched) {
  const take::Stretch replaced = widened(take, touched, replaced_bars, replaced_seconds);
  const take::Stretch viewed = widened(take, touched, viewed_bars, viewed_seconds);
  const auto frame_at = [&](std::int64_t sample) {
    return static_cast<std::size_t>(
        std::max(0.0, dsp::seconds_frame(take::to_seconds(sample, take.time_base_hz))));
  };
  const dsp::Evidence slice =
      slice_evidence(evidence, frame_at(viewed.begin_samples), frame_at(viewed.end_samples) + 1);
  if (slice.frame_count() == 0 || replaced.begin_samples >= replaced.end_samples) {
    return std::nullopt;
  }
  const std::size_t first_frame =
      frame_at(viewed.begin_samples) / dsp::chord_hop_frames * dsp::chord_hop_frames;
  Hints hints;
  hints.voice = take.voice;
  if (!are_beats_touched && take.beats.size() > 1) hints.grid = grid_of(take, viewed);
  const Reading reading =
      read_evidence(slice, dsp::frame_seconds(static_cast<double>(first_frame)), take, hints);
  return take::proposals_edit(take, reading.proposals, replaced.begin_samples,
                              replaced.end_samples);
}

std::optional<dsp::Evidence> kept_evidence(const take::Take& take) {
  if (!take.recording) return std::nullopt;
  EvidenceKey key;
  key.content_hash = take.recording->content_hash;
  key.sample_count = std::llround(static_cast<double>(take.length_samples) * dsp::analysis_rate_hz /
                                  static_cast<double>(take.time_base_hz));
  return EvidenceCache().find(key);
}

}  // namespace lowstride::analysis
