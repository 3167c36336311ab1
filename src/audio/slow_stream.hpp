#pragma once

#include <cstdint>
#include <functional>
#include <memory>
#include <span>

#include "dsp/base/audio_view.hpp"
#include "dsp/stretch/stretcher.hpp"
#include "src/audio/limiter.hpp"
#include "src/audio/planes.hpp"
#include "src/audio/writer.hpp"
#include "src/base/result.hpp"

namespace lowstride::audio {

/// Gives a recording's next samples, interleaved, at most `slow_block_samples` of them; an empty
/// span at the end.
using BlockSource = std::function<Result<std::span<const float>>()>;

inline constexpr std::size_t slow_block_samples = 4096;

struct SlowStreamOptions {
  double sample_rate_hz = 44100.0;
  std::size_t channel_count = 2;
  double speed_ratio = 0.5;
  double shift_semitones = 0.0;
};

/// A stretcher turned round: one asks for output and it takes the input that it needs. Gives
/// exactly round(input length / speed_ratio) samples; at full speed without transposition, the
/// input itself.
class SlowStream {
 public:
  SlowStream(const SlowStreamOptions& options, BlockSource source);

  /// Fills `out` and returns how many samples that are; less than asked at the end only.
  /// Errors: those of the source.
  [[nodiscard]] Result<std::size_t> read(dsp::MutableAudioView out);

  /// Samples taken from the source so far.
  [[nodiscard]] std::int64_t consumed_sample_count() const noexcept { return consumed_; }

 private:
  Result<void> fetch();
  std::size_t make(dsp::MutableAudioView out);

  SlowStreamOptions options_;
  BlockSource source_;
  std::unique_ptr<dsp::Stretcher> stretcher_;  // null: nothing to change
  Planes in_;
  std::size_t in_begin_ = 0;  // of in_, what has not been taken yet
  std::size_t in_end_ = 0;
  bool is_ended_ = false;
  bool is_drained_ = false;
  std::int64_t consumed_ = 0;
  std::int64_t produced_ = 0;
};

/// The way to the file: limited to full scale, without the limiter's delay.
class LimitedOutlet {
 public:
  LimitedOutlet(AudioWriter& writer, double sample_rate_hz, std::size_t channel_count);

  /// Limits the first `count` samples of `planes` in place and writes what is due.
  [[nodiscard]] Result<void> put(Planes& planes, std::size_t count);
  /// Lets the limiter's rest out, so that as many samples are written as were put.
  [[nodiscard]] Result<void> finish();

  [[nodiscard]] std::int64_t put_sample_count() const noexcept { return put_; }
  [[nodiscard]] double peak() const noexcept { return peak_; }
  [[nodiscard]] bool was_limited() const noexcept { return limiter_.has_limited(); }

 private:
  Result<void> pass(Planes& planes, std::size_t count);

  AudioWriter& writer_;
  Limiter limiter_;
  std::size_t to_drop_;
  std::int64_t put_ = 0;
  double peak_ = 0.0;
};

}  // namespace lowstride::audio
