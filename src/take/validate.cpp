#include "src/take/validate.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <set>
#include <string>
#include <string_view>
#include <tuple>
#include <unordered_set>
#include <vector>

#include "src/neck/named_necks.hpp"

namespace lowstride::take {
namespace {

tl::unexpected<Error> damaged(std::string message) {
  return fail(ErrorCode::damaged, std::move(message));
}

bool is_share(double value) { return std::isfinite(value) && value >= 0.0 && value <= 1.0; }
bool is_pitch(int midi) { return midi >= 0 && midi <= 127; }
bool is_pitch_class(int value) { return value >= 0 && value < 12; }

bool is_chord(const dsp::ChordReading& chord) {
  if (!chord.root_pc) return chord == dsp::ChordReading{};
  return is_pitch_class(chord.root_pc.value_or(0)) && is_pitch_class(chord.bass_pc) &&
         static_cast<std::size_t>(chord.quality) < dsp::chord_quality_count;
}

bool is_stretch(const Take& take, std::int64_t begin, std::int64_t end) {
  return begin >= 0 && begin < end && end <= take.length_samples;
}

bool is_high(char c) { return static_cast<unsigned char>(c) >= 0x80U; }

/// Bytes of the character at the front of `text`, which is not empty; 0 when it is a control
/// character or no UTF-8 (RFC 3629, section 4).
std::size_t plain_character_bytes(std::string_view text) noexcept {
  const auto byte = [&](std::size_t i) { return static_cast<unsigned char>(text[i]); };
  const unsigned first = byte(0);
  if (first < 0x80U) return first >= 0x20U && first != 0x7FU ? 1 : 0;
  const std::size_t size = first >= 0xF0U ? 4 : first >= 0xE0U ? 3 : 2;
  if (first < 0xC2U || first > 0xF4U || text.size() < size) return 0;
  // Shortest form, no surrogates, nothing above U+10FFFF: all decided by the second byte.
  const unsigned low = first == 0xE0U ? 0xA0U : first == 0xF0U ? 0x90U : 0x80U;
  const unsigned high = first == 0xEDU ? 0x9FU : first == 0xF4U ? 0x8FU : 0xBFU;
  if (byte(1) < low || byte(1) > high) return 0;
  for (std::size_t i = 2; i < size; ++i) {
    if (byte(i) < 0x80U || byte(i) > 0xBFU) return 0;
  }
  // U+0080..U+009F are control characters as well.
  return first == 0xC2U && byte(1) < 0xA0U ? 0 : size;
}

bool is_text(std::string_view text) { return is_plain_text(text); }

/// Ids given so far: each once, below `next_id`, never 0.
class Ids {
 public:
  explicit Ids(std::uint64_t next_id)
      : next_id_(next_id), is_seen_(std::min<std::uint64_t>(next_id, most_low_ids)) {}
  template <typename Id>
  [[nodiscard]] bool take_up(Id id) {
    const auto value = static_cast<std::uint64_t>(id);
    if (value == 0 || value >= next_id_) return false;
    if (value >= is_seen_.size()) return seen_.insert(value).second;
    if (is_seen_[value]) return false;
    is_seen_[value] = true;
    return true;
  }

 private:
  /// Ids are given one after another: a bit each for those of any but a strange take.
  static constexpr std::uint64_t most_low_ids = std::uint64_t{1} << 20U;

