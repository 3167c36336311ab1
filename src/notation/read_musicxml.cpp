#include <algorithm>
#include <array>
#include <cmath>
#include <string_view>

#include <fmt/format.h>
#include <pugixml.hpp>

#include "src/base/atomic_file.hpp"
#include "src/neck/named_necks.hpp"
#include "src/notation/line_builder.hpp"
#include "src/notation/musicxml_part.hpp"
#include "src/notation/musicxml_voices.hpp"
#include "src/notation/read.hpp"
#include "src/notation/written_grid.hpp"
#include "src/sheet/grid.hpp"
#include "src/take/proposals.hpp"
#include "src/take/validate.hpp"

namespace lowstride::notation {
namespace {

constexpr std::size_t most_measures = 20000;
class ScoreReader {
 public:
  ScoreReader(XmlPart part, const ReadOptions& options)
      : part_(std::move(part)), options_(options) {}

  [[nodiscard]] Result<ReadTake> read(ReadTake begun, const std::filesystem::path& path) {
    read_ = std::move(begun);
    order_ = played_order(part_.measures, most_measures);
    if (order_.empty()) {
      return fail(
          ErrorCode::damaged,
          fmt::format("'{}' has no measures; export it again from where it came.", path.string()));
    }
    if (const auto done = add_grid(); !done) {
      return fail(done.error().code,
                  fmt::format("'{}' cannot be read: {}.", path.string(), done.error().message));
    }
    add_notes();
    add_chords();
    add_passages();
    read_.take.key = part_.key;
    // Written rhythm says how it swings; what is written even is even.
    read_.take.swing_ratio = part_.swing_ratio.value_or(1.0);
    add_remarks();
    settle_neck(read_, options_, part_.neck);
    add_stabs();
    return finished(std::move(read_), path);
  }

 private:
  [[nodiscard]] Result<void> add_grid() {
    std::vector<WrittenBar> bars;
    std::vector<std::pair<double, double>> tempos;  // place, quarters a minute
    double at = 0.0;
    std::size_t beat_count = 0;
    for (const std::size_t index : order_) {
      const XmlMeasure& measure = part_.measures[index];
      const auto unit = beat_unit(measure.beats, measure.beat_type);
      if (!unit) {
        return fail(ErrorCode::unsupported,
                    fmt::format("a bar of {}/{} has more beats than a take counts; give it a "
                                "shorter meter",
                                measure.beats, measure.beat_type));
      }
      const int held = static_cast<int>(std::ceil(measure.length / unit->quarters - same_place));
      int count = unit->beats_a_bar;
      if (held > count) {
        count = std::min(held, take::most_beats_per_bar);
        ++overfull_count_;
        if (first_overfull_ == 0) first_overfull_ = bars.size() + 1;
      } else if (held > 0 && held < count && (measure.is_implicit || bars.empty())) {
        count = held;
      }
      WrittenBar& bar = bars.emplace_back();
      bar.usual_beat_count = unit->beats_a_bar;
      bar.is_pickup = measure.is_implicit && bars.size() == 1;
      for (int beat = 0; beat < count; ++beat)
        bar.beat_places.push_back(at + beat * unit->quarters);
      bar.end_place = at + count * unit->quarters;
      beat_count += static_cast<std::size_t>(count);
      if (beat_count > take::most_beats) {
        return fail(ErrorCode::unsupported, "it is longer than a take can be; cut it");
      }
      for (const XmlTempo& tempo : measure.tempos) tempos.emplace_back(at + tempo.place, tempo.bpm);
      begins_.push_back(at);
      at = bar.end_place;
    }
    begins_.push_back(at);
    std::ranges::stable_sort(tempos, {}, [](const auto& tempo) { return tempo.first; });
    // 120 a minute until the file says otherwise, as MIDI has it.
    std::vector<std::array<double, 3>> steps{{0.0, 0.0, 120.0}};  // place, seconds, bpm
    for (const auto& [place, bpm] : tempos) {
      const auto& last = steps.back();
      steps.push_back({place, last[1] + (place - last[0]) * 60.0 / last[2], bpm});
    }
    grid_ = WrittenGrid(std::move(bars), [&steps](double place) {
      auto step = std::ranges::upper_bound(steps, place + same_place, {},
                                           [](const auto& one) { return one[0]; });
      --step;
      return (*step)[1] + (place - (*step)[0]) * 60.0 / (*step)[2];
    });
    grid_.add_to(read_.take);
    return {};
  }

  void add_notes() {
    std::vector<PlayedNote> notes;
    for (std::size_t i = 0; i < order_.size(); ++i) {
      for (const XmlNote& note : part_.measures[order_[i]].notes) {
        const double onset = begins_[i] + note.onset;
        if (onset < begins_[i + 1] - same_place) {
          notes.push_back({onset, onset + note.length, note});
        }
      }
    }
    auto whole = joined(std::move(notes));
    stabs_ = take_out_stabs(whole);
    const auto voice = one_voice(whole);
    find_swung_beats(voice);
    find_swung_beats(stabs_);
    std::vector<ReadNote> line;
    for (const PlayedNote& note : voice) {
      ReadNote& made = line.emplace_back();
      made.onset_samples = grid_.samples(swung(note.onset));
      made.offset_samples = std::max(grid_.samples(swung(note.end)), made.onset_samples + 1);
      made.midi = note.note.midi;
      made.is_dead = note.note.is_dead;
      made.position = note.note.position;
    }
    add_line(read_, std::move(line), 0);
  }

