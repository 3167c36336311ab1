#include <algorithm>
#include <cctype>
#include <cmath>
#include <map>
#include <set>

#include <fmt/format.h>

#include "src/base/atomic_file.hpp"
#include "src/notation/line_builder.hpp"
#include "src/notation/read.hpp"
#include "src/notation/standard_midi_file.hpp"
#include "src/notation/written_grid.hpp"
#include "src/take/proposals.hpp"
#include "src/take/validate.hpp"
#include "src/theory/chord_label.hpp"

namespace lowstride::notation {
namespace {

constexpr int drum_channel = 9;  // channel 10 (General MIDI 1)

/// Seconds of a tick under the file's tempos.
class Clock {
 public:
  explicit Clock(const SmfFile& file) : file_(file) {
    double seconds = 0.0;
    std::int64_t tick = 0;
    int tempo = 500000;  // 120 a minute until the file says otherwise (Standard MIDI Files 1.0)
    steps_.push_back({0, 0.0, tempo});
    for (const SmfTempo& change : file.tempos) {
      seconds += seconds_of(change.tick - tick, tempo);
      tick = change.tick;
      tempo = change.microseconds_a_quarter;
      steps_.push_back({tick, seconds, tempo});
    }
  }
  [[nodiscard]] double seconds(double tick) const {
    if (file_.ticks_a_quarter == 0) return tick / file_.ticks_a_second;
    auto step = std::ranges::upper_bound(
        steps_, tick, {}, [](const Step& one) { return static_cast<double>(one.tick); });
    --step;
    return step->seconds + seconds_of(tick - static_cast<double>(step->tick), step->tempo);
  }

 private:
  struct Step {
    std::int64_t tick;
    double seconds;
    int tempo;
  };
  [[nodiscard]] double seconds_of(double ticks, int tempo) const {
    return file_.ticks_a_quarter == 0 ? 0.0 : ticks * 1e-6 * tempo / file_.ticks_a_quarter;
  }
  [[nodiscard]] double seconds_of(std::int64_t ticks, int tempo) const {
    return seconds_of(static_cast<double>(ticks), tempo);
  }
  const SmfFile& file_;
  std::vector<Step> steps_;
};

/// The notes of one track and channel.
struct Part {
  std::size_t track = 0;
  int channel = 0;
  std::string name;
  bool is_bass = false;
  std::vector<SmfNote> notes;
};

bool says_bass(std::string text) {
  std::ranges::transform(text, text.begin(),
                         [](unsigned char letter) { return std::tolower(letter); });
  return text.find("bass") != std::string::npos;
}

std::vector<Part> parts_of(const SmfFile& file) {
  std::vector<Part> parts;
  for (std::size_t i = 0; i < file.tracks.size(); ++i) {
    const SmfTrack& track = file.tracks[i];
    std::map<int, std::vector<SmfNote>> by_channel;
    for (const SmfNote& note : track.notes) {
      if (note.channel != drum_channel) by_channel[note.channel].push_back(note);
    }
    for (auto& [channel, notes] : by_channel) {
      const auto program = track.programs[static_cast<std::size_t>(channel)];
      // Programs 33 to 40, counted from one, are basses (General MIDI 1).
      const bool is_bass = (program && *program >= 32 && *program <= 39) || says_bass(track.name);
      parts.push_back({i, channel, take::to_plain_text(track.name), is_bass, std::move(notes)});
    }
  }
  return parts;
}

double middle_pitch(const Part& part) {
  std::vector<int> pitches;
  pitches.reserve(part.notes.size());
  for (const SmfNote& note : part.notes) pitches.push_back(note.midi);
  const auto middle = pitches.begin() + static_cast<std::ptrdiff_t>(pitches.size() / 2);
  std::nth_element(pitches.begin(), middle, pitches.end());
  return *middle;
}

/// The low line: a bass before others, then the lower one.
std::size_t low_part(const std::vector<Part>& parts) {
  std::size_t best = 0;
  for (std::size_t i = 1; i < parts.size(); ++i) {
    const bool is_better = parts[i].is_bass != parts[best].is_bass
                               ? parts[i].is_bass
                               : middle_pitch(parts[i]) < middle_pitch(parts[best]);
    if (is_better) best = i;
  }
  return best;
}

/// Bars and beats of the file's meters until `end_tick` is reached and its bar is full.
Result<std::vector<WrittenBar>> bars_of(const SmfFile& file, std::int64_t end_tick) {
  std::vector<SmfMeter> meters = file.meters;
  if (meters.empty() || meters.front().tick > 0) meters.insert(meters.begin(), SmfMeter{});
  std::vector<WrittenBar> bars;
  std::size_t beat_count = 0;
  for (std::size_t i = 0; i < meters.size(); ++i) {
    const bool is_last = i + 1 == meters.size();
    const double until = static_cast<double>(is_last ? end_tick : meters[i + 1].tick);
    double at = static_cast<double>(meters[i].tick);
    // Of several meters at one place the last one counts.
    if (!is_last && at >= until) continue;
    const auto unit = beat_unit(meters[i].numerator, meters[i].denominator);
    if (!unit) {
      return fail(ErrorCode::unsupported,
                  fmt::format("a bar of {}/{} has more beats than a take counts; give it a shorter "
                              "meter",
                              meters[i].numerator, meters[i].denominator));
    }
    const double beat_ticks = unit->quarters * file.ticks_a_quarter;
    constexpr double hair = 1e-6;
    while (at < until - hair || bars.empty()) {
      WrittenBar& bar = bars.emplace_back();
      bar.usual_beat_count = unit->beats_a_bar;
      for (int beat = 0; beat < unit->beats_a_bar; ++beat) {
        if (!is_last && at >= until - hair) break;
        bar.beat_places.push_back(at);
        at += beat_ticks;
        if (++beat_count > take::most_beats) {
          return fail(ErrorCode::unsupported, "it is longer than a take can be; cut it");
        }
      }
      if (!is_last) at = std::min(at, until);
      bar.end_place = at;
    }
  }
  return bars;
}

/// Whether markers name chords: one of them at least must be more than a letter, which might as
/// well be a rehearsal mark.
bool are_chords(const std::vector<SmfText>& markers) {
  std::size_t chords = 0;
  bool is_plain = false;
  for (const SmfText& marker : markers) {
    if (!theory::parse_chord(marker.text)) continue;
    ++chords;
    is_plain = is_plain || marker.text.size() > 1;
  }
  return is_plain && 2 * chords >= markers.size();
}

class MidiReader {
 public:
  MidiReader(const SmfFile& file, const ReadOptions& options)
      : file_(file), options_(options), clock_(file) {}

