#include "src/sheet/stab_layout.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <optional>

#include "src/neck/named_necks.hpp"
#include "src/sheet/quantise.hpp"

namespace lowstride::sheet {
namespace {

constexpr double with_note_beats = 0.05;
constexpr double early_share = 0.875;  // as for notes: from here on it belongs to the next beat

struct PlacedStab {
  std::size_t stab_index = 0;
  int onset_tatums = 0;  // from the first beat of the grid
  int offset_tatums = 0;
};

class StabPlacer {
 public:
  StabPlacer(const take::Take& take, std::span<const GridBeat> grid, double long_share,
             std::vector<SheetBar>& bars)
      : take_(take), grid_(grid), long_share_(long_share), bars_(bars) {
    note_onsets_.resize(take.notes.size());
    int bar_start = 0;
    for (SheetBar& bar : bars) {
      for (const SheetNote& note : bar.notes) {
        if (note.is_tied_from_previous) continue;
        note_onsets_[note.note_index] = bar_start + note.onset_tatums;
      }
      for (Division& division : bar.divisions) divisions_.push_back(&division);
      bar_start += bar.length_tatums();
    }
  }

  [[nodiscard]] std::size_t place() {
    std::vector<PlacedStab> placed;
    for (std::size_t i = 0; i < take_.stabs.size(); ++i) {
      const auto onset = onset_of(take_.stabs[i]);
      const bool is_taken = !placed.empty() && onset && *onset <= placed.back().onset_tatums;
      if (onset && !is_taken) placed.push_back({i, *onset, 0});
    }
    for (std::size_t i = 0; i < placed.size(); ++i) {
      const int next = i + 1 < placed.size() ? placed[i + 1].onset_tatums : length_tatums();
      placed[i].offset_tatums = end_of(placed[i], next);
    }
    cut_at_bar_lines(placed);
    return take_.stabs.size() - placed.size();
  }

 private:
  [[nodiscard]] int length_tatums() const {
    return static_cast<int>(divisions_.size()) * tatums_per_beat;
  }

  [[nodiscard]] std::optional<int> onset_of(const take::Stab& stab) {
    if (const auto with_note = note_onset_at(stab.onset_samples)) return with_note;
    const double position = beat_position(grid_, stab.onset_samples);
    double beat = std::floor(position);
    if (position - beat >= early_share) beat += 1.0;
    if (beat < 0.0 || beat >= static_cast<double>(divisions_.size())) return std::nullopt;
    const auto index = static_cast<std::size_t>(beat);
    return static_cast<int>(index) * tatums_per_beat + slot(std::max(0.0, position - beat), index);
  }

  /// Where the note stands that is struck together with a time.
  [[nodiscard]] std::optional<int> note_onset_at(std::int64_t time_samples) const {
    const auto after =
        std::ranges::lower_bound(take_.notes, time_samples, {}, &take::Note::onset_samples);
    const double position = beat_position(grid_, time_samples);
    const auto index = after - take_.notes.begin();
    for (const auto near : {index, index - 1}) {
      if (near < 0 || near >= std::ssize(take_.notes)) continue;
      const auto note = static_cast<std::size_t>(near);
      const double away = beat_position(grid_, take_.notes[note].onset_samples) - position;
      if (std::abs(away) <= with_note_beats && note_onsets_[note]) return note_onsets_[note];
    }
    return std::nullopt;
  }

  /// The slot of a share of a beat. A beat that its notes leave whole is divided for the stab.
  [[nodiscard]] int slot(double share, std::size_t beat) {
    Division& division = *divisions_[beat];
    if (const auto exact = exact_tatums(share, division, long_share_)) {
      return std::min(*exact, tatums_per_beat - tatums_per_slot(division));
    }
    if (division == Division::whole) {
      const double seconds =
          static_cast<double>(grid_[beat + 1].time_samples - grid_[beat].time_samples) /
          static_cast<double>(take_.time_base_hz);
      const std::array<double, 1> shares{share};
      const auto exact = take_.recording ? std::nullopt : exact_division(shares, long_share_);
      const QuantisedBeat written = quantise_beat(shares, seconds, long_share_);
      division = exact.value_or(written.division);
      if (!exact) return written.onset_tatums.front();
      return std::min(*exact_tatums(share, division, long_share_),
                      tatums_per_beat - tatums_per_slot(division));
    }
    const double written = division == Division::halves ? straightened(share, long_share_) : share;
    const int step = tatums_per_slot(division);
    const auto nearest = static_cast<int>(std::lround(written * tatums_per_beat / step)) * step;
    return std::min(nearest, tatums_per_beat - step);
  }

  [[nodiscard]] int end_of(const PlacedStab& placed, int next) const {
    const double position = beat_position(grid_, take_.stabs[placed.stab_index].offset_samples);
    const double last = static_cast<double>(divisions_.size()) - 1.0;
    const double beat = std::clamp(std::floor(position), 0.0, last);
    const double sounded = tatums_per_beat * (beat + straightened(position - beat, long_share_));
    if (next - sounded <= shortest_rest_tatums) return next;
    const Division division = *divisions_[static_cast<std::size_t>(beat)];
    return std::min(next, written_end(sounded, placed.onset_tatums, division));
  }

  void cut_at_bar_lines(const std::vector<PlacedStab>& placed) {
    int bar_start = 0;
    std::size_t first = 0;
    for (SheetBar& bar : bars_) {
      const int bar_end = bar_start + bar.length_tatums();
      while (first < placed.size() && placed[first].offset_tatums <= bar_start) ++first;
      for (std::size_t i = first; i < placed.size() && placed[i].onset_tatums < bar_end; ++i) {
        const int begin = std::max(placed[i].onset_tatums, bar_start);
        SheetStab piece;
        piece.stab_index = placed[i].stab_index;
        piece.onset_tatums = begin - bar_start;
        piece.length_tatums = std::min(placed[i].offset_tatums, bar_end) - begin;
        piece.positions = take_.stabs[piece.stab_index].positions;
        for (const neck::Position& place : piece.positions) {
          piece.midi.push_back(neck::sounding_midi(take_.neck, place.string_number, place.fret));
        }
        piece.is_tied_from_previous = placed[i].onset_tatums < bar_start;
        piece.is_tied_to_next = placed[i].offset_tatums > bar_end;
        bar.stabs.push_back(std::move(piece));
      }
      bar_start = bar_end;
    }
  }

  const take::Take& take_;
  std::span<const GridBeat> grid_;
  double long_share_;
  std::vector<SheetBar>& bars_;
  std::vector<Division*> divisions_;             // one a beat of the grid
  std::vector<std::optional<int>> note_onsets_;  // of each note that is written
};

}  // namespace

std::size_t fill_stabs(const take::Take& take, std::span<const GridBeat> grid, double long_share,
                       std::vector<SheetBar>& bars) {
  if (take.stabs.empty()) return 0;
  return StabPlacer(take, grid, long_share, bars).place();
}

}  // namespace lowstride::sheet