  /// Stabs whose places sound on this neck what they sounded in the file; the others are counted.
  void add_stabs() {
    take::Take& take = read_.take;
    std::size_t dropped = 0;
    for (std::size_t i = 0; i < stabs_.size(); ++i) {
      const PlayedStab& played = stabs_[i];
      double end = played.end;
      if (i + 1 < stabs_.size()) end = std::min(end, stabs_[i + 1].onset);
      take::Stab stab;
      stab.onset_samples = grid_.samples(swung(played.onset));
      stab.offset_samples = std::max(grid_.samples(swung(end)), stab.onset_samples + 1);
      bool sounds_alike = true;
      for (const XmlNote& note : played.strings) {
        const neck::Position& place = *note.position;
        sounds_alike = sounds_alike && place.string_number <= take.neck.string_count() &&
                       place.fret <= neck::last_fret(take.neck) &&
                       neck::sounding_midi(take.neck, place.string_number, place.fret) == note.midi;
        stab.positions.push_back(place);
      }
      if (sounds_alike) {
        take.stabs.push_back(std::move(stab));
      } else {
        ++dropped;
      }
    }
    if (dropped > 0) {
      read_.remarks.push_back(fmt::format(
          "{} stab{} not lie on this neck ({}) as in the file and {} left out.", dropped,
          dropped == 1 ? " does" : "s do", take.neck.name, dropped == 1 ? "is" : "are"));
    }
  }

  /// A beat swings whose notes begin and end nowhere but on it and half way through it.
  template <typename Sounds>
  void find_swung_beats(const Sounds& voice) {
    if (!part_.swing_ratio) return;
    const auto look_at = [this](double place) {
      const double share = place - std::floor(place + same_place);
      const auto beat = static_cast<std::size_t>(std::floor(place + same_place));
      if (beat >= is_even_.size()) is_even_.resize(beat + 1, false);
      if (!is_same_place(share, 0.0) && !is_same_place(share, 0.5)) is_even_[beat] = true;
    };
    for (const auto& note : voice) {
      look_at(note.onset);
      look_at(note.end);
    }
  }

  /// Where a written place sounds: the second of two swung eighths comes late.
  [[nodiscard]] double swung(double place) const {
    if (!part_.swing_ratio) return place;
    const auto beat = static_cast<std::size_t>(std::floor(place + same_place));
    const double share = place - static_cast<double>(beat);
    if (!is_same_place(share, 0.5) || (beat < is_even_.size() && is_even_[beat])) return place;
    return static_cast<double>(beat) + sheet::long_share_of(part_.swing_ratio);
  }

  void add_chords() {
    take::Take& take = read_.take;
    for (std::size_t i = 0; i < order_.size(); ++i) {
      for (const XmlHarmony& harmony : part_.measures[order_[i]].harmonies) {
        const std::int64_t begin = grid_.samples(begins_[i] + harmony.place);
        if (begin >= take.length_samples) continue;
        if (!take.chords.empty()) {
          take::ChordSpan& last = take.chords.back();
          if (begin < last.begin_samples) continue;
          if (last.begin_samples == begin) {
            take.chords.pop_back();
          } else {
            last.end_samples = begin;
          }
        }
        take::ChordSpan& span = take.chords.emplace_back();
        span.begin_samples = begin;
        span.end_samples = take.length_samples;
        span.chord = harmony.chord;
        span.written = take::to_plain_text(harmony.written);
        span.state = take::State::confirmed;
        span.confidence = 1.0;
      }
    }
  }

  /// A rehearsal mark names the stretch up to the next one.
  void add_passages() {
    take::Take& take = read_.take;
    for (std::size_t i = 0; i < order_.size(); ++i) {
      for (const std::string& name : part_.measures[order_[i]].rehearsals) {
        if (take.passages.size() >= take::most_passages) return;
        const std::int64_t begin = grid_.samples(begins_[i]);
        for (take::Passage& before : take.passages) {
          if (before.end_samples > begin && before.begin_samples < begin)
            before.end_samples = begin;
        }
        add_passage(take, name, begin, take.length_samples);
      }
    }
  }

