#pragma once

#include <algorithm>
#include <cstddef>
#include <map>
#include <string>
#include <utility>
#include <vector>

#include "src/sheet/layout.hpp"
#include "src/take/take.hpp"

namespace lowstride::sheet {

/// A teacher's remark at its place in the written bars.
struct SheetRemark {
  std::size_t bar_index = 0;     // into the layout's bars
  std::size_t remark_index = 0;  // into Take::remarks
  std::string place;             // "Bar 3", "Bar 3, beat 2", "Bar 3, after beat 2"
  std::string text;
  int number = 0;              // from 1 on, of one whose note is written; it stands at the note
  std::size_t note_index = 0;  // of that note, into Take::notes

  bool operator==(const SheetRemark&) const = default;
};

/// The remarks of a take that stand in the layout's bars, in the order of the bars; one about a bar
/// that is written once for several stands there, under its own number. A note that is played a
/// little ahead of a beat belongs to it.
[[nodiscard]] std::vector<SheetRemark> remarks_in(const take::Take& take,
                                                  const SheetLayout& layout);

/// What stands at notes for the remarks about them, by the notes' indices: "1)", or "1, 2)" where
/// there are two (as printed editions number their footnotes; common practice).
[[nodiscard]] std::map<std::size_t, std::string> remark_signs(
    const std::vector<SheetRemark>& remarks);

/// The remark as it stands under its system: "1) Bar 3, beat 2: lift the finger".
[[nodiscard]] std::string remark_line(const SheetRemark& remark);

/// Words in lines that `fits` says hold them; one word at least a line.
template <typename Fits>
[[nodiscard]] std::vector<std::string> broken_into_lines(const std::string& text, Fits fits) {
  std::vector<std::string> lines;
  std::string line;
  for (std::size_t begin = 0; begin < text.size();) {
    const std::size_t end = std::min(text.find(' ', begin), text.size());
    const std::string word = text.substr(begin, end - begin);
    begin = end + 1;
    if (word.empty()) continue;
    std::string longer = line;
    if (!line.empty()) longer += ' ';
    longer += word;
    if (line.empty() || fits(longer)) {
      line = std::move(longer);
    } else {
      lines.push_back(line);
      line = word;
    }
  }
  if (!line.empty()) lines.push_back(line);
  return lines;
}

}  // namespace lowstride::sheet
