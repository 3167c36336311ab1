#pragma once

#include <cstddef>
#include <memory>

#include "dsp/base/audio_view.hpp"

namespace lowstride::dsp {

struct StretchOptions {
  double sample_rate_hz = 44100.0;  // 8000 to 192000
  std::size_t channel_count = 2;    // 1 to 8, all stretched jointly
  double lowest_speed = 0.1;        // slowest speed that will be asked for
  double highest_speed = 4.0;       // fastest; the read-ahead grows with it, so ask for no more

  bool operator==(const StretchOptions&) const = default;
};

/// What may change while playing. Values outside the range of the options are brought to its
/// nearest end; a value that is not finite stands for 1.
struct StretchSettings {
  double speed = 1.0;        // 0.5 = half speed, twice as long; output / input length is 1 / speed
  double pitch_ratio = 1.0;  // 2 = an octave up, 0.25 to 4; formants move along

  bool operator==(const StretchSettings&) const = default;
};

struct StretchProgress {
  std::size_t consumed_samples = 0;  // taken from the front of `in`
  std::size_t produced_samples = 0;  // written to the front of `out`
};

/// Changes the speed and the pitch of a stream independently of each other.
///
/// Time: the first sample that comes out stands for the first one that went in; nothing is put in
/// front. The delay is a read-ahead: output stands still until `latency_samples()` more input has
/// been given. With constant settings N samples in give exactly round(N / speed) samples out,
/// after `drain`. `position_samples()` tells which input sample is heard next at any moment, also
/// while the speed changes; attacks are at that place to within a millisecond.
///
/// Life: construct (takes all memory) -> `process` while there is input -> `drain` until it gives
/// 0 -> `reset` for another stream. `process`, `drain` and `reset` take no memory, lock nothing
/// and do work in proportion to what they consume and produce. Blocks may have any length: the work
/// is done in steps of 256 samples, and the cut into blocks does not change a sample. Input that is
/// not finite counts as silence. Output is not limited: it can exceed full scale where the input
/// touches it. One instance a thread.
///
/// Offline:
///   feed blocks with `process` until all is consumed (call again with the rest of the block while
///   `consumed_samples` is short of it), then call `drain` until it writes 0 samples.
/// Playing: ask for `n` samples of output, give what is read ahead, repeat until they are there.
///
/// Source: phase vocoder in bands of different window length with rigid (identity) phase locking,
/// Laroche & Dolson, "Improved phase vocoder time-scale modification of audio", IEEE Trans. Speech
/// Audio Proc. 7(3), 1999; attacks placed whole with phase reset after Röbel, "A new approach to
/// transient processing in the phase vocoder", DAFx 2003. The parts say where they differ.
class Stretcher {
 public:
  /// Requires the ranges given at `StretchOptions` and lowest_speed <= highest_speed.
  explicit Stretcher(const StretchOptions& options);
  Stretcher(Stretcher&&) noexcept;
  Stretcher& operator=(Stretcher&&) noexcept;
  ~Stretcher();

  [[nodiscard]] const StretchOptions& options() const noexcept;

  /// Takes from `in`, writes to `out`; both have `channel_count` channels and must not overlap.
  /// Stops when `in` is used up or `out` is full, whichever comes first; consumes or produces at
  /// least one sample if neither was empty. `now` applies from the sound that is prepared next,
  /// at most 0.2 s of output later, without a click.
  StretchProgress process(const StretchSettings& now, AudioView in, MutableAudioView out) noexcept;

  /// The input has ended: writes what is left, up to the room in `out`, and returns how many
  /// samples; 0 when all is out. After the first call only `drain` and `reset` make sense.
  std::size_t drain(MutableAudioView out) noexcept;

  /// As if it had just been constructed.
  void reset() noexcept;

  /// Input samples after an instant that must have been consumed before that instant comes out,
  /// at any speed in the range and pitch_ratio 1: an impulse put in now comes out no later than
  /// when this many more samples have been consumed.
  [[nodiscard]] std::size_t latency_samples() const noexcept;

  /// Place in the input, in samples since construction or `reset`, of the next sample that
  /// `process` or `drain` will write.
  [[nodiscard]] double position_samples() const noexcept;

 private:
  class Engine;
  std::unique_ptr<Engine> engine_;
};

}  // namespace lowstride::dsp