  void add_remarks() {
    auto& remarks = read_.remarks;
    if (overfull_count_ > 0) {
      remarks.push_back(fmt::format(
          "{} bar{} hold{} more than {} meter, the first of them bar {}; {} read as long as {} "
          "{}.",
          overfull_count_, overfull_count_ == 1 ? "" : "s", overfull_count_ == 1 ? "s" : "",
          overfull_count_ == 1 ? "its" : "their", first_overfull_,
          overfull_count_ == 1 ? "it was" : "they were", overfull_count_ == 1 ? "it" : "they",
          overfull_count_ == 1 ? "is" : "are"));
    }
    if (part_.grace_count > 0) {
      remarks.push_back(fmt::format("{} grace note{} left out.", part_.grace_count,
                                    part_.grace_count == 1 ? " was" : "s were"));
    }
    if (part_.unknown_chord_count > 0) {
      remarks.push_back(fmt::format("{} chord{} no name that is known here and {} left out.",
                                    part_.unknown_chord_count,
                                    part_.unknown_chord_count == 1 ? " has" : "s have",
                                    part_.unknown_chord_count == 1 ? "was" : "were"));
    }
    if (part_.has_jumps) {
      remarks.emplace_back(
          "Jumps (D.C., D.S., coda) are not followed; the measures were read as they stand.");
    }
  }

  XmlPart part_;
  const ReadOptions& options_;
  ReadTake read_;
  std::vector<PlayedStab> stabs_;
  std::vector<std::size_t> order_;
  std::vector<double> begins_;  // of each played measure, and the end; in quarters
  std::vector<bool> is_even_;   // of each beat, in quarters
  WrittenGrid grid_;
  std::size_t overfull_count_ = 0;
  std::size_t first_overfull_ = 0;
};

double middle_pitch(const pugi::xml_node& part) {
  const XmlPart read = read_part(part);
  std::vector<int> pitches;
  for (const XmlMeasure& measure : read.measures) {
    for (const XmlNote& note : measure.notes) pitches.push_back(note.midi);
  }
  if (pitches.empty()) return 1000.0;
  const auto middle = pitches.begin() + static_cast<std::ptrdiff_t>(pitches.size() / 2);
  std::nth_element(pitches.begin(), middle, pitches.end());
  return *middle;
}

/// The asked part, else the low one.
Result<pugi::xml_node> chosen_part(const pugi::xml_node& score, const ReadOptions& options,
                                   const std::filesystem::path& path, ReadTake& read) {
  std::vector<pugi::xml_node> parts;
  for (const pugi::xml_node part : score.children("part")) parts.push_back(part);
  if (parts.empty()) {
    return fail(
        ErrorCode::damaged,
        fmt::format("'{}' has no part; export it again from where it came.", path.string()));
  }
  if (options.part) {
    if (*options.part < 1 || static_cast<std::size_t>(*options.part) > parts.size()) {
      return fail(ErrorCode::invalid_argument,
                  fmt::format("'{}' has {} parts; name one of them with --part.", path.string(),
                              parts.size()));
    }
    return parts[static_cast<std::size_t>(*options.part - 1)];
  }
  std::size_t best = 0;
  for (std::size_t i = 1; i < parts.size(); ++i) {
    if (middle_pitch(parts[i]) < middle_pitch(parts[best])) best = i;
  }
  if (parts.size() > 1) {
    read.remarks.push_back(fmt::format("Part {} of {}, the lowest, was read; --part reads another.",
                                       best + 1, parts.size()));
  }
  return parts[best];
}

}  // namespace

Result<ReadTake> read_musicxml(const std::filesystem::path& path, const ReadOptions& options) {
  const auto bytes = read_small_file(path, most_file_bytes);
  if (!bytes) return tl::unexpected(bytes.error());
  pugi::xml_document document;
  // The library neither resolves entities that a file declares nor opens another file.
  const auto parsed = document.load_buffer(bytes->data(), bytes->size());
  const pugi::xml_node score = document.child("score-partwise");
  if (document.child("score-timewise")) {
    return fail(ErrorCode::unsupported,
                fmt::format("'{}' is written time by time (score-timewise); export it as "
                            "score-partwise.",
                            path.string()));
  }
  if (!score) {
    return fail(
        ErrorCode::damaged,
        fmt::format("'{}' is no MusicXML score ({}); export it again from where it came.",
                    path.string(), parsed ? "no score-partwise in it" : parsed.description()));
  }
  ReadTake read;
  if (!parsed) {
    read.remarks.push_back(
        fmt::format("'{}' breaks off at byte {} ({}); what comes before was read.", path.string(),
                    parsed.offset, parsed.description()));
  }
  if (bytes->find("<!ENTITY") != std::string::npos) {
    read.remarks.push_back(fmt::format(
        "'{}' declares entities; they are never resolved, and what stood for them is missing.",
        path.string()));
  }
  read.take.title = score.child("work").child("work-title").text().get();
  if (read.take.title.empty()) read.take.title = score.child("movement-title").text().get();
  if (read.take.title.empty()) read.take.title = path.stem().string();
  for (const pugi::xml_node creator : score.child("identification").children("creator")) {
    if (std::string_view(creator.attribute("type").value()) == "composer") {
      read.take.composer = creator.text().get();
    }
  }
  const auto part = chosen_part(score, options, path, read);
  if (!part) return tl::unexpected(part.error());
  return ScoreReader(read_part(*part), options).read(std::move(read), path);
}

}  // namespace lowstride::notation
