#include "dsp/harmony/chord_priors.hpp"

#include <array>
#include <cmath>

namespace lowstride::dsp {
namespace {

bool has_tone(ChordQuality quality, int degree) {
  return (chord_tone_mask(quality) >> static_cast<unsigned>(degree) & 1U) != 0;
}

int degree_of(int pitch_class, int root) { return ((pitch_class - root) % 12 + 12) % 12; }

bool is_minor_family(ChordQuality quality) {
  switch (quality) {
    case ChordQuality::minor:
    case ChordQuality::minor_seventh:
    case ChordQuality::minor_sixth:
    case ChordQuality::minor_major_seventh:
      return true;
    default:
      return false;
  }
}

bool is_major_family(ChordQuality quality) {
  return quality == ChordQuality::major || quality == ChordQuality::major_seventh ||
         quality == ChordQuality::major_sixth;
}

bool is_dominant(ChordQuality quality) {
  return quality == ChordQuality::dominant_seventh ||
         quality == ChordQuality::seventh_suspended_fourth || quality == ChordQuality::augmented;
}

bool is_half_diminished(ChordQuality quality) {
  return quality == ChordQuality::half_diminished_seventh || quality == ChordQuality::diminished;
}

}  // namespace

int column_root(std::size_t column) noexcept {
  return static_cast<int>(column / chord_quality_count);
}

ChordQuality column_quality(std::size_t column) noexcept {
  return static_cast<ChordQuality>(column % chord_quality_count);
}

double bass_degree_log_ratio(ChordQuality quality, int degree, bool is_change) noexcept {
  // Shares of the root, of the fifth, of the other chord tones together and of all other degrees
  // together. On a change after the published 68 %; later beats from walking practice.
  const double root = is_change ? 0.68 : 0.28;
  const double fifth = is_change ? 0.10 : 0.18;
  const double others = is_change ? 0.15 : 0.27;
  const int tone_count = [&] {
    int count = 0;
    for (int d = 1; d < 12; ++d) count += has_tone(quality, d) && d != 7 ? 1 : 0;
    return count;
  }();
  const bool has_fifth = has_tone(quality, 7);
  double share = 0.0;
  if (degree == 0) {
    share = root;
  } else if (degree == 7 && has_fifth) {
    share = fifth;
  } else if (has_tone(quality, degree)) {
    share = (others + (has_fifth ? 0.0 : fifth)) / tone_count;
  } else {
    share = (1.0 - root - fifth - others) / (11 - tone_count - (has_fifth ? 1 : 0));
  }
  return std::log(share * 12.0);
}

double progression_log_ratio(std::size_t from, std::size_t to) noexcept {
  if (from == no_chord_column || to == no_chord_column) return 0.0;
  const ChordQuality before = column_quality(from);
  const ChordQuality after = column_quality(to);
  const int up = degree_of(column_root(to), column_root(from));
  //                                      0     1    2    3    4    5    6     7    8     9    10 11
  constexpr std::array<double, 12> root{-0.5, 0.2, 0.2,  0.0, -0.2, 0.7,
                                        -0.5, 0.2, -0.2, 0.2, 0.0,  0.2};
  double score = root[static_cast<std::size_t>(up)];
  if (is_dominant(before) && (up == 5 || up == 11)) score += 0.4;
  if ((is_minor_family(before) || is_half_diminished(before)) && up == 5 && is_dominant(after)) {
    score += 0.5;
  }
  if (before == ChordQuality::diminished_seventh) score += up == 1 || up == 11 ? 0.5 : -0.3;
  if (after == ChordQuality::diminished_seventh)
    score += up == 1 || up == 11 || up == 0 ? 0.2 : -0.4;
  return score;
}

double key_log_ratio(const DecodedKey& key, std::size_t column) noexcept {
  if (column == no_chord_column) return 0.0;
  const int degree = degree_of(column_root(column), key.tonic_pc);
  const ChordQuality quality = column_quality(column);
  const bool major = is_major_family(quality);
  const bool minor = is_minor_family(quality);
  const bool dominant = is_dominant(quality);
  const bool half_diminished = is_half_diminished(quality);
  if (!key.is_minor) {
    switch (degree) {
      case 0:
        return major ? 1.0 : dominant ? 0.8 : 0.0;  // a blues stands on its dominant seventh
      case 2:
        return minor ? 0.9 : dominant ? 0.5 : half_diminished ? 0.3 : 0.0;
      case 4:
        return minor ? 0.6 : dominant ? 0.4 : half_diminished ? 0.4 : 0.0;
      case 5:
        return major ? 0.8 : dominant ? 0.7 : minor ? 0.4 : 0.0;
      case 7:
        return dominant ? 1.0 : major ? 0.6 : minor ? 0.4 : 0.0;
      case 9:
        return minor ? 0.8 : dominant ? 0.7 : 0.0;
      case 10:
        return dominant ? 0.3 : 0.0;
      case 11:
        return half_diminished ? 0.3 : 0.0;
      case 1:
      case 6:
        return quality == ChordQuality::diminished_seventh ? 0.3 : dominant ? 0.2 : 0.0;
      default:
        return 0.0;
    }
  }
  switch (degree) {
    case 0:
      return minor ? 1.0 : dominant ? 0.3 : 0.0;
    case 2:
      return half_diminished ? 0.9 : minor ? 0.2 : 0.0;
    case 3:
      return major ? 0.5 : 0.0;
    case 5:
      return minor ? 0.8 : dominant ? 0.4 : 0.0;
    case 7:
      return dominant ? 1.0 : minor ? 0.4 : 0.0;
    case 8:
      return dominant ? 0.6 : major ? 0.6 : 0.0;
    case 9:
      return half_diminished ? 0.5 : 0.0;
    case 10:
      return dominant ? 0.4 : major ? 0.3 : 0.0;
    case 11:
      return quality == ChordQuality::diminished_seventh ? 0.3 : 0.0;
    default:
      return 0.0;
  }
}

}  // namespace lowstride::dsp
