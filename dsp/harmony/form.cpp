#include "dsp/harmony/form.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>

namespace lowstride::dsp {
namespace {

constexpr int blues_bars = 12;
constexpr double blues_threshold = 0.85;
constexpr double same_section = 0.75;   // agreement of two sections that count as one
constexpr double other_section = 0.50;  // and of two that do not
constexpr double cycle_threshold = 0.8;
constexpr double vamp_share = 0.9;  // of the bars that two chords must fill

/// One bar of a blues: degrees (semitones above the tonic) that may stand there, as a mask.
struct BluesBar {
  std::uint16_t degrees = 0;
  double weight = 1.0;
};

constexpr std::uint16_t degrees(auto... semitones) {
  return static_cast<std::uint16_t>(((1U << static_cast<unsigned>(semitones)) | ...));
}

// I; I or IV; I; I, v on the way to IV; IV; IV or its passing diminished; I or iii; I, VI or a step
// down; V, II or bVI; V, IV; I or iii; turnaround.
constexpr std::array<BluesBar, blues_bars> blues{{{degrees(0), 2.0},
                                                  {degrees(0, 5, 11), 0.5},
                                                  {degrees(0, 9), 1.0},
                                                  {degrees(0, 7), 0.5},
                                                  {degrees(5), 2.0},
                                                  {degrees(5, 6), 1.0},
                                                  {degrees(0, 4), 1.0},
                                                  {degrees(0, 9, 3, 4), 0.3},
                                                  {degrees(7, 2, 8), 1.5},
                                                  {degrees(5, 7), 1.0},
                                                  {degrees(0, 4), 1.0},
                                                  {degrees(7, 0, 2, 5, 9), 0.3}}};

bool is_minor(ChordQuality quality) {
  return quality == ChordQuality::minor || quality == ChordQuality::minor_seventh ||
         quality == ChordQuality::minor_sixth || quality == ChordQuality::minor_major_seventh;
}

int degree_above(int root, int tonic) { return ((root - tonic) % 12 + 12) % 12; }

bool has_degree(const ChordReading& chord, int tonic, std::uint16_t allowed) {
  return chord.root_pc &&
         (allowed >> static_cast<unsigned>(degree_above(*chord.root_pc, tonic)) & 1U) != 0;
}

struct Candidate {
  FormReading form;
  double score = 0.0;
};

/// Share of the weighted bars that fit a blues on `tonic` that begins at index `begin`.
double blues_fit(std::span<const BarChords> bars, std::size_t begin, int tonic) {
  double fitting = 0.0;
  double total = 0.0;
  for (std::size_t i = begin; i < bars.size(); ++i) {
    const auto& expected = blues[(i - begin) % blues_bars];
    total += expected.weight;
    if (has_degree(bars[i].first_half, tonic, expected.degrees) ||
        has_degree(bars[i].second_half, tonic, expected.degrees)) {
      fitting += expected.weight;
    }
  }
  return total > 0.0 ? fitting / total : 0.0;
}

std::optional<Candidate> find_blues(std::span<const BarChords> bars) {
  if (bars.size() < blues_bars) return std::nullopt;
  std::optional<Candidate> best;
  const std::size_t last_begin = std::min<std::size_t>(blues_bars - 1, bars.size() - blues_bars);
  for (std::size_t begin = 0; begin <= last_begin; ++begin) {
    for (int tonic = 0; tonic < 12; ++tonic) {
      const double fit = blues_fit(bars, begin, tonic);
      // Earlier beginnings win ties: bar 1 is where players count from.
      if (fit < blues_threshold || (best && fit <= best->score)) continue;
      int minor_bars = 0;
      int tonic_bars = 0;
      for (std::size_t i = begin; i < bars.size(); ++i) {
        if (!has_degree(bars[i].first_half, tonic, degrees(0, 5))) continue;
        ++tonic_bars;
        minor_bars += is_minor(bars[i].first_half.quality) ? 1 : 0;
      }
      Candidate candidate;
      candidate.form.kind =
          2 * minor_bars > tonic_bars ? FormKind::minor_blues : FormKind::twelve_bar_blues;
      candidate.form.first_bar = bars[begin].bar;
      candidate.form.length_bars = blues_bars;
      candidate.form.confidence = fit;
      candidate.form.tonic_pc = tonic;
      candidate.score = fit;
      best = candidate;
    }
  }
  return best;
}

/// 1 for the same root and family, a half for the same root, per half bar.
double same_chord(const ChordReading& a, const ChordReading& b) {
  if (a.root_pc != b.root_pc) return 0.0;
  return !a.root_pc || is_minor(a.quality) == is_minor(b.quality) ? 1.0 : 0.5;
}

double same_bars(std::span<const BarChords> bars, std::size_t a, std::size_t b, std::size_t count) {
  double sum = 0.0;
  for (std::size_t k = 0; k < count; ++k) {
    sum += 0.5 * same_chord(bars[a + k].first_half, bars[b + k].first_half);
    sum += 0.5 * same_chord(bars[a + k].second_half, bars[b + k].second_half);
  }
  return sum / static_cast<double>(count);
}

std::optional<Candidate> find_aaba(std::span<const BarChords> bars) {
  std::optional<Candidate> best;
  for (const std::size_t section : {8U, 4U}) {
    const std::size_t length = 4 * section;
    for (std::size_t begin = 0; begin + length <= bars.size() && begin < length; ++begin) {
      // The last bars of a section turn to what follows and may differ.
      const std::size_t core = section - section / 4;
      const double first = same_bars(bars, begin, begin + section, core);
      const double last = same_bars(bars, begin, begin + 3 * section, core);
      const double bridge = same_bars(bars, begin, begin + 2 * section, section);
      if (std::min(first, last) < same_section || bridge > other_section) continue;
      const double score = 0.5 * (first + last) * (1.0 - 0.5 * bridge);
      if (best && score <= best->score) continue;
      best = Candidate{{FormKind::aaba, bars[begin].bar, static_cast<int>(length),
                        0.5 * (first + last), std::nullopt},
                       score};
    }
    if (best) return best;
  }
  return best;
}

std::optional<Candidate> find_vamp(std::span<const BarChords> bars) {
  if (bars.size() < 8) return std::nullopt;
  std::vector<ChordReading> halves;
  for (const auto& bar : bars) {
    halves.push_back(bar.first_half);
    halves.push_back(bar.second_half);
  }
  const auto is_same = [](const ChordReading& a, const ChordReading& b) {
    return a.root_pc && a.root_pc == b.root_pc && is_minor(a.quality) == is_minor(b.quality);
  };
  const auto first = std::find_if(halves.begin(), halves.end(), [](const ChordReading& chord) {
    return chord.root_pc.has_value();
  });
  if (first == halves.end()) return std::nullopt;
  const auto second = std::find_if(first, halves.end(), [&](const ChordReading& chord) {
    return chord.root_pc && !is_same(chord, *first);
  });
  if (second == halves.end()) return std::nullopt;
  const auto count = [&](const ChordReading& chord) {
    return static_cast<double>(
        std::count_if(halves.begin(), halves.end(),
                      [&](const ChordReading& half) { return is_same(half, chord); }));
  };
  const auto total = static_cast<double>(halves.size());
  const double fewer = std::min(count(*first), count(*second)) / total;
  const double together = (count(*first) + count(*second)) / total;
  if (fewer < 0.25 || together < vamp_share) return std::nullopt;
  // It must come round regularly.
  for (const std::size_t length : {1U, 2U, 4U, 8U}) {
    if (2 * length > bars.size()) break;
    const double round = same_bars(bars, 0, length, bars.size() - length);
    if (round < vamp_share) continue;
    return Candidate{{FormKind::vamp, bars.front().bar, static_cast<int>(length), together * round,
                      std::nullopt},
                     together * round};
  }
  return std::nullopt;
}

std::optional<Candidate> find_cycle(std::span<const BarChords> bars) {
  for (const std::size_t length : {4U, 8U, 10U, 12U, 16U}) {
    if (bars.size() < 2 * length) break;
    const double round = same_bars(bars, 0, length, bars.size() - length);
    if (round < cycle_threshold) continue;
    // One chord all the way comes round too, but is no form.
    const double inside = same_bars(bars, 0, 1, bars.size() - 1);
    if (inside > cycle_threshold) return std::nullopt;
    return Candidate{
        {FormKind::cycle, bars.front().bar, static_cast<int>(length), round, std::nullopt}, round};
  }
  return std::nullopt;
}

}  // namespace

std::vector<BarChords> chords_by_bar(const DecodedGrid& grid,
                                     std::span<const DecodedChord> chords) {
  const auto chord_at = [&](double seconds) -> ChordReading {
    for (const auto& chord : chords) {
      if (chord.begin_seconds <= seconds && seconds < chord.end_seconds) return chord.chord;
    }
    return {};
  };
  std::vector<BarChords> bars;
  const auto& beats = grid.beats;
  for (std::size_t i = 0; i < beats.size(); ++i) {
    if (beats[i].bar < 1 || beats[i].beat != 1) continue;
    const std::size_t last = i + static_cast<std::size_t>(grid.beats_per_bar) - 1;
    if (last >= beats.size()) break;  // the last bar is not a full one
    constexpr double inside_seconds = 0.02;
    const std::size_t middle = i + static_cast<std::size_t>(grid.beats_per_bar) / 2;
    bars.push_back({beats[i].bar, chord_at(beats[i].time_seconds + inside_seconds),
                    chord_at(beats[middle].time_seconds + inside_seconds)});
  }
  return bars;
}

std::optional<FormReading> recognise_form(std::span<const BarChords> bars) {
  // From the most telling to the least.
  if (const auto found = find_vamp(bars)) return found->form;
  if (const auto found = find_blues(bars)) return found->form;
  if (const auto found = find_aaba(bars)) return found->form;
  if (const auto found = find_cycle(bars)) return found->form;
  return std::nullopt;
}

std::string form_name(const FormReading& form) {
  switch (form.kind) {
    case FormKind::twelve_bar_blues:
      return "twelve-bar blues";
    case FormKind::minor_blues:
      return "twelve-bar minor blues";
    case FormKind::aaba:
      return std::to_string(form.length_bars) + "-bar AABA";
    case FormKind::vamp:
      return "two-chord vamp";
    case FormKind::cycle:
      return std::to_string(form.length_bars) + "-bar cycle";
  }
  return {};
}

}  // namespace lowstride::dsp
