#include "src/neck/chord_shape.hpp"

#include <algorithm>
#include <array>
#include <cstddef>

#include "dsp/base/contracts.hpp"
#include "src/neck/named_necks.hpp"

namespace lowstride::neck {
namespace {

constexpr int most_on_one_fret = 3;  // fingers side by side between two frets
constexpr double neighbour_reach_mm = 70.0;
constexpr std::array<double, 5> reach_limit_mm{0.0, 0.0, 70.0, 105.0, 1000.0};
/// As the hand of a single line has it: what each finger reaches without a stretch.
constexpr std::array<double, 5> comfortable_mm{0.0, 0.0, 50.0, 76.0, 105.0};
constexpr double stretch_price = 2.0;
constexpr double finger_effort = 2.0;
constexpr double barre_effort = 3.0;
constexpr double barre_string_effort = 0.5;
constexpr double crowded_effort = 1.0;  // fingers beside each other on one fret

/// Fingers in the order of the stopped places, which rise by fret and then from the lowest string.
struct Stopped {
  std::size_t index = 0;  // into the places
  int string_number = 1;
  int fret = 1;
};

class ShapeMaker {
 public:
  ShapeMaker(const Neck& neck, std::span<const Position> places, double max_span_mm)
      : neck_(neck), places_(places), max_span_mm_(max_span_mm) {
    for (std::size_t i = 0; i < places.size(); ++i) {
      if (places[i].fret > 0) stopped_.push_back({i, places[i].string_number, places[i].fret});
    }
    std::ranges::stable_sort(stopped_, {}, &Stopped::fret);
  }

  [[nodiscard]] std::vector<ChordShape> shapes() {
    if (stopped_.empty()) {
      ChordShape open{{places_.begin(), places_.end()}, 1, false, 0.0};
      for (Position& position : open.positions) position.finger = 0;
      return {open};
    }
    choose(0, 1, 0);
    for (std::size_t count = 2; count <= lowest_count(); ++count) {
      if (can_barre(count)) choose(count, 2, count);
    }
    std::ranges::stable_sort(found_, {}, &ChordShape::effort);
    return std::move(found_);
  }

 private:
  [[nodiscard]] double place_mm(int fret) const {
    return fret_distance_mm(neck_.scale_mm, fret + neck_.capo);
  }
  [[nodiscard]] std::size_t lowest_count() const {
    return static_cast<std::size_t>(
        std::ranges::count(stopped_, stopped_.front().fret, &Stopped::fret));
  }
  /// Whether the index finger may stop all the places of the lowest fret: a barre of fewer would
  /// press the others as well.
  [[nodiscard]] bool can_barre(std::size_t count) const {
    if (count != lowest_count()) return false;
    const int lowest_string = stopped_.front().string_number;
    const int highest_string = stopped_[count - 1].string_number;
    return std::ranges::none_of(places_, [=](const Position& place) {
      return place.fret == 0 && place.string_number < lowest_string &&
             place.string_number > highest_string;
    });
  }

  /// Gives fingers from `finger` on to the stopped places from `at` on, one each.
  void choose(std::size_t at, int finger, std::size_t barre_count) {
    if (at == stopped_.size()) {
      finish(barre_count);
      return;
    }
    for (int chosen = finger; chosen <= 4; ++chosen) {
      fingers_.push_back(chosen);
      choose(at + 1, chosen + 1, barre_count);
      fingers_.pop_back();
    }
  }

  void finish(std::size_t barre_count) {
    std::vector<int> fingers(barre_count, 1);
    fingers.insert(fingers.end(), fingers_.begin(), fingers_.end());
    ChordShape shape{{places_.begin(), places_.end()}, 1, barre_count > 0, 0.0};
    for (Position& position : shape.positions) position.finger = 0;
    shape.index_fret = std::max(1, stopped_.front().fret - (fingers.front() - 1));
    const double index_mm = place_mm(shape.index_fret);
    int on_this_fret = 0;
    for (std::size_t i = 0; i < stopped_.size(); ++i) {
      const auto finger = static_cast<std::size_t>(fingers[i]);
      const double reach_mm = place_mm(stopped_[i].fret) - index_mm;
      const double limit_mm = std::min(max_span_mm_, reach_limit_mm[finger]);
      if (finger > 1 && reach_mm > limit_mm + 1e-9) return;
      const bool begins_fret = i == 0 || stopped_[i].fret != stopped_[i - 1].fret;
      on_this_fret = begins_fret ? 1 : on_this_fret + 1;
      const bool is_barred = i < barre_count;
      if (!is_barred && on_this_fret > most_on_one_fret) return;
      if (i > 0 && fingers[i] == fingers[i - 1] + 1 &&
          place_mm(stopped_[i].fret) - place_mm(stopped_[i - 1].fret) > neighbour_reach_mm) {
        return;
      }
      shape.positions[stopped_[i].index].finger = fingers[i];
      if (!is_barred || i == 0) shape.effort += finger_effort;
      if (!is_barred && !begins_fret) shape.effort += crowded_effort;
      shape.effort += stretch_price * std::max(0.0, reach_mm - comfortable_mm[finger]);
    }
    if (barre_count > 0) {
      shape.effort += barre_effort + barre_string_effort * static_cast<double>(barre_count);
    }
    found_.push_back(std::move(shape));
  }

  const Neck& neck_;
  std::span<const Position> places_;
  double max_span_mm_;
  std::vector<Stopped> stopped_;
  std::vector<int> fingers_;
  std::vector<ChordShape> found_;
};

}  // namespace

std::vector<ChordShape> chord_shapes(const Neck& neck, std::span<const Position> places,
                                     double max_span_mm) {
  for (std::size_t i = 0; i < places.size(); ++i) {
    LOWSTRIDE_EXPECTS(places[i].fret >= 0 && places[i].fret <= last_fret(neck));
    LOWSTRIDE_EXPECTS(i == 0 || places[i].string_number < places[i - 1].string_number);
  }
  return ShapeMaker(neck, places, max_span_mm).shapes();
}

}  // namespace lowstride::neck