  [[nodiscard]] Result<ReadTake> read(const std::filesystem::path& path) {
    for (const std::string& sentence : file_.damages) read_.remarks.push_back(sentence);
    const auto parts = parts_of(file_);
    if (parts.empty() && !file_.damages.empty()) {
      return fail(
          ErrorCode::damaged,
          fmt::format("'{}' breaks off before its first note; export it again from where it "
                      "came.",
                      path.string()));
    }
    if (parts.empty()) {
      return fail(
          ErrorCode::unsupported,
          fmt::format("'{}' has no notes (drums do not count); name another file.", path.string()));
    }
    std::size_t chosen = low_part(parts);
    if (options_.part) {
      if (*options_.part < 1 || static_cast<std::size_t>(*options_.part) > parts.size()) {
        return fail(ErrorCode::invalid_argument,
                    fmt::format("'{}' has {} tracks with notes; name one of them with --part.",
                                path.string(), parts.size()));
      }
      chosen = static_cast<std::size_t>(*options_.part - 1);
    } else if (parts.size() > 1) {
      read_.remarks.push_back(fmt::format(
          "Track {} of the {} with notes was read{}; --part reads another.", chosen + 1,
          parts.size(),
          parts[chosen].name.empty() ? "" : fmt::format(" ('{}')", parts[chosen].name)));
    }
    if (const auto done = add_grid(parts[chosen]); !done) {
      return fail(done.error().code,
                  fmt::format("'{}' cannot be read: {}.", path.string(), done.error().message));
    }
    add_notes(parts[chosen]);
    add_facts(path);
    settle_neck(read_, options_, std::nullopt);
    return finished(std::move(read_), path);
  }

 private:
  /// A tick as samples. Within a beat, time is spread evenly: places in bars are kept.
  [[nodiscard]] std::int64_t samples(std::int64_t tick) const {
    if (!grid_.is_empty()) return grid_.samples(static_cast<double>(tick));
    return take::to_samples(clock_.seconds(static_cast<double>(tick)), read_time_base_hz);
  }

