#include "src/parts/arrange.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <utility>

#include <fmt/format.h>

#include "src/analysis/fingering_edit.hpp"
#include "src/neck/named_necks.hpp"
#include "src/parts/chart.hpp"
#include "src/parts/guitar_path.hpp"
#include "src/parts/levels.hpp"
#include "src/sheet/grid.hpp"
#include "src/take/edit.hpp"
#include "src/take/proposals.hpp"

namespace lowstride::parts {
namespace {

constexpr int guitar_top_midi = 64;  // E4: from here on upper strings are a guitar's
constexpr int guitar_string_count = 5;
constexpr double stab_share = 0.9;       // of the beat that a strummed stab lasts
constexpr double short_share = 0.45;     // of a beat, for shells
constexpr double with_note_share = 0.2;  // of a beat: a stab this near a note is struck with it
constexpr double later_share = 0.25;     // of a beat: time to let go of the bass

struct StyleEntry {
  Style style;
  std::string_view word;
  std::string_view name;
};
constexpr std::array<StyleEntry, 5> styles{
    StyleEntry{Style::strum, "strum", "strummed after the bass"},
    StyleEntry{Style::root_fifth, "root-fifth", "root and fifth with stabs"},
    StyleEntry{Style::boogie, "boogie", "boogie"},
    StyleEntry{Style::walking, "walking", "walking with shells"},
    StyleEntry{Style::motif, "motif", "the line under held chords"}};

/// A stab that a style asks for.
struct Hit {
  std::int64_t begin_samples = 0;
  std::int64_t end_samples = 0;
  dsp::ChordReading chord;
};

StabWish wish_of(Style style, const neck::FingeringOptions& hand) {
  StabWish wish;
  wish.max_span_mm = hand.max_span_mm;
  if (style == Style::strum) {
    wish.most_strings = 4;
    wish.best_strings = 4;
  } else if (style == Style::walking) {
    wish.is_shell = true;
    wish.best_strings = 2;
  } else if (style == Style::boogie) {
    wish.best_strings = 2;
  }
  return wish;
}

/// The take on a guitar's neck, in the octave that suits it, single notes brought onto it.
Result<take::Take> on_guitar(const take::Take& take, const ArrangeOptions& options,
                             std::vector<std::string>& remarks) {
  take::Take on_neck = take;
  neck::Neck neck = take.neck;
  if (options.neck) {
    neck = *options.neck;
  } else if (neck.string_count() < guitar_string_count ||
             neck::sounding_midi(neck, 1, 0) < guitar_top_midi) {
    const auto guitar = neck::find_neck("guitar");
    if (!guitar) return tl::unexpected(guitar.error());
    neck = *guitar;
  }
  if (neck.string_count() < 4) {
    return fail(ErrorCode::invalid_argument,
                "Bass and chords at once need four strings or more; give --instrument guitar.");
  }
  if (const auto sound = neck::check(neck); !sound) return tl::unexpected(sound.error());
  on_neck.stabs.clear();
  for (take::Note& note : on_neck.notes) note.is_position_pinned = false;
  const auto set = take::apply(on_neck, take::SetNeck{neck, take.octave_shift});
  if (!set) return tl::unexpected(set.error());
  const auto fingered = analysis::fingering_of(on_neck, std::nullopt);
  if (!fingered) return tl::unexpected(fingered.error());
  on_neck.octave_shift = fingered->octave_shift;
  const int lowest = neck::lowest_midi(neck) - 12 * on_neck.octave_shift;
  const int highest = neck::highest_midi(neck) - 12 * on_neck.octave_shift;
  int moved = 0;
  for (take::Note& note : on_neck.notes) {
    const int as_played = note.midi;
    note.position.reset();
    while (note.midi < lowest) note.midi += 12;
    while (note.midi > highest && note.midi - 12 >= lowest) note.midi -= 12;
    moved += note.midi != as_played ? 1 : 0;
  }
  if (on_neck.octave_shift != 0) {
    remarks.push_back(
        fmt::format("The line lies {} octave{} higher than it sounds, to fit the "
                    "strings.",
                    on_neck.octave_shift, on_neck.octave_shift == 1 ? "" : "s"));
  }
  if (moved > 0) {
    remarks.push_back(fmt::format("{} note{} off the neck {} moved by octaves of {} own.", moved,
                                  moved == 1 ? "" : "s", moved == 1 ? "was" : "were",
                                  moved == 1 ? "its" : "their"));
  }
  return on_neck;
}

/// The bass notes of a style as a part without stabs.
Result<take::Take> bass_part(const take::Take& take, const ArrangeOptions& options) {
  const LevelOptions level_options{.tempo_bpm = options.tempo_bpm};
  switch (options.style) {
    case Style::strum:
      return level_take(take, Level::roots, level_options);
    case Style::root_fifth:
      return level_take(take, Level::root_fifth, level_options);
    case Style::walking:
    case Style::motif:
      return level_take(take, Level::whole_line, level_options);
    case Style::boogie:
      break;
  }
  auto part = level_take(take, Level::roots, level_options);
  if (!part) return part;
  part->notes.clear();
  part->swing_ratio = sheet::written_swing_ratio(take);  // of its off-beats
  put_notes(*part, boogie_line(chart_of(take).beats, pitch_range_of(take)));
  return part;
}

/// Where a style strikes its stabs.
class HitPlan {
 public:
  HitPlan(const take::Take& part, Style style)
      : part_(part), style_(style), chart_(chart_of(part)) {}

