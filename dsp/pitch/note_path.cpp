#include "dsp/pitch/note_path.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>

#include "dsp/base/contracts.hpp"

namespace lowstride::dsp {
namespace {

constexpr std::size_t pitch_count = evidence_pitch_count;
constexpr std::uint8_t from_none = static_cast<std::uint8_t>(pitch_count);

// Prices, in natural logarithms, found on synthesised practice recordings with learned evidence;
// note F1 moves by less than .003 when any of them is halved or doubled.
constexpr double emission_weight = 0.35;  // neighbouring frames share a window, so they count less
constexpr double emission_floor = -12.0;
constexpr double unstruck_probability = 2e-3;  // slurs and slides begin notes without a strike
constexpr double enter_price = -0.5;
constexpr double restrike_price = -0.7;
constexpr double leave_price = -2.5;
constexpr double impossible = -1e15;  // below any sum over a recording

using PitchRow = std::array<double, pitch_count>;

struct BestSustain {
  double value = impossible;
  std::uint8_t pitch = from_none;
};

double safe_log(double probability) { return std::log(std::max(probability, 1e-9)); }

class Search {
 public:
  explicit Search(const NotePathInput& input)
      : input_(input),
        frame_count_(input.log_posterior.row_count()),
        entered_from_(frame_count_ * pitch_count, from_none),
        is_fresh_(frame_count_ * pitch_count, 0),
        none_from_(frame_count_, from_none) {
    sustain_.fill(impossible);
    ring_.fill({});
  }

  std::vector<PathNote> run() {
    for (std::size_t frame = 0; frame < frame_count_; ++frame) step(frame);
    return trace_back();
  }

 private:
  // One frame of the past that attacks reach back to.
  struct Entry {
    PitchRow value;  // best path that enters the pitch at this frame, without this frame's emission
    PitchRow before;  // sum of emissions and stay prices before this frame
  };

  bool is_closed(std::size_t frame) const { return input_.closed[frame] != 0; }

  double emission(std::size_t frame, std::size_t column) const {
    return emission_weight *
           std::max(static_cast<double>(input_.log_posterior.row(frame)[column]), emission_floor);
  }

  double entry_price(std::size_t frame, std::size_t pitch, bool is_same) const {
    const double strike = input_.strike.row(frame)[pitch];
    if (is_same) return safe_log(strike) + restrike_price;
    return std::log(strike + unstruck_probability) + enter_price;
  }

  void enter(std::size_t frame, const BestSustain& best) {
    Entry& entry = ring_[frame % ring_.size()];
    for (std::size_t p = 0; p < pitch_count; ++p) {
      entry.before[p] = sum_[p];
      double value = none_ + entry_price(frame, p, false);
      std::uint8_t source = from_none;
      if (best.pitch != from_none && best.pitch != p) {
        const double other = best.value + entry_price(frame, p, false);
        if (other > value) value = other, source = best.pitch;
      }
      const double again = sustain_[p] + entry_price(frame, p, true);
      if (again > value) value = again, source = static_cast<std::uint8_t>(p);
      if (!input_.barred.empty() && input_.barred.row(frame)[p] > 0.0F) value = impossible;
      entry.value[p] = value;
      entered_from_[frame * pitch_count + p] = source;
    }
  }

  void step(std::size_t frame) {
    BestSustain best;
    for (std::size_t p = 0; p < pitch_count; ++p) {
      if (sustain_[p] > best.value) best = {sustain_[p], static_cast<std::uint8_t>(p)};
    }
    enter(frame, best);

    const double leaving = best.value + (is_closed(frame) ? 0.0 : leave_price);
    if (best.pitch != from_none && leaving > none_) {
      none_ = leaving;
      none_from_[frame] = best.pitch;
    }
    if (is_closed(frame)) {
      sustain_.fill(impossible);
      open_since_ = frame + 1;
      return;
    }
    none_ += emission(frame, no_pitch_column);

    for (std::size_t p = 0; p < pitch_count; ++p) {
      const double strike = input_.strike.row(frame)[p];
      const double gain = emission(frame, p) + safe_log(1.0 - strike);
      sum_[p] += gain;
      double value = sustain_[p] + gain;
      if (frame + 1 >= open_since_ + shortest_note_frames) {
        const std::size_t begin = frame + 1 - shortest_note_frames;
        const Entry& entry = ring_[begin % ring_.size()];
        // The strike that begins the note must not count against staying in it.
        const double unstay = safe_log(1.0 - input_.strike.row(begin)[p]);
        const double fresh = entry.value[p] + (sum_[p] - entry.before[p]) - unstay;
        if (fresh > value) {
          value = fresh;
          is_fresh_[frame * pitch_count + p] = 1;
        }
      }
      sustain_[p] = std::max(value, impossible);
    }
  }

  std::vector<PathNote> trace_back() const {
    std::vector<PathNote> notes;
    if (frame_count_ == 0) return notes;
    std::uint8_t state = from_none;
    double best = none_;
    for (std::size_t p = 0; p < pitch_count; ++p) {
      if (sustain_[p] > best) best = sustain_[p], state = static_cast<std::uint8_t>(p);
    }
    std::size_t end = frame_count_;  // one past the frame that `state` describes
    while (end > 0) {
      if (state == from_none) {
        state = none_from_[end - 1];
        --end;
        continue;
      }
      std::size_t frame = end - 1;
      while (frame > 0 && is_fresh_[frame * pitch_count + state] == 0) --frame;
      const std::size_t begin =
          frame + 1 >= shortest_note_frames ? frame + 1 - shortest_note_frames : 0;
      notes.push_back({begin, end, state});
      state = entered_from_[begin * pitch_count + state];
      end = begin;
    }
    std::reverse(notes.begin(), notes.end());
    return notes;
  }

  const NotePathInput& input_;
  std::size_t frame_count_;
  double none_ = 0.0;
  std::size_t open_since_ = 0;  // first frame after the last closed one
  PitchRow sustain_{};
  PitchRow sum_{};
  std::array<Entry, shortest_note_frames> ring_{};
  std::vector<std::uint8_t> entered_from_;  // [frame][pitch]
  std::vector<std::uint8_t> is_fresh_;      // [frame][pitch]: the attack ends at this frame
  std::vector<std::uint8_t> none_from_;     // [frame]
};

}  // namespace

std::vector<PathNote> find_note_path(const NotePathInput& input) {
  const std::size_t frames = input.log_posterior.row_count();
  LOWSTRIDE_EXPECTS(frames == 0 || input.log_posterior.column_count() == pitch_count + 1);
  LOWSTRIDE_EXPECTS(frames == 0 || input.strike.column_count() == pitch_count);
  LOWSTRIDE_EXPECTS(input.strike.row_count() == frames && input.closed.size() == frames);
  LOWSTRIDE_EXPECTS(input.barred.empty() || input.barred.row_count() == frames);
  return Search(input).run();
}

}  // namespace lowstride::dsp
