#include "src/audio/live_input.hpp"

#include <algorithm>
#include <array>
#include <chrono>
#include <cmath>
#include <thread>

#include <SDL.h>
#include <fmt/format.h>

#include "src/audio/planes.hpp"
#include "src/audio/recording.hpp"
#include "src/audio/sound_system.hpp"

namespace lowstride::audio {
namespace {

constexpr int device_rate_hz = 44100;
constexpr int device_block_samples = 512;
constexpr std::uint32_t most_queued_samples = device_rate_hz;

class DeviceInput final : public LiveInput {
 public:
  explicit DeviceInput(std::string name) : name_(std::move(name)) {}
  ~DeviceInput() override {
    const auto lock = SoundSystem::alone();
    if (device_ != 0) SDL_CloseAudioDevice(device_);
  }

  Result<void> open(bool is_default) {
    const auto lock = SoundSystem::alone();
    if (system_.is_there()) {
      SDL_AudioSpec wanted{};
      wanted.freq = device_rate_hz;
      wanted.format = AUDIO_F32SYS;
      wanted.channels = 1;
      wanted.samples = device_block_samples;
      SDL_AudioSpec given{};
      device_ = SDL_OpenAudioDevice(is_default ? nullptr : name_.c_str(), 1, &wanted, &given, 0);
    }
    if (device_ == 0) {
      std::string known;
      for (const std::string& one : system_.devices(true))
        known += (known.empty() ? "" : ", ") + one;
      return fail(
          ErrorCode::no_device,
          fmt::format("No sound input{} can be opened{}; plug one in, or answer from a file (in a "
                      "terminal: --answers FILE).",
                      is_default ? std::string() : fmt::format(" '{}'", name_),
                      known.empty() ? std::string() : fmt::format(" (there are: {})", known)));
    }
    SDL_PauseAudioDevice(device_, 0);
    return {};
  }

  [[nodiscard]] const std::string& name() const noexcept override { return name_; }
  [[nodiscard]] double sample_rate_hz() const noexcept override { return device_rate_hz; }
  [[nodiscard]] bool is_ended() const noexcept override { return is_lost_; }
  [[nodiscard]] std::int64_t dropped_sample_count() const noexcept override { return dropped_; }

  Result<std::size_t> read(std::span<float> out) override {
    constexpr int waits = 20;
    for (int i = 0; i < waits; ++i) {
      if (SDL_GetAudioDeviceStatus(device_) == SDL_AUDIO_STOPPED) {
        is_lost_ = true;
        return fail(ErrorCode::no_device,
                    fmt::format("The sound input '{}' is gone; plug it in again.", name_));
      }
      const std::uint32_t queued = SDL_GetQueuedAudioSize(device_) / std::uint32_t{sizeof(float)};
      if (queued > most_queued_samples) drop(queued - most_queued_samples / 2);
      if (queued > 0) break;
      std::this_thread::sleep_for(std::chrono::milliseconds(5));
    }
    const auto bytes =
        SDL_DequeueAudio(device_, out.data(), static_cast<std::uint32_t>(out.size_bytes()));
    const std::size_t count = bytes / sizeof(float);
    for (float& value : out.first(count)) value = std::isfinite(value) ? value : 0.0F;
    return count;
  }

  void flush() override { SDL_ClearQueuedAudio(device_); }

 private:
  void drop(std::uint32_t count) {
    std::array<float, 1024> waste{};
    dropped_ += count;
    while (count > 0) {
      const std::uint32_t some = std::min<std::uint32_t>(count, waste.size());
      SDL_DequeueAudio(device_, waste.data(), some * static_cast<std::uint32_t>(sizeof(float)));
      count -= some;
    }
  }

  SoundSystem system_;
  std::string name_;
  SDL_AudioDeviceID device_ = 0;
  bool is_lost_ = false;
  std::int64_t dropped_ = 0;
};

class FileInput final : public LiveInput {
 public:
  FileInput(std::unique_ptr<SampleReader> reader, const FileInputOptions& options)
      : reader_(std::move(reader)),
        name_(reader_->info().path.filename().string()),
        silence_left_(static_cast<std::size_t>(
            std::llround(options.delay_seconds * reader_->info().sample_rate_hz))),
        planes_(static_cast<std::size_t>(reader_->info().channel_count), block_samples) {}

  [[nodiscard]] const std::string& name() const noexcept override { return name_; }
  [[nodiscard]] double sample_rate_hz() const noexcept override {
    return reader_->info().sample_rate_hz;
  }
  [[nodiscard]] bool is_ended() const noexcept override { return is_ended_; }
  [[nodiscard]] std::int64_t dropped_sample_count() const noexcept override { return 0; }
  void flush() override {}

  Result<std::size_t> read(std::span<float> out) override {
    const std::size_t silence = std::min(silence_left_, out.size());
    std::fill_n(out.begin(), silence, 0.0F);
    silence_left_ -= silence;
    std::size_t done = silence;
    while (done < out.size() && !is_ended_) {
      const std::size_t wanted = std::min(block_samples, out.size() - done);
      const auto count = reader_->read(planes_.part(0, wanted));
      if (!count) return tl::unexpected(count.error());
      is_ended_ = *count == 0;
      const dsp::AudioView heard = planes_.read(0, *count);
      for (std::size_t i = 0; i < *count; ++i) {
        float sum = 0.0F;
        for (std::size_t c = 0; c < planes_.channel_count(); ++c) sum += heard.channel(c)[i];
        out[done + i] = sum / static_cast<float>(planes_.channel_count());
      }
      done += *count;
    }
    return done;
  }

 private:
  static constexpr std::size_t block_samples = 4096;

  std::unique_ptr<SampleReader> reader_;
  std::string name_;
  std::size_t silence_left_;
  Planes planes_;
  bool is_ended_ = false;
};

}  // namespace

std::vector<std::string> input_device_names() { return SoundSystem().devices(true); }

Result<std::unique_ptr<LiveInput>> open_input_device(const std::string& device) {
  auto input = std::make_unique<DeviceInput>(device.empty() ? "the default input" : device);
  if (auto opened = input->open(device.empty()); !opened) return tl::unexpected(opened.error());
  return input;
}

Result<std::unique_ptr<LiveInput>> open_input_file(const std::filesystem::path& path,
                                                   const FileInputOptions& options) {
  OpenOptions opening;
  opening.with_content_hash = false;
  auto reader = open_recording(path, opening);
  if (!reader) return tl::unexpected(reader.error());
  return std::make_unique<FileInput>(std::move(*reader), options);
}

}  // namespace lowstride::audio
