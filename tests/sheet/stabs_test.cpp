#include <algorithm>
#include <map>
#include <sstream>

#include <gtest/gtest.h>

#include "src/neck/named_necks.hpp"
#include "src/sheet/layout.hpp"
#include "src/sheet/rhythm_values.hpp"
#include "src/sheet/text_tab.hpp"
#include "tests/sheet/arranged_takes.hpp"

namespace lowstride::sheet {
namespace {

using example::all_styles;
using example::arranged;

std::vector<int> stab_tatums(const SheetBar& bar) {
  std::vector<int> tatums;
  for (const SheetStab& stab : bar.stabs) tatums.push_back(stab.onset_tatums);
  return tatums;
}

TEST(Stabs, stand_where_their_style_strikes_them) {
  // Common practice: shells with the line on two and four; off-beats after two and four.
  for (const SheetBar& bar : lay_out(arranged(parts::Style::walking)).bars) {
    EXPECT_EQ(stab_tatums(bar), (std::vector<int>{12, 36})) << bar.number;
  }
  for (const double swing : {1.0, 1.5, 2.0, 2.6}) {
    for (const SheetBar& bar : lay_out(arranged(parts::Style::boogie, swing)).bars) {
      EXPECT_EQ(stab_tatums(bar), (std::vector<int>{18, 42})) << swing;
      EXPECT_EQ(bar.divisions[1], Division::halves);
    }
  }
}

TEST(Stabs, are_written_whole_and_fill_their_bars_for_any_arrangement) {
  for (std::uint32_t seed = 1; seed <= 12; ++seed) {
    for (const parts::Style style : all_styles) {
      SCOPED_TRACE(testing::Message() << "seed " << seed << ", " << parts::style_name(style));
      const take::Take take = example::random_arrangement(seed, style);
      const SheetLayout layout = lay_out(take);
      EXPECT_EQ(layout.stabs_left_out, 0U);
      std::vector<int> seen(take.stabs.size(), 0);
      for (const SheetBar& bar : layout.bars) {
        int reached = 0;
        for (const SheetStab& stab : bar.stabs) {
          EXPECT_GE(stab.onset_tatums, reached);
          EXPECT_GT(stab.length_tatums, 0);
          reached = stab.onset_tatums + stab.length_tatums;
          const take::Stab& source = take.stabs[stab.stab_index];
          EXPECT_EQ(stab.positions, source.positions);
          for (std::size_t i = 0; i < stab.midi.size(); ++i) {
            EXPECT_EQ(stab.midi[i],
                      neck::sounding_midi(take.neck, source.positions[i].string_number,
                                          source.positions[i].fret));
          }
          if (stab.is_tied_from_previous) continue;
          ++seen[stab.stab_index];
          // Where it is written is where it sounds, within a sixth of a beat.
          const auto beat = static_cast<std::size_t>(stab.onset_tatums / tatums_per_beat);
          const auto beat_length = bar.beat_samples[beat + 1] - bar.beat_samples[beat];
          const double written = stab.onset_tatums % tatums_per_beat / 12.0;
          const double sounded =
              static_cast<double>(source.onset_samples - bar.beat_samples[beat]) /
              static_cast<double>(beat_length);
          const bool is_swung = bar.divisions[beat] == Division::halves && written > 0.0;
          EXPECT_NEAR(sounded, written, is_swung ? 0.27 : 0.17);
        }
        EXPECT_LE(reached, bar.length_tatums());
        int sum = 0;
        for (const WrittenValue& value : stab_values(bar)) sum += value.length_tatums;
        EXPECT_EQ(sum, bar.stabs.empty() ? 0 : bar.length_tatums());
      }
      EXPECT_EQ(seen, std::vector<int>(take.stabs.size(), 1));
    }
  }
}

TEST(Stabs, are_stacked_over_the_bass_in_text_tab) {
  TextTabOptions options;
  options.has_heading = false;
  options.layout.last_bar = 2;
  // Third and seventh of G7 (B and F) and of C7 (E and B flat) over the second and fourth note.
  EXPECT_EQ(render_text_tab(arranged(parts::Style::walking), options),
            " 1                     2\n"
            "   G7                    C7\n"
            "e|------1---------1----|---------------------|\n"
            "B|----------------0----|------5---------5----|\n"
            "G|------4--------------|------3---------3----|\n"
            "D|-----------0----2----|------2----5----4----|\n"
            "A|------2--------------|-3-------------------|\n"
            "E|-3-------------------|---------------------|\n"
            "   1    2    3    4      1    2    3    4\n");
}

/// Every fret of line and stabs stands on its string, and the strings of a system are equally long.
TEST(Stabs, can_be_read_back_from_text_tab_for_any_arrangement) {
  for (std::uint32_t seed = 1; seed <= 8; ++seed) {
    for (const parts::Style style : all_styles) {
      SCOPED_TRACE(testing::Message() << "seed " << seed << ", " << parts::style_name(style));
      const take::Take take = example::random_arrangement(seed, style);
      std::map<int, std::vector<int>> printed;  // by string, in order of time
      std::istringstream lines(render_text_tab(take));
      std::string line;
      int string_number = 0;
      std::size_t width = 0;
      while (std::getline(lines, line)) {
        const bool is_string =
            line.size() > 2 && line[1] == '|' && std::string("eBGDAE").find(line[0]) < 6;
        string_number = is_string ? string_number % 6 + 1 : 0;
        if (!is_string) continue;
        if (string_number == 1) width = line.size();
        EXPECT_EQ(line.size(), width);
        std::string digits;
        for (std::size_t column = 2; column < line.size(); ++column) {
          if (std::isdigit(static_cast<unsigned char>(line[column])) != 0) {
            digits += line[column];
          } else {
            // A fret in parentheses is held over.
            if (!digits.empty() && line[column] != ')') {
              printed[string_number].push_back(std::stoi(digits));
            }
            digits.clear();
          }
        }
      }
      std::map<int, std::vector<std::pair<std::int64_t, int>>> by_time;
      for (const take::Note& note : take.notes) {
        by_time[note.position->string_number].emplace_back(note.onset_samples, note.position->fret);
      }
      for (const take::Stab& stab : take.stabs) {
        for (const neck::Position& place : stab.positions) {
          by_time[place.string_number].emplace_back(stab.onset_samples, place.fret);
        }
      }
      std::map<int, std::vector<int>> expected;
      for (auto& [string, places] : by_time) {
        std::ranges::stable_sort(places, {}, &std::pair<std::int64_t, int>::first);
        for (const auto& place : places) expected[string].push_back(place.second);
      }
      EXPECT_EQ(printed, expected);
    }
  }
}

}  // namespace
}  // namespace lowstride::sheet
