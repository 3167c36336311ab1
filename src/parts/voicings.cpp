#include "src/parts/voicings.hpp"

#include <algorithm>
#include <bit>
#include <cstddef>
#include <cstdlib>
#include <span>

#include "src/neck/named_necks.hpp"
#include "src/theory/chord_label.hpp"

namespace lowstride::parts {
namespace {

constexpr int hand_frets = 5;          // frets that a window for the search spans
constexpr int stab_strings = 4;        // the highest ones
constexpr int best_top_low_midi = 57;  // highest tone of a stab: A3 to A4
constexpr int best_top_high_midi = 69;
constexpr double register_price = 1.0;        // per semitone outside of that
constexpr double strings_price = 3.0;         // per string more or less than is best
constexpr double skipped_string_price = 2.5;  // a string between that must be kept silent
constexpr double close_to_bass_price = 2.0;   // per semitone under a fourth above the bass
constexpr double open_string_price = 0.5;     // it rings on
constexpr double open_shell_price = 3.0;      // and a shell should not
constexpr double open_high_price = 2.0;       // per fret of the hand above the second
constexpr double far_from_bass_price = 2.0;   // per silent string between bass and stab but one
constexpr double doubled_price = 1.5;         // third or seventh twice
constexpr double height_price = 0.6;          // per fret of the hand above the fifth
constexpr int closest_to_bass = 5;

int modulo12(int value) noexcept { return ((value % 12) + 12) % 12; }

unsigned bit_of(int midi) noexcept { return 1U << static_cast<unsigned>(modulo12(midi)); }

/// Pitch classes of a chord by what a stab wants with them.
struct Tones {
  unsigned all = 0;
  unsigned required = 0;
};

Tones tones_of(const dsp::ChordReading& chord, bool is_shell, std::optional<int> bass_midi) {
  const unsigned own = dsp::chord_tone_mask(chord.quality);
  const int root = *chord.root_pc;
  Tones tones;
  for (int semitones = 0; semitones < 12; ++semitones) {
    if (((own >> static_cast<unsigned>(semitones)) & 1U) != 0U) {
      tones.all |= bit_of(root + semitones);
    }
  }
  for (const int third : {3, 4, 5}) {
    if (((own >> static_cast<unsigned>(third)) & 1U) != 0U) {
      tones.required |= bit_of(root + third);
      break;
    }
  }
  bool has_seventh = false;
  for (const int seventh : {9, 10, 11}) {
    if (((own >> static_cast<unsigned>(seventh)) & 1U) == 0U) continue;
    tones.required |= bit_of(root + seventh);
    has_seventh = true;
  }
  // A diminished or augmented triad is told by its fifth.
  for (const int fifth : {6, 8}) {
    if (((own >> static_cast<unsigned>(fifth)) & 1U) != 0U && !has_seventh) {
      tones.required |= bit_of(root + fifth);
    }
  }
  if (is_shell && has_seventh) tones.all = tones.required;
  if (bass_midi) tones.required &= ~bit_of(*bass_midi);
  return tones;
}

class VoicingSearch {
 public:
  VoicingSearch(const neck::Neck& neck, const dsp::ChordReading& chord,
                const std::optional<neck::Position>& bass, const StabWish& wish)
      : neck_(neck), bass_(bass), wish_(wish) {
    if (bass) bass_midi_ = neck::sounding_midi(neck, bass->string_number, bass->fret);
    tones_ = tones_of(chord, wish.is_shell, bass_midi_);
  }

  [[nodiscard]] std::vector<Voicing> find() {
    const int last = neck::last_fret(neck_);
    int highest_string = std::min(stab_strings, neck_.string_count());
    if (bass_) highest_string = std::min(highest_string, bass_->string_number - 1);
    for (int base = 1; base <= last; ++base) {
      base_ = base;
      top_ = std::min(last, base + hand_frets - 1);
      if (bass_ && bass_->fret > 0 && (bass_->fret < base || bass_->fret > top_)) continue;
      extend(highest_string, 0U);
    }
    std::ranges::stable_sort(found_, {}, &Voicing::cost);
    return std::move(found_);
  }

