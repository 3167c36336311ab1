#pragma once

#include <cstdint>
#include <vector>

namespace lowstride::audio {

/// A beat of the recording, as the take's grid has it.
struct PracticeBeat {
  std::int64_t time_samples = 0;  // in samples of the recording
  int bar = 1;
  int beat = 1;  // 1 = downbeat

  bool operator==(const PracticeBeat&) const = default;
};

/// A note of the resynthesised line, in samples of the recording.
struct ScoreNote {
  std::int64_t onset_samples = 0;
  std::int64_t offset_samples = 0;  // half-open
  double pitch_midi = 33.0;         // sounding
  bool is_dead = false;             // muted: a thud without a tone

  bool operator==(const ScoreNote&) const = default;
};

/// A chord that is struck once and rings until its end.
struct ScoreChord {
  std::int64_t begin_samples = 0;
  std::int64_t end_samples = 0;
  std::vector<int> pitches_midi{};  // lowest first; at most 6 are played

  bool operator==(const ScoreChord&) const = default;
};

/// What can be played beside a recording, or without one: plain values in order of time.
struct Score {
  double a4_hz = 440.0;
  std::int64_t length_samples = 0;  // of the whole; used where there is no recording
  std::vector<ScoreNote> notes{};
  std::vector<ScoreChord> chords{};
  std::vector<PracticeBeat> beats{};

  bool operator==(const Score&) const = default;
};

}  // namespace lowstride::audio