  [[nodiscard]] Result<void> add_grid(const Part& part) {
    end_tick_ = 0;
    for (const SmfNote& note : part.notes) end_tick_ = std::max(end_tick_, note.off_tick);
    constexpr double most_seconds = 24.0 * 3600.0;
    if (clock_.seconds(static_cast<double>(end_tick_)) > most_seconds) {
      return fail(ErrorCode::unsupported, "it is longer than a take can be; cut it");
    }
    if (file_.ticks_a_quarter == 0) {
      read_.remarks.emplace_back(
          "The file counts seconds, not beats: it is read without bars; set beats with lowstride "
          "edit.");
      return {};
    }
    auto bars = bars_of(file_, end_tick_);
    if (!bars) return tl::unexpected(bars.error());
    for (const SmfMeter& meter : file_.meters) {
      if (meter.denominator > 4) {
        read_.remarks.push_back(fmt::format("{}/{}: each {} of a whole note is read as a beat.",
                                            meter.numerator, meter.denominator,
                                            fmt::format("{}th", meter.denominator)));
        break;
      }
    }
    grid_ = WrittenGrid(std::move(*bars), [this](double tick) { return clock_.seconds(tick); });
    grid_.add_to(read_.take);
    return {};
  }

  void add_notes(const Part& part) {
    std::vector<ReadNote> notes;
    for (const SmfNote& note : part.notes) {
      ReadNote& made = notes.emplace_back();
      made.onset_samples = samples(note.on_tick);
      made.offset_samples = std::max(samples(note.off_tick), made.onset_samples + 1);
      made.midi = note.midi;
    }
    // Hands and files are not exact: what begins within 15 ms begins together.
    add_line(read_, std::move(notes), read_time_base_hz * 15 / 1000);
  }

  void add_facts(const std::filesystem::path& path) {
    take::Take& take = read_.take;
    const SmfTrack& first = file_.tracks.front();
    take.title = first.notes.empty() && !first.name.empty() ? first.name : path.stem().string();
    if (!file_.keys.empty()) {
      const SmfKey& key = file_.keys.front();
      const int tonic = ((7 * key.sharps + (key.is_minor ? 9 : 0)) % 12 + 12) % 12;
      take.key = take::Key{tonic, key.is_minor, take::State::confirmed, 1.0};
    }
    take.length_samples = std::max(take.length_samples, samples(end_tick_));
    const bool has_chords = are_chords(file_.markers);
    if (has_chords) add_chords();
    add_passages(file_.cues);
    if (!has_chords) add_passages(file_.markers);
  }

  void add_chords() {
    take::Take& take = read_.take;
    for (const SmfText& marker : file_.markers) {
      const auto chord = theory::parse_chord(marker.text);
      if (!chord) continue;
      const std::int64_t begin = samples(marker.tick);
      if (begin >= take.length_samples) break;
      if (!take.chords.empty()) {
        if (take.chords.back().begin_samples >= begin) take.chords.pop_back();
        if (!take.chords.empty()) take.chords.back().end_samples = begin;
      }
      take::ChordSpan& span = take.chords.emplace_back();
      span.begin_samples = begin;
      span.end_samples = take.length_samples;
      span.chord = chord->chord;
      if (!chord->is_exact) span.written = take::to_plain_text(marker.text);
      span.state = take::State::confirmed;
      span.confidence = 1.0;
    }
  }

  /// Each reaches to the next one.
  void add_passages(const std::vector<SmfText>& texts) {
    take::Take& take = read_.take;
    for (std::size_t i = 0; i < texts.size() && i < take::most_passages; ++i) {
      const std::int64_t begin = samples(texts[i].tick);
      const std::int64_t end =
          i + 1 < texts.size() ? samples(texts[i + 1].tick) : take.length_samples;
      if (end > begin) add_passage(take, texts[i].text, begin, end);
    }
    std::ranges::stable_sort(take.passages, [](const take::Passage& a, const take::Passage& b) {
      return std::pair(a.begin_samples, a.end_samples) < std::pair(b.begin_samples, b.end_samples);
    });
  }

  const SmfFile& file_;
  const ReadOptions& options_;
  Clock clock_;
  WrittenGrid grid_;
  ReadTake read_;
  std::int64_t end_tick_ = 0;
};

}  // namespace

Result<ReadTake> read_midi(const std::filesystem::path& path, const ReadOptions& options) {
  const auto bytes = read_small_file(path, most_file_bytes);
  if (!bytes) return tl::unexpected(bytes.error());
  const auto file = parse_smf(*bytes, path.string());
  if (!file) return tl::unexpected(file.error());
  return MidiReader(*file, options).read(path);
}

}  // namespace lowstride::notation
