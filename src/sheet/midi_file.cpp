#include <algorithm>
#include <array>
#include <cmath>

#include <fmt/format.h>

#include "src/base/atomic_file.hpp"
#include "src/neck/named_necks.hpp"
#include "src/sheet/export.hpp"
#include "src/sheet/grid.hpp"
#include "src/sheet/written_pitch.hpp"
#include "src/take/harmony.hpp"
#include "src/take/time_text.hpp"

namespace lowstride::sheet {
namespace {

constexpr std::int64_t ticks_per_beat = 960;
constexpr int line_velocity = 96;
constexpr int dead_velocity = 40;
constexpr int stab_velocity = 80;
/// General MIDI programs, counted from zero (General MIDI 1, 1991).
constexpr int fingered_bass_program = 33;
constexpr int jazz_guitar_program = 26;

/// An event with its time; at one tick those of a smaller order come first.
struct Event {
  std::int64_t tick = 0;
  int order = 0;
  std::string bytes;
};

void append_big_endian(std::string& bytes, std::uint32_t value, int byte_count) {
  for (int shift = 8 * (byte_count - 1); shift >= 0; shift -= 8) {
    bytes += static_cast<char>((value >> static_cast<unsigned>(shift)) & 0xFFU);
  }
}

/// Seven bits a byte, highest first, all but the last with the top bit set.
void append_variable_length(std::string& bytes, std::int64_t value) {
  auto left = static_cast<std::uint32_t>(std::clamp<std::int64_t>(value, 0, 0x0FFFFFFF));
  std::string reversed(1, static_cast<char>(left & 0x7FU));
  while ((left >>= 7U) != 0U) reversed += static_cast<char>((left & 0x7FU) | 0x80U);
  bytes.append(reversed.rbegin(), reversed.rend());
}

std::string meta(int type, std::string_view data) {
  std::string bytes{static_cast<char>(0xFF), static_cast<char>(type)};
  append_variable_length(bytes, static_cast<std::int64_t>(data.size()));
  bytes += data;
  return bytes;
}

std::string tempo(std::int64_t microseconds_a_beat) {
  std::string data;
  const auto limited = std::clamp<std::int64_t>(microseconds_a_beat, 1, 0xFFFFFF);
  append_big_endian(data, static_cast<std::uint32_t>(limited), 3);
  return meta(0x51, data);
}

std::string time_signature(int beat_count) {
  // Quarter notes (2^2), 24 clocks a click, 8 thirty-seconds a quarter.
  return meta(0x58, std::string{static_cast<char>(std::clamp(beat_count, 1, 255)), 2, 24, 8});
}

std::string channel_message(int status, int first, int second) {
  return {static_cast<char>(status), static_cast<char>(std::clamp(first, 0, 127)),
          static_cast<char>(std::clamp(second, 0, 127))};
}

std::string track(std::vector<Event> events) {
  std::ranges::stable_sort(events, [](const Event& a, const Event& b) {
    return std::pair(a.tick, a.order) < std::pair(b.tick, b.order);
  });
  std::string body;
  std::int64_t now = 0;
  for (const Event& event : events) {
    append_variable_length(body, event.tick - now);
    now = event.tick;
    body += event.bytes;
  }
  body += '\0';
  body += meta(0x2F, "");
  std::string bytes = "MTrk";
  append_big_endian(bytes, static_cast<std::uint32_t>(body.size()), 4);
  return bytes + body;
}

/// How times become ticks: each beat of the grid has ticks_per_beat of them, and the stretch before
/// the first beat is cut into whole beats, so that times in the file are those of the recording.
class TempoMap {
 public:
  explicit TempoMap(const take::Take& take) : rate_(static_cast<double>(take.time_base_hz)) {
    std::vector<GridBeat> beats = written_grid(take);
    // Beats that a pick-up's grid was continued to may lie before the recording.
    const auto inside =
        std::ranges::find_if(beats, [](const GridBeat& beat) { return beat.time_samples >= 0; });
    beats.erase(beats.begin(), inside);
    if (beats.size() < 2) {
      const auto half_second = static_cast<std::int64_t>(std::llround(rate_ / 2.0));
      beats_ = {{0, 1, 1}, {half_second, 1, 2}};
      return;
    }
    has_grid_ = true;
    const std::int64_t lead = beats.front().time_samples;
    if (lead > 0) {
      const std::int64_t period = beats[1].time_samples - lead;
      lead_count_ = std::max<std::int64_t>(
          1, std::llround(static_cast<double>(lead) / static_cast<double>(period)));
      for (std::int64_t i = 0; i < lead_count_; ++i) {
        beats_.push_back({lead * i / lead_count_, 0, 1});
      }
    }
    beats_.insert(beats_.end(), beats.begin(), beats.end());
  }

  [[nodiscard]] std::int64_t tick(std::int64_t time_samples) const {
    const double position = beat_position(beats_, time_samples);
    return std::max<std::int64_t>(0, std::llround(position * static_cast<double>(ticks_per_beat)));
  }

