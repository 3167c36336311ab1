#pragma once

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "src/base/result.hpp"

namespace lowstride::audio {

/// What a player plays or sings, mono, as it comes in. One thread reads. A device runs from opening
/// on and keeps a second for a reader that is late.
class LiveInput {
 public:
  LiveInput() = default;
  LiveInput(const LiveInput&) = delete;
  LiveInput& operator=(const LiveInput&) = delete;
  virtual ~LiveInput() = default;

  /// For people: the device's name, or the file's.
  [[nodiscard]] virtual const std::string& name() const noexcept = 0;
  [[nodiscard]] virtual double sample_rate_hz() const noexcept = 0;

  /// Fills `out` from the front and returns the samples written; waits for a device up to a tenth
  /// of a second. 0 means the end of a file, or that nothing came: `is_ended` tells. Values are
  /// finite. Errors: no_device (unplugged, its server gone), unreadable.
  [[nodiscard]] virtual Result<std::size_t> read(std::span<float> out) = 0;
  [[nodiscard]] virtual bool is_ended() const noexcept = 0;

  /// Forgets what came in and was not read: what is played from now on is heard.
  virtual void flush() = 0;

  /// Samples lost because nobody read them in time.
  [[nodiscard]] virtual std::int64_t dropped_sample_count() const noexcept = 0;
};

/// Names of the input devices; empty where there is none.
[[nodiscard]] std::vector<std::string> input_device_names();

/// Opens an input by the system's sound server (SDL2): mono at 44,100 Hz, converted where the
/// device has another rate. `device` empty: the system's default. Errors: no_device, naming what
/// there is.
[[nodiscard]] Result<std::unique_ptr<LiveInput>> open_input_device(const std::string& device = {});

struct FileInputOptions {
  /// Silence put before the file, as a slow device would: for tests of latency.
  double delay_seconds = 0.0;
};

/// A recording in place of a device: the mean of its channels at its own rate, as fast as it is
/// read; `flush` drops nothing. Errors: those of open_recording.
[[nodiscard]] Result<std::unique_ptr<LiveInput>> open_input_file(
    const std::filesystem::path& path, const FileInputOptions& options = {});

}  // namespace lowstride::audio
