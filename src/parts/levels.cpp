#include "src/parts/levels.hpp"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <tuple>
#include <utility>
#include <vector>

#include <fmt/format.h>

#include "dsp/base/contracts.hpp"
#include "src/analysis/fingering_edit.hpp"
#include "src/neck/named_necks.hpp"
#include "src/parts/chart.hpp"
#include "src/take/edit.hpp"

namespace lowstride::parts {
namespace {

constexpr std::int64_t part_rate_hz = 48'000;
constexpr int octave_semitones = 12;
constexpr double least_tempo_bpm = 20.0;
constexpr double most_tempo_bpm = 400.0;
constexpr double sounding_share = 0.95;  // of a written length: a note is let go before the next

/// Straight lines from beat to beat, carried on at both ends.
class BeatMap {
 public:
  BeatMap(const take::Take& from, const take::Take& to) : from_(from), to_(to) {}

  [[nodiscard]] double operator()(double sample) const {
    const auto& beats = from_.beats;
    auto after = std::ranges::upper_bound(beats, sample, {}, [](const take::Beat& beat) {
      return static_cast<double>(beat.time_samples);
    });
    if (after == beats.begin()) ++after;
    if (after == beats.end()) --after;
    const auto i = static_cast<std::size_t>(after - beats.begin());
    const auto time = [](const take::Take& take, std::size_t beat) {
      return static_cast<double>(take.beats[beat].time_samples);
    };
    const double share = (sample - time(from_, i - 1)) / (time(from_, i) - time(from_, i - 1));
    return time(to_, i - 1) + share * (time(to_, i) - time(to_, i - 1));
  }