  /// The tick of a place in a bar of the sheet.
  [[nodiscard]] std::int64_t tick(const SheetBar& bar, int tatums, double long_share) const {
    const auto beat = static_cast<std::size_t>(tatums / tatums_per_beat);
    const std::int64_t begin = tick(bar.beat_samples[beat]);
    const int rest = tatums % tatums_per_beat;
    if (rest == 0) return begin;
    const bool is_swung = bar.divisions[beat] == Division::halves && rest == tatums_per_beat / 2;
    const double share = is_swung ? long_share : static_cast<double>(rest) / tatums_per_beat;
    return begin + std::llround(share * static_cast<double>(ticks_per_beat));
  }

  /// One tempo for all, or one a beat.
  [[nodiscard]] std::vector<Event> tempo_events(const std::optional<double>& steady_bpm) const {
    if (steady_bpm) return {{0, 2, tempo(std::llround(60e6 / *steady_bpm))}};
    std::vector<Event> events;
    std::string before;
    for (std::size_t i = 0; i + 1 < beats_.size(); ++i) {
      // Differences of rounded times, so that rounding does not add up over a long take.
      std::string bytes =
          tempo(microseconds(beats_[i + 1].time_samples) - microseconds(beats_[i].time_samples));
      if (bytes == before) continue;
      events.push_back({static_cast<std::int64_t>(i) * ticks_per_beat, 2, bytes});
      before = std::move(bytes);
    }
    return events;
  }

  /// A time signature wherever the number of beats in a bar changes. What comes before the first
  /// downbeat is whole bars, the first of them shorter where that does not come out even.
  [[nodiscard]] std::vector<Event> meter_events(int beats_per_bar) const {
    std::vector<Event> events;
    if (!has_grid_) {
      events.push_back({0, 1, time_signature(beats_per_bar)});
      return events;
    }
    const auto bar_beats = static_cast<std::size_t>(std::max(1, beats_per_bar));
    std::size_t first_bar = static_cast<std::size_t>(lead_count_);
    while (first_bar + 1 < beats_.size() && beats_[first_bar].beat != 1) ++first_bar;
    std::vector<std::size_t> starts;
    if (first_bar % bar_beats != 0) starts.push_back(0);
    for (std::size_t i = first_bar % bar_beats; i <= first_bar; i += bar_beats) starts.push_back(i);
    for (std::size_t i = first_bar + 1; i < beats_.size(); ++i) {
      const bool is_new =
          beats_[i].bar != beats_[i - 1].bar || beats_[i].beat <= beats_[i - 1].beat;
      if (is_new) starts.push_back(i);
    }
    std::size_t before = 0;
    for (std::size_t i = 0; i + 1 < starts.size(); ++i) {
      const std::size_t count = starts[i + 1] - starts[i];
      if (count == before) continue;
      events.push_back({static_cast<std::int64_t>(starts[i]) * ticks_per_beat, 1,
                        time_signature(static_cast<int>(count))});
      before = count;
    }
    if (events.empty()) events.push_back({0, 1, time_signature(beats_per_bar)});
    return events;
  }

 private:
  [[nodiscard]] std::int64_t microseconds(std::int64_t time_samples) const {
    return std::llround(static_cast<double>(time_samples) / rate_ * 1e6);
  }

