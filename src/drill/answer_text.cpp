#include "src/drill/answer_text.hpp"

#include <algorithm>
#include <array>
#include <cctype>
#include <charconv>
#include <cmath>
#include <optional>
#include <vector>

#include <fmt/format.h>

#include "src/neck/named_necks.hpp"
#include "src/theory/chord_label.hpp"
#include "src/theory/pitch.hpp"

namespace lowstride::drill {
namespace {

using theory::Role;

constexpr std::array<Role, 11> roles{Role::root,
                                     Role::third,
                                     Role::fifth,
                                     Role::sixth,
                                     Role::seventh,
                                     Role::octave,
                                     Role::scale_passing_note,
                                     Role::chromatic_passing_note,
                                     Role::approach_from_below,
                                     Role::approach_from_above,
                                     Role::enclosure};

std::vector<std::string_view> words_of(std::string_view text) {
  std::vector<std::string_view> words;
  std::size_t at = 0;
  const auto is_space = [&](std::size_t i) {
    return std::isspace(static_cast<unsigned char>(text[i])) != 0 || text[i] == ',';
  };
  while (at < text.size()) {
    if (is_space(at)) {
      ++at;
      continue;
    }
    std::size_t end = at;
    while (end < text.size() && !is_space(end)) ++end;
    words.push_back(text.substr(at, end - at));
    at = end;
  }
  return words;
}

template <typename Number>
std::optional<Number> number_from(std::string_view text) {
  Number value{};
  const auto [stop, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (error != std::errc() || stop != text.data() + text.size()) return std::nullopt;
  return value;
}

Result<AnsweredNote> note_from(const Item& item, std::string_view word) {
  AnsweredNote note;
  if (word == "x" || word == "X") {
    note.is_dead = true;
    return note;
  }
  if (const std::size_t slash = word.find('/'); slash != std::string_view::npos) {
    const auto string_number = number_from<int>(word.substr(0, slash));
    const auto fret = number_from<int>(word.substr(slash + 1));
    if (!string_number || !fret || *string_number < 1 ||
        *string_number > item.neck.string_count() || *fret < 0 ||
        *fret > neck::last_fret(item.neck)) {
      return fail(ErrorCode::invalid_argument,
                  fmt::format("'{}' is no place on this neck; say string/fret, strings 1 (highest) "
                              "to {}, frets 0 to {}.",
                              word, item.neck.string_count(), neck::last_fret(item.neck)));
    }
    note.midi = neck::sounding_midi(item.neck, *string_number, *fret) - 12 * item.octave_shift;
    return note;
  }
  std::string_view rest = word;
  if (const auto name = theory::take_pitch_name(rest); name && rest.empty()) {
    note.midi = 36 + theory::pitch_class(*name);
    note.has_octave = false;
    return note;
  }
  const bool is_named =
      !word.empty() && std::isalpha(static_cast<unsigned char>(word.front())) != 0;
  const auto midi = theory::parse_pitch(word);
  if (!is_named || !midi) {
    return fail(
        ErrorCode::invalid_argument,
        fmt::format(
            "'{}' is no note; say a name (Eb), a name with its octave (Eb2) or string/fret (3/6).",
            word));
  }
  note.midi = *midi;
  return note;
}

Result<Answer> one_note(const Item& item, std::string_view text) {
  const auto words = words_of(text);
  if (words.size() != 1) {
    return fail(ErrorCode::invalid_argument, fmt::format("'{}': one note is asked for.", text));
  }
  const auto note = note_from(item, words.front());
  if (!note) return tl::unexpected(note.error());
  return NoteAnswer{*note};
}

std::string lower(std::string_view text) {
  std::string out(text);
  std::transform(out.begin(), out.end(), out.begin(), [](char letter) {
    return static_cast<char>(std::tolower(static_cast<unsigned char>(letter)));
  });
  return out;
}

Result<Answer> role_from(std::string_view text) {
  std::string typed;
  for (const std::string_view word : words_of(text))
    typed += (typed.empty() ? "" : " ") + lower(word);
  if (const auto number = number_from<std::size_t>(typed);
      number && *number >= 1 && *number <= roles.size()) {
    return RoleAnswer{roles[*number - 1]};
  }
  std::optional<Role> found;
  std::size_t count = 0;
  for (const Role role : roles) {
    const std::string name = lower(theory::role_text(role));
    if (name == typed) return RoleAnswer{role};
    if (!typed.empty() && name.starts_with(typed)) {
      found = role;
      ++count;
    }
  }
  if (count == 1) return RoleAnswer{*found};
  return fail(
      ErrorCode::invalid_argument,
      count > 1 ? fmt::format("'{}' may mean several roles; write more of it, or its number.", text)
                : fmt::format("'{}' is no role; say its number, 1 to {}.", text, roles.size()));
}

/// "3", "3.5" count beats from the item's first as 1; "b6:3" is a place in the take.
Result<double> beat_from(const Item& item, std::string_view word) {
  const auto complain = [&]() {
    return fail(ErrorCode::invalid_argument,
                fmt::format("'{}' is no place in this stretch; say a beat, 1 to {:.0f}, or a bar "
                            "and beat as b{}:3.",
                            word, item.beat_count(), item.first_bar));
  };
  std::optional<double> beat;
  if (word.starts_with('b')) {
    const std::size_t colon = word.find(':');
    const auto bar =
        number_from<int>(word.substr(1, colon == std::string_view::npos ? colon : colon - 1));
    const auto in_bar = colon == std::string_view::npos
                            ? std::optional<double>(1.0)
                            : number_from<double>(word.substr(colon + 1));
    if (bar && in_bar) beat = (*bar - item.first_bar) * item.beats_per_bar + *in_bar - 1.0;
  } else if (const auto number = number_from<double>(word)) {
    beat = *number - 1.0;
  }
  if (!beat || !std::isfinite(*beat) || *beat < -0.5 || *beat > item.beat_count())
    return complain();
  return *beat;
}

Result<Answer> taps_from(const Item& item, std::string_view text) {
  TapAnswer answer;
  for (const std::string_view word : words_of(text)) {
    const auto beat = beat_from(item, word);
    if (!beat) return tl::unexpected(beat.error());
    answer.beats.push_back(*beat);
  }
  std::sort(answer.beats.begin(), answer.beats.end());
  return answer;
}

Result<Answer> chord_from(std::string_view text) {
  const auto words = words_of(text);
  if (words.size() != 1) {
    return fail(ErrorCode::invalid_argument,
                fmt::format("'{}': one chord is asked for, as Cm7 or G7/B.", text));
  }
  const auto chord = theory::parse_chord(words.front());
  if (!chord) return tl::unexpected(chord.error());
  return ChordAnswer{chord->chord};
}

Result<Answer> line_from(const Item& item, std::string_view text) {
  LineAnswer answer;
  double beat = 0.0;
  const double per_bar = item.beats_per_bar;
  for (const std::string_view word : words_of(text)) {
    if (word == "|") {
      // A bar line behind a full bar changes nothing.
      if (std::fmod(beat, per_bar) > 1e-9) beat = (std::floor(beat / per_bar) + 1.0) * per_bar;
    } else if (word == "-") {
      beat += 1.0;
    } else if (word.starts_with('@')) {
      const auto in_bar = number_from<double>(word.substr(1));
      if (!in_bar || *in_bar < 1.0 || *in_bar >= per_bar + 1.0) {
        return fail(
            ErrorCode::invalid_argument,
            fmt::format("'{}' is no place in a bar; say @1 to @{}.9.", word, item.beats_per_bar));
      }
      // The place belongs to the bar at hand; right behind a bar line that is the next one.
      beat = std::floor(beat / per_bar + 1e-9) * per_bar + *in_bar - 1.0;
    } else {
      auto note = note_from(item, word);
      if (!note) return tl::unexpected(note.error());
      note->beat = beat;
      answer.notes.push_back(*note);
      beat = std::floor(beat + 1.0 + 1e-9);
    }
  }
  if (answer.notes.size() > 400 || beat > item.beat_count() + 1e-6) {
    return fail(ErrorCode::invalid_argument,
                fmt::format("That is more than the {:.0f} beats of {}; leave the rest out, or "
                            "place notes with @2.5.",
                            item.beat_count(), item.place));
  }
  return answer;
}

Result<Answer> choice_from(std::string_view text) {
  const auto words = words_of(text);
  const std::string typed = words.size() == 1 ? lower(words.front()) : std::string();
  if (typed == "a") return ChoiceAnswer{0};
  if (typed == "b") return ChoiceAnswer{1};
  return fail(ErrorCode::invalid_argument, fmt::format("'{}': say A or B.", text));
}

}  // namespace

std::span<const Role> asked_roles() noexcept { return roles; }

std::string answer_help(const Item& item) {
  switch (item.kind) {
    case Kind::find_the_note:
      return "a note: Eb, with its octave Eb2, or string/fret 3/6";
    case Kind::name_the_role: {
      std::string text = "a role by number:";
      for (std::size_t i = 0; i < roles.size(); ++i) {
        text += fmt::format("{} {} {}", i == 0 ? "" : ",", i + 1, theory::role_text(roles[i]));
      }
      return text;
    }
    case Kind::spot_the_change:
      return "the beat or beats of the change, counted from 1: 3 or 5.5";
    case Kind::name_the_chord:
      return "a chord as charts write it: Cm7, G7/B";
    case Kind::which_is_it:
      return "A or B";
    case Kind::write_the_bar:
    case Kind::hide_and_work_out:
      return "one note a beat: G2 B2 - D3 ('-' no new note, @2.5 places the next one, | next bar)";
    case Kind::play_it_back:
      break;
  }
  return "it with your instrument, or one note a beat: G2 B2 - D3";
}

Result<Answer> parse_answer(const Item& item, std::string_view text) {
  switch (item.kind) {
    case Kind::find_the_note:
      return one_note(item, text);
    case Kind::name_the_role:
      return role_from(text);
    case Kind::spot_the_change:
      return taps_from(item, text);
    case Kind::name_the_chord:
      return chord_from(text);
    case Kind::which_is_it:
      return choice_from(text);
    case Kind::write_the_bar:
    case Kind::play_it_back:
    case Kind::hide_and_work_out:
      break;
  }
  return line_from(item, text);
}

}  // namespace lowstride::drill
