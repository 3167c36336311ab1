#pragma once

#include <cstdint>
#include <deque>
#include <memory>
#include <optional>

#include "src/audio/low_voice_reader.hpp"
#include "src/audio/planes.hpp"
#include "src/audio/player.hpp"
#include "src/audio/recording.hpp"

namespace lowstride::audio {

/// Reads a recording as it will be heard: from a place on, round a loop, as one or two channels.
/// What it gives is a stream without a break; `place_of` tells where in the recording a sample of
/// the stream comes from. Where the loop's end meets its begin, the samples before both are
/// crossfaded, so that the begin itself, with its attack, stays whole.
class LoopReader {
 public:
  explicit LoopReader(std::unique_ptr<LowVoiceReader> reader);

  /// 1 for a mono recording, else 2.
  [[nodiscard]] std::size_t channel_count() const noexcept { return out_.channel_count(); }
  [[nodiscard]] const RecordingInfo& info() const noexcept { return reader_->info(); }

  /// The recording, for its low voice; changes are heard from `restart` on.
  [[nodiscard]] LowVoiceReader& low_voice() noexcept { return *reader_; }

  /// A new stream from a place of the recording on. A loop that ends at or before it is not
  /// entered. `fade_samples`: longest crossfade at the loop's end.
  [[nodiscard]] Result<void> restart(std::int64_t place, const std::optional<SampleRange>& loop,
                                     std::int64_t fade_samples);

  /// The next samples of the stream, 1024 at most; empty at the recording's end. Valid until the
  /// next call.
  [[nodiscard]] Result<dsp::AudioView> next();

  /// Place in the recording of a sample of the stream, between samples too.
  [[nodiscard]] double place_of(double stream_sample) const noexcept;
  /// The sample of the stream at which the loop jumps back next after `stream_sample`, if it has
  /// been read so far. Jumps before `stream_sample` are forgotten.
  [[nodiscard]] std::optional<std::int64_t> next_jump(double stream_sample) noexcept;

 private:
  struct Segment {
    std::int64_t stream_begin = 0;
    std::int64_t place_begin = 0;
  };
  [[nodiscard]] Result<std::size_t> read(Planes& target, std::int64_t count);
  [[nodiscard]] Result<std::size_t> read_seam(std::int64_t count);
  [[nodiscard]] Result<void> jump_back();

  std::unique_ptr<LowVoiceReader> reader_;
  Planes raw_;   // all channels of the recording
  Planes out_;   // one or two
  Planes seam_;  // before the loop's begin
  std::optional<SampleRange> loop_;
  std::int64_t fade_samples_ = 0;
  std::int64_t place_ = 0;     // of the next sample to read
  std::int64_t streamed_ = 0;  // samples given
  std::deque<Segment> segments_;
};

}  // namespace lowstride::audio
