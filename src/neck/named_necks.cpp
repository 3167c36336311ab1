#include "src/neck/named_necks.hpp"

#include <algorithm>
#include <cctype>
#include <cmath>

#include <fmt/format.h>
#include <fmt/ranges.h>

#include "dsp/base/contracts.hpp"
#include "src/theory/pitch.hpp"

namespace lowstride::neck {
namespace {

constexpr double bass_scale_mm = 864.0;
constexpr double guitar_scale_mm = 648.0;

std::string in_small_letters(std::string_view text) {
  std::string small(text);
  std::ranges::transform(small, small.begin(), [](unsigned char letter) {
    return static_cast<char>(std::tolower(letter));
  });
  return small;
}

std::vector<std::string_view> words_of(std::string_view text) {
  constexpr std::string_view separators = " \t,;-";
  std::vector<std::string_view> words;
  while (true) {
    const auto begin = text.find_first_not_of(separators);
    if (begin == std::string_view::npos) return words;
    text.remove_prefix(begin);
    auto length = std::min(text.find_first_of(separators), text.size());
    // The hyphen of "C-1" is a sign, that of "E1-A1" none.
    constexpr std::string_view digits = "0123456789";
    if (length < text.size() && text[length] == '-' &&
        digits.find(text[length - 1]) == std::string_view::npos) {
      length = std::min(text.find_first_of(separators, length + 1), text.size());
    }
    words.push_back(text.substr(0, length));
    text.remove_prefix(length);
  }
}

}  // namespace

std::span<const Neck> named_necks() {
  static const std::vector<Neck> necks{
      {"bass", {28, 33, 38, 43}, 0, 20, bass_scale_mm},
      {"bass5", {23, 28, 33, 38, 43}, 0, 24, bass_scale_mm},
      {"bass6", {23, 28, 33, 38, 43, 48}, 0, 24, bass_scale_mm},
      {"bass-drop-d", {26, 33, 38, 43}, 0, 20, bass_scale_mm},
      // An upright has no frets; 20 stands for the stopped notes that a walking line uses.
      {"upright", {28, 33, 38, 43}, 0, 20, 1060.0},
      {"guitar", {40, 45, 50, 55, 59, 64}, 0, 22, guitar_scale_mm},
      {"guitar-drop-d", {38, 45, 50, 55, 59, 64}, 0, 22, guitar_scale_mm},
      {"guitar-open-g", {38, 43, 50, 55, 59, 62}, 0, 22, guitar_scale_mm},
      {"guitar-open-d", {38, 45, 50, 54, 57, 62}, 0, 22, guitar_scale_mm},
      {"guitar-dadgad", {38, 45, 50, 55, 57, 62}, 0, 22, guitar_scale_mm},
      {"guitar7", {35, 40, 45, 50, 55, 59, 64}, 0, 22, guitar_scale_mm},
      {"baritone", {35, 40, 45, 50, 54, 59}, 0, 22, 686.0},
      {"ukulele-bass", {28, 33, 38, 43}, 0, 18, 530.0}};
  return necks;
}

Result<Neck> find_neck(std::string_view name) {
  const std::string wanted = in_small_letters(name);
  std::vector<std::string> names;
  for (const Neck& neck : named_necks()) {
    if (neck.name == wanted) return neck;
    names.push_back(neck.name);
  }
  return fail(ErrorCode::not_found, fmt::format("There is no neck named '{}'; choose one of {}.",
                                                name, fmt::join(names, ", ")));
}

Result<Neck> with_tuning(Neck neck, std::string_view text) {
  if (const auto named = find_neck(text)) {
    neck.open_midi = named->open_midi;
    return neck;
  }
  std::vector<int> open_midi;
  for (const std::string_view word : words_of(text)) {
    const auto midi = theory::parse_pitch(word);
    if (!midi) {
      return fail(ErrorCode::invalid_argument,
                  fmt::format("The tuning '{}' has '{}' where a pitch should be; write one pitch a "
                              "string, lowest string first, such as E1 A1 D2 G2.",
                              text, word));
    }
    open_midi.push_back(*midi);
  }
  neck.open_midi = std::move(open_midi);
  if (const auto outcome = check(neck); !outcome) return tl::unexpected(outcome.error());
  return neck;
}

Result<void> check(const Neck& neck) {
  const auto refuse = [](std::string message) {
    return fail(ErrorCode::invalid_argument, std::move(message));
  };
  if (neck.open_midi.empty() || neck.open_midi.size() > 12) {
    return refuse(
        fmt::format("A neck of {} strings cannot be played; give a tuning of 1 to 12 "
                    "strings, such as E1 A1 D2 G2.",
                    neck.open_midi.size()));
  }
  for (const int midi : neck.open_midi) {
    if (midi < 0 || midi > 127) {
      return refuse(
          fmt::format("An open string of pitch {} is none; pitches lie from 0 to 127 "
                      "(E1 is 28).",
                      midi));
    }
  }
  if (neck.fret_count < 1 || neck.fret_count > 36) {
    return refuse(fmt::format("A neck of {} frets cannot be; give 1 to 36.", neck.fret_count));
  }
  if (neck.capo < 0 || neck.capo >= neck.fret_count) {
    return refuse(fmt::format("A capo at fret {} leaves nothing to play on {} frets; give 0 to {}.",
                              neck.capo, neck.fret_count, neck.fret_count - 1));
  }
  if (!(neck.scale_mm >= 200.0 && neck.scale_mm <= 1500.0)) {
    return refuse(fmt::format("A scale of {} mm cannot be; give 200 to 1500.", neck.scale_mm));
  }
  return {};
}

Result<void> check_options(const Neck& neck, const FingeringOptions& options) {
  const auto refuse = [](std::string message) {
    return fail(ErrorCode::invalid_argument, std::move(message));
  };
  if (options.position_fret &&
      (*options.position_fret < 0 || *options.position_fret > last_fret(neck))) {
    return refuse(fmt::format("There is no position {} on this neck; its last fret is {}.",
                              *options.position_fret, last_fret(neck)));
  }
  if (!(options.max_span_mm >= 40.0 && options.max_span_mm <= 300.0)) {
    return refuse(fmt::format("A hand does not span {} mm; give 40 to 300.", options.max_span_mm));
  }
  for (const int string_number : options.left_out_strings) {
    if (string_number < 1 || string_number > neck.string_count()) {
      return refuse(fmt::format("There is no string {} to leave out; 1 is the highest of {}.",
                                string_number, neck.string_count()));
    }
  }
  for (int string_number = 1; string_number <= neck.string_count(); ++string_number) {
    if (std::ranges::count(options.left_out_strings, string_number) == 0) return {};
  }
  return refuse("Every string is left out; leave one to play on.");
}

std::string tuning_text(const Neck& neck) {
  std::vector<std::string> names;
  names.reserve(neck.open_midi.size());
  for (const int midi : neck.open_midi) names.push_back(theory::pitch_text(midi));
  return fmt::format("{}", fmt::join(names, " "));
}

bool is_standard_tuning(const Neck& neck) {
  return std::ranges::any_of(named_necks(), [&neck](const Neck& named) {
    return (named.name == "bass" || named.name == "bass5" || named.name == "bass6" ||
            named.name == "guitar") &&
           named.open_midi == neck.open_midi;
  });
}

std::vector<std::string> string_names(const Neck& neck) {
  std::vector<std::string> names;
  for (auto midi = neck.open_midi.rbegin(); midi != neck.open_midi.rend(); ++midi) {
    std::string name = theory::to_text(theory::spell(*midi));
    const bool has_lower_twin = std::any_of(std::next(midi), neck.open_midi.rend(),
                                            [&](int other) { return (other - *midi) % 12 == 0; });
    if (has_lower_twin && midi == neck.open_midi.rbegin()) name = in_small_letters(name);
    names.push_back(std::move(name));
  }
  return names;
}

int sounding_midi(const Neck& neck, int string_number, int fret) {
  LOWSTRIDE_EXPECTS(string_number >= 1 && string_number <= neck.string_count());
  const auto index = static_cast<std::size_t>(neck.string_count() - string_number);
  return neck.open_midi[index] + neck.capo + fret;
}

int lowest_midi(const Neck& neck) { return std::ranges::min(neck.open_midi) + neck.capo; }

int highest_midi(const Neck& neck) { return std::ranges::max(neck.open_midi) + neck.fret_count; }

int last_fret(const Neck& neck) noexcept { return neck.fret_count - neck.capo; }

double fret_distance_mm(double scale_mm, int fret) noexcept {
  return scale_mm * (1.0 - std::exp2(-static_cast<double>(fret) / 12.0));
}

}  // namespace lowstride::neck
