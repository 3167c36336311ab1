#include "dsp/pitch/note_path.hpp"

#include <algorithm>
#include <cmath>

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
constexpr double leave_price = -1.5;
constexpr double impossible = -1e15;  // below any sum over a recording

double safe_log(double probability) { return std::log(std::max(probability, 1e-9)); }

double emission(const NotePathFrame& frame, std::size_t column) {
  return emission_weight *
         std::max(static_cast<double>(frame.log_posterior[column]), emission_floor);
}

double new_price(double strike) { return std::log(strike + unstruck_probability) + enter_price; }

}  // namespace

struct NotePathSearch::BestSustain {
  double value = impossible;
  std::uint8_t pitch = from_none;
};

NotePathSearch::NotePathSearch(std::size_t expected_frame_count) {
  sustain_.fill(impossible);
  again_.reserve(expected_frame_count);
  from_best_.reserve(expected_frame_count);
  is_fresh_.reserve(expected_frame_count);
  best_.reserve(expected_frame_count);
  none_from_.reserve(expected_frame_count);
}

void NotePathSearch::enter(const NotePathFrame& frame, const BestSustain& best) {
  Entry& entry = ring_[frame_count_ % ring_.size()];
  entry.before = sum_;
  PitchBits from_best = 0;
  PitchBits from_itself = 0;
  for (std::size_t p = 0; p < pitch_count; ++p) {
    const auto strike = static_cast<double>(frame.strike[p]);
    double value = none_ + new_price(strike);
    const PitchBits bit = PitchBits{1} << p;
    if (best.pitch != p && best.value + new_price(strike) > value) {
      value = best.value + new_price(strike);
      from_best |= bit;
    }
    const auto again = static_cast<double>(frame.again[p]);
    if (sustain_[p] + safe_log(again) > value) {
      value = sustain_[p] + safe_log(again);
      from_itself |= bit;
    }
    entry.value[p] = frame.is_barred[p] ? impossible : value;
    entry.unstay[p] = safe_log(1.0 - again);
  }
  from_best_.push_back(from_best);
  again_.push_back(from_itself);
  best_.push_back(best.pitch);
}

void NotePathSearch::add(const NotePathFrame& frame) {
  BestSustain best;
  for (std::size_t p = 0; p < pitch_count; ++p) {
    if (sustain_[p] > best.value) best = {sustain_[p], static_cast<std::uint8_t>(p)};
  }
  enter(frame, best);
  none_from_.push_back(from_none);

  // A person's decision ends a note without a price.
  const double leaving = best.value + (frame.is_closed ? 0.0 : leave_price);
  if (best.pitch != from_none && leaving > none_) {
    none_ = leaving;
    none_from_.back() = best.pitch;
  }
  const std::size_t now = frame_count_++;
  PitchBits& is_fresh = is_fresh_.emplace_back(0);
  if (frame.is_closed) {
    sustain_.fill(impossible);
    open_since_ = frame_count_;
    return;
  }
  none_ += emission(frame, no_pitch_column);

  const bool may_end_attack = frame_count_ >= open_since_ + shortest_note_frames;
  const Entry& entry = ring_[(now + 1) % ring_.size()];  // the frame the attack began at
  for (std::size_t p = 0; p < pitch_count; ++p) {
    const double gain = emission(frame, p) + safe_log(1.0 - static_cast<double>(frame.again[p]));
    sum_[p] += gain;
    double value = sustain_[p] + gain;
    if (may_end_attack) {
      const double fresh = entry.value[p] + (sum_[p] - entry.before[p]) - entry.unstay[p];
      if (fresh > value) {
        value = fresh;
        is_fresh |= PitchBits{1} << p;
      }
    }
    sustain_[p] = std::max(value, impossible);
  }
}

std::vector<PathNote> NotePathSearch::finish() const {
  std::uint8_t state = from_none;
  double best = none_;
  for (std::size_t p = 0; p < pitch_count; ++p) {
    if (sustain_[p] > best) {
      best = sustain_[p];
      state = static_cast<std::uint8_t>(p);
    }
  }
  std::vector<PathNote> notes;
  std::size_t end = frame_count_;  // one past the frame that `state` describes
  while (end > 0) {
    if (state == from_none) {
      state = none_from_[--end];
      continue;
    }
    const PitchBits bit = PitchBits{1} << state;
    std::size_t last_attack = end - 1;
    while (last_attack >= shortest_note_frames && (is_fresh_[last_attack] & bit) == 0) {
      --last_attack;
    }
    const std::size_t begin = last_attack + 1 - std::min(last_attack + 1, shortest_note_frames);
    notes.push_back({begin, end, state});
    if ((again_[begin] & bit) == 0)
      state = (from_best_[begin] & bit) != 0 ? best_[begin] : from_none;
    end = begin;
  }
  std::reverse(notes.begin(), notes.end());
  return notes;
}

}  // namespace lowstride::dsp
