#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <vector>

#include "dsp/voices/pluck.hpp"
#include "src/audio/click_pattern.hpp"
#include "src/audio/play_chunk.hpp"
#include "src/audio/score.hpp"

namespace lowstride::audio {

/// How the score's voices are to sound.
struct ScoreVoicesSettings {
  double shift_semitones = 0.0;
  ClickPattern click = ClickPattern::none;
};

/// Plays a score: plucked strings for the line, a stab of strings for each chord, clicks for the
/// beats. Time is given by places in the recording: an event sounds where its place is passed, at
/// whatever speed. One thread; memory is taken by the constructor.
class ScoreVoices {
 public:
  explicit ScoreVoices(double sample_rate_hz);

  /// What is played from now on, from `place` on. Strings go on sounding.
  void set_score(std::shared_ptr<const Score> score, double place);
  /// Time jumps: what sounds is damped (or, with `is_silent`, gone); a note or chord that the place
  /// lies in is struck there unless it is nearly over.
  void jump(double place, bool is_silent);

  /// Adds the voices of the chunk's samples [begin, begin + count) to line, chords and click, while
  /// the place goes from `from_place` to `to_place`.
  void render(PlayChunk& chunk, std::size_t begin, std::size_t count, double from_place,
              double to_place, const ScoreVoicesSettings& settings);
  /// Begins a click; `ring` adds it.
  void strike_click(bool is_accent);
  /// Adds what sounds of clicks and strings, without any new event.
  void ring(PlayChunk& chunk, std::size_t begin, std::size_t count);

 private:
  static constexpr std::size_t line_string_count = 3;
  static constexpr std::size_t chord_string_count = 6;
  struct Click {
    const std::vector<float>* sound = nullptr;  // null: free
    std::size_t place = 0;
  };
  struct Delayed {
    double f0_hz = 0.0;
    std::size_t wait_samples = 0;
    bool is_due = false;
  };

  void find_events(double place);
  void strike_note(const ScoreNote& note);
  void strike_chord(const ScoreChord& chord);
  [[nodiscard]] double hz(double pitch_midi) const;

  double sample_rate_hz_;
  std::shared_ptr<const Score> score_;
  ScoreVoicesSettings settings_;
  std::vector<dsp::PluckedString> line_;
  std::vector<dsp::PluckedString> chords_;  // two sets, in turn
  std::array<Delayed, 2 * chord_string_count> strum_{};
  std::vector<float> plain_click_;
  std::vector<float> accent_click_;
  std::array<Click, 4> clicks_{};
  std::vector<bool> is_in_three_;  // by beat of the score
  std::size_t line_turn_ = 0;
  std::size_t chord_turn_ = 0;
  std::size_t next_note_ = 0;
  std::size_t next_chord_ = 0;
  std::size_t next_beat_ = 0;
  double line_ends_ = 0.0;  // place where the sounding note is stopped
  double chord_ends_ = 0.0;
  bool is_line_held_ = false;
  bool is_chord_held_ = false;
};

}  // namespace lowstride::audio