 private:
  const take::Take& from_;
  const take::Take& to_;
};

void put_chords(const take::Take& take, take::Take& part) {
  const BeatMap map(take, part);
  // Changes stand on the beats that they are nearest to, as the chart has them.
  const auto on_beat = [&](std::int64_t sample) {
    const double mapped = map(static_cast<double>(sample));
    std::int64_t nearest = std::llround(mapped);
    const auto after =
        std::ranges::lower_bound(part.beats, std::llround(mapped), {}, &take::Beat::time_samples);
    for (auto beat = after == part.beats.begin() ? after : std::prev(after);
         beat != part.beats.end() && beat <= after; ++beat) {
      const auto interval =
          static_cast<double>(part.beats[1].time_samples - part.beats[0].time_samples);
      if (std::abs(static_cast<double>(beat->time_samples) - mapped) < 0.25 * interval) {
        nearest = beat->time_samples;
      }
    }
    return std::clamp<std::int64_t>(nearest, 0, part.length_samples);
  };
  for (const take::ChordSpan& span : take.chords) {
    take::ChordSpan copy = span;
    copy.begin_samples = on_beat(span.begin_samples);
    copy.end_samples = on_beat(span.end_samples);
    if (!part.chords.empty()) {
      copy.begin_samples = std::max(copy.begin_samples, part.chords.back().end_samples);
    }
    if (copy.begin_samples >= copy.end_samples) continue;
    copy.id = take::ChordId{part.next_id++};
    part.chords.push_back(std::move(copy));
  }
}

void put_passages(const take::Take& take, take::Take& part) {
  for (const take::Passage& passage : take.passages) {
    take::Passage copy = passage;
    copy.begin_samples = sample_in_part(take, part, passage.begin_samples);
    copy.end_samples = sample_in_part(take, part, passage.end_samples);
    if (copy.begin_samples >= copy.end_samples) continue;
    copy.id = take::PassageId{part.next_id++};
    part.passages.push_back(std::move(copy));
  }
  std::ranges::sort(part.passages, {}, [](const take::Passage& passage) {
    return std::tuple(passage.begin_samples, passage.end_samples, passage.id);
  });
}

/// What was said about a note stands at its place: the part has notes of its own.
void put_remarks(const take::Take& take, take::Take& part) {
  for (const take::Remark& remark : take.remarks) {
    take::Remark copy = remark;
    copy.id = take::RemarkId{part.next_id++};
    copy.at_samples = sample_in_part(take, part, take::place_of(take, remark));
    copy.note.reset();
    part.remarks.push_back(std::move(copy));
  }
  std::ranges::sort(part.remarks, {}, [](const take::Remark& remark) {
    return std::tuple(remark.at_samples, remark.id);
  });
}

take::Note written_note(take::Take& part, std::int64_t begin, std::int64_t end, int midi) {
  take::Note note;
  note.id = take::NoteId{part.next_id++};
  note.onset_samples = begin;
  note.offset_samples = end;
  note.midi = midi;
  note.acoustic_midi = midi;
  note.state = take::State::confirmed;
  note.confidence = 1.0;
  return note;
}

void put_whole_line(const take::Take& take, take::Take& part) {
  std::int64_t free_from = 0;
  for (const take::Note& note : take.notes) {
    take::Note copy = note;
    copy.onset_samples = std::max(free_from, sample_in_part(take, part, note.onset_samples));
    copy.offset_samples = sample_in_part(take, part, note.offset_samples);
    if (copy.onset_samples >= copy.offset_samples) continue;
    copy.id = take::NoteId{part.next_id++};
    free_from = copy.offset_samples;
    part.notes.push_back(std::move(copy));
  }
}

}  // namespace

void put_notes(take::Take& part, const std::vector<ChartNote>& notes) {
  const Chart chart = chart_of(part);
  for (const ChartNote& note : notes) {
    const std::int64_t begin = chart.times_samples[note.beat];
    const std::int64_t end = chart.times_samples[note.beat + note.length_beats];
    const auto length = static_cast<double>(end - begin);
    part.notes.push_back(
        written_note(part, begin, begin + std::llround(sounding_share * length), note.midi));
  }
}

PitchRange pitch_range_of(const take::Take& take) {
  const int raised = 12 * take.octave_shift;
  PitchRange range{std::max(0, neck::lowest_midi(take.neck) - raised), 0};
  const int highest = std::min(127, neck::highest_midi(take.neck) - raised);
  range.highest_midi = std::min(highest, range.lowest_midi + 24);
  for (const take::Note& note : take.notes) {
    if (note.midi <= highest) range.highest_midi = std::max(range.highest_midi, note.midi);
  }
  return range;
}

take::Take empty_part(const take::Take& take, std::optional<double> tempo_bpm) {
  LOWSTRIDE_EXPECTS(take.beats.size() >= 2);
  take::Take part;
  part.title = take.title;
  part.composer = take.composer;
  part.time_base_hz = part_rate_hz;
  part.voice = take.voice;
  part.a4_hz = take.a4_hz;
  part.tuning_state = take.tuning_state;
  part.beats_per_bar = take.beats_per_bar;
  part.meter_state = take.meter_state;
  part.swing_ratio = take.swing_ratio;
  part.key = take.key;
  part.form = take.form;
  part.form_state = take.form_state;
  part.neck = take.neck;
  part.fingering = take.fingering;
  part.octave_shift = take.octave_shift;
  const double scale = static_cast<double>(part_rate_hz) / static_cast<double>(take.time_base_hz);
  const double beat_samples =
      tempo_bpm ? 60.0 / *tempo_bpm * static_cast<double>(part_rate_hz) : 0.0;
  for (std::size_t i = 0; i < take.beats.size(); ++i) {
    take::Beat beat = take.beats[i];
    beat.id = take::BeatId{part.next_id++};
    beat.time_samples = tempo_bpm ? std::llround(static_cast<double>(i) * beat_samples)
                                  : std::llround(static_cast<double>(beat.time_samples) * scale);
    part.beats.push_back(std::move(beat));
  }
  // To the end of the take, or at least of the last beat.
  const double end = BeatMap(take, part)(static_cast<double>(take.length_samples));
  const std::size_t last = part.beats.size() - 1;
  const std::int64_t last_beat_end =
      2 * part.beats[last].time_samples - part.beats[last - 1].time_samples;
  part.length_samples = std::max<std::int64_t>(last_beat_end, std::llround(end));
  put_chords(take, part);
  put_passages(take, part);
  put_remarks(take, part);
  return part;
}

std::int64_t sample_in_part(const take::Take& take, const take::Take& part, std::int64_t sample) {
  const double mapped = BeatMap(take, part)(static_cast<double>(sample));
  return std::clamp<std::int64_t>(std::llround(mapped), 0, part.length_samples);
}

Result<take::Take> level_take(const take::Take& take, Level level, const LevelOptions& options) {
  if (take.beats.size() < 2) {
    return fail(ErrorCode::invalid_argument,
                "The take has no beats to write a level on; set them with lowstride edit "
                "--add-beat T.");
  }
  const bool has_chords = std::ranges::any_of(
      take.chords, [](const take::ChordSpan& span) { return span.chord.root_pc.has_value(); });
  if (!has_chords) {
    return fail(ErrorCode::invalid_argument,
                "The take has no chords to write a level from; set them with lowstride edit "
                "--set-chord T=LABEL.");
  }
  if (options.tempo_bpm &&
      !(*options.tempo_bpm >= least_tempo_bpm && *options.tempo_bpm <= most_tempo_bpm)) {
    return fail(ErrorCode::invalid_argument,
                fmt::format("A tempo of {} bpm is none; give {} to {}.", *options.tempo_bpm,
                            least_tempo_bpm, most_tempo_bpm));
  }
  if (const PitchRange range = pitch_range_of(take);
      range.highest_midi < range.lowest_midi + octave_semitones) {
    return fail(ErrorCode::invalid_argument,
                fmt::format("The neck '{}' has less than an octave for this line; choose another "
                            "with lowstride finger --instrument.",
                            take.neck.name));
  }
  take::Take part = empty_part(take, options.tempo_bpm);
  const std::string name = fmt::format("level {}: {}", static_cast<int>(level), level_name(level));
  part.title = take.title.empty() ? "L" + name.substr(1) : take.title + ", " + name;
  if (level == Level::whole_line) {
    put_whole_line(take, part);
  } else {
    std::optional<theory::Key> key;
    if (take.key) key = theory::Key{take.key->tonic_pc, take.key->is_minor};
    put_notes(part, level_line(chart_of(take).beats, level, key, pitch_range_of(take)));
  }
  // First lines lie where they are taught first, unless a person chose where the hand is.
  if (is_first_level(level) && !part.fingering.position_fret && part.fingering.prefer_low) {
    part.fingering.position_fret = 1;
    part.fingering.prefer_open = true;
  }
  const auto fingering = analysis::fingering_edit(part, take.octave_shift);
  if (!fingering) return tl::unexpected(fingering.error());
  if (const auto done = take::apply(part, *fingering); !done) {
    return tl::unexpected(done.error());
  }
  return part;
}

}  // namespace lowstride::parts
