#include "src/parts/chart.hpp"

#include <algorithm>
#include <cmath>
#include <cstdlib>

namespace lowstride::parts {
namespace {

constexpr double early_change_share = 0.25;  // of a beat
constexpr double on_beat_share = 1.0 / 3.0;

dsp::ChordReading chord_at(const take::Take& take, std::int64_t sample) {
  const auto after =
      std::ranges::upper_bound(take.chords, sample, {}, &take::ChordSpan::begin_samples);
  if (after == take.chords.begin()) return {};
  const take::ChordSpan& span = *std::prev(after);
  return sample < span.end_samples ? span.chord : dsp::ChordReading{};
}

std::optional<int> struck_at(const take::Take& take, std::int64_t sample, double reach_samples) {
  const auto reach = static_cast<std::int64_t>(reach_samples);
  auto note = std::ranges::lower_bound(take.notes, sample - reach, {}, &take::Note::onset_samples);
  std::optional<int> midi;
  std::int64_t nearest = reach + 1;
  for (; note != take.notes.end() && note->onset_samples <= sample + reach; ++note) {
    const std::int64_t off = std::abs(note->onset_samples - sample);
    if (note->is_dead || off >= nearest) continue;
    nearest = off;
    midi = note->midi;
  }
  return midi;
}

}  // namespace

Chart chart_of(const take::Take& take) {
  Chart chart;
  const std::size_t count = take.beats.size();
  if (count < 2) return chart;
  for (std::size_t i = 0; i < count; ++i) {
    const std::int64_t time = take.beats[i].time_samples;
    const std::int64_t next =
        i + 1 < count ? take.beats[i + 1].time_samples : 2 * time - take.beats[i - 1].time_samples;
    const auto beat_samples = static_cast<double>(next - time);
    ChartBeat beat;
    beat.chord = chord_at(take, time + std::llround(early_change_share * beat_samples));
    beat.begins_bar = take.beats[i].beat == 1;
    beat.bar = take.beats[i].bar;
    beat.line_midi = struck_at(take, time, on_beat_share * beat_samples);
    chart.beats.push_back(beat);
    chart.times_samples.push_back(time);
    if (i + 1 == count) chart.times_samples.push_back(next);
  }
  return chart;
}

std::vector<ChordRun> chord_runs(const std::vector<ChartBeat>& beats) {
  std::vector<ChordRun> runs;
  for (std::size_t i = 0; i < beats.size(); ++i) {
    if (runs.empty() || beats[i].chord != runs.back().chord) {
      runs.push_back({i, i, beats[i].chord});
    }
    runs.back().end = i + 1;
  }
  return runs;
}

}  // namespace lowstride::parts
