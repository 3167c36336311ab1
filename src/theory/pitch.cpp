#include "src/theory/pitch.hpp"

#include <array>
#include <cctype>
#include <charconv>
#include <cmath>

#include <fmt/format.h>

namespace lowstride::theory {
namespace {

constexpr std::array<int, 7> natural_pc{0, 2, 4, 5, 7, 9, 11};  // C D E F G A B
constexpr std::string_view letters = "CDEFGAB";
/// Fifths from C to each letter: F -1, C 0, G 1, D 2, A 3, E 4, B 5.
constexpr std::array<int, 7> natural_fifths{0, 2, 4, -1, 1, 3, 5};

int modulo(int value, int divisor) noexcept { return ((value % divisor) + divisor) % divisor; }

int fifths(PitchName name) noexcept {
  return natural_fifths[static_cast<std::size_t>(name.step)] + 7 * name.alteration;
}

/// The name at a place on the line of fifths.
PitchName at_fifths(int place) noexcept {
  constexpr std::array<int, 7> step_by_fifths{3, 0, 4, 1, 5, 2, 6};  // F C G D A E B
  const int from_f = place + 1;
  const int step = step_by_fifths[static_cast<std::size_t>(modulo(from_f, 7))];
  return {step, (from_f - modulo(from_f, 7)) / 7};
}

std::string_view trimmed(std::string_view text) noexcept {
  while (!text.empty() && std::isspace(static_cast<unsigned char>(text.front())) != 0) {
    text.remove_prefix(1);
  }
  while (!text.empty() && std::isspace(static_cast<unsigned char>(text.back())) != 0) {
    text.remove_suffix(1);
  }
  return text;
}

/// Removes one accidental from the front; nothing when there is none.
std::optional<int> take_accidental(std::string_view& text) noexcept {
  struct Sign {
    std::string_view text;
    int alteration;
  };
  constexpr std::array<Sign, 4> signs{Sign{"b", -1}, Sign{"#", 1}, Sign{"\xE2\x99\xAD", -1},
                                      Sign{"\xE2\x99\xAF", 1}};
  for (const Sign& sign : signs) {
    if (text.starts_with(sign.text)) {
      text.remove_prefix(sign.text.size());
      return sign.alteration;
    }
  }
  return std::nullopt;
}

std::optional<int> whole_number(std::string_view text) noexcept {
  int value = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (error != std::errc{} || end != text.data() + text.size()) return std::nullopt;
  return value;
}

}  // namespace

double frequency_hz(double pitch_midi, double a4_hz) noexcept {
  return a4_hz * std::exp2((pitch_midi - 69.0) / 12.0);
}

double pitch_midi(double frequency_hz, double a4_hz) noexcept {
  return 69.0 + 12.0 * std::log2(frequency_hz / a4_hz);
}

int pitch_class(PitchName name) noexcept {
  return modulo(natural_pc[static_cast<std::size_t>(name.step)] + name.alteration, 12);
}

std::string to_text(PitchName name) {
  std::string text(1, letters[static_cast<std::size_t>(name.step)]);
  text.append(static_cast<std::size_t>(std::abs(name.alteration)), name.alteration < 0 ? 'b' : '#');
  return text;
}

PitchName spell(int pitch_class, const std::optional<Key>& key) {
  // Without a key the window is that of C: D flat to F sharp.
  const int lowest = (key ? fifths(key_name(*key)) : 0) - 5;
  // Seven fifths are a semitone modulo the octave, so this is where the pitch class lies.
  const int place = modulo(7 * pitch_class, 12);
  PitchName name = at_fifths(lowest + modulo(place - lowest, 12));
  // In keys of many flats or sharps players read D more readily than E double flat.
  if (std::abs(name.alteration) > 1) name = at_fifths(fifths(name) - 12 * name.alteration / 2);
  return name;
}

std::string pitch_text(int midi, const std::optional<Key>& key) {
  return pitch_text(midi, spell(midi, key));
}

std::string pitch_text(int midi, PitchName name) {
  return fmt::format("{}{}", to_text(name), written_octave(midi, name));
}

int written_octave(int midi, PitchName name) noexcept {
  const int natural = midi - name.alteration;
  return (natural - modulo(natural, 12)) / 12 - 1;
}

std::optional<PitchName> take_pitch_name(std::string_view& text) {
  if (text.empty()) return std::nullopt;
  const auto step =
      letters.find(static_cast<char>(std::toupper(static_cast<unsigned char>(text.front()))));
  if (step == std::string_view::npos) return std::nullopt;
  text.remove_prefix(1);
  PitchName name{static_cast<int>(step), 0};
  while (std::abs(name.alteration) < 2) {
    const auto accidental = take_accidental(text);
    if (!accidental) break;
    name.alteration += *accidental;
  }
  return name;
}

Result<int> parse_pitch(std::string_view text) {
  const auto refuse = [text] {
    return fail(ErrorCode::invalid_argument,
                fmt::format("'{}' is not a pitch; write a name with its octave, such as E1 or Bb2, "
                            "or a MIDI number from 0 to 127.",
                            text));
  };
  std::string_view rest = trimmed(text);
  if (const auto number = whole_number(rest)) {
    if (*number < 0 || *number > 127) return refuse();
    return *number;
  }
  const auto name = take_pitch_name(rest);
  const auto octave = whole_number(rest);
  if (!name || !octave || *octave < -1 || *octave > 9) return refuse();
  const int midi =
      12 * (*octave + 1) + natural_pc[static_cast<std::size_t>(name->step)] + name->alteration;
  if (midi < 0 || midi > 127) return refuse();
  return midi;
}

PitchName key_name(const Key& key) {
  // Signatures of six flats to five sharps; a minor tonic lies three fifths above its major one.
  const int lowest = key.is_minor ? -3 : -6;
  const int place = modulo(7 * key.tonic_pc, 12);
  return at_fifths(lowest + modulo(place - lowest, 12));
}

int key_signature(const Key& key) { return fifths(key_name(key)) - (key.is_minor ? 3 : 0); }

std::string key_text(const Key& key) { return to_text(key_name(key)) + (key.is_minor ? "m" : ""); }

Result<Key> parse_key(std::string_view text) {
  std::string_view rest = trimmed(text);
  const auto name = take_pitch_name(rest);
  const std::string_view mode = trimmed(rest);
  constexpr std::array<std::string_view, 5> minor{"m", "min", "minor", "-", "mi"};
  constexpr std::array<std::string_view, 4> major{"", "maj", "major", "M"};
  if (name) {
    for (const auto word : minor) {
      if (mode == word) return Key{pitch_class(*name), true};
    }
    for (const auto word : major) {
      if (mode == word) return Key{pitch_class(*name), false};
    }
  }
  return fail(ErrorCode::invalid_argument,
              fmt::format("'{}' is not a key; write it as Bb, Gm or F# minor.", text));
}

}  // namespace lowstride::theory
