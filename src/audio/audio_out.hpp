#pragma once

#include <cstddef>
#include <memory>
#include <string>
#include <vector>

#include "dsp/base/audio_view.hpp"
#include "src/base/result.hpp"

namespace lowstride::audio {

/// Something that sounds: a Player.
class AudioSource {
 public:
  AudioSource() = default;
  AudioSource(const AudioSource&) = delete;
  AudioSource& operator=(const AudioSource&) = delete;
  virtual ~AudioSource() = default;

  [[nodiscard]] virtual double sample_rate_hz() const noexcept = 0;

  /// Audio thread only. Fills `out` (two channels) with the next samples, silence included. Takes
  /// no memory, locks nothing, touches no file, whatever the block's size.
  virtual void render(dsp::MutableAudioView out) noexcept = 0;

  /// For pulling offline, from the thread that renders: does the work that the next `sample_count`
  /// samples need, so that `render` finds it done. Never called by a device.
  virtual void prepare(std::size_t sample_count) = 0;

  /// How long a sample waits after `render` until it is heard: told by an output when it opens, and
  /// by nobody else.
  virtual void set_output_latency(double seconds) noexcept = 0;
};

/// An open output: it asks its source for samples from construction to destruction. Three kinds: a
/// device, a clock without a device, and pulling by hand (PullOut).
class AudioOut {
 public:
  AudioOut() = default;
  AudioOut(const AudioOut&) = delete;
  AudioOut& operator=(const AudioOut&) = delete;
  virtual ~AudioOut() = default;

  /// For people: the device's name; "no device (silent)" for the clock.
  [[nodiscard]] virtual const std::string& name() const noexcept = 0;
  /// True once the device is gone (unplugged, its server ended). The source keeps its place: close
  /// this output, open another, and go on.
  [[nodiscard]] virtual bool is_lost() noexcept = 0;
};

struct DeviceOptions {
  std::string device{};             // a name of `device_names()`; empty: the system's default
  std::size_t block_samples = 512;  // 256 to 4096, rounded to a power of two; fewer glitch
};

/// Names of the output devices, as the system gives them; empty where there is none.
[[nodiscard]] std::vector<std::string> device_names();

/// Opens a device at the source's rate; where the device has another, the system's sound server or
/// SDL converts. The source must outlive the output. One device at a time is meant.
/// Errors: no_device (none there, none of that name: the sentence lists what there is).
[[nodiscard]] Result<std::unique_ptr<AudioOut>> open_device(AudioSource& source,
                                                            const DeviceOptions& options = {});

/// Plays to nobody at the pace of the clock: for tests, and so that everything goes on where there
/// is no device. A thread of its own renders blocks of `block_samples`.
[[nodiscard]] std::unique_ptr<AudioOut> open_silent_clock(AudioSource& source,
                                                          std::size_t block_samples = 512);

/// Pulls samples by hand, as fast as they are made: for rendering and for tests.
class PullOut {
 public:
  explicit PullOut(AudioSource& source, std::size_t block_samples = 512);

  /// The next samples of both channels, `sample_count` of each, rendered in blocks.
  [[nodiscard]] std::vector<std::vector<float>> pull(std::size_t sample_count);

 private:
  AudioSource& source_;
  std::size_t block_samples_;
};

}  // namespace lowstride::audio
