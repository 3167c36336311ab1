#include "tests/audio/audio_test_support.hpp"

#include <sndfile.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cmath>
#include <cstdlib>
#include <fstream>
#include <numbers>
#include <sstream>

namespace lowstride::audio {

namespace fs = std::filesystem;

void AudioFiles::SetUp() {
  std::string pattern = (fs::temp_directory_path() / "lowstride-audio-XXXXXX").string();
  ASSERT_NE(::mkdtemp(pattern.data()), nullptr);
  folder_ = pattern;
  ::setenv("XDG_CACHE_HOME", (folder_ / "cache").c_str(), 1);
}

void AudioFiles::TearDown() { fs::remove_all(folder_); }

std::vector<std::string> AudioFiles::file_names() const {
  std::vector<std::string> names;
  for (const auto& entry : fs::directory_iterator(folder_)) {
    if (entry.path().filename() != "cache") names.push_back(entry.path().filename().string());
  }
  return names;
}

fs::path AudioFiles::write_bytes(const std::string& name, std::string_view bytes) const {
  std::ofstream file(folder_ / name, std::ios::binary);
  file.write(bytes.data(), static_cast<std::streamsize>(bytes.size()));
  return folder_ / name;
}

void write_by_sndfile(const fs::path& path, const Planes& planes, int sample_rate_hz, int format) {
  SF_INFO info{};
  info.samplerate = sample_rate_hz;
  info.channels = static_cast<int>(planes.size());
  info.format = format;
  SNDFILE* file = sf_open(path.c_str(), SFM_WRITE, &info);
  ASSERT_NE(file, nullptr) << path << ": " << sf_strerror(nullptr);
  // Small blocks: this library's Vorbis encoder overflows its stack with large ones.
  std::vector<float> block;
  for (std::size_t begin = 0; begin < planes[0].size(); begin += 4096) {
    const std::size_t count = std::min<std::size_t>(4096, planes[0].size() - begin);
    block.resize(count * planes.size());
    for (std::size_t i = 0; i < count; ++i) {
      for (std::size_t c = 0; c < planes.size(); ++c) {
        block[i * planes.size() + c] = planes[c][begin + i];
      }
    }
    ASSERT_EQ(sf_writef_float(file, block.data(), static_cast<sf_count_t>(count)),
              static_cast<sf_count_t>(count));
  }
  sf_close(file);
}

bool encode_by_ffmpeg(const fs::path& wav, const fs::path& target, const std::string& options) {
  const std::string command = "ffmpeg -nostdin -v error -y -i '" + wav.string() + "' " + options +
                              " '" + target.string() + "' >/dev/null 2>&1";
  return std::system(command.c_str()) == 0 && fs::exists(target);
}

Planes clicks(std::size_t channel_count, std::size_t sample_count,
              const std::vector<std::size_t>& places, float height) {
  std::vector<float> plane(sample_count);
  std::uint32_t state = 12345;
  for (float& value : plane) {
    state = state * 1664525U + 1013904223U;
    value = 1e-4F * (static_cast<float>(state >> 8U) / 8388608.0F - 1.0F);
  }
  for (const std::size_t place : places) plane[place] = height;
  return Planes(channel_count, plane);
}

Planes sine(std::size_t channel_count, std::size_t sample_count, double period_samples,
            float amplitude) {
  std::vector<float> plane(sample_count);
  for (std::size_t i = 0; i < sample_count; ++i) {
    plane[i] = amplitude * static_cast<float>(std::sin(2.0 * std::numbers::pi *
                                                       static_cast<double>(i) / period_samples));
  }
  return Planes(channel_count, plane);
}

Planes read_all(SampleReader& reader, std::size_t block_samples) {
  const auto channel_count = static_cast<std::size_t>(reader.info().channel_count);
  Planes all(channel_count);
  Planes block(channel_count, std::vector<float>(block_samples));
  std::vector<float*> pointers;
  for (auto& plane : block) pointers.push_back(plane.data());
  while (true) {
    const auto count = reader.read({pointers, block_samples});
    if (!count) {
      ADD_FAILURE() << count.error().message;
      break;
    }
    if (*count == 0) break;
    for (std::size_t c = 0; c < channel_count; ++c) {
      all[c].insert(all[c].end(), block[c].begin(),
                    block[c].begin() + static_cast<std::ptrdiff_t>(*count));
    }
  }
  return all;
}

double peak_place(const std::vector<float>& values, std::size_t begin, std::size_t end) {
  std::size_t best = begin;
  for (std::size_t i = begin; i < std::min(end, values.size()); ++i) {
    if (std::abs(values[i]) > std::abs(values[best])) best = i;
  }
  if (best == 0 || best + 1 >= values.size()) return static_cast<double>(best);
  const double before = std::abs(values[best - 1]);
  const double here = std::abs(values[best]);
  const double after = std::abs(values[best + 1]);
  const double bend = before - 2.0 * here + after;
  return static_cast<double>(best) + (bend == 0.0 ? 0.0 : 0.5 * (before - after) / bend);
}

int run_in_child(const std::function<int()>& work) {
  const pid_t child = ::fork();
  if (child == 0) ::_exit(work());
  int status = 0;
  if (child < 0 || ::waitpid(child, &status, 0) != child || !WIFEXITED(status)) return -1;
  return WEXITSTATUS(status);
}

std::string file_bytes(const fs::path& path) {
  std::ifstream file(path, std::ios::binary);
  std::ostringstream bytes;
  bytes << file.rdbuf();
  return bytes.str();
}

}  // namespace lowstride::audio
