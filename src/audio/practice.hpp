#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>
#include <vector>

#include "src/audio/low_voice_reader.hpp"
#include "src/audio/recording.hpp"
#include "src/audio/score.hpp"
#include "src/audio/slow.hpp"
#include "src/audio/writer.hpp"
#include "src/base/progress.hpp"
#include "src/base/result.hpp"

namespace lowstride::audio {

/// Which beats of the passage are clicked: all, every even one (2 and 4 of four; in three, 2 and
/// 3, as is common practice), or the first of each bar.
enum class ClickPattern { none, all, two_and_four, one };

struct PracticeOptions {
  std::vector<double> speed_ratios{0.5};  // one a repetition, each 0.2 .. 1.5
  double shift_semitones = 0.0;           // -12 .. 12
  int count_in_bars = 0;                  // 0 .. 8
  ClickPattern click = ClickPattern::none;
  double click_gain_db = -9.0;  // loudest sample of an accent against full scale
  /// The file's first sound, count-in or passage, rises to its level over this time (FadeIn): 0 to
  /// 10; 0: none.
  double fade_in_seconds = 1.0;
};

/// The speeds of a ramp, both ends included: ramp_speeds(0.5, 1.0, 0.05, 2) is 50, 50, 55, 55 …
/// 100, 100 %. The last step is shorter where the distance is no multiple of it; a ramp may fall.
/// Errors: invalid_argument (an end out of 0.2 .. 1.5, a step that is not positive, a repeat count
/// out of 1 .. 100, more than 1000 repetitions).
[[nodiscard]] Result<std::vector<double>> ramp_speeds(double from_ratio, double to_ratio,
                                                      double step_ratio, int repeats_each);

/// When what sounds, in samples of the output.
struct PracticePlan {
  struct Repetition {
    double speed_ratio = 1.0;
    std::int64_t count_in_sample = 0;  // its count-in begins; equal to begin_sample without one
    std::int64_t begin_sample = 0;     // the passage begins
    std::int64_t end_sample = 0;

    bool operator==(const Repetition&) const = default;
  };
  struct Click {
    std::int64_t sample = 0;
    bool is_accent = false;  // beat 1

    bool operator==(const Click&) const = default;
  };
  std::vector<Repetition> repetitions;
  std::vector<Click> clicks;  // in order of time
  std::int64_t output_sample_count = 0;

  bool operator==(const PracticePlan&) const = default;
};

/// Plans the practice of the passage [begin, end) of a recording. Each repetition lasts exactly
/// round((end - begin) / speed) samples and follows the one before without a gap, so that the
/// pulse goes on where the passage is whole bars; before the first one, and before each at another
/// speed than the last, stands the count-in. It has the tempo and the feel of the passage's first
/// whole bar (its beats' distances, uneven as they were played) at the repetition's speed, and
/// where the passage begins inside a bar, the beats of that bar before it are counted as well.
/// Errors: invalid_argument (an empty passage, no repetition, values out of range, beats that are
/// not in order; a click or count-in without two beats).
[[nodiscard]] Result<PracticePlan> plan_practice(const std::vector<PracticeBeat>& beats,
                                                 std::int64_t begin, std::int64_t end,
                                                 const PracticeOptions& options);

struct PracticeJob {
  /// The recording; absent: only what is made of the score is heard, at its own time base.
  std::optional<std::filesystem::path> input{};
  double time_base_hz = 48000.0;               // of the score, without a recording
  std::filesystem::path output{};              // .wav, .flac, .ogg or .mp3
  std::optional<std::int64_t> begin_sample{};  // the passage; absent: from the start, to the end
  std::optional<std::int64_t> end_sample{};
  /// Its beats are needed for clicks and count-in; its notes for the line and tell the low voice.
  Score score{};
  PracticeOptions options{};
  LowVoiceSettings low_voice{};
  std::optional<double> line_gain_db{};    // the resynthesised line is heard, this loud
  std::optional<double> chords_gain_db{};  // so are the chords, as stabs
  SampleFormat sample_format = SampleFormat::pcm_16;
  AudioTags tags{};  // an empty title is the recording's; the speeds are added to it
  OpenOptions open{};
};

struct PracticeReport {
  RecordingInfo recording;  // empty without one
  PracticePlan plan;
  int sample_rate_hz = 0;
  double output_peak = 0.0;  // 0..1
  bool was_limited = false;
};

/// Renders practice audio: a passage slowed, repeated, with count-in and clicks, into one sound
/// file, whole or not at all. Where the passage is cut out of the recording, 5 ms of fade keep the
/// cut from clicking. Memory does not grow with the length; files that libsndfile does not know are
/// decoded once. Stages reported: "Decoding", "Rendering".
/// Errors: those of open_recording, plan_practice and AudioWriter; invalid_argument (neither a
/// recording nor a score with a length); cancelled.
[[nodiscard]] Result<PracticeReport> render_practice(const PracticeJob& job,
                                                     const WorkControl& control = {});

}  // namespace lowstride::audio
