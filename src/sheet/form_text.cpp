#include "src/sheet/form_text.hpp"

#include <algorithm>
#include <optional>
#include <vector>

#include <fmt/format.h>

#include "dsp/harmony/form.hpp"
#include "src/parts/chart.hpp"
#include "src/take/harmony.hpp"
#include "src/theory/roman.hpp"

namespace lowstride::sheet {
namespace {

constexpr std::size_t bars_a_line = 4;
constexpr std::size_t most_bars = 64;

/// The chords of full bars from bar 1 on.
std::vector<dsp::BarChords> bars_of(const parts::Chart& chart, std::size_t beats_per_bar) {
  std::vector<dsp::BarChords> bars;
  for (std::size_t beat = 0; beat < chart.beats.size(); ++beat) {
    const parts::ChartBeat& one = chart.beats[beat];
    if (!one.begins_bar || one.bar < 1) continue;
    std::size_t end = beat + 1;
    while (end < chart.beats.size() && !chart.beats[end].begins_bar) ++end;
    if (end == chart.beats.size() && end - beat < beats_per_bar) break;  // the last is not full
    bars.push_back({one.bar, one.chord, chart.beats[beat + (end - beat) / 2].chord});
  }
  return bars;
}

}  // namespace

std::string form_numerals(const take::Take& take, int indent) {
  const std::vector<dsp::BarChords> bars =
      bars_of(parts::chart_of(take), static_cast<std::size_t>(std::max(1, take.beats_per_bar)));
  const auto form = dsp::recognise_form(bars);
  std::optional<theory::Key> key = key_of(take);
  if (!form) return {};
  // A blues is told by its first chord, unless a person says what key it is in.
  const bool is_key_said = take.key && take.key->state == take::State::confirmed;
  if (form->tonic_pc && !is_key_said) {
    key = theory::Key{*form->tonic_pc, form->kind == dsp::FormKind::minor_blues};
  }
  if (!key) return {};
  std::vector<std::string> texts;
  std::string before;  // the bar before in full
  for (const dsp::BarChords& bar : bars) {
    if (bar.bar < form->first_bar) continue;
    if (texts.size() ==
        std::min<std::size_t>(most_bars, static_cast<std::size_t>(form->length_bars))) {
      break;
    }
    std::string text = theory::roman_numeral(bar.first_half, *key);
    if (bar.second_half != bar.first_half) {
      text += " " + theory::roman_numeral(bar.second_half, *key);
    }
    texts.push_back(text == before ? "%" : text);
    before = std::move(text);
  }
  std::size_t width = 0;
  for (const std::string& text : texts) width = std::max(width, text.size());
  std::string lines;
  for (std::size_t i = 0; i < texts.size(); ++i) {
    if (i % bars_a_line == 0) lines += std::string(static_cast<std::size_t>(indent), ' ') + "|";
    lines += fmt::format(" {:<{}} |", texts[i], width);
    if (i % bars_a_line == bars_a_line - 1 || i + 1 == texts.size()) lines += "\n";
  }
  return lines;
}

}  // namespace lowstride::sheet
