#include "src/cli/drill_ear.hpp"

#include <poll.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <atomic>
#include <chrono>
#include <cmath>
#include <thread>

#include <fmt/format.h>

#include "src/audio/audio_out.hpp"
#include "src/audio/loopback.hpp"
#include "src/audio/pitch_listener.hpp"
#include "src/theory/pitch.hpp"

namespace lowstride::cli {
namespace {

constexpr std::size_t block_samples = 1024;

bool has_typed_line() {
  pollfd input{STDIN_FILENO, POLLIN, 0};
  return ::isatty(STDIN_FILENO) == 1 && ::poll(&input, 1, 0) > 0;
}

}  // namespace

std::optional<Result<drill::Answer>> played_answer(drill::Ear& ear, const drill::Session& session) {
  const bool is_note = session.item().kind == drill::Kind::find_the_note;
  if (is_note && ear.is_device() && !ear.is_ended()) {
    fmt::print("Play it, or type it and press Enter.\n");
    std::fflush(stdout);
  }
  auto played = ear.answer(session.item(), session.speed_ratio(), [is_note] {
    return !interrupt_flag().load() && !(is_note && has_typed_line());
  });
  if (!played) return std::nullopt;
  if (!*played) return tl::unexpected((*played).error());
  if (!(*played)->heard.empty()) fmt::print("{}\n", (*played)->heard);
  return std::move((*played)->answer);
}

ExitCode run_tuner(audio::LiveInput& input, const neck::Neck& neck) {
  audio::PitchListenerOptions options;
  options.sample_rate_hz = input.sample_rate_hz();
  audio::PitchListener listener(options);
  std::array<float, block_samples> block{};
  const bool is_terminal = ::isatty(STDOUT_FILENO) == 1;
  double shown_seconds = 0.0;
  while (!interrupt_flag().load()) {
    const auto count = input.read(block);
    if (!count) return tell(count.error());
    if (*count == 0 && input.is_ended()) break;
    listener.push(std::span(block).first(*count));
    if (listener.heard_seconds() - shown_seconds < 0.1) continue;
    shown_seconds = listener.heard_seconds();
    const audio::InputReading reading = listener.reading();
    const int bars = std::clamp(static_cast<int>((reading.level_db + 60.0) / 3.0), 0, 20);
    std::string line = fmt::format("[{}{}]{}", std::string(static_cast<std::size_t>(bars), '='),
                                   std::string(static_cast<std::size_t>(20 - bars), ' '),
                                   reading.peak >= 1.0 ? " too loud" : "");
    if (reading.pitch_midi) {
      const auto tuned = audio::tune(neck.open_midi, *reading.pitch_midi);
      line += tuned ? fmt::format(" string {} ({}) {:+.0f} cents", tuned->string_number,
                                  theory::pitch_text(tuned->string_midi), tuned->cents)
                    : fmt::format(" {}", theory::pitch_text(
                                             static_cast<int>(std::lround(*reading.pitch_midi))));
    }
    fmt::print("{}{}{}", is_terminal ? "\r\x1b[K" : "", line, is_terminal ? "" : "\n");
    std::fflush(stdout);
  }
  if (is_terminal) fmt::print("\n");
  return ExitCode::done;
}

namespace {

/// Plays a signal once.
class Once final : public audio::AudioSource {
 public:
  explicit Once(double rate_hz) : rate_hz_(rate_hz), signal_(audio::loopback_signal(rate_hz)) {}
  [[nodiscard]] double sample_rate_hz() const noexcept override { return rate_hz_; }
  void render(dsp::MutableAudioView out) noexcept override {
    has_begun_.store(true, std::memory_order_relaxed);
    for (std::size_t i = 0; i < out.sample_count; ++i, ++place_) {
      const float value = place_ < signal_.size() ? signal_[place_] : 0.0F;
      for (std::size_t c = 0; c < out.channel_count(); ++c) out.channel(c)[i] = value;
    }
  }
  void prepare(std::size_t /*sample_count*/) override {}
  void set_output_latency(double seconds) noexcept override { output_seconds_ = seconds; }

  [[nodiscard]] bool has_begun() const noexcept {
    return has_begun_.load(std::memory_order_relaxed);
  }
  /// The part of the way that the output itself tells of; players take it into account already.
  [[nodiscard]] double output_seconds() const noexcept { return output_seconds_.load(); }

 private:
  double rate_hz_;
  std::vector<float> signal_;
  std::size_t place_ = 0;
  std::atomic<bool> has_begun_{false};
  std::atomic<double> output_seconds_{0.0};
};

}  // namespace

ExitCode run_latency(const std::string& device) {
  auto input = audio::open_input_device(device);
  if (!input) return tell(input.error());
  fmt::print(
      "Hold the microphone to the loudspeaker, or join line out and line in. Six short sweeps …\n");
  std::fflush(stdout);
  const double rate = (*input)->sample_rate_hz();
  Once source(rate);
  std::vector<float> received;
  std::array<float, block_samples> block{};
  const auto out = audio::open_device(source);
  if (!out) return tell(out.error());
  const auto wanted = static_cast<std::size_t>(3.6 * rate);
  const auto begun = std::chrono::steady_clock::now();
  while (!source.has_begun() &&
         std::chrono::steady_clock::now() - begun < std::chrono::seconds(3)) {
    std::this_thread::sleep_for(std::chrono::milliseconds(1));
  }
  (*input)->flush();
  while (received.size() < wanted && !interrupt_flag().load() &&
         std::chrono::steady_clock::now() - begun < std::chrono::seconds(8)) {
    const auto count = (*input)->read(block);
    if (!count) return tell(count.error());
    received.insert(received.end(), block.begin(),
                    block.begin() + static_cast<std::ptrdiff_t>(*count));
  }
  const auto latency = audio::loopback_latency_seconds(received, rate);
  if (!latency) {
    return tell({ErrorCode::no_device,
                 "The sweeps did not come back; bring input and output together, turn both up, and "
                 "measure again."});
  }
  const double kept_seconds = std::max(0.0, *latency - source.output_seconds());
  if (const auto kept = drill::keep_latency_seconds(kept_seconds); !kept) return tell(kept.error());
  fmt::print("{:.0f} ms; kept, and taken off the times of what you play.\n", 1000.0 * kept_seconds);
  return ExitCode::done;
}

}  // namespace lowstride::cli