  double rate_;
  std::vector<GridBeat> beats_;
  std::int64_t lead_count_ = 0;
  bool has_grid_ = false;
};

std::string conductor_track(const take::Take& take, const TempoMap& map,
                            const std::optional<double>& steady_bpm) {
  std::vector<Event> events;
  if (!take.title.empty()) events.push_back({0, 0, meta(0x03, take.title)});
  for (auto& event : map.tempo_events(steady_bpm)) events.push_back(std::move(event));
  for (auto& event : map.meter_events(take.beats_per_bar)) events.push_back(std::move(event));
  const auto key = key_of(take);
  if (key) {
    const std::string data{static_cast<char>(theory::key_signature(*key)),
                           static_cast<char>(key->is_minor ? 1 : 0)};
    events.push_back({0, 3, meta(0x59, data)});
  }
  for (const take::ChordSpan& span : take.chords) {
    events.push_back({map.tick(span.begin_samples), 4, meta(0x06, chord_name(take, span))});
  }
  for (const take::Passage& passage : take.passages) {
    events.push_back({map.tick(passage.begin_samples), 5, meta(0x07, passage.name)});
  }
  return track(std::move(events));
}

/// A note of the line or, by its index, a stab.
struct TickNote {
  std::int64_t on = 0;
  std::int64_t off = 0;
  std::size_t index = 0;
};

/// Notes or stabs as they were played.
template <typename Sounds>
std::vector<TickNote> played(const Sounds& sounds, const TempoMap& map) {
  std::vector<TickNote> notes;
  notes.reserve(sounds.size());
  for (std::size_t i = 0; i < sounds.size(); ++i) {
    notes.push_back({map.tick(sounds[i].onset_samples), map.tick(sounds[i].offset_samples), i});
  }
  return notes;
}

/// Adds a piece where the sheet writes it: a new note, or more of the one before it.
template <typename Piece>
void add_written(const SheetBar& bar, const Piece& piece, std::size_t index, double long_share,
                 const TempoMap& map, std::vector<TickNote>& notes) {
  const std::int64_t off = map.tick(bar, piece.onset_tatums + piece.length_tatums, long_share);
  if (piece.is_tied_from_previous && !notes.empty()) {
    notes.back().off = off;
  } else {
    notes.push_back({map.tick(bar, piece.onset_tatums, long_share), off, index});
  }
}

/// Notes where the sheet writes them; those outside its bars as they were played.
std::vector<TickNote> written_notes(const take::Take& take, const SheetLayout& layout,
                                    const TempoMap& map) {
  const double long_share = long_share_of(layout.swing_ratio);
  std::vector<TickNote> notes;
  for (const SheetBar& bar : layout.bars) {
    for (const SheetNote& piece : bar.notes) {
      add_written(bar, piece, piece.note_index, long_share, map, notes);
    }
  }
  for (const std::size_t index : layout.unbarred) {
    notes.push_back({map.tick(take.notes[index].onset_samples),
                     map.tick(take.notes[index].offset_samples), index});
  }
  return notes;
}

std::vector<TickNote> written_stabs(const SheetLayout& layout, const TempoMap& map) {
  const double long_share = long_share_of(layout.swing_ratio);
  std::vector<TickNote> stabs;
  for (const SheetBar& bar : layout.bars) {
    for (const SheetStab& piece : bar.stabs) {
      add_written(bar, piece, piece.stab_index, long_share, map, stabs);
    }
  }
  return stabs;
}

/// The name and sound of a track, on a channel of its own.
std::vector<Event> track_head(std::string_view name, int channel, int program) {
  return {{0, 0, meta(0x03, name)},
          {0, 1, {static_cast<char>(0xC0 + channel), static_cast<char>(program)}}};
}

void add_note(const TickNote& placed, int channel, int midi, int velocity,
              std::vector<Event>& events) {
  events.push_back({placed.on, 3, channel_message(0x90 + channel, midi, velocity)});
  events.push_back(
      {std::max(placed.on + 1, placed.off), 2, channel_message(0x80 + channel, midi, 64)});
}

std::string line_track(const take::Take& take, const std::vector<TickNote>& notes) {
  const bool is_bass = is_bass_neck(take.neck);
  auto events = track_head(is_bass ? "Bass" : "Guitar", 0,
                           is_bass ? fingered_bass_program : jazz_guitar_program);
  // One guitar that plays both is heard in the octave of its strings.
  const int shift = take.stabs.empty() ? 0 : 12 * take.octave_shift;
  for (const TickNote& placed : notes) {
    const take::Note& note = take.notes[placed.index];
    add_note(placed, 0, note.midi + shift, note.is_dead ? dead_velocity : line_velocity, events);
  }
  return track(std::move(events));
}

std::string stab_track(const take::Take& take, const std::vector<TickNote>& stabs) {
  auto events = track_head("Guitar chords", 1, jazz_guitar_program);
  for (const TickNote& placed : stabs) {
    for (const neck::Position& place : take.stabs[placed.index].positions) {
      const int midi = neck::sounding_midi(take.neck, place.string_number, place.fret);
      add_note(placed, 1, midi, stab_velocity, events);
    }
  }
  return track(std::move(events));
}

}  // namespace

std::string midi_file(const take::Take& take, const MidiOptions& options) {
  const TempoMap map(take);
  const bool has_stabs = !take.stabs.empty();
  const SheetLayout layout = options.is_quantised ? lay_out(take) : SheetLayout{};
  const auto steady_bpm = options.is_steady ? median_tempo_bpm(take) : std::nullopt;
  std::string bytes = "MThd";
  append_big_endian(bytes, 6, 4);
  append_big_endian(bytes, 1, 2);                  // format
  append_big_endian(bytes, has_stabs ? 3 : 2, 2);  // tracks
  append_big_endian(bytes, static_cast<std::uint32_t>(ticks_per_beat), 2);
  const bool is_written = !layout.bars.empty();
  bytes += conductor_track(take, map, steady_bpm);
  bytes +=
      line_track(take, is_written ? written_notes(take, layout, map) : played(take.notes, map));
  if (has_stabs) {
    bytes += stab_track(take, is_written ? written_stabs(layout, map) : played(take.stabs, map));
  }
  return bytes;
}

Result<void> export_midi(const take::Take& take, const std::filesystem::path& path,
                         const MidiOptions& options) {
  return write_file_atomically(path, midi_file(take, options));
}

}  // namespace lowstride::sheet
