#include "src/take/command_places.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cstdlib>

namespace lowstride::take::detail {
namespace {

/// Bars begin with notes that are played ahead of the beat by as much as this.
constexpr double ahead_of_beat_seconds = 0.05;
/// Share of a beat within which a chord is set on the beat. An anticipated half beat is further.
constexpr double chord_snap_share = 0.25;

}  // namespace

bool is_stretch_text(std::string_view text) { return text.find("..") != std::string_view::npos; }

Result<Note> note_at(const Take& take, std::string_view text) {
  const auto at = parse_time(text, take);
  if (!at) return tl::unexpected(at.error());
  const Note* nearest = nullptr;
  const Note* sounding = nullptr;
  for (const Note& note : take.notes) {
    if (nearest == nullptr ||
        std::abs(note.onset_samples - *at) < std::abs(nearest->onset_samples - *at)) {
      nearest = &note;
    }
    if (note.onset_samples <= *at && *at < note.offset_samples) sounding = &note;
  }
  if (nearest != nullptr &&
      std::abs(nearest->onset_samples - *at) <= samples_of(take, note_reach_seconds)) {
    return *nearest;
  }
  if (sounding != nullptr) return *sounding;
  return fail(
      ErrorCode::not_found,
      fmt::format("no note sounds at {}; put one there with --add-note FROM..TO=PITCH.", text));
}

Result<Confirm> what_begins_at(const Take& take, std::string_view text) {
  const auto at = parse_time(text, take);
  if (!at) return tl::unexpected(at.error());
  const std::int64_t reach = samples_of(take, note_reach_seconds);
  Confirm here;
  for (const ChordSpan& span : take.chords) {
    if (std::abs(span.begin_samples - *at) <= reach) here.chords.push_back(span.id);
  }
  const auto note = note_at(take, text);
  if (note && (here.chords.empty() || std::abs(note->onset_samples - *at) <= reach)) {
    here.notes.push_back(note->id);
  }
  if (here.notes.empty() && here.chords.empty()) {
    return fail(
        ErrorCode::not_found,
        fmt::format("no note and no chord begins at {}; give a stretch, as in b5..b8.", text));
  }
  return here;
}

Result<Stretch> bars_or_times(const Take& take, std::string_view text) {
  auto stretch = parse_stretch(text, take);
  if (!stretch || text.front() != 'b') return stretch;
  const std::int64_t ahead = samples_of(take, ahead_of_beat_seconds);
  stretch->begin_samples = std::max<std::int64_t>(0, stretch->begin_samples - ahead);
  if (stretch->end_samples < take.length_samples) {
    stretch->end_samples = std::max(stretch->begin_samples + 1, stretch->end_samples - ahead);
  }
  return stretch;
}

Result<std::vector<NoteId>> notes_in(const Take& take, std::string_view text) {
  std::vector<NoteId> ids;
  if (!is_stretch_text(text)) {
    const auto note = note_at(take, text);
    if (!note) return tl::unexpected(note.error());
    return std::vector<NoteId>{note->id};
  }
  const auto stretch = bars_or_times(take, text);
  if (!stretch) return tl::unexpected(stretch.error());
  for (const Note& note : take.notes) {
    if (note.onset_samples >= stretch->begin_samples && note.onset_samples < stretch->end_samples) {
      ids.push_back(note.id);
    }
  }
  if (ids.empty()) {
    return fail(ErrorCode::not_found,
                fmt::format("no note begins in {}; give another stretch.", text));
  }
  return ids;
}

Result<Beat> beat_at(const Take& take, std::string_view text) {
  const auto at = parse_time(text, take);
  if (!at) return tl::unexpected(at.error());
  const Beat* beat = nearest_beat(take, *at);
  if (beat == nullptr) {
    return fail(ErrorCode::not_found, "the take has no beats; set some with --add-beat T.");
  }
  return *beat;
}

Result<Stretch> chord_stretch(const Take& take, std::string_view text) {
  if (is_stretch_text(text)) return parse_stretch(text, take);
  const auto at = parse_time(text, take);
  if (!at) return tl::unexpected(at.error());
  std::int64_t begin = *at;
  if (const Beat* beat = nearest_beat(take, begin)) {
    const auto position = bar_position(take, static_cast<double>(begin));
    const double off = position ? std::abs(position->beat - std::round(position->beat)) : 1.0;
    if (off <= chord_snap_share) begin = std::min(beat->time_samples, take.length_samples - 1);
  }
  // Until the next change; a chord that begins just here is renamed as a whole.
  const std::int64_t hair = samples_of(take, ahead_of_beat_seconds);
  std::int64_t end = take.length_samples;
  for (const ChordSpan& span : take.chords) {
    if (span.end_samples > begin + hair) {
      const bool is_here = span.begin_samples <= begin + hair;
      end = is_here ? span.end_samples : span.begin_samples;
      break;
    }
  }
  return Stretch{begin, end};
}

}  // namespace lowstride::take::detail
