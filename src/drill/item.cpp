#include "src/drill/item.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

#include <fmt/format.h>

namespace lowstride::drill {
namespace {

constexpr std::array<Kind, kind_count> kinds{
    Kind::find_the_note, Kind::name_the_role, Kind::spot_the_change, Kind::name_the_chord,
    Kind::write_the_bar, Kind::play_it_back,  Kind::which_is_it,     Kind::hide_and_work_out};
constexpr std::array<std::string_view, kind_count> texts{
    "find the note", "name the role", "spot the change", "name the chord",
    "write the bar", "play it back",  "which is it",     "hide and work out"};
constexpr std::array<std::string_view, kind_count> words{"note", "role", "change", "chord",
                                                         "bar",  "play", "which",  "passage"};

}  // namespace

std::span<const Kind> all_kinds() noexcept { return kinds; }

std::string_view kind_text(Kind kind) noexcept { return texts[static_cast<std::size_t>(kind)]; }

std::string_view kind_word(Kind kind) noexcept { return words[static_cast<std::size_t>(kind)]; }

std::optional<Kind> kind_from_word(std::string_view word) noexcept {
  const auto found = std::find(words.begin(), words.end(), word);
  if (found == words.end()) return std::nullopt;
  return kinds[static_cast<std::size_t>(found - words.begin())];
}

std::string take_key_of(const take::Take& take) {
  if (take.recording && !take.recording->content_hash.empty()) {
    return take.recording->content_hash.substr(0, 16);
  }
  return fmt::format("{}/{}", take.title, take.length_samples);
}

std::string beat_text(const Item& item, double beat) {
  // Nobody plays to the hundredth of a beat: a note a little early is still on its beat.
  constexpr double on_beat = 0.12;
  const auto place_of = [&item](int whole) {
    const int bar = item.first_bar + (whole >= 0 ? whole / item.beats_per_bar : 0);
    const int count = whole >= 0 ? whole % item.beats_per_bar + 1 : 1;
    return std::pair(bar, count);
  };
  const auto whole = static_cast<int>(std::floor(beat + on_beat));
  const double rest = beat - whole;
  const auto [bar, count] = place_of(whole);
  if (rest < on_beat) return fmt::format("bar {}, beat {}", bar, count);
  if (rest < 0.3) return fmt::format("bar {}, just after beat {}", bar, count);
  if (rest < 0.7) return fmt::format("bar {}, half way after beat {}", bar, count);
  const auto [next_bar, next_count] = place_of(whole + 1);
  return fmt::format("bar {}, just before beat {}", next_bar, next_count);
}

double sample_of_beat(const Item& item, double beat) {
  const std::vector<std::int64_t>& at = item.beat_samples;
  const auto last = static_cast<double>(at.size() - 2);
  const auto index = static_cast<std::size_t>(std::clamp(std::floor(beat), 0.0, last));
  const auto from = static_cast<double>(at[index]);
  return from + (beat - static_cast<double>(index)) * (static_cast<double>(at[index + 1]) - from);
}

double beat_of_sample(const Item& item, double sample) {
  const std::vector<std::int64_t>& at = item.beat_samples;
  std::size_t index = 0;
  while (index + 2 < at.size() && static_cast<double>(at[index + 1]) <= sample) ++index;
  const auto from = static_cast<double>(at[index]);
  return static_cast<double>(index) +
         (sample - from) / std::max(1.0, static_cast<double>(at[index + 1]) - from);
}

}  // namespace lowstride::drill
