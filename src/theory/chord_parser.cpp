#include "src/theory/chord_label.hpp"

#include <array>
#include <cctype>
#include <charconv>
#include <cstdlib>

#include <fmt/format.h>

namespace lowstride::theory {
namespace {

using dsp::ChordQuality;

int modulo12(int value) noexcept { return ((value % 12) + 12) % 12; }

/// What a label says, before it is reduced to one of our qualities. Semitones above the root.
struct Parts {
  std::optional<int> third = 4;  // 5 and 2 when suspended; nothing in a power chord
  int fifth = 7;
  std::optional<int> seventh;
  bool has_sixth = false;
  bool is_exact = true;
};

struct Reduced {
  ChordQuality quality = ChordQuality::major;
  bool is_exact = true;
};

Reduced reduce(const Parts& parts) {
  const bool plain = parts.fifth == 7;
  const int seventh = parts.seventh.value_or(0);
  const int third = parts.third.value_or(0);
  if (third == 5 || third == 2) {
    const bool exact = third == 5 && plain && !parts.has_sixth && seventh != 11;
    return {seventh == 10 ? ChordQuality::seventh_suspended_fourth : ChordQuality::suspended_fourth,
            exact};
  }
  if (third == 3) {
    if (parts.fifth == 6) {
      if (seventh == 10) return {ChordQuality::half_diminished_seventh, !parts.has_sixth};
      if (seventh == 9) return {ChordQuality::diminished_seventh, true};
      return {ChordQuality::diminished, seventh == 0 && !parts.has_sixth};
    }
    if (seventh == 10) return {ChordQuality::minor_seventh, plain && !parts.has_sixth};
    if (seventh == 11) return {ChordQuality::minor_major_seventh, plain && !parts.has_sixth};
    return {parts.has_sixth ? ChordQuality::minor_sixth : ChordQuality::minor, plain};
  }
  const bool has_third = parts.third.has_value();
  if (seventh == 10) {
    return {ChordQuality::dominant_seventh, plain && has_third && !parts.has_sixth};
  }
  if (seventh == 11) return {ChordQuality::major_seventh, plain && has_third && !parts.has_sixth};
  if (parts.has_sixth) return {ChordQuality::major_sixth, plain && has_third};
  if (parts.fifth == 8) return {ChordQuality::augmented, has_third};
  return {ChordQuality::major, plain && has_third};
}

bool take(std::string_view& text, std::string_view front) noexcept {
  if (!text.starts_with(front)) return false;
  text.remove_prefix(front.size());
  return true;
}

std::optional<int> take_number(std::string_view& text) noexcept {
  int value = 0;
  if (text.empty() || std::isdigit(static_cast<unsigned char>(text.front())) == 0) {
    return std::nullopt;
  }
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (error != std::errc{}) return std::nullopt;
  text.remove_prefix(static_cast<std::size_t>(end - text.data()));
  return value;
}

/// Semitones above the root of a scale degree, 1..13.
std::optional<int> degree_semitones(int degree) noexcept {
  constexpr std::array<int, 7> major{0, 2, 4, 5, 7, 9, 11};
  if (degree < 1 || degree > 13) return std::nullopt;
  return major[static_cast<std::size_t>((degree - 1) % 7)];
}

struct Degree {
  int number = 1;
  int semitones = 0;  // above the root, 0..11
};

std::optional<Degree> take_degree(std::string_view& text) noexcept {
  int alteration = 0;
  std::string_view rest = text;
  while (true) {
    if (take(rest, "b")) {
      --alteration;
    } else if (take(rest, "#")) {
      ++alteration;
    } else {
      break;
    }
  }
  const auto number = take_number(rest);
  if (!number || std::abs(alteration) > 3) return std::nullopt;
  const auto natural = degree_semitones(*number);
  if (!natural) return std::nullopt;
  text = rest;
  return Degree{*number, modulo12(*natural + alteration)};
}

/// One degree of a published label's list, "(b7)" or "(1,b3,5)".
void add_degree(Parts& parts, const Degree& degree) {
  switch (degree.number) {
    case 1:
      break;
    case 3:
      parts.third = degree.semitones;
      break;
    case 5:
      parts.fifth = degree.semitones;
      break;
    case 6:
      parts.has_sixth = true;
      parts.is_exact = parts.is_exact && degree.semitones == 9;
      break;
    case 7:
      parts.seventh = degree.semitones;
      break;
    case 4:
      if (!parts.third) {
        parts.third = 5;
        break;
      }
      [[fallthrough]];
    default:
      parts.is_exact = false;
  }
}

bool read_degree_list(std::string_view list, Parts& parts) {
  bool is_first = true;
  while (!list.empty()) {
    if (!is_first && !take(list, ",")) return false;
    is_first = false;
    const bool is_omission = take(list, "*");
    const auto degree = take_degree(list);
    if (!degree) return false;
    if (is_omission) {
      parts.is_exact = false;
    } else {
      add_degree(parts, *degree);
    }
  }
  return !is_first;
}

/// A number in a chart's label: "7", "9", "6", "13".
bool add_number(Parts& parts, int number, bool is_major_marked) {
  const int seventh = is_major_marked ? 11 : (parts.third == 3 && parts.fifth == 6 ? 9 : 10);
  switch (number) {
    case 69:
      parts.is_exact = false;
      [[fallthrough]];
    case 6:
      parts.has_sixth = true;
      return true;
    case 7:
      parts.seventh = seventh;
      return true;
    case 9:
    case 11:
    case 13:
      parts.is_exact = false;
      // "6/9" and "maj7 9" add the ninth alone.
      if (!parts.has_sixth && !parts.seventh) parts.seventh = seventh;
      return true;
    case 5:
      parts.third = std::nullopt;
      return true;
    case 4:
      parts.third = 5;
      return true;
    case 2:
      parts.third = 2;
      return true;
    default:
      return false;
  }
}

/// "b5", "#11", "-9", "+5" after a number or in brackets.
bool add_alteration(Parts& parts, int alteration, int number) {
  if (number == 5) {
    parts.fifth = 7 + alteration;
  } else if (number == 7 && alteration < 0) {
    parts.seventh = 10;
  } else if (number == 9 || number == 11 || number == 13 || number == 6) {
    parts.is_exact = false;
  } else {
    return false;
  }
  return true;
}

/// Reads everything after the root of either syntax (without the bass) token by token.
bool read_suffix(std::string_view text, Parts& parts) {
  bool is_major_marked = false;
  bool has_number = false;
  while (!text.empty()) {
    const char next = text.size() > 1 ? text[1] : '\0';
    const bool is_altered = (text.front() == 'b' || text.front() == '#' ||
                             ((text.front() == '+' || text.front() == '-') && has_number)) &&
                            std::isdigit(static_cast<unsigned char>(next)) != 0;
    if (is_altered) {
      const int alteration = text.front() == 'b' || text.front() == '-' ? -1 : 1;
      text.remove_prefix(1);
      const auto number = take_number(text);
      if (!number || !add_alteration(parts, alteration, *number)) return false;
      has_number = true;
    } else if (const auto number = take_number(text)) {
      if (!add_number(parts, *number, is_major_marked)) return false;
      has_number = true;
      is_major_marked = false;
    } else if (take(text, "omit") || take(text, "no")) {
      if (!take_number(text)) return false;
      parts.is_exact = false;
    } else if (take(text, "hdim") || take(text, "\xC3\xB8") || take(text, "\xC3\x98")) {
      parts.third = 3;
      parts.fifth = 6;
      parts.seventh = 10;
      if (take(text, "7")) has_number = true;
    } else if (take(text, "dim") || take(text, "\xC2\xB0") || take(text, "\xC2\xBA") ||
               take(text, "o")) {
      parts.third = 3;
      parts.fifth = 6;
    } else if (take(text, "aug") || take(text, "+")) {
      parts.fifth = 8;
    } else if (take(text, "sus")) {
      const auto degree = take_number(text);
      if (degree && *degree != 2 && *degree != 4) return false;
      parts.third = degree == 2 ? 2 : 5;
    } else if (take(text, "add")) {
      while (take(text, "b") || take(text, "#")) {
      }
      if (!take_number(text)) return false;
      parts.is_exact = false;
    } else if (take(text, "alt")) {
      parts.seventh = 10;
      parts.is_exact = false;
    } else if (take(text, "major") || take(text, "maj") || take(text, "Maj") || take(text, "MAJ") ||
               take(text, "ma") || take(text, "Ma") || take(text, "M")) {
      is_major_marked = true;
    } else if (take(text, "\xCE\x94") || take(text, "\xE2\x96\xB3") || take(text, "\xE2\x88\x86")) {
      // The triangle means the major seventh with or without its number.
      if (const auto extension = take_number(text)) {
        if (!add_number(parts, *extension, true)) return false;
      } else {
        parts.seventh = 11;
      }
      has_number = true;
    } else if (take(text, "minor") || take(text, "min") || take(text, "Min") || take(text, "mi") ||
               take(text, "m") || take(text, "-")) {
      parts.third = 3;
    } else if (!take(text, "(") && !take(text, ")") && !take(text, ",") && !take(text, " ") &&
               !take(text, "/")) {
      return false;
    }
  }
  return true;
}

std::string with_plain_signs(std::string_view text) {
  std::string plain;
  while (!text.empty()) {
    if (take(text, "\xE2\x99\xAD")) {
      plain += 'b';
    } else if (take(text, "\xE2\x99\xAF")) {
      plain += '#';
    } else if (take(text, "\xE2\x88\x92") || take(text, "\xE2\x80\x93")) {
      plain += '-';
    } else if (std::isspace(static_cast<unsigned char>(text.front())) != 0) {
      text.remove_prefix(1);
    } else {
      plain += text.front();
      text.remove_prefix(1);
    }
  }
  return plain;
}

/// Splits "/A", "/b7" or "/3" off the end of `suffix`; the ninth of "6/9" stays.
Result<std::optional<int>> take_bass(std::string_view& suffix, int root_pc,
                                     std::string_view whole) {
  const auto slash = suffix.rfind('/');
  if (slash == std::string_view::npos) return std::nullopt;
  std::string_view bass = suffix.substr(slash + 1);
  if (bass == "9" && slash > 0 && suffix[slash - 1] == '6') return std::nullopt;
  const std::string_view before = suffix.substr(0, slash);
  std::string_view rest = bass;
  if (const auto degree = take_degree(rest); degree && rest.empty()) {
    suffix = before;
    return modulo12(root_pc + degree->semitones);
  }
  rest = bass;
  if (const auto name = take_pitch_name(rest); name && rest.empty()) {
    suffix = before;
    return pitch_class(*name);
  }
  return fail(
      ErrorCode::invalid_argument,
      fmt::format("'{}' ends in a bass note that is none; write it as C7/E or C:7/3.", whole));
}

bool read_published(std::string_view suffix, Parts& parts) {
  const auto bracket = suffix.find('(');
  std::string_view list;
  if (bracket != std::string_view::npos) {
    if (!suffix.ends_with(')')) return false;
    list = suffix.substr(bracket + 1, suffix.size() - bracket - 2);
    suffix = suffix.substr(0, bracket);
    if (suffix.empty()) {
      parts.third = std::nullopt;
      // A list alone names every tone; one without a fifth stands for less than the chord.
      parts.is_exact = list.find('5') != std::string_view::npos;
    }
  }
  if (suffix == "1") {
    parts.is_exact = false;
  } else if (!read_suffix(suffix, parts)) {
    return false;
  }
  return bracket == std::string_view::npos || read_degree_list(list, parts);
}

}  // namespace

Result<ParsedChord> parse_chord(std::string_view text) {
  const std::string plain = with_plain_signs(text);
  const auto refuse = [text] {
    return fail(ErrorCode::invalid_argument,
                fmt::format("'{}' is not a chord; write it as Bb7, Cm7b5, F6/A or C:min7/b3, and "
                            "N for no chord.",
                            text));
  };
  if (plain == "N" || plain == "NC" || plain == "N.C." || plain == "N.C" || plain == "X") {
    return ParsedChord{{}, plain != "X"};
  }
  std::string_view suffix = plain;
  // Small letters stay free for "b" and "dim": roots are capitals, as in every chart.
  if (suffix.empty() || std::isupper(static_cast<unsigned char>(suffix.front())) == 0) {
    return refuse();
  }
  const auto root = take_pitch_name(suffix);
  if (!root) return refuse();
  const int root_pc = pitch_class(*root);
  const bool is_published = take(suffix, ":");
  const auto bass = take_bass(suffix, root_pc, text);
  if (!bass) return tl::unexpected(bass.error());
  Parts parts;
  const bool is_read = is_published ? read_published(suffix, parts) : read_suffix(suffix, parts);
  if (!is_read || (is_published && suffix.empty())) return refuse();
  const Reduced reduced = reduce(parts);
  return ParsedChord{{root_pc, reduced.quality, bass->value_or(root_pc)},
                     reduced.is_exact && parts.is_exact};
}

}  // namespace lowstride::theory
