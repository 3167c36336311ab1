#pragma once

#include <cstdint>
#include <filesystem>
#include <functional>
#include <string>
#include <string_view>
#include <vector>

#include <gtest/gtest.h>

#include "dsp/base/audio_view.hpp"
#include "src/audio/recording.hpp"

namespace lowstride::audio {

/// Planar samples in memory: [channel][sample].
using Planes = std::vector<std::vector<float>>;

/// A folder of its own for each test, which is also the cache folder.
class AudioFiles : public testing::Test {
 protected:
  void SetUp() override;
  void TearDown() override;

  [[nodiscard]] std::filesystem::path folder() const { return folder_; }
  /// Files in the folder, without those of the cache.
  [[nodiscard]] std::vector<std::string> file_names() const;
  std::filesystem::path write_bytes(const std::string& name, std::string_view bytes) const;

 private:
  std::filesystem::path folder_;
};

/// Writes by libsndfile itself, as an outside source; `format` is its SF_FORMAT_ code.
void write_by_sndfile(const std::filesystem::path& path, const Planes& planes, int sample_rate_hz,
                      int format);

/// Encodes `wav` by the command ffmpeg; false when that is missing or lacks the encoder.
[[nodiscard]] bool encode_by_ffmpeg(const std::filesystem::path& wav,
                                    const std::filesystem::path& target,
                                    const std::string& options = "");

/// Quiet noise with a click: one sample of `height` at each of `places`, each channel the same.
[[nodiscard]] Planes clicks(std::size_t channel_count, std::size_t sample_count,
                            const std::vector<std::size_t>& places, float height = 0.8F);
[[nodiscard]] Planes sine(std::size_t channel_count, std::size_t sample_count,
                          double period_samples, float amplitude);

/// All of a recording in blocks of `block_samples`.
[[nodiscard]] Planes read_all(SampleReader& reader, std::size_t block_samples = 4096);

/// Where the largest absolute value in [begin, end) lies, refined by a parabola.
[[nodiscard]] double peak_place(const std::vector<float>& values, std::size_t begin,
                                std::size_t end);

/// Runs `work` in a child process and returns its exit status, -1 when it was killed.
[[nodiscard]] int run_in_child(const std::function<int()>& work);

[[nodiscard]] std::string file_bytes(const std::filesystem::path& path);

}  // namespace lowstride::audio