 private:
  void extend(int string_number, unsigned tones) {
    if (string_number == 0) {
      finish(tones);
      return;
    }
    extend(string_number - 1, tones);
    if (chosen_.size() == static_cast<std::size_t>(wish_.most_strings)) return;
    const auto try_fret = [&](int fret) {
      const int midi = neck::sounding_midi(neck_, string_number, fret);
      const unsigned bit = bit_of(midi);
      if ((tones_.all & bit) == 0U || (bass_midi_ && midi <= *bass_midi_)) return;
      if ((tones & bit) != 0U && wish_.most_strings < 4) return;
      chosen_.push_back({string_number, fret, 0});
      extend(string_number - 1, tones | bit);
      chosen_.pop_back();
    };
    try_fret(0);
    for (int fret = base_; fret <= top_; ++fret) try_fret(fret);
  }

  void finish(unsigned tones) {
    if (chosen_.size() < static_cast<std::size_t>(wish_.fewest_strings)) return;
    if ((tones & tones_.required) != tones_.required) return;
    if (std::popcount(tones) < 2) return;
    // Each shape is found in the window that its lowest stopped fret begins, all open ones once.
    int lowest = bass_ && bass_->fret > 0 ? bass_->fret : 99;
    for (const neck::Position& place : chosen_) {
      if (place.fret > 0) lowest = std::min(lowest, place.fret);
    }
    if (lowest == 99 ? base_ != 1 : base_ != lowest) return;
    std::vector<neck::Position> places;
    if (bass_) places.push_back(*bass_);
    places.insert(places.end(), chosen_.begin(), chosen_.end());
    const double wish = wish_cost();
    const auto open_count =
        static_cast<double>(std::ranges::count(chosen_, 0, &neck::Position::fret));
    std::size_t ways = 0;
    for (const neck::ChordShape& shape : neck::chord_shapes(neck_, places, wish_.max_span_mm)) {
      if (ways++ == most_ways) break;
      Voicing voicing;
      auto first = shape.positions.begin();
      if (bass_) voicing.bass = *first++;
      voicing.positions.assign(first, shape.positions.end());
      voicing.index_fret = shape.index_fret;
      voicing.cost = wish + shape.effort + height_price * std::max(0, shape.index_fret - 5) +
                     open_high_price * open_count * std::max(0, shape.index_fret - 2);
      found_.push_back(std::move(voicing));
    }
  }

  [[nodiscard]] double wish_cost() const {
    const auto count = static_cast<int>(chosen_.size());
    double cost = strings_price * std::abs(count - wish_.best_strings);
    const auto midi = [this](const neck::Position& place) {
      return neck::sounding_midi(neck_, place.string_number, place.fret);
    };
    const int top = midi(chosen_.back());
    cost += register_price *
            (std::max(0, best_top_low_midi - top) + std::max(0, top - best_top_high_midi));
    unsigned seen = 0;
    for (std::size_t i = 0; i < chosen_.size(); ++i) {
      if (chosen_[i].fret == 0) cost += wish_.is_shell ? open_shell_price : open_string_price;
      const unsigned bit = bit_of(midi(chosen_[i]));
      if ((bit & seen & tones_.required) != 0U) cost += doubled_price;
      seen |= bit;
      if (i > 0) {
        cost +=
            skipped_string_price * (chosen_[i - 1].string_number - chosen_[i].string_number - 1);
      }
    }
    if (bass_ && bass_midi_) {
      const int silent = bass_->string_number - chosen_.front().string_number - 1;
      cost += far_from_bass_price * std::max(0, silent - 1);
      cost +=
          close_to_bass_price * std::max(0, *bass_midi_ + closest_to_bass - midi(chosen_.front()));
    }
    return cost;
  }

  static constexpr std::size_t most_ways = 3;  // fingerings of one voicing

  const neck::Neck& neck_;
  std::optional<neck::Position> bass_;
  StabWish wish_;
  std::optional<int> bass_midi_;
  Tones tones_;
  int base_ = 1;
  int top_ = 1;
  std::vector<neck::Position> chosen_;
  std::vector<Voicing> found_;
};

}  // namespace

std::vector<Voicing> stab_voicings(const neck::Neck& neck, const dsp::ChordReading& chord,
                                   const std::optional<neck::Position>& bass, const StabWish& wish,
                                   std::size_t most_count) {
  if (!chord.root_pc) return {};
  std::vector<Voicing> found = VoicingSearch(neck, chord, bass, wish).find();
  if (found.size() > most_count) found.resize(most_count);
  return found;
}

}  // namespace lowstride::parts
