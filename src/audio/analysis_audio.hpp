#pragma once

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <span>

#include "src/audio/recording.hpp"
#include "src/base/progress.hpp"
#include "src/base/result.hpp"

namespace lowstride::audio {

/// Recordings (or ranges of one) shorter than this are refused by the analysis.
inline constexpr double shortest_analysis_seconds = 2.0;

struct AnalysisAudioOptions {
  /// Range of the recording, in its own samples, half-open; absent: from the start, to the end.
  /// An end past the recording's is the recording's.
  std::optional<std::int64_t> begin_sample{};
  std::optional<std::int64_t> end_sample{};
  OpenOptions open{};
};

class DiskSamples;  // an unlinked file of floats

/// A recording as the analysis hears it: mono at 22,050 Hz (dsp::analysis_rate_hz), on disk and not
/// in memory. Sample n stands for the time begin_sample()/rate + n/22050 of the recording, exactly:
/// the resampler's delay is taken out. Movable; reading is const and may be done from several
/// threads. The disk space is given back with the object, and by the system if the program dies.
class AnalysisAudio {
 public:
  AnalysisAudio(AnalysisAudio&&) noexcept;
  AnalysisAudio& operator=(AnalysisAudio&&) noexcept;
  ~AnalysisAudio();

  /// The whole recording's facts, with `non_finite_count` of the part that was read.
  [[nodiscard]] const RecordingInfo& info() const noexcept { return info_; }
  /// Samples at 22,050 Hz: the range's length, rounded to the nearest sample.
  [[nodiscard]] std::int64_t sample_count() const noexcept { return sample_count_; }
  /// Where sample 0 lies, in samples of the recording; 0 unless a range was asked for.
  [[nodiscard]] std::int64_t begin_sample() const noexcept { return begin_sample_; }
  /// True when the right channel's low band was upside down against the left's and was turned.
  [[nodiscard]] bool is_polarity_turned() const noexcept { return is_polarity_turned_; }

  /// Fills `out` from sample `begin` on. `begin` may be negative and the end may lie past
  /// `sample_count()`: there is silence outside. Errors: unreadable (the disk fails).
  [[nodiscard]] Result<void> read(std::int64_t begin, std::span<float> out) const;

 private:
  friend Result<AnalysisAudio> prepare_analysis_audio(const std::filesystem::path&,
                                                      const WorkControl&,
                                                      const AnalysisAudioOptions&);
  AnalysisAudio();

  RecordingInfo info_;
  std::int64_t sample_count_ = 0;
  std::int64_t begin_sample_ = 0;
  bool is_polarity_turned_ = false;
  std::unique_ptr<DiskSamples> samples_;  // two sides, left and right, interleaved
};

/// Decodes a recording once, block by block, and resamples it to 22,050 Hz by soxr's HQ recipe.
/// Mono is the mean of all channels, so that a bass on one side only is heard together with the
/// rest; when the two sides' bands below 250 Hz contradict each other (correlation under -0.5 over
/// the whole range: one microphone or cable is upside down), one side is turned first, since the
/// mean would cancel the bass. More than two channels are folded to two sides by even and odd place
/// (front left, centre, rear left / front right, low effects, rear right in the usual order).
/// Stage reported: "Reading the recording". Needs 8 bytes of disk a sample (635 MB an hour) in
/// $XDG_CACHE_HOME/lowstride, ~/.cache/lowstride or else the folder for temporary files.
/// Errors: those of open_recording, unsupported (range or recording under 2 s), invalid_argument
/// (an empty range, or one that begins past the end), cannot_write (no room), cancelled.
[[nodiscard]] Result<AnalysisAudio> prepare_analysis_audio(
    const std::filesystem::path& path, const WorkControl& control = {},
    const AnalysisAudioOptions& options = {});

}  // namespace lowstride::audio
