#include "src/sheet/comparison_chords.hpp"

#include <algorithm>
#include <vector>

#include "dsp/harmony/chord_decoder.hpp"

namespace lowstride::sheet::detail {
namespace {

/// A chord over a stretch, as the table of chords has it: no gaps, N where no chord stands.
struct ChordPiece {
  double begin = 0.0;
  double end = 0.0;
  std::optional<std::size_t> index;
};

std::vector<ChordPiece> pieces_of(const take::Take& take) {
  std::vector<ChordPiece> pieces;
  double reached = 0.0;
  for (std::size_t i = 0; i < take.chords.size(); ++i) {
    const double begin = seconds(take, take.chords[i].begin_samples);
    const double end = seconds(take, take.chords[i].end_samples);
    if (begin > reached) pieces.push_back({reached, begin, std::nullopt});
    pieces.push_back({begin, end, i});
    reached = end;
  }
  const double length = seconds(take, take.length_samples);
  if (length > reached) pieces.push_back({reached, length, std::nullopt});
  return pieces;
}

dsp::ChordReading reading(const take::Take& take, const std::optional<std::size_t>& index) {
  return index ? take.chords[*index].chord : dsp::ChordReading{};
}

/// Tones above the root with the bass among them (bit 0 = root); 0 without a chord.
unsigned tones(const dsp::ChordReading& chord) {
  if (!chord.root_pc) return 0;
  const auto bass = static_cast<unsigned>((chord.bass_pc - *chord.root_pc + 12) % 12);
  return dsp::chord_tone_mask(chord.quality) | (1U << bass);
}

/// A share of time that is right, over the time that can be judged.
struct TimeShare {
  double right = 0.0;
  double judged = 0.0;
  void add(bool is_right, double duration) {
    judged += duration;
    if (is_right) right += duration;
  }
  [[nodiscard]] std::optional<double> share() const {
    if (judged <= 0.0) return std::nullopt;
    return right / judged;
  }
};

}  // namespace

void compare_chords(const take::Take& mine, const take::Take& other, Comparison& comparison) {
  if (mine.chords.empty() || other.chords.empty()) return;
  const auto here = pieces_of(mine);
  const auto there = pieces_of(other);
  TimeShare root;
  TimeShare majmin;
  TimeShare sevenths;
  constexpr unsigned up_to_fifth = 0xFFU;
  const unsigned major = dsp::chord_tone_mask(dsp::ChordQuality::major);
  const unsigned minor = dsp::chord_tone_mask(dsp::ChordQuality::minor);
  const std::vector<unsigned> seventh_kinds{
      major,
      minor,
      dsp::chord_tone_mask(dsp::ChordQuality::major_seventh),
      dsp::chord_tone_mask(dsp::ChordQuality::dominant_seventh),
      dsp::chord_tone_mask(dsp::ChordQuality::minor_seventh),
      0U};
  std::size_t at = 0;
  for (const ChordPiece& reference : there) {
    double begin = reference.begin;
    while (begin < reference.end) {
      while (at < here.size() && here[at].end <= begin) ++at;
      // Past its end the take says nothing, which is no chord.
      const bool is_past = at == here.size();
      const double end = is_past ? reference.end : std::min(reference.end, here[at].end);
      const auto index = is_past ? std::nullopt : here[at].index;
      const dsp::ChordReading a = reading(mine, index);
      const dsp::ChordReading b = reading(other, reference.index);
      const double duration = end - begin;
      const bool is_same_root = a.root_pc == b.root_pc;
      root.add(is_same_root, duration);
      const unsigned low = tones(b) & up_to_fifth;
      if (low == (major & up_to_fifth) || low == (minor & up_to_fifth) || tones(b) == 0) {
        majmin.add(is_same_root && (tones(a) & up_to_fifth) == low, duration);
      }
      if (std::ranges::find(seventh_kinds, tones(b)) != seventh_kinds.end()) {
        sevenths.add(is_same_root && tones(a) == tones(b), duration);
      }
      // A change a little early or late is no other chord.
      constexpr double least_seconds = 0.1;
      const bool differs = a != b && !(is_same_root && tones(a) == tones(b) && !a.root_pc);
      if (differs && duration >= least_seconds) {
        auto& all = comparison.chords;
        if (!all.empty() && all.back().end_seconds == begin && all.back().mine == index &&
            all.back().other == reference.index) {
          all.back().end_seconds = end;
        } else {
          all.push_back({begin, end, index, reference.index});
        }
      }
      begin = end;
    }
  }
  comparison.scores.chord_root = root.share();
  comparison.scores.chord_majmin = majmin.share();
  comparison.scores.chord_sevenths = sevenths.share();
}

}  // namespace lowstride::sheet::detail
