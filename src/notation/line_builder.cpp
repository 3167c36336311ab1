#include "src/notation/line_builder.hpp"

#include <algorithm>
#include <tuple>

#include <fmt/format.h>

#include "src/neck/named_necks.hpp"
#include "src/take/validate.hpp"

namespace lowstride::notation {
namespace {

/// Octaves that the line was moved by so that every position sounds its note, if one number does.
std::optional<int> octaves_of(const take::Take& take, const neck::Neck& neck) {
  constexpr int most_octaves = 3;
  take::Take trial;
  trial.neck = neck;
  for (int shift = 0; shift <= most_octaves; ++shift) {
    trial.octave_shift = shift;
    const bool is_right = std::ranges::all_of(take.notes, [&](const take::Note& note) {
      return !note.position || take::is_playable_at(trial, note, *note.position);
    });
    if (is_right) return shift;
  }
  return std::nullopt;
}

bool holds(const neck::Neck& neck, const take::Take& take) {
  return std::ranges::all_of(take.notes, [&](const take::Note& note) {
    return note.is_dead ||
           (note.midi >= neck::lowest_midi(neck) && note.midi <= neck::highest_midi(neck));
  });
}

neck::Neck neck_for(const take::Take& take) {
  const bool has_positions = std::ranges::any_of(
      take.notes, [](const take::Note& note) { return note.position.has_value(); });
  if (has_positions) {
    for (const neck::Neck& neck : neck::named_necks()) {
      if (octaves_of(take, neck)) return neck;
    }
  }
  for (const char* name : {"bass", "bass5", "guitar"}) {
    const auto neck = neck::find_neck(name);
    if (neck && holds(*neck, take)) return *neck;
  }
  return {};
}

}  // namespace

std::string counted_notes(std::size_t count) {
  return fmt::format("{} note{}", count, count == 1 ? "" : "s");
}

void add_line(ReadTake& read, std::vector<ReadNote> notes, std::int64_t together_samples) {
  std::ranges::stable_sort(notes, [](const ReadNote& a, const ReadNote& b) {
    return std::tie(a.onset_samples, a.midi) < std::tie(b.onset_samples, b.midi);
  });
  std::vector<ReadNote> line;
  std::size_t left_out = 0;
  for (const ReadNote& note : notes) {
    if (note.offset_samples <= note.onset_samples) {
      ++left_out;
      continue;
    }
    if (line.empty() || note.onset_samples > line.back().onset_samples + together_samples) {
      line.push_back(note);
      continue;
    }
    ++left_out;
    if (note.midi < line.back().midi) line.back() = note;
  }
  for (std::size_t i = 0; i < line.size(); ++i) {
    take::Note& made = read.take.notes.emplace_back();
    made.onset_samples = line[i].onset_samples;
    made.offset_samples = line[i].offset_samples;
    if (i + 1 < line.size()) {
      made.offset_samples = std::min(made.offset_samples, line[i + 1].onset_samples);
    }
    made.midi = line[i].midi;
    made.acoustic_midi = line[i].midi;
    made.is_dead = line[i].is_dead;
    made.state = line[i].state;
    made.confidence = line[i].confidence;
    made.position = line[i].position;
  }
  if (left_out > 0) {
    read.remarks.push_back(fmt::format(
        "A line is one note at a time: {} that began together with a lower one {} left out.",
        counted_notes(left_out), left_out == 1 ? "is" : "are"));
  }
}

void settle_neck(ReadTake& read, const ReadOptions& options,
                 const std::optional<neck::Neck>& from_file) {
  take::Take& take = read.take;
  take.neck = options.neck ? *options.neck : from_file ? *from_file : neck_for(take);
  take.voice = take.neck.open_midi.front() >= 35 ? take::Voice::guitar : take::Voice::bass;
  take.octave_shift = octaves_of(take, take.neck).value_or(0);
  std::size_t dropped = 0;
  for (take::Note& note : take.notes) {
    if (!note.position) continue;
    // Who wrote it down chose it.
    note.is_position_pinned = take::is_playable_at(take, note, *note.position);
    if (note.is_position_pinned) continue;
    note.position.reset();
    ++dropped;
  }
  if (dropped > 0) {
    read.remarks.push_back(
        fmt::format("{}: string and fret do not give the pitch on this neck ({}) and are left out.",
                    counted_notes(dropped), take.neck.name));
  }
}

Result<ReadTake> finished(ReadTake read, const std::filesystem::path& path) {
  take::Take& take = read.take;
  take.time_base_hz = read_time_base_hz;
  std::int64_t length = take.length_samples;
  if (!take.notes.empty()) length = std::max(length, take.notes.back().offset_samples);
  if (!take.stabs.empty()) length = std::max(length, take.stabs.back().offset_samples);
  if (!take.beats.empty()) length = std::max(length, take.beats.back().time_samples);
  if (!take.chords.empty()) length = std::max(length, take.chords.back().end_samples);
  for (const take::Passage& passage : take.passages) {
    length = std::max(length, passage.end_samples);
  }
  take.length_samples = length;
  take.next_id = 1;
  for (take::Note& note : take.notes) note.id = take::NoteId{take.next_id++};
  for (take::Beat& beat : take.beats) beat.id = take::BeatId{take.next_id++};
  for (take::ChordSpan& chord : take.chords) chord.id = take::ChordId{take.next_id++};
  for (take::Passage& passage : take.passages) passage.id = take::PassageId{take.next_id++};
  take.title = take::to_plain_text(take.title);
  take.composer = take::to_plain_text(take.composer);
  if (const auto checked = take::check_take(take); !checked) {
    return fail(ErrorCode::damaged, fmt::format("'{}' cannot be read as a line: {}", path.string(),
                                                checked.error().message));
  }
  return read;
}

}  // namespace lowstride::notation
