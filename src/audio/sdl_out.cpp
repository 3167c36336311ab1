#include <SDL.h>

#include <algorithm>
#include <bit>
#include <cmath>
#include <filesystem>
#include <memory>
#include <string>
#include <utility>

#include <fmt/format.h>

#include "src/audio/audio_out.hpp"
#include "src/audio/file_facts.hpp"
#include "src/audio/planes.hpp"
#include "src/audio/sound_system.hpp"

namespace lowstride::audio {
namespace {

class DeviceOut final : public AudioOut {
 public:
  DeviceOut(AudioSource& source, std::size_t block_samples)
      : source_(source), planes_(2, block_samples) {}
  ~DeviceOut() override {
    const auto lock = SoundSystem::alone();
    if (device_ != 0) SDL_CloseAudioDevice(device_);
  }

  Result<void> open(const DeviceOptions& options) {
    if (!system_.is_there()) return no_device();
    // Looked for before it is opened: the sound systems write to the terminal when that fails.
    const auto lock = SoundSystem::alone();
    const std::vector<std::string> known = system_.devices(false);
    if (known.empty()) return no_device();
    if (!options.device.empty() &&
        std::find(known.begin(), known.end(), options.device) == known.end()) {
      return fail(ErrorCode::no_device, fmt::format("There is no sound device {}; there is: {}.",
                                                    quoted(std::filesystem::path(options.device)),
                                                    fmt::join(known, ", ")));
    }
    SDL_AudioSpec wanted{};
    wanted.freq = static_cast<int>(std::lround(source_.sample_rate_hz()));
    wanted.format = AUDIO_F32SYS;
    wanted.channels = 2;
    wanted.samples = static_cast<Uint16>(planes_.sample_count());
    wanted.callback = &DeviceOut::on_samples;
    wanted.userdata = this;
    SDL_AudioSpec got{};
    const char* const device = options.device.empty() ? nullptr : options.device.c_str();
    // No change is allowed: SDL converts to what the device has.
    device_ = SDL_OpenAudioDevice(device, 0, &wanted, &got, 0);
    if (device_ == 0) {
      return fail(ErrorCode::no_device,
                  fmt::format("The sound device cannot be opened ({}); close what else uses it, or "
                              "choose another.",
                              SDL_GetError()));
    }
    name_ = options.device.empty() ? "default device" : options.device;
    // One block is heard while the next is made; what lies behind that the system does not tell.
    source_.set_output_latency(static_cast<double>(got.samples) / wanted.freq);
    SDL_PauseAudioDevice(device_, 0);
    return {};
  }

  [[nodiscard]] const std::string& name() const noexcept override { return name_; }
  [[nodiscard]] bool is_lost() noexcept override {
    return SDL_GetAudioDeviceStatus(device_) == SDL_AUDIO_STOPPED;
  }

 private:
  static tl::unexpected<Error> no_device() {
    return fail(ErrorCode::no_device,
                "There is no sound device to play on; connect one, or write a file with lowstride "
                "slow.");
  }

  /// Audio thread. SDL wants both channels in turn.
  static void on_samples(void* self, Uint8* bytes, int byte_count) {
    auto& out = *static_cast<DeviceOut*>(self);
    auto* values = reinterpret_cast<float*>(bytes);
    std::size_t left = static_cast<std::size_t>(byte_count) / (2 * sizeof(float));
    while (left > 0) {
      const std::size_t count = std::min(left, out.planes_.sample_count());
      const dsp::MutableAudioView view = out.planes_.part(0, count);
      out.source_.render(view);
      for (std::size_t i = 0; i < count; ++i) {
        *values++ = view.channels[0][i];
        *values++ = view.channels[1][i];
      }
      left -= count;
    }
  }

  SoundSystem system_;
  AudioSource& source_;
  Planes planes_;
  std::string name_;
  SDL_AudioDeviceID device_ = 0;
};

}  // namespace

std::vector<std::string> device_names() { return SoundSystem().devices(false); }

Result<std::unique_ptr<AudioOut>> open_device(AudioSource& source, const DeviceOptions& options) {
  const std::size_t block =
      std::bit_ceil(std::clamp<std::size_t>(options.block_samples, 256, 4096));
  auto out = std::make_unique<DeviceOut>(source, block);
  if (auto opened = out->open(options); !opened) return tl::unexpected(opened.error());
  return out;
}

}  // namespace lowstride::audio
