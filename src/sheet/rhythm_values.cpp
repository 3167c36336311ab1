#include "src/sheet/rhythm_values.hpp"

#include <algorithm>
#include <array>

#include "dsp/base/contracts.hpp"

namespace lowstride::sheet {
namespace {

struct Sign {
  int tatums;
  NoteValue value;
  int dot_count;
};

/// Longest first.
constexpr std::array<Sign, 4> beats_long{Sign{48, NoteValue::whole, 0},
                                         Sign{36, NoteValue::half, 1}, Sign{24, NoteValue::half, 0},
                                         Sign{12, NoteValue::quarter, 0}};
constexpr std::array<Sign, 4> within_beat{
    Sign{12, NoteValue::quarter, 0}, Sign{9, NoteValue::eighth, 1}, Sign{6, NoteValue::eighth, 0},
    Sign{3, NoteValue::sixteenth, 0}};
/// Two thirds of the plain length.
constexpr std::array<Sign, 5> within_triplet{
    Sign{8, NoteValue::quarter, 0}, Sign{6, NoteValue::eighth, 1}, Sign{4, NoteValue::eighth, 0},
    Sign{2, NoteValue::sixteenth, 0}, Sign{1, NoteValue::thirty_second, 0}};

/// A note or rest before it is cut.
struct Span {
  std::optional<std::size_t> note;
  int begin = 0;
  int end = 0;
  bool is_tied_from_previous = false;
  bool is_tied_to_next = false;
};

class BarWriter {
 public:
  explicit BarWriter(const SheetBar& bar) : bar_(bar) {}

  /// One voice of the bar, checked: no overlap, no hole, full to the last tatum.
  template <typename Pieces>
  [[nodiscard]] std::vector<WrittenValue> write(const Pieces& pieces) {
    int reached = 0;
    for (std::size_t i = 0; i < pieces.size(); ++i) {
      const auto& piece = pieces[i];
      if (piece.onset_tatums > reached) cut({std::nullopt, reached, piece.onset_tatums});
      reached = piece.onset_tatums + piece.length_tatums;
      cut({i, piece.onset_tatums, reached, piece.is_tied_from_previous, piece.is_tied_to_next});
    }
    if (reached < bar_.length_tatums()) cut({std::nullopt, reached, bar_.length_tatums()});
    mark_tuplets();
    int sum = 0;
    for (const WrittenValue& value : values_) {
      LOWSTRIDE_EXPECTS(value.onset_tatums == sum && value.length_tatums > 0);
      sum += value.length_tatums;
    }
    LOWSTRIDE_EXPECTS(sum == bar_.length_tatums());
    return std::move(values_);
  }

 private:
  [[nodiscard]] bool is_ternary(int beat) const {
    const Division division = bar_.divisions[static_cast<std::size_t>(beat)];
    return division == Division::thirds || division == Division::sixths;
  }

  void cut(const Span& span) {
    const std::size_t first = values_.size();
    int at = span.begin;
    while (at < span.end) {
      const int in_beat = at % tatums_per_beat;
      const int left = span.end - at;
      if (in_beat == 0 && left >= tatums_per_beat) {
        at += add_long(span, at, left);
      } else {
        at += add_short(span, at, std::min(left, tatums_per_beat - in_beat));
      }
    }
    if (!span.note) return;
    for (std::size_t i = first; i < values_.size(); ++i) {
      values_[i].is_tied_from_previous = i > first || span.is_tied_from_previous;
      values_[i].is_tied_to_next = i + 1 < values_.size() || span.is_tied_to_next;
    }
  }

  /// The longest sign of whole beats that fits and may begin here.
  int add_long(const Span& span, int at, int left) {
    const int beat = at / tatums_per_beat;
    for (const Sign& sign : beats_long) {
      const bool crosses_middle =
          bar_.beat_count == 4 && sign.tatums == 24 && !span.note && beat == 1;
      if (sign.tatums <= left && !crosses_middle) return add(span, at, sign, false);
    }
    return left;
  }

  int add_short(const Span& span, int at, int left) {
    const bool is_triplet = is_ternary(at / tatums_per_beat);
    if (!is_triplet) {
      for (const Sign& sign : within_beat) {
        if (sign.tatums <= left) return add(span, at, sign, false);
      }
    }
    for (const Sign& sign : within_triplet) {
      if (sign.tatums <= left) return add(span, at, sign, true);
    }
    return left;
  }

  int add(const Span& span, int at, const Sign& sign, bool is_triplet) {
    WrittenValue value;
    value.note = span.note;
    value.onset_tatums = at;
    value.length_tatums = sign.tatums;
    value.value = sign.value;
    value.dot_count = sign.dot_count;
    value.is_triplet = is_triplet;
    values_.push_back(value);
    return sign.tatums;
  }

  /// A tuplet is what lies in one beat.
  void mark_tuplets() {
    for (std::size_t i = 0; i < values_.size(); ++i) {
      if (!values_[i].is_triplet) continue;
      const int beat = values_[i].onset_tatums / tatums_per_beat;
      const auto is_same = [&](std::size_t k) {
        return k < values_.size() && values_[k].is_triplet &&
               values_[k].onset_tatums / tatums_per_beat == beat;
      };
      values_[i].begins_tuplet = i == 0 || !is_same(i - 1);
      values_[i].ends_tuplet = !is_same(i + 1);
    }
  }

  const SheetBar& bar_;
  std::vector<WrittenValue> values_;
};

}  // namespace

std::vector<WrittenValue> written_values(const SheetBar& bar) {
  return BarWriter(bar).write(bar.notes);
}

std::vector<WrittenValue> stab_values(const SheetBar& bar) {
  if (bar.stabs.empty()) return {};
  return BarWriter(bar).write(bar.stabs);
}

}  // namespace lowstride::sheet
