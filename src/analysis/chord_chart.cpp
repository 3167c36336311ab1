#include "src/analysis/chord_chart.hpp"

#include <algorithm>
#include <cctype>
#include <charconv>
#include <map>
#include <sstream>
#include <string>
#include <string_view>
#include <utility>

#include <fmt/format.h>

#include "src/base/atomic_file.hpp"
#include "src/theory/chord_label.hpp"

namespace lowstride::analysis {
namespace {

constexpr std::size_t largest_file_bytes = 1U << 20U;

std::string_view trimmed(std::string_view text) {
  const auto is_space = [](char c) { return c == ' ' || c == '\t' || c == '\r'; };
  while (!text.empty() && is_space(text.front())) text.remove_prefix(1);
  while (!text.empty() && is_space(text.back())) text.remove_suffix(1);
  return text;
}

std::vector<std::string> words_of(std::string_view text) {
  std::istringstream stream{std::string(text)};
  std::vector<std::string> words;
  for (std::string word; stream >> word;) words.push_back(word);
  return words;
}

struct Place {
  std::string file;
  int line = 0;
};

Result<dsp::ChordReading> chord_at(const std::string& label, const Place& place) {
  const auto parsed = theory::parse_chord(label);
  if (!parsed) {
    return fail(ErrorCode::invalid_argument,
                fmt::format("'{}', line {}: '{}' is no chord; write it as Bb7, Cm7b5, F6/A or N.",
                            place.file, place.line, label));
  }
  return parsed->chord;
}

/// Bars of one chart line; the text before the first and after the last `|` counts when it holds
/// something.
Result<void> add_bars(std::string_view line, const Place& place,
                      std::vector<std::vector<dsp::ChordReading>>& bars) {
  std::vector<std::string_view> cells;
  for (std::size_t begin = 0; begin <= line.size();) {
    const std::size_t end = std::min(line.find('|', begin), line.size());
    cells.push_back(trimmed(line.substr(begin, end - begin)));
    begin = end + 1;
  }
  if (!cells.empty() && cells.front().empty()) cells.erase(cells.begin());
  if (!cells.empty() && cells.back().empty()) cells.pop_back();
  for (const std::string_view cell : cells) {
    std::vector<dsp::ChordReading> chords;
    for (const std::string& word : words_of(cell)) {
      if (word == "%") continue;
      const auto chord = chord_at(word, place);
      if (!chord) return tl::unexpected(chord.error());
      chords.push_back(*chord);
    }
    if (chords.empty()) {
      if (bars.empty()) {
        return fail(ErrorCode::invalid_argument,
                    fmt::format("'{}', line {}: the first bar repeats nothing; begin with a chord.",
                                place.file, place.line));
      }
      chords = bars.back();
    }
    bars.push_back(std::move(chords));
  }
  return {};
}

std::optional<double> number(const std::string& word) {
  double value = 0.0;
  const auto [end, error] = std::from_chars(word.data(), word.data() + word.size(), value);
  if (error != std::errc() || end != word.data() + word.size()) return std::nullopt;
  return value;
}

}  // namespace

Result<ChordChart> ChordChart::read(const std::filesystem::path& path) {
  const auto text = read_small_file(path, largest_file_bytes);
  if (!text) return tl::unexpected(text.error());
  ChordChart chart;
  Place place{path.string(), 0};
  std::istringstream lines{*text};
  for (std::string line; std::getline(lines, line);) {
    ++place.line;
    const std::string_view content = trimmed(line);
    // A sharp chord never begins with '#', so this is a remark.
    if (content.empty() || content.front() == '#') continue;
    if (content.find('|') != std::string_view::npos) {
      if (const auto added = add_bars(content, place, chart.bars_); !added) {
        return tl::unexpected(added.error());
      }
      continue;
    }
    const auto words = words_of(content);
    if (words.size() < 3 || !number(words[0]) || !number(words[1])) continue;
    const auto chord = chord_at(words[2], place);
    if (!chord) return tl::unexpected(chord.error());
    const double begin = *number(words[0]);
    const double end = *number(words[1]);
    if (!(begin >= 0.0 && end > begin) ||
        (!chart.timed_.empty() && begin < chart.timed_.back().end_seconds - 1e-6)) {
      return fail(ErrorCode::invalid_argument,
                  fmt::format("'{}', line {}: chords follow one another in time, each with an end "
                              "after its start.",
                              place.file, place.line));
    }
    chart.timed_.push_back({begin, end, *chord});
  }
  if (chart.bars_.empty() == chart.timed_.empty()) {
    return fail(
        ErrorCode::invalid_argument,
        fmt::format("'{}' holds {}; write a chart (| F7 | Bb7 |) or lines of start, end and "
                    "label.",
                    place.file,
                    chart.bars_.empty() ? "no chords" : "both bars and lines with times"));
  }
  return chart;
}

std::vector<dsp::FixedChord> ChordChart::in_time(const dsp::DecodedGrid& grid) const {
  if (is_timed()) return timed_;
  std::vector<dsp::FixedChord> chords;
  std::map<int, std::vector<double>> bars;  // beat times of each bar from 1 on
  for (const dsp::DecodedBeat& beat : grid.beats) {
    if (beat.bar >= 1) bars[beat.bar].push_back(beat.time_seconds);
  }
  for (auto bar = bars.begin(); bar != bars.end(); ++bar) {
    const auto& beats = bar->second;
    const auto next = std::next(bar);
    double end = 0.0;
    if (next != bars.end()) {
      end = next->second.front();
    } else {
      const double step = beats.size() > 1 ? beats.back() - beats[beats.size() - 2] : 0.5;
      end = beats.back() + step;
    }
    const auto& labels = bars_[static_cast<std::size_t>(bar->first - 1) % bars_.size()];
    // Never more chords than beats to put them on.
    const std::size_t count = std::min(labels.size(), beats.size());
    for (std::size_t i = 0; i < count; ++i) {
      const double from = beats[i * beats.size() / count];
      const double to = i + 1 < count ? beats[(i + 1) * beats.size() / count] : end;
      chords.push_back({from, to, labels[i]});
    }
  }
  return chords;
}

}  // namespace lowstride::analysis
