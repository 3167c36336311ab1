// lowstride_stretch_file IN OUT --ratio R [--pitch P] [--engine ours|finer|faster|splices]
//
// One engine from file to file, so that all can be scored and timed alike. OUT is a WAV file of
// floats. The libraries are there when they were at configuring: Rubber Band (R3, offline: finer;
// R2, offline: faster) and SoundTouch (splices: it works in the time domain).

#include <algorithm>
#include <charconv>
#include <cmath>
#include <cstdio>
#include <cstring>
#include <string_view>
#include <vector>

#include <sndfile.h>

#include "dsp/stretch/stretcher.hpp"
#ifdef LOWSTRIDE_HAS_RUBBERBAND
#include <rubberband/RubberBandStretcher.h>
#endif
#ifdef LOWSTRIDE_HAS_SOUNDTOUCH
#include <SoundTouch.h>
#endif

namespace {

constexpr std::size_t block_samples = 4096;
using Channels = std::vector<std::vector<float>>;

struct Job {
  double rate_hz;
  double ratio;
  double pitch_ratio;
};

std::vector<const float*> at(const Channels& channels, std::size_t place) {
  std::vector<const float*> result;
  result.reserve(channels.size());
  for (const auto& channel : channels) result.push_back(channel.data() + place);
  return result;
}

void append(Channels& target, const Channels& source, std::size_t count) {
  for (std::size_t c = 0; c < target.size(); ++c) {
    target[c].insert(target[c].end(), source[c].begin(),
                     source[c].begin() + static_cast<std::ptrdiff_t>(count));
  }
}

Channels ours(const Channels& in, const Job& job) {
  lowstride::dsp::Stretcher stretcher({.sample_rate_hz = job.rate_hz, .channel_count = in.size()});
  const lowstride::dsp::StretchSettings settings{.speed = 1.0 / job.ratio,
                                                 .pitch_ratio = job.pitch_ratio};
  Channels out(in.size());
  Channels room(in.size(), std::vector<float>(block_samples));
  std::vector<float*> writable;
  for (auto& channel : room) writable.push_back(channel.data());
  std::size_t used = 0;
  while (used < in.front().size()) {
    const auto rest = at(in, used);
    const auto progress = stretcher.process(
        settings,
        {.channels = rest, .sample_count = std::min(block_samples, in.front().size() - used)},
        {.channels = writable, .sample_count = block_samples});
    used += progress.consumed_samples;
    append(out, room, progress.produced_samples);
  }
  while (const std::size_t count =
             stretcher.drain({.channels = writable, .sample_count = block_samples})) {
    append(out, room, count);
  }
  return out;
}

#ifdef LOWSTRIDE_HAS_RUBBERBAND
Channels rubber_band(const Channels& in, const Job& job, bool is_finer) {
  using RubberBand::RubberBandStretcher;
  const int options = static_cast<int>(RubberBandStretcher::OptionProcessOffline) |
                      static_cast<int>(RubberBandStretcher::OptionThreadingNever) |
                      static_cast<int>(is_finer ? RubberBandStretcher::OptionEngineFiner
                                                : RubberBandStretcher::OptionEngineFaster);
  RubberBandStretcher stretcher(static_cast<std::size_t>(job.rate_hz), in.size(), options,
                                job.ratio, job.pitch_ratio);
  const std::size_t length = in.front().size();
  stretcher.setExpectedInputDuration(length);
  stretcher.setMaxProcessSize(block_samples);
  for (std::size_t n = 0; n < length; n += block_samples) {
    const std::size_t count = std::min(block_samples, length - n);
    stretcher.study(at(in, n).data(), count, n + count == length);
  }
  Channels out(in.size());
  for (std::size_t n = 0; n < length; n += block_samples) {
    const std::size_t count = std::min(block_samples, length - n);
    stretcher.process(at(in, n).data(), count, n + count == length);
    while (stretcher.available() > 0) {
      const auto ready = static_cast<std::size_t>(stretcher.available());
      Channels room(in.size(), std::vector<float>(ready));
      std::vector<float*> writable;
      for (auto& channel : room) writable.push_back(channel.data());
      append(out, room, stretcher.retrieve(writable.data(), ready));
    }
  }
  return out;
}
#endif

#ifdef LOWSTRIDE_HAS_SOUNDTOUCH
Channels sound_touch(const Channels& in, const Job& job) {
  soundtouch::SoundTouch stretcher;
  stretcher.setSampleRate(static_cast<unsigned>(job.rate_hz));
  stretcher.setChannels(static_cast<unsigned>(in.size()));
  stretcher.setTempo(1.0 / job.ratio);
  stretcher.setPitch(job.pitch_ratio);
  const std::size_t channels = in.size();
  std::vector<float> mixed(block_samples * channels);
  Channels out(channels);
  const auto fetch = [&] {
    while (const unsigned count = stretcher.receiveSamples(mixed.data(), block_samples)) {
      for (unsigned n = 0; n < count; ++n) {
        for (std::size_t c = 0; c < channels; ++c) out[c].push_back(mixed[n * channels + c]);
      }
    }
  };
  const std::size_t length = in.front().size();
  for (std::size_t place = 0; place < length; place += block_samples) {
    const std::size_t count = std::min(block_samples, length - place);
    for (std::size_t n = 0; n < count; ++n) {
      for (std::size_t c = 0; c < channels; ++c) mixed[n * channels + c] = in[c][place + n];
    }
    stretcher.putSamples(mixed.data(), static_cast<unsigned>(count));
    fetch();
  }
  stretcher.flush();
  fetch();
  for (auto& channel : out) {
    channel.resize(static_cast<std::size_t>(std::llround(static_cast<double>(length) * job.ratio)));
  }
  return out;
}
#endif

bool run(std::string_view engine, const Channels& in, const Job& job, Channels& out) {
  if (engine == "ours") {
    out = ours(in, job);
    return true;
  }
#ifdef LOWSTRIDE_HAS_RUBBERBAND
  if (engine == "finer" || engine == "faster") {
    out = rubber_band(in, job, engine == "finer");
    return true;
  }
#endif
#ifdef LOWSTRIDE_HAS_SOUNDTOUCH
  if (engine == "splices") {
    out = sound_touch(in, job);
    return true;
  }
#endif
  return false;
}

bool read_file(const char* path, Channels& channels, SF_INFO& info) {
  SNDFILE* const file = sf_open(path, SFM_READ, &info);
  if (file == nullptr) return false;
  const auto count = static_cast<std::size_t>(info.channels);
  channels.resize(count);
  std::vector<float> mixed(block_samples * count);
  sf_count_t got = 0;
  while ((got = sf_readf_float(file, mixed.data(), block_samples)) > 0) {
    for (std::size_t n = 0; n < static_cast<std::size_t>(got); ++n) {
      for (std::size_t c = 0; c < count; ++c) channels[c].push_back(mixed[n * count + c]);
    }
  }
  sf_close(file);
  return !channels.front().empty();
}

bool write_file(const char* path, const Channels& channels, int rate_hz) {
  SF_INFO info{};
  info.samplerate = rate_hz;
  info.channels = static_cast<int>(channels.size());
  info.format = SF_FORMAT_WAV | SF_FORMAT_FLOAT;
  SNDFILE* const file = sf_open(path, SFM_WRITE, &info);
  if (file == nullptr) return false;
  const std::size_t count = channels.size();
  const std::size_t length = channels.front().size();
  std::vector<float> mixed(block_samples * count);
  bool is_whole = true;
  for (std::size_t place = 0; place < length; place += block_samples) {
    const std::size_t samples = std::min(block_samples, length - place);
    for (std::size_t n = 0; n < samples; ++n) {
      for (std::size_t c = 0; c < count; ++c) mixed[n * count + c] = channels[c][place + n];
    }
    const auto wanted = static_cast<sf_count_t>(samples);
    is_whole = is_whole && sf_writef_float(file, mixed.data(), wanted) == wanted;
  }
  return sf_close(file) == 0 && is_whole;
}

double number(const char* text) {
  double value = 0.0;
  std::from_chars(text, text + std::strlen(text), value);
  return value;
}

}  // namespace

