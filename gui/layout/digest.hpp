#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "src/take/take.hpp"
#include "src/theory/roles.hpp"

namespace lowstride::desk {

/// A doubt as the list shows it.
struct Doubt {
  enum class Kind : std::uint8_t { note, chord };
  Kind kind = Kind::note;
  std::size_t index = 0;  // into the take's notes or chords
  std::int64_t at_samples = 0;
  double certainty = 0.0;  // 0..1: the lesser of confidence and octave margin

  bool operator==(const Doubt&) const = default;
};

/// Where a bar begins.
struct BarStart {
  std::int64_t at_samples = 0;
  std::size_t beat_index = 0;  // into the take's beats
  int number = 1;

  bool operator==(const BarStart&) const = default;
};

/// What views ask of a take again and again, made once for each state of it in a few passes, so
/// that a frame costs what its pixels cost.
struct Digest {
  std::vector<Doubt> doubts;  // by place
  std::vector<BarStart> bars;
  std::vector<std::optional<theory::NoteRole>> roles;  // one a note
  std::vector<std::uint32_t> doubts_before;            // [note]: doubtful notes before it; one more
  std::vector<std::uint32_t> confirmed_before;         // [note]: confirmed ones before it; one more
  std::vector<std::int64_t> remark_places;             // one a remark: where it stands, in samples
  double confirmed_share = 0.0;                        // of notes and chords
  std::size_t doubtful_note_count = 0;
  std::size_t doubtful_chord_count = 0;
};

[[nodiscard]] Digest digest_of(const take::Take& take, double doubt_threshold);

/// The first note, beat or chord at or after a time; the count where there is none.
[[nodiscard]] std::size_t first_note_from(const take::Take& take, double sample) noexcept;
[[nodiscard]] std::size_t first_beat_from(const take::Take& take, double sample) noexcept;
/// The note that sounds at a time.
[[nodiscard]] std::optional<std::size_t> note_at(const take::Take& take, double sample) noexcept;
/// The chord at a time.
[[nodiscard]] std::optional<std::size_t> chord_at(const take::Take& take, double sample) noexcept;
/// The bar at a time, as index into `bars`.
[[nodiscard]] std::optional<std::size_t> bar_at(const Digest& digest, double sample) noexcept;

}  // namespace lowstride::desk
