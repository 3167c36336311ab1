#include "src/neck/hand.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdlib>

#include "src/neck/named_necks.hpp"

namespace lowstride::neck {
namespace {

/// Millimetres from the index finger that each finger reaches without a stretch. Four frets of a
/// 648 mm guitar span 97 mm in first position and those of an 864 mm bass 103 mm from the fifth:
/// both are played a finger a fret; lower on the bass (130 mm) the hand covers three frets.
constexpr std::array<double, 5> comfortable_mm{0.0, 0.0, 50.0, 76.0, 105.0};
constexpr double stretch_price = 2.0;  // per millimetre over that

constexpr std::array<double, 5> finger_price{0.0, 0.0, 0.0, 1.0, 2.0};
constexpr double stopping_price = 2.0;      // of any stopped note against an open string
constexpr double contraction_price = 4.0;   // little finger for the ring finger where four fit
constexpr double height_price = 0.8;        // per fret of the index finger above the first
constexpr double high_price = 1.5;          // more per fret above the seventh
constexpr double off_position_price = 6.0;  // per fret away from a position asked for
constexpr double missed_open_price = 30.0;  // when open strings are preferred
constexpr double far_open_price = 1.0;      // open string per fret of the hand above the fourth
constexpr double far_open_limit = 8.0;

constexpr double shift_price = 4.0;         // for any shift
constexpr double shift_price_per_mm = 0.4;  // at half a second; twice that in half the time
constexpr double reference_seconds = 0.5;
constexpr double shortest_seconds = 0.06;
constexpr double free_mm_per_second = 1000.0;  // shift under an open string or in a rest
constexpr double release_seconds = 0.03;       // gaps up to this are no rest

constexpr double crossing_price = 1.0;        // to the next string; grows with the distance
constexpr double same_finger_price = 3.0;     // the finger must leave one note to play the next
constexpr double rolled_far_price = 6.0;      // same finger over more than one string
constexpr double changed_finger_price = 8.0;  // another finger on a repeated note
constexpr double quick_seconds = 0.18;        // notes closer than this are hammered on, pulled off
constexpr double quickest_crossing = 3.0;     // times the price of a crossing at leisure
constexpr int longest_slide = 2;              // frets
constexpr double slide_share = 0.6;           // of the price of a shift without a guide
constexpr double broken_join_price = 150.0;   // a slide or hammer that this way cannot be
constexpr double ringing_price = 6.0;         // open string that rings into a foreign chord

}  // namespace

Hand::Hand(const Neck& neck, const FingeringOptions& options) : neck_(neck), options_(options) {
  const int last = last_fret(neck_);
  for (int fret = 0; fret <= last; ++fret) {
    place_mm_.push_back(fret_distance_mm(neck_.scale_mm, fret + neck_.capo));
    double cost = 0.0;
    if (options_.position_fret) {
      cost = off_position_price * std::abs(fret - *options_.position_fret);
    } else if (options_.prefer_low) {
      cost = height_price * std::max(0, fret - 1) + high_price * std::max(0, fret - 7);
    }
    stay_cost_.push_back(cost);
  }
}

std::vector<Grip> Hand::grips(const LineNote& note) const {
  std::vector<Grip> found;
  const int last = last_fret(neck_);
  const auto is_left_out = [&](int string_number) {
    return std::ranges::count(options_.left_out_strings, string_number) > 0;
  };
  const auto add_open = [&](int string_number) {
    if (is_left_out(string_number)) return;
    for (int index = 1; index <= last; ++index) found.push_back({string_number, 0, 0, index});
  };
  for (int string_number = neck_.string_count(); string_number >= 1; --string_number) {
    const int fret = note.midi - sounding_midi(neck_, string_number, 0);
    if (fret < 0 || fret > last || is_left_out(string_number)) continue;
    if (fret == 0) {
      add_open(string_number);
      continue;
    }
    // The little finger plays the fourth fret of the hand, or the third where the hand covers
    // three; the index finger reaches anything.
    constexpr std::array<std::pair<int, int>, 5> places{
        std::pair{4, 3}, std::pair{3, 2}, std::pair{4, 2}, std::pair{2, 1}, std::pair{1, 0}};
    for (const auto& [finger, frets_above] : places) {
      const int index = fret - frets_above;
      if (index >= 1 && place_mm(fret) - place_mm(index) <= options_.max_span_mm) {
        found.push_back({string_number, fret, finger, index});
      }
    }
  }
  if (found.empty() && note.is_dead) {
    for (int string_number = neck_.string_count(); string_number >= 1; --string_number) {
      add_open(string_number);
    }
  }
  return found;
}

double Hand::hold_cost(const Grip& grip) const noexcept {
  double cost = stay_cost_[static_cast<std::size_t>(grip.index_fret)];
  if (grip.finger == 0) {
    // The hand's height is paid for by the stopped notes around; an open string asks little more.
    return std::min(far_open_limit, far_open_price * std::max(0, grip.index_fret - 4));
  }
  const double reach_mm = place_mm(grip.fret) - place_mm(grip.index_fret);
  const auto finger = static_cast<std::size_t>(grip.finger);
  cost += stretch_price * std::max(0.0, reach_mm - comfortable_mm[finger]);
  cost += stopping_price + finger_price[finger];
  if (grip.finger == 4 && grip.fret == grip.index_fret + 2) {
    const int fourth = std::min(grip.index_fret + 3, last_fret(neck_));
    const double full_mm = place_mm(fourth) - place_mm(grip.index_fret);
    if (full_mm <= comfortable_mm[4]) cost += contraction_price;
  }
  if (options_.prefer_open) {
    const int midi = sounding_midi(neck_, grip.string_number, grip.fret);
    for (int other = 1; other <= neck_.string_count(); ++other) {
      if (sounding_midi(neck_, other, 0) == midi) return cost + missed_open_price;
    }
  }
  return cost;
}

double Hand::move_cost(const Grip& from, const LineNote& from_note, const Grip& to,
                       const LineNote& to_note) const noexcept {
  double cost = 0.0;
  const int crossed = std::abs(to.string_number - from.string_number);
  const double between_seconds = to_note.onset_seconds - from_note.onset_seconds;
  if (crossed > 0) {
    const double haste = std::clamp(quick_seconds / std::max(shortest_seconds, between_seconds),
                                    1.0, quickest_crossing);
    cost += haste * crossing_price * crossed * std::sqrt(static_cast<double>(crossed));
    if (from.finger == 0 && from_note.rings_into_change) cost += ringing_price;
  }

  const bool is_joined =
      crossed == 0 && (to_note.articulation == Articulation::slid
                           ? from.finger > 0 && to.finger == from.finger
                           : to.finger != from.finger && to.index_fret == from.index_fret);
  if (to_note.articulation != Articulation::plucked && !is_joined) cost += broken_join_price;

  const bool is_same_place = crossed == 0 && to.fret == from.fret;
  const bool is_slide = crossed == 0 && from.finger > 0 && to.finger == from.finger &&
                        std::abs(to.fret - from.fret) <= longest_slide;
  if (from.finger > 0 && to.finger > 0) {
    if (is_same_place) {
      if (to.finger != from.finger) cost += changed_finger_price;
    } else if (is_slide) {
      // The finger never leaves the string.
    } else if (to.finger == from.finger) {
      cost += crossed > 1 && to.fret == from.fret ? rolled_far_price : same_finger_price;
    }
  }

  if (to.index_fret != from.index_fret) {
    const double covered_seconds =
        from.finger == 0 ? between_seconds
                         : to_note.onset_seconds - from_note.offset_seconds - release_seconds;
    const double moved_mm = std::abs(place_mm(to.index_fret) - place_mm(from.index_fret)) -
                            free_mm_per_second * std::max(0.0, covered_seconds);
    if (moved_mm > 0.0) {
      const double shift = shift_price + shift_price_per_mm * moved_mm * reference_seconds /
                                             std::max(shortest_seconds, between_seconds);
      cost += is_slide ? slide_share * shift : shift;
    }
  }
  return cost;
}

}  // namespace lowstride::neck