int main(int argc, char** argv) {
  double ratio = 1.0;
  double pitch_ratio = 1.0;
  std::string_view engine = "ours";
  std::vector<const char*> paths;
  for (int i = 1; i < argc; ++i) {
    const std::string_view word = argv[i];
    const bool has_value = i + 1 < argc;
    if (word == "--ratio" && has_value) {
      ratio = number(argv[++i]);
    } else if (word == "--pitch" && has_value) {
      pitch_ratio = number(argv[++i]);
    } else if (word == "--engine" && has_value) {
      engine = argv[++i];
    } else {
      paths.push_back(argv[i]);
    }
  }
  if (paths.size() != 2 || !(ratio > 0.0) || !(pitch_ratio > 0.0)) {
    std::fprintf(stderr,
                 "usage: lowstride_stretch_file IN OUT --ratio R [--pitch P] "
                 "[--engine ours|finer|faster|splices]\n");
    return 2;
  }
  Channels in;
  SF_INFO info{};
  if (!read_file(paths[0], in, info)) {
    std::fprintf(stderr, "%s cannot be read as sound: %s\n", paths[0], sf_strerror(nullptr));
    return 1;
  }
  const Job job{
      .rate_hz = static_cast<double>(info.samplerate), .ratio = ratio, .pitch_ratio = pitch_ratio};
  Channels out;
  if (!run(engine, in, job, out)) {
    std::fprintf(stderr, "engine %.*s is not built in: install its library and configure again\n",
                 static_cast<int>(engine.size()), engine.data());
    return 3;
  }
  if (!write_file(paths[1], out, info.samplerate)) {
    std::fprintf(stderr, "%s cannot be written: choose another place\n", paths[1]);
    return 1;
  }
  return 0;
}