  [[nodiscard]] std::vector<Hit> hits() const {
    std::vector<Hit> hits;
    for (std::size_t beat = 0; beat < chart_.beats.size(); ++beat) {
      if (!chart_.beats[beat].chord.root_pc || !is_struck(beat)) continue;
      Hit hit{0, 0, chart_.beats[beat].chord};
      const std::int64_t begin = chart_.times_samples[beat];
      const auto length = static_cast<double>(chart_.times_samples[beat + 1] - begin);
      switch (style_) {
        case Style::strum:
        case Style::root_fifth:
          hit.begin_samples = begin;
          hit.end_samples = begin + std::llround(stab_share * length);
          break;
        case Style::boogie: {
          const double swing = part_.swing_ratio.value_or(1.0);
          hit.begin_samples = begin + std::llround(length * swing / (1.0 + swing));
          hit.end_samples = chart_.times_samples[beat + 1];
          break;
        }
        case Style::walking:
          hit.begin_samples = with_note(begin, length);
          hit.end_samples = hit.begin_samples + std::llround(short_share * length);
          break;
        case Style::motif:
          hit.begin_samples = with_note(begin, length);
          hit.end_samples = held_until(beat);
          break;
      }
      if (!hits.empty() && hits.back().end_samples > hit.begin_samples) {
        hits.back().end_samples = hit.begin_samples;
      }
      hits.push_back(hit);
    }
    std::erase_if(hits, [](const Hit& hit) { return hit.end_samples <= hit.begin_samples; });
    return hits;
  }

 private:
  [[nodiscard]] bool is_struck(std::size_t beat) const {
    switch (style_) {
      case Style::strum:
      case Style::root_fifth:
        return !chart_.beats[beat].line_midi.has_value();
      case Style::boogie:
        return part_.beats[beat].beat % 2 == 0;
      case Style::walking:
        return part_.beats_per_bar == 3 ? part_.beats[beat].beat > 1
                                        : part_.beats[beat].beat % 2 == 0;
      case Style::motif:
        break;
    }
    return begins_hold(beat);
  }
  [[nodiscard]] bool begins_hold(std::size_t beat) const {
    return chart_.beats[beat].begins_bar || beat == 0 ||
           chart_.beats[beat].chord != chart_.beats[beat - 1].chord;
  }
  [[nodiscard]] std::int64_t held_until(std::size_t beat) const {
    std::size_t end = beat + 1;
    while (end < chart_.beats.size() && !begins_hold(end)) ++end;
    return chart_.times_samples[end];
  }
  /// The onset of the note on a beat, which players place a little before or after it.
  [[nodiscard]] std::int64_t with_note(std::int64_t time, double beat_samples) const {
    const auto reach = std::llround(with_note_share * beat_samples);
    const auto note =
        std::ranges::lower_bound(part_.notes, time - reach, {}, &take::Note::onset_samples);
    if (note != part_.notes.end() && note->onset_samples <= time + reach) {
      return note->onset_samples;
    }
    return time;
  }

