// lowstride_stretch_file IN OUT --ratio R [--pitch P]: the stretcher alone, from file to file, so
// that it can be scored and timed beside other engines. OUT is a WAV file of floats.

#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <vector>

#include <sndfile.h>

#include "dsp/stretch/stretcher.hpp"

namespace {

using lowstride::dsp::Stretcher;

constexpr std::size_t block_samples = 4096;

struct Planar {
  std::vector<std::vector<float>> samples;
  std::vector<float*> writable;
  std::vector<const float*> readable;

  explicit Planar(std::size_t channel_count)
      : samples(channel_count, std::vector<float>(block_samples)) {
    for (auto& channel : samples) {
      writable.push_back(channel.data());
      readable.push_back(channel.data());
    }
  }
};

}  // namespace

int main(int argc, char** argv) {
  double ratio = 1.0;
  double pitch_ratio = 1.0;
  std::vector<const char*> paths;
  for (int i = 1; i < argc; ++i) {
    if (std::strcmp(argv[i], "--ratio") == 0 && i + 1 < argc) {
      ratio = std::atof(argv[++i]);
    } else if (std::strcmp(argv[i], "--pitch") == 0 && i + 1 < argc) {
      pitch_ratio = std::atof(argv[++i]);
    } else {
      paths.push_back(argv[i]);
    }
  }
  if (paths.size() != 2 || !(ratio > 0.0) || !(pitch_ratio > 0.0)) {
    std::fprintf(stderr, "usage: lowstride_stretch_file IN OUT --ratio R [--pitch P]\n");
    return 2;
  }
  SF_INFO info{};
  SNDFILE* const source = sf_open(paths[0], SFM_READ, &info);
  if (source == nullptr) {
    std::fprintf(stderr, "%s: %s\n", paths[0], sf_strerror(nullptr));
    return 1;
  }
  const auto channel_count = static_cast<std::size_t>(info.channels);
  SF_INFO target_info{};
  target_info.samplerate = info.samplerate;
  target_info.channels = info.channels;
  target_info.format = SF_FORMAT_WAV | SF_FORMAT_FLOAT;
  SNDFILE* const target = sf_open(paths[1], SFM_WRITE, &target_info);
  if (target == nullptr) {
    std::fprintf(stderr, "%s: %s\n", paths[1], sf_strerror(nullptr));
    return 1;
  }

  Stretcher stretcher({.sample_rate_hz = static_cast<double>(info.samplerate),
                       .channel_count = channel_count,
                       .max_block_samples = block_samples});
  const lowstride::dsp::StretchSettings settings{.speed = 1.0 / ratio, .pitch_ratio = pitch_ratio};
  Planar in(channel_count);
  Planar out(channel_count);
  std::vector<float> interleaved(block_samples * channel_count);
  const auto save = [&](std::size_t count) {
    for (std::size_t n = 0; n < count; ++n) {
      for (std::size_t c = 0; c < channel_count; ++c) {
        interleaved[n * channel_count + c] = out.samples[c][n];
      }
    }
    sf_writef_float(target, interleaved.data(), static_cast<sf_count_t>(count));
  };
  for (;;) {
    const sf_count_t got =
        sf_readf_float(source, interleaved.data(), static_cast<sf_count_t>(block_samples));
    if (got <= 0) break;
    const auto count = static_cast<std::size_t>(got);
    for (std::size_t n = 0; n < count; ++n) {
      for (std::size_t c = 0; c < channel_count; ++c) {
        in.samples[c][n] = interleaved[n * channel_count + c];
      }
    }
    std::size_t used = 0;
    while (used < count) {
      std::vector<const float*> rest(in.readable);
      for (auto& pointer : rest) pointer += used;
      const auto progress =
          stretcher.process(settings, {.channels = rest, .sample_count = count - used},
                            {.channels = out.writable, .sample_count = block_samples});
      used += progress.consumed_samples;
      save(progress.produced_samples);
    }
  }
  for (;;) {
    const std::size_t count =
        stretcher.drain({.channels = out.writable, .sample_count = block_samples});
    if (count == 0) break;
    save(count);
  }
  sf_close(target);
  sf_close(source);
  return 0;
}
