#include "tests/parts/charts.hpp"

#include <algorithm>

#include "src/theory/chord_label.hpp"

namespace lowstride::parts::testing_help {

RandomChart random_chart(std::uint32_t seed, int lowest_midi, int highest_midi) {
  std::mt19937 random(seed);
  const auto number = [&random](int low, int high) {
    return std::uniform_int_distribution<int>(low, high)(random);
  };
  RandomChart chart;
  chart.beats_per_bar = number(0, 3) == 0 ? 3 : 4;
  if (number(0, 4) != 0) chart.key = theory::Key{number(0, 11), number(0, 1) == 0};
  const bool has_line = seed % 3 != 0;
  constexpr int lengths[] = {1, 2, 2, 3, 4, 4, 4, 8};
  int midi = (lowest_midi + highest_midi) / 2;
  int beat = 0;
  for (int span = 0; span < 16; ++span) {
    dsp::ChordReading chord;
    if (number(0, 19) != 0) {
      chord.root_pc = number(0, 11);
      chord.quality =
          static_cast<dsp::ChordQuality>(number(0, static_cast<int>(dsp::chord_quality_count) - 1));
      chord.bass_pc = number(0, 7) == 0 ? number(0, 11) : *chord.root_pc;
    }
    const int length = lengths[number(0, 7)];
    for (int i = 0; i < length; ++i, ++beat) {
      ChartBeat entry;
      entry.chord = chord;
      entry.begins_bar = beat % chart.beats_per_bar == 0;
      entry.bar = 1 + beat / chart.beats_per_bar;
      midi = std::clamp(midi + number(-7, 7), lowest_midi, highest_midi);
      if (has_line && number(0, 9) != 0) entry.line_midi = midi;
      chart.beats.push_back(entry);
    }
  }
  return chart;
}

take::Take chart_take(const std::vector<std::vector<std::string>>& bars,
                      const std::vector<std::optional<int>>& line, std::optional<theory::Key> key) {
  constexpr std::int64_t rate = 44'100;
  constexpr std::int64_t beat_samples = rate / 2;
  take::Take take;
  take.title = "Lantern Street";
  take.time_base_hz = rate;
  const auto beat_count = static_cast<std::int64_t>(bars.size()) * 4;
  take.length_samples = (beat_count + 2) * beat_samples;
  if (key) take.key = take::Key{key->tonic_pc, key->is_minor, take::State::confirmed, 1.0};
  for (std::int64_t i = 0; i < beat_count; ++i) {
    take::Beat beat;
    beat.id = take::BeatId{take.next_id++};
    beat.time_samples = (i + 1) * beat_samples;
    beat.bar = static_cast<int>(1 + i / 4);
    beat.beat = static_cast<int>(1 + i % 4);
    beat.confidence = 0.9;
    take.beats.push_back(beat);
    const auto index = static_cast<std::size_t>(i);
    if (index < line.size() && line[index]) {
      take::Note note;
      note.id = take::NoteId{take.next_id++};
      note.onset_samples = beat.time_samples;
      note.offset_samples = beat.time_samples + beat_samples * 9 / 10;
      note.midi = *line[index];
      note.acoustic_midi = note.midi;
      note.confidence = 0.9;
      take.notes.push_back(note);
    }
  }
  for (std::size_t bar = 0; bar < bars.size(); ++bar) {
    const auto share = static_cast<std::int64_t>(4 / bars[bar].size());
    for (std::size_t i = 0; i < bars[bar].size(); ++i) {
      take::ChordSpan span;
      span.id = take::ChordId{take.next_id++};
      span.begin_samples =
          (1 + static_cast<std::int64_t>(bar) * 4 + static_cast<std::int64_t>(i) * share) *
          beat_samples;
      span.end_samples = span.begin_samples + share * beat_samples;
      span.chord = theory::parse_chord(bars[bar][i])->chord;
      span.confidence = 0.9;
      take.chords.push_back(span);
    }
  }
  return take;
}

}  // namespace lowstride::parts::testing_help
