#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>

#include "src/audio/recording.hpp"
#include "src/audio/writer.hpp"
#include "src/base/progress.hpp"
#include "src/base/result.hpp"

namespace lowstride::audio {

inline constexpr double lowest_speed_ratio = 0.2;
inline constexpr double highest_speed_ratio = 1.5;
inline constexpr double largest_shift_semitones = 12.0;

struct SlowJob {
  std::filesystem::path input{};
  std::filesystem::path output{};  // .wav, .flac, .ogg or .mp3
  double speed_ratio = 0.5;        // 0.2 .. 1.5; 0.5 is half speed
  double shift_semitones = 0.0;    // -12 .. 12, cents as fractions
  /// Range of the recording, in its samples, half-open; absent: from the start, to the end.
  std::optional<std::int64_t> begin_sample{};
  std::optional<std::int64_t> end_sample{};
  SampleFormat sample_format = SampleFormat::pcm_16;
  AudioTags tags{};  // an empty title is the recording's; the speed is added to it
  OpenOptions open{};
};

struct SlowReport {
  RecordingInfo recording;
  std::int64_t begin_sample = 0;  // the range that was rendered, in samples of the recording
  std::int64_t end_sample = 0;
  std::int64_t output_sample_count = 0;  // round((end - begin) / speed_ratio)
  double output_peak = 0.0;              // 0..1
  bool was_limited = false;              // the stretcher's output rose over full scale
};

/// Renders a recording (or a range of it) at another speed with its own pitch, or transposed, into
/// a sound file of the same rate and channels, whole or not at all. The output is exactly
/// round(length / speed_ratio) samples long; a limiter that looks ahead keeps it within full scale
/// (stretching moves phases, so a loud recording's peaks may rise), and silence stays silent.
/// Memory does not grow with the length.
/// Stages reported: "Decoding", "Slowing".
/// Errors: those of open_recording and AudioWriter, invalid_argument (speed, shift or range without
/// meaning, or output over input), cancelled.
[[nodiscard]] Result<SlowReport> render_slow(const SlowJob& job, const WorkControl& control = {});

}  // namespace lowstride::audio
