#include "src/take/time_text.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <iterator>
#include <vector>

namespace lowstride::take {
namespace {

/// A beat that is this close to a whole one is written as one: 1/100 of a beat is under 10 ms at
/// any tempo over 60.
constexpr double beat_resolution = 0.01;
/// Larger counts overflow the sample arithmetic and mean nothing.
constexpr double most_seconds = 1e7;
constexpr int most_bar = 1'000'000;

tl::unexpected<Error> no_time(std::string_view text) {
  return fail(ErrorCode::invalid_argument,
              fmt::format("'{}' is not a time; give seconds (72.5), minutes (1:12.500) or a bar "
                          "and beat (b12:3).",
                          text));
}

/// A plain decimal number, all of `text`: digits with at most one point. No sign, no exponent.
std::optional<double> decimal(std::string_view text) {
  double value = 0.0;
  const bool is_plain = !text.empty() && text.front() != '.' &&
                        std::all_of(text.begin(), text.end(),
                                    [](char c) { return (c >= '0' && c <= '9') || c == '.'; });
  if (!is_plain) return std::nullopt;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (error != std::errc{} || end != text.data() + text.size()) return std::nullopt;
  return value;
}

std::optional<int> whole(std::string_view text) {
  int value = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (text.empty() || error != std::errc{} || end != text.data() + text.size()) return std::nullopt;
  return value;
}

/// Text without blanks at both ends.
std::string_view trimmed(std::string_view text) {
  while (!text.empty() && text.front() == ' ') text.remove_prefix(1);
  while (!text.empty() && text.back() == ' ') text.remove_suffix(1);
  return text;
}

bool is_bar_text(std::string_view text) {
  return !text.empty() && (text.front() == 'b' || text.front() == 'B');
}

std::optional<BarPosition> parse_bar(std::string_view text) {
  text.remove_prefix(1);
  const std::size_t colon = text.find(':');
  const auto bar = whole(text.substr(0, colon));
  if (!bar || std::abs(*bar) > most_bar) return std::nullopt;
  if (colon == std::string_view::npos) return BarPosition{*bar, 1.0};
  const auto beat = decimal(text.substr(colon + 1));
  if (!beat || *beat < 1.0) return std::nullopt;
  return BarPosition{*bar, *beat};
}

double first_interval(const std::vector<Beat>& beats) {
  return static_cast<double>(beats[1].time_samples - beats[0].time_samples);
}

double last_interval(const std::vector<Beat>& beats) {
  return static_cast<double>(beats.back().time_samples - beats[beats.size() - 2].time_samples);
}

BarPosition normalized(const Beat& anchor, double beats_on, int beats_per_bar) {
  const double from_bar = static_cast<double>(anchor.beat - 1) + beats_on;
  const double bars = std::floor(from_bar / beats_per_bar);
  return {anchor.bar + static_cast<int>(std::clamp(bars, -1e6, 1e6)),
          from_bar - bars * beats_per_bar + 1.0};
}

}  // namespace

std::optional<BarPosition> bar_position(const Take& take, double sample) {
  const auto& beats = take.beats;
  if (beats.size() < 2 || !std::isfinite(sample)) return std::nullopt;
  const auto next = std::partition_point(beats.begin(), beats.end(), [&](const Beat& beat) {
    return static_cast<double>(beat.time_samples) <= sample;
  });
  if (next == beats.begin()) {
    const double on = (sample - static_cast<double>(next->time_samples)) / first_interval(beats);
    return normalized(*next, on, take.beats_per_bar);
  }
  const Beat& last = *std::prev(next);
  const double past = sample - static_cast<double>(last.time_samples);
  if (next == beats.end()) {
    return normalized(last, past / last_interval(beats), take.beats_per_bar);
  }
  const auto interval = static_cast<double>(next->time_samples - last.time_samples);
  return BarPosition{last.bar, last.beat + past / interval};
}

std::optional<double> sample_at(const Take& take, const BarPosition& position) {
  const auto& beats = take.beats;
  if (beats.size() < 2 || !(position.beat >= 1.0) || !std::isfinite(position.beat)) {
    return std::nullopt;
  }
  const double whole_beat = std::floor(position.beat);
  const auto found = std::find_if(beats.begin(), beats.end(), [&](const Beat& beat) {
    return beat.bar == position.bar && beat.beat == static_cast<int>(std::min(whole_beat, 1e6));
  });
  if (found != beats.end()) {
    const auto next = std::next(found);
    const double interval = next == beats.end()
                                ? last_interval(beats)
                                : static_cast<double>(next->time_samples - found->time_samples);
    return static_cast<double>(found->time_samples) + (position.beat - whole_beat) * interval;
  }
  if (position.beat >= take.beats_per_bar + 1.0) return std::nullopt;
  const auto beats_from = [&](const Beat& anchor) {
    return (static_cast<double>(position.bar) - anchor.bar) * take.beats_per_bar + position.beat -
           anchor.beat;
  };
  if (const double on = beats_from(beats.front()); on < 0.0) {
    return static_cast<double>(beats.front().time_samples) + on * first_interval(beats);
  }
  if (const double on = beats_from(beats.back()); on > 0.0) {
    return static_cast<double>(beats.back().time_samples) + on * last_interval(beats);
  }
  return std::nullopt;
}

const Beat* nearest_beat(const Take& take, std::int64_t sample) {
  const auto& beats = take.beats;
  if (beats.empty()) return nullptr;
  const auto next = std::partition_point(
      beats.begin(), beats.end(), [&](const Beat& beat) { return beat.time_samples < sample; });
  if (next == beats.end()) return &beats.back();
  if (next == beats.begin()) return &beats.front();
  const auto last = std::prev(next);
  return sample - last->time_samples <= next->time_samples - sample ? &*last : &*next;
}

Result<double> parse_seconds(std::string_view text) {
  const std::string_view whole_text = text;
  text = trimmed(text);
  if (is_bar_text(text)) {
    return fail(ErrorCode::invalid_argument,
                fmt::format("'{}' names a bar, and there is no grid to find it in; give seconds "
                            "(72.5) or minutes (1:12.500).",
                            whole_text));
  }
  std::vector<std::string_view> parts;
  for (std::size_t begin = 0;;) {
    const std::size_t colon = text.find(':', begin);
    parts.push_back(text.substr(begin, colon - begin));
    if (colon == std::string_view::npos) break;
    begin = colon + 1;
  }
  if (parts.size() > 3) return no_time(whole_text);
  double seconds = 0.0;
  for (std::size_t i = 0; i < parts.size(); ++i) {
    const auto value = decimal(parts[i]);
    const bool is_last = i + 1 == parts.size();
    if (!value || (!is_last && parts[i].find('.') != std::string_view::npos) ||
        (i > 0 && *value >= 60.0)) {
      return no_time(whole_text);
    }
    seconds = seconds * 60.0 + *value;
  }
  if (seconds > most_seconds) return no_time(whole_text);
  return seconds;
}

std::optional<double> median_tempo_bpm(const Take& take) {
  if (take.beats.size() < 2) return std::nullopt;
  std::vector<std::int64_t> periods;
  for (std::size_t i = 1; i < take.beats.size(); ++i) {
    periods.push_back(
        std::max<std::int64_t>(1, take.beats[i].time_samples - take.beats[i - 1].time_samples));
  }
  const auto middle = periods.begin() + static_cast<std::ptrdiff_t>(periods.size() / 2);
  std::nth_element(periods.begin(), middle, periods.end());
  return 60.0 * static_cast<double>(take.time_base_hz) / static_cast<double>(*middle);
}

Result<std::int64_t> parse_time(std::string_view text, const Take& take) {
  const std::string_view trimmed_text = trimmed(text);
  double sample = 0.0;
  if (is_bar_text(trimmed_text)) {
    const auto position = parse_bar(trimmed_text);
    if (!position) return no_time(text);
    if (take.beats.size() < 2) {
      return fail(
          ErrorCode::invalid_argument,
          fmt::format("'{}' names a bar, and the take has no beats yet; give seconds (72.5) "
                      "or minutes (1:12.500).",
                      text));
    }
    const auto found = sample_at(take, *position);
    if (!found) {
      return fail(ErrorCode::invalid_argument,
                  fmt::format("There is no '{}' in this take, whose bars go from {} to {}; give "
                              "another place.",
                              text, take.beats.front().bar, take.beats.back().bar));
    }
    sample = *found;
  } else {
    const auto seconds = parse_seconds(text);
    if (!seconds) return tl::unexpected(seconds.error());
    sample = *seconds * static_cast<double>(take.time_base_hz);
  }
  // A printed place is rounded to 1/100 of a beat, 7.5 ms at 40 a minute, and may lie outside by
  // it.
  const double hair = 0.01 * static_cast<double>(take.time_base_hz);
  if (sample < -hair || sample > static_cast<double>(take.length_samples) + hair) {
    return fail(ErrorCode::invalid_argument,
                fmt::format("'{}' lies outside the take, which ends at {}.", text,
                            format_time(take.length_samples, take)));
  }
  return std::clamp<std::int64_t>(std::llround(sample), 0, take.length_samples);
}

Result<Stretch> parse_stretch(std::string_view text, const Take& take) {
  const std::size_t dots = text.find("..");
  if (dots == std::string_view::npos) {
    return fail(ErrorCode::invalid_argument,
                fmt::format("'{}' is not a stretch; give its begin and end as in 1:10..1:20 or "
                            "b5..b8.",
                            text));
  }
  const auto begin = parse_time(text.substr(0, dots), take);
  if (!begin) return tl::unexpected(begin.error());
  const auto end = parse_time(text.substr(dots + 2), take);
  if (!end) return tl::unexpected(end.error());
  if (*begin >= *end) {
    return fail(
        ErrorCode::invalid_argument,
        fmt::format("The stretch '{}' ends before it begins; give the earlier time first.", text));
  }
  return Stretch{*begin, *end};
}

std::string format_time(double seconds) {
  const auto milliseconds = static_cast<std::int64_t>(
      std::llround(std::clamp(std::isfinite(seconds) ? seconds : 0.0, -1e9, 1e9) * 1000.0));
  const std::int64_t size = std::abs(milliseconds);
  const std::string_view sign = milliseconds < 0 ? "-" : "";
  const std::int64_t minutes = size / 60'000;
  const std::string rest = fmt::format("{:02}.{:03}", size / 1000 % 60, size % 1000);
  if (minutes < 60) return fmt::format("{}{}:{}", sign, minutes, rest);
  return fmt::format("{}{}:{:02}:{}", sign, minutes / 60, minutes % 60, rest);
}

std::string format_time(std::int64_t samples, const Take& take) {
  return format_time(static_cast<double>(samples) / static_cast<double>(take.time_base_hz));
}

std::string format_place(std::int64_t samples, const Take& take) {
  auto position = bar_position(take, static_cast<double>(samples));
  if (!position) return format_time(samples, take);
  const double rounded = std::round(position->beat / beat_resolution) * beat_resolution;
  // Rounding up to the next beat may be the first of the next bar: ask the beat itself.
  if (rounded >= std::floor(position->beat) + 1.0 && rounded > position->beat) {
    if (const Beat* beat = nearest_beat(take, samples); beat->time_samples >= samples) {
      position = BarPosition{beat->bar, static_cast<double>(beat->beat)};
    } else {
      position = rounded >= take.beats_per_bar + 1.0 ? BarPosition{position->bar + 1, 1.0}
                                                     : BarPosition{position->bar, rounded};
    }
  } else {
    position->beat = rounded;
  }
  if (position->beat < 1.0 + beat_resolution / 2) return fmt::format("b{}:1", position->bar);
  std::string beat = fmt::format("{:.2f}", position->beat);
  while (beat.back() == '0') beat.pop_back();
  if (beat.back() == '.') beat.pop_back();
  return fmt::format("b{}:{}", position->bar, beat);
}

}  // namespace lowstride::take
