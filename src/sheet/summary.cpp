#include "src/sheet/summary.hpp"

#include <algorithm>
#include <cmath>
#include <vector>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "src/sheet/form_text.hpp"
#include "src/sheet/grid.hpp"
#include "src/take/harmony.hpp"
#include "src/take/time_text.hpp"

namespace lowstride::sheet {
namespace {

constexpr int numerals_indent = 10;   // under the words of the line above
constexpr double on_the_beat = 0.15;  // of a beat, in either direction

std::string counted(std::size_t count, std::string_view one, std::string_view many) {
  return fmt::format("{} {}", count, count == 1 ? one : many);
}

std::string line(std::string_view label, std::string_view text) {
  return fmt::format("{:<9} {}\n", label, text);
}

std::string tempo_line(const take::Take& take) {
  const auto tempo = median_tempo_bpm(take);
  if (!tempo) return line("Tempo", "no beats were found");
  return line("Tempo", fmt::format("{:.0f} bpm", *tempo));
}

std::string meter_line(const take::Take& take) {
  if (take.beats.size() < 2) return {};
  int bars = 0;
  for (const take::Beat& beat : take.beats) {
    if (beat.bar >= 1 && beat.beat == 1) ++bars;
  }
  std::string text = fmt::format("{}/4, {}", take.beats_per_bar,
                                 counted(static_cast<std::size_t>(bars), "bar", "bars"));
  if (const auto swing = written_swing_ratio(take)) {
    text += fmt::format(", swing {:.1f} : 1", *swing);
  }
  return line("Meter", text);
}

std::string tuning_line(const take::Take& take) {
  const double cents = 1200.0 * std::log2(take.a4_hz / 440.0);
  const auto rounded = static_cast<int>(std::lround(cents));
  std::string text =
      rounded == 0 ? "at concert pitch"
                   : fmt::format("{} cent{} {}", std::abs(rounded),
                                 std::abs(rounded) == 1 ? "" : "s", rounded > 0 ? "sharp" : "flat");
  text += fmt::format(" (A4 = {:.1f} Hz)", take.a4_hz);
  if (take.notes.empty() && take.tuning_state == take::State::proposed) {
    text = "not measured: there are no notes to measure it on";
  }
  return line("Tuning", text);
}

std::string key_lines(const take::Take& take) {
  std::string text = line("Key", take.key ? theory::key_text(*key_of(take)) : "not found");
  if (!take.form.empty()) text += line("Form", take.form) + form_numerals(take, numerals_indent);
  return text;
}

std::string chord_line(const take::Take& take) {
  const auto changes = static_cast<std::size_t>(std::ranges::count_if(
      take.chords, [](const take::ChordSpan& span) { return span.chord.root_pc.has_value(); }));
  if (changes == 0) return line("Chords", "none were found");
  const bool is_implied = std::ranges::all_of(take.chords, [](const take::ChordSpan& span) {
    return span.is_implied || !span.chord.root_pc;
  });
  std::string text = std::to_string(changes);
  if (is_implied) text += "; only the line implies them, nothing sounds above it";
  return line("Chords", text);
}

/// "about 3", rounded to what the sum can tell.
std::string about(double count) {
  if (count < 0.5) return "less than one";
  if (count < 20.0) return fmt::format("about {:.0f}", count);
  if (count < 100.0) return fmt::format("about {:.0f}", 5.0 * std::round(count / 5.0));
  return fmt::format("about {:.0f}", 10.0 * std::round(count / 10.0));
}

struct DoubtPlace {
  std::int64_t time_samples = 0;
  double confidence = 0.0;
};

/// "3 notes, at: b2:3 b7:1 b9:4", or the worst of more.
std::string doubts_text(const take::Take& take, std::vector<DoubtPlace> doubts,
                        std::string_view one, std::string_view many, int most_places) {
  std::string text = counted(doubts.size(), one, many);
  const auto most = static_cast<std::size_t>(std::max(0, most_places));
  if (most == 0) return text;
  const bool has_more = doubts.size() > most;
  if (has_more) {
    std::ranges::stable_sort(doubts, {}, &DoubtPlace::confidence);
    doubts.resize(most);
  }
  std::vector<std::string> places;
  places.reserve(doubts.size());
  for (const DoubtPlace& doubt : doubts) places.push_back(place_text(take, doubt.time_samples));
  return text + fmt::format(", {}: {}", has_more ? "worst first" : "at", fmt::join(places, " "));
}

std::string doubt_lines(const take::Take& take, const SummaryOptions& options) {
  std::vector<DoubtPlace> notes;
  for (const take::Note& note : take.notes) {
    if (take::is_doubt(note, options.doubt_threshold)) {
      notes.push_back({note.onset_samples, std::min(note.confidence, note.octave_margin)});
    }
  }
  std::vector<DoubtPlace> chords;
  for (const take::ChordSpan& span : take.chords) {
    if (span.chord.root_pc && take::is_doubt(span, options.doubt_threshold)) {
      chords.push_back({span.begin_samples, span.confidence});
    }
  }
  std::vector<std::string> texts;
  if (!notes.empty()) {
    texts.push_back(
        doubts_text(take, std::move(notes), "note", "notes", options.worst_doubt_count));
  }
  if (!chords.empty()) {
    texts.push_back(
        doubts_text(take, std::move(chords), "chord", "chords", options.worst_doubt_count));
  }
  if (texts.empty()) return take.notes.empty() ? "" : line("Doubts", "none");
  return line("Doubts", texts.front()) + (texts.size() > 1 ? line("", texts.back()) : "");
}

std::string note_lines(const take::Take& take) {
  if (take.notes.empty()) return line("Notes", "no low line was found");
  std::size_t dead = 0;
  std::size_t confirmed = 0;
  std::size_t off_neck = 0;
  bool is_fingered = false;
  double expected_wrong = 0.0;
  for (const take::Note& note : take.notes) {
    dead += note.is_dead ? 1U : 0U;
    off_neck += note.position ? 0U : 1U;
    is_fingered = is_fingered || note.position.has_value();
    if (note.state == take::State::confirmed) {
      ++confirmed;
      continue;
    }
    expected_wrong += std::clamp(1.0 - note.confidence, 0.0, 1.0);
  }
  std::string notes = std::to_string(take.notes.size());
  if (dead > 0) notes += fmt::format(", {} dead", dead);
  if (confirmed > 0) notes += fmt::format(", {} confirmed", confirmed);
  if (is_fingered && off_neck > 0) notes += fmt::format(", {} not on this neck", off_neck);
  if (take.octave_shift != 0) {
    notes += fmt::format(
        ", written {} higher than they sound in the recording",
        counted(static_cast<std::size_t>(std::abs(take.octave_shift)), "octave", "octaves"));
  }
  std::string text = line("Notes", notes);
  if (confirmed < take.notes.size()) {
    text += line("Expected", fmt::format("{} of the {} wrong", about(expected_wrong),
                                         counted(take.notes.size() - confirmed, "unconfirmed note",
                                                 "unconfirmed notes")));
  }
  return text;
}

}  // namespace

std::string place_text(const take::Take& take, std::int64_t time_samples) {
  const take::Beat* nearest = take::nearest_beat(take, time_samples);
  if (nearest == nullptr || take.beats.size() < 2) return take::format_place(time_samples, take);
  const take::Beat* after = nearest == &take.beats.back() ? nearest : nearest + 1;
  const auto beat_samples = static_cast<double>(after->time_samples - (after - 1)->time_samples);
  const auto off = static_cast<double>(std::abs(time_samples - nearest->time_samples));
  if (off <= on_the_beat * beat_samples) return take::format_place(nearest->time_samples, take);
  auto position = take::bar_position(take, static_cast<double>(time_samples));
  if (!position) return take::format_place(time_samples, take);
  position->beat = std::round(position->beat * 10.0) / 10.0;
  const auto rounded = take::sample_at(take, *position);
  return take::format_place(rounded ? std::llround(*rounded) : time_samples, take);
}

std::string render_summary(const take::Take& take, const SummaryOptions& options) {
  return tempo_line(take) + meter_line(take) + tuning_line(take) + key_lines(take) +
         chord_line(take) + note_lines(take) + doubt_lines(take, options);
}

}  // namespace lowstride::sheet