  std::uint64_t next_id_;
  std::vector<bool> is_seen_;
  std::unordered_set<std::uint64_t> seen_;  // higher ones
};

Result<void> check_note(const Take& take, const Note& note) {
  if (!is_pitch(note.midi) || !is_pitch(note.acoustic_midi)) return damaged("its pitch");
  if (!is_share(note.confidence) || !is_share(note.octave_margin)) return damaged("its confidence");
  if (note.alternatives.size() > most_alternatives) return damaged("its alternatives");
  for (const auto& candidate : note.alternatives) {
    if (!is_pitch(candidate.midi) || !is_share(candidate.probability)) {
      return damaged("its alternatives");
    }
  }
  if (note.is_position_pinned && !note.position) return damaged("its position");
  if (note.position && !is_playable_at(take, note, *note.position)) {
    return damaged("its position, which does not give its pitch on this neck");
  }
  return {};
}

Result<void> check_notes(const Take& take, Ids& ids) {
  if (take.notes.size() > most_notes) return damaged("There are too many notes.");
  std::int64_t free_from = 0;
  std::size_t number = 0;
  for (const Note& note : take.notes) {
    ++number;
    if (!is_stretch(take, note.onset_samples, note.offset_samples)) {
      return damaged(fmt::format("Note {} does not lie in the take.", number));
    }
    if (note.onset_samples < free_from) {
      return damaged(fmt::format("Note {} overlaps the one before or is out of order.", number));
    }
    free_from = note.offset_samples;
    if (!ids.take_up(note.id)) return damaged(fmt::format("Note {} has no id of its own.", number));
    if (const auto outcome = check_note(take, note); !outcome) {
      return damaged(fmt::format("Note {} makes no sense: {}.", number, outcome.error().message));
    }
  }
  return {};
}

Result<void> check_gaps(const Take& take) {
  if (take.gaps.size() > most_gaps) return damaged("There are too many confirmed gaps.");
  auto note = take.notes.begin();
  std::int64_t last_end = -1;
  for (const ConfirmedGap& gap : take.gaps) {
    if (!is_stretch(take, gap.begin_samples, gap.end_samples) || gap.begin_samples <= last_end) {
      return damaged("A confirmed gap is out of order or out of the take.");
    }
    last_end = gap.end_samples;
    while (note != take.notes.end() && note->offset_samples <= gap.begin_samples) ++note;
    if (note != take.notes.end() && note->onset_samples < gap.end_samples) {
      return damaged("A note lies in a confirmed gap.");
    }
  }
  return {};
}

Result<void> check_beats(const Take& take, Ids& ids) {
  if (take.beats.size() > most_beats) return damaged("There are too many beats.");
  std::int64_t last = -1;
  std::size_t number = 0;
  for (const Beat& beat : take.beats) {
    ++number;
    if (beat.time_samples <= last || beat.time_samples > take.length_samples) {
      return damaged(fmt::format("Beat {} is out of order or out of the take.", number));
    }
    last = beat.time_samples;
    if (!ids.take_up(beat.id)) return damaged(fmt::format("Beat {} has no id of its own.", number));
    if (!is_share(beat.confidence) || std::abs(static_cast<double>(beat.bar)) > 1e6 ||
        beat.beat < 1 || beat.beat > most_beats_per_bar || (beat.is_pinned_one && beat.beat != 1)) {
      return damaged(fmt::format("Beat {} makes no sense: its numbers.", number));
    }
  }
  return {};
}

Result<void> check_chords(const Take& take, Ids& ids) {
  if (take.chords.size() > most_chords) return damaged("There are too many chords.");
  std::int64_t free_from = 0;
  std::size_t number = 0;
  for (const ChordSpan& span : take.chords) {
    ++number;
    if (!is_stretch(take, span.begin_samples, span.end_samples) || span.begin_samples < free_from) {
      return damaged(fmt::format("Chord {} is out of order or out of the take.", number));
    }
    free_from = span.end_samples;
    if (!ids.take_up(span.id)) {
      return damaged(fmt::format("Chord {} has no id of its own.", number));
    }
    const bool has_good_alternatives =
        span.alternatives.size() <= most_alternatives &&
        std::all_of(span.alternatives.begin(), span.alternatives.end(), [](const auto& candidate) {
          return is_chord(candidate.chord) && is_share(candidate.probability);
        });
    if (!is_chord(span.chord) || !is_share(span.confidence) || !is_text(span.written) ||
        !has_good_alternatives) {
      return damaged(fmt::format("Chord {} makes no sense: its name or confidence.", number));
    }
  }
  return {};
}

Result<void> check_stabs(const Take& take) {
  if (take.stabs.size() > most_stabs) return damaged("There are too many stabs.");
  std::int64_t free_from = 0;
  std::size_t number = 0;
  for (const Stab& stab : take.stabs) {
    ++number;
    if (!is_stretch(take, stab.onset_samples, stab.offset_samples) ||
        stab.onset_samples < free_from) {
      return damaged(fmt::format("Stab {} is out of order or out of the take.", number));
    }
    free_from = stab.offset_samples;
    if (!is_stab_on_neck(take.neck, stab)) {
      return damaged(fmt::format("Stab {} is not on this neck.", number));
    }
  }
  return {};
}

bool comes_before(const Passage& a, const Passage& b) {
  return std::tie(a.begin_samples, a.end_samples, a.id) <
         std::tie(b.begin_samples, b.end_samples, b.id);
}

Result<void> check_passages(const Take& take, Ids& ids) {
  if (take.passages.size() > most_passages) return damaged("There are too many passages.");
  std::set<std::string_view> names;
  const Passage* last = nullptr;
  for (const Passage& passage : take.passages) {
    if (!is_stretch(take, passage.begin_samples, passage.end_samples) || passage.name.empty() ||
        !is_text(passage.name) || !ids.take_up(passage.id) ||
        (passage.colour && (*passage.colour < 0 || *passage.colour >= passage_colour_count))) {
      return damaged("A passage makes no sense: its name, id, place or colour.");
    }
    if (!names.insert(passage.name).second) {
      return damaged(fmt::format("Two passages are named '{}'.", passage.name));
    }
    if (last != nullptr && !comes_before(*last, passage)) {
      return damaged(fmt::format("Passage '{}' is out of order.", passage.name));
    }
    last = &passage;
  }
  return {};
}

Result<void> check_remarks(const Take& take, Ids& ids) {
  if (take.remarks.size() > most_remarks) return damaged("There are too many remarks.");
  const Remark* last = nullptr;
  for (const Remark& remark : take.remarks) {
    const bool has_sound_note =
        !remark.note || (*remark.note > NoteId{0} && *remark.note < NoteId{take.next_id});
    if (remark.at_samples < 0 || remark.at_samples > take.length_samples || remark.text.empty() ||
        !is_text(remark.text) || !has_sound_note || !ids.take_up(remark.id)) {
      return damaged("A remark makes no sense: its words, id, note or place.");
    }
    if (last != nullptr &&
        std::tie(last->at_samples, last->id) >= std::tie(remark.at_samples, remark.id)) {
      return damaged("A remark is out of order.");
    }
    last = &remark;
  }
  return {};
}

Result<void> check_facts(const Take& take) {
  if (take.length_samples < 0 || take.length_samples > most_length_samples) {
    return damaged("Its length makes no sense.");
  }
  if (take.time_base_hz < least_time_base_hz || take.time_base_hz > most_time_base_hz) {
    return damaged("Its samples a second make no sense.");
  }
  if (!std::isfinite(take.a4_hz) || take.a4_hz < least_a4_hz || take.a4_hz > most_a4_hz) {
    return damaged(fmt::format("Its tuning is not between {} and {} Hz.", least_a4_hz, most_a4_hz));
  }
  if (take.beats_per_bar < least_beats_per_bar || take.beats_per_bar > most_beats_per_bar) {
    return damaged("Its beats in a bar make no sense.");
  }
  if (take.swing_ratio &&
      (!std::isfinite(*take.swing_ratio) || *take.swing_ratio <= 0.0 || *take.swing_ratio > 100)) {
    return damaged("Its swing ratio makes no sense.");
  }
  if (take.key && (!is_pitch_class(take.key->tonic_pc) || !is_share(take.key->confidence))) {
    return damaged("Its key makes no sense.");
  }
  if (take.octave_shift < -10 || take.octave_shift > 10) {
    return damaged("Its octave shift makes no sense.");
  }
  if (!is_text(take.title) || !is_text(take.composer) || !is_text(take.form) ||
      !is_text(take.analysis_version) || !is_text(take.neck.name)) {
    return damaged("A text in it is too long or holds control characters.");
  }
  if (const auto& recording = take.recording) {
    if (recording->path.empty() || !is_text(recording->path) || !is_text(recording->content_hash) ||
        recording->sample_count != take.length_samples || recording->channel_count < 1 ||
        recording->channel_count > 1024) {
      return damaged("What it says about its recording makes no sense.");
    }
  }
  return neck::check(take.neck)
      .and_then([&] { return neck::check_options(take.neck, take.fingering); })
      .map_error([](const Error& error) {
        return Error{ErrorCode::damaged, error.message};
      });
}

}  // namespace

bool is_playable_at(const Take& take, const Note& note, const neck::Position& position) {
  if (position.string_number < 1 || position.string_number > take.neck.string_count() ||
      position.fret < 0 || position.fret > neck::last_fret(take.neck) || position.finger < 0 ||
      position.finger > 4) {
    return false;
  }
  return note.is_dead || neck::sounding_midi(take.neck, position.string_number, position.fret) ==
                             note.midi + 12 * take.octave_shift;
}

bool is_stab_on_neck(const neck::Neck& neck, const Stab& stab) noexcept {
  int string_before = neck.string_count() + 1;
  for (const neck::Position& position : stab.positions) {
    if (position.string_number >= string_before || position.string_number < 1 ||
        position.fret < 0 || position.fret > neck::last_fret(neck) || position.finger < 0 ||
        position.finger > 4 || (position.finger == 0) != (position.fret == 0)) {
      return false;
    }
    string_before = position.string_number;
  }
  return !stab.positions.empty();
}

bool is_plain_text(std::string_view text) noexcept {
  if (text.size() > most_text_bytes) return false;
  while (!text.empty()) {
    const std::size_t size = plain_character_bytes(text);
    if (size == 0) return false;
    text.remove_prefix(size);
  }
  return true;
}

std::string to_plain_text(std::string_view text) {
  std::string plain;
  while (!text.empty() && plain.size() + 4 <= most_text_bytes) {
    const std::size_t size = plain_character_bytes(text);
    if (size > 0) {
      plain += text.substr(0, size);
    } else {
      plain += is_high(text.front()) ? "\xEF\xBF\xBD" : " ";
    }
    text.remove_prefix(std::max<std::size_t>(size, 1));
  }
  return plain;
}

Result<void> check_take(const Take& take) {
  Ids ids(take.next_id);
  return check_facts(take)
      .and_then([&] { return check_notes(take, ids); })
      .and_then([&] { return check_gaps(take); })
      .and_then([&] { return check_beats(take, ids); })
      .and_then([&] { return check_chords(take, ids); })
      .and_then([&] { return check_passages(take, ids); })
      .and_then([&] { return check_remarks(take, ids); })
      .and_then([&] { return check_stabs(take); });
}

}  // namespace lowstride::take