  const take::Take& part_;
  Style style_;
  Chart chart_;
};

/// Hits by the bass note that they begin with or after.
struct Plan {
  std::vector<detail::GuitarEvent> events;
  std::vector<std::vector<Hit>> hits;  // of each event
  int unplaced = 0;                    // stabs with no bass note before them, or over another chord
};

/// Where the pattern of a boogie has a note: the root on the lower of the two lowest strings that
/// reaches it without a long shift, the other notes on the string above it, or, where that is too
/// high for them, beside the root. So the pattern is the same over every root (common practice).
std::optional<neck::Position> boogie_place(const neck::Neck& neck, int root_pc, int midi) {
  const int lowest = neck::lowest_midi(neck);
  const int root = lowest + ((root_pc - lowest) % 12 + 12) % 12;
  int string = neck.string_count();
  if (root >= neck::sounding_midi(neck, string - 1, 0)) --string;
  if (midi > root && midi >= neck::sounding_midi(neck, string - 1, 0)) --string;
  const int fret = midi - neck::sounding_midi(neck, string, 0);
  if (fret < 0 || fret > neck::last_fret(neck)) return std::nullopt;
  return neck::Position{string, fret, 0};
}

Plan plan_of(const take::Take& part, Style style) {
  Plan plan;
  for (neck::LineNote& note : analysis::line_of(part)) {
    note.midi += 12 * part.octave_shift;
    plan.events.push_back({.note = note});
  }
  plan.hits.resize(part.notes.size());
  const Chart chart = chart_of(part);
  const auto beat_samples = static_cast<double>(chart.times_samples[1] - chart.times_samples[0]);
  for (Hit hit : HitPlan(part, style).hits()) {
    const auto after =
        std::ranges::upper_bound(part.notes, hit.begin_samples, {}, &take::Note::onset_samples);
    if (after == part.notes.begin()) {
      ++plan.unplaced;
      continue;
    }
    const auto index = static_cast<std::size_t>(after - part.notes.begin()) - 1;
    detail::GuitarEvent& event = plan.events[index];
    if (event.chord && *event.chord != hit.chord) {
      ++plan.unplaced;
      continue;
    }
    if (style == Style::motif) {
      event.begins_hold = true;
    } else if (after != part.notes.end()) {
      hit.end_samples = std::min(hit.end_samples, after->onset_samples);
    }
    if (plan.hits[index].empty()) {
      event.is_struck_later =
          static_cast<double>(hit.begin_samples - part.notes[index].onset_samples) >=
          later_share * beat_samples;
    }
    event.chord = hit.chord;
    plan.hits[index].push_back(hit);
  }
  for (std::size_t i = 0; style == Style::boogie && i < plan.events.size(); ++i) {
    const auto beat = std::ranges::upper_bound(chart.times_samples, part.notes[i].onset_samples);
    const auto index = static_cast<std::size_t>(beat - chart.times_samples.begin());
    if (index == 0 || index > chart.beats.size()) continue;
    const auto& root_pc = chart.beats[index - 1].chord.root_pc;
    if (root_pc) {
      plan.events[i].wanted = boogie_place(part.neck, *root_pc, plan.events[i].note.midi);
    }
  }
  if (style != Style::motif) return plan;
  std::int64_t held_until = 0;
  for (std::size_t i = 0; i < plan.events.size(); ++i) {
    if (plan.events[i].begins_hold) {
      held_until = plan.hits[i].back().end_samples;
    } else {
      plan.events[i].continues_hold = part.notes[i].onset_samples < held_until;
    }
  }
  return plan;
}

/// Puts what the hand does into the part.
Result<void> write_down(take::Take& part, const Plan& plan,
                        const std::vector<detail::GuitarGrip>& grips,
                        std::vector<std::string>& remarks) {
  int left_out = plan.unplaced;
  take::SetFingering fingering;
  take::SetStabs stabs{0, part.length_samples, {}};
  for (std::size_t i = 0; i < grips.size(); ++i) {
    fingering.notes.push_back({part.notes[i].id, grips[i].bass});
    if (plan.hits[i].empty()) continue;
    if (grips[i].positions.empty() || grips[i].is_held_on) {
      left_out += static_cast<int>(plan.hits[i].size());
      continue;
    }
    if (grips[i].is_bass_let_go) {
      part.notes[i].offset_samples =
          std::min(part.notes[i].offset_samples, plan.hits[i].front().begin_samples);
    }
    for (const Hit& hit : plan.hits[i]) {
      take::Stab stab{hit.begin_samples, hit.end_samples, grips[i].positions, {}};
      if (plan.events[i].begins_hold) {
        // Held for as long as the fingers stay.
        std::size_t next = i + 1;
        while (next < grips.size() && grips[next].is_held_on) ++next;
        if (next < grips.size()) {
          stab.offset_samples = std::min(stab.offset_samples, part.notes[next].onset_samples);
        }
      }
      stab.offset_samples = std::min(stab.offset_samples, part.length_samples);
      if (stab.onset_samples < stab.offset_samples) stabs.stabs.push_back(std::move(stab));
    }
  }
  if (left_out > 0) {
    remarks.push_back(fmt::format("{} stab{} left out: no hand can reach {} with the bass.",
                                  left_out, left_out == 1 ? " is" : "s are",
                                  left_out == 1 ? "it" : "them"));
  }
  take::EditGroup group{.name = "Arrange for one guitar", .edits = {}};
  group.edits.emplace_back(std::move(fingering));
  group.edits.emplace_back(std::move(stabs));
  const auto done = take::apply(part, group);
  if (!done) return tl::unexpected(done.error());
  return {};
}

}  // namespace

std::optional<Style> style_from(std::string_view word) noexcept {
  for (const StyleEntry& entry : styles) {
    if (entry.word == word) return entry.style;
  }
  return std::nullopt;
}

std::string_view style_name(Style style) noexcept {
  return styles[static_cast<std::size_t>(style)].name;
}

std::vector<std::string> style_words() {
  std::vector<std::string> words;
  words.reserve(styles.size());
  for (const StyleEntry& entry : styles) words.emplace_back(entry.word);
  return words;
}

Result<Arrangement> arrange(const take::Take& take, const ArrangeOptions& options) {
  Arrangement arrangement;
  const auto on_neck = on_guitar(take, options, arrangement.remarks);
  if (!on_neck) return tl::unexpected(on_neck.error());
  auto part = bass_part(*on_neck, options);
  if (!part) return tl::unexpected(part.error());
  part->fingering = take.fingering;  // not the hand of a first line
  part->voice = take::Voice::guitar;
  part->title = fmt::format("{} one guitar: {}", take.title.empty() ? "For" : take.title + ", for",
                            style_name(options.style));
  for (take::Note& note : part->notes) {
    note.position.reset();
    note.is_position_pinned = false;
  }
  const Plan plan = plan_of(*part, options.style);
  const auto grips = detail::guitar_path(part->neck, part->fingering, plan.events,
                                         wish_of(options.style, part->fingering));
  if (const auto done = write_down(*part, plan, grips, arrangement.remarks); !done) {
    return tl::unexpected(done.error());
  }
  arrangement.take = std::move(*part);
  return arrangement;
}

}  // namespace lowstride::parts
