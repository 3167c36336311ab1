#include <algorithm>
#include <array>
#include <chrono>
#include <condition_variable>
#include <mutex>
#include <thread>

#include "src/audio/audio_out.hpp"
#include "src/audio/planes.hpp"

namespace lowstride::audio {
namespace {

class ClockOut final : public AudioOut {
 public:
  ClockOut(AudioSource& source, std::size_t block_samples)
      : source_(source), planes_(2, std::max<std::size_t>(block_samples, 1)) {
    source_.set_output_latency(static_cast<double>(planes_.sample_count()) /
                               source_.sample_rate_hz());
    thread_ = std::jthread([this](const std::stop_token& stop) { run(stop); });
  }

  [[nodiscard]] const std::string& name() const noexcept override { return name_; }
  [[nodiscard]] bool is_lost() noexcept override { return false; }

 private:
  void run(const std::stop_token& stop) {
    const std::chrono::duration<double> block(static_cast<double>(planes_.sample_count()) /
                                              source_.sample_rate_hz());
    auto due = std::chrono::steady_clock::now();
    std::unique_lock lock(mutex_);
    while (!stop.stop_requested()) {
      source_.render(planes_.part(0, planes_.sample_count()));
      due += std::chrono::duration_cast<std::chrono::steady_clock::duration>(block);
      // A clock that was held up does not make up for it in a burst, as a device would not.
      due = std::max(due, std::chrono::steady_clock::now() - 4 * block_step(block));
      stopping_.wait_until(lock, stop, due, [] { return false; });
    }
  }
  static std::chrono::steady_clock::duration block_step(std::chrono::duration<double> block) {
    return std::chrono::duration_cast<std::chrono::steady_clock::duration>(block);
  }

  AudioSource& source_;
  Planes planes_;
  std::string name_ = "no device (silent)";
  std::mutex mutex_;
  std::condition_variable_any stopping_;
  std::jthread thread_;  // last: it ends before what it uses
};

}  // namespace

std::unique_ptr<AudioOut> open_silent_clock(AudioSource& source, std::size_t block_samples) {
  return std::make_unique<ClockOut>(source, block_samples);
}

PullOut::PullOut(AudioSource& source, std::size_t block_samples)
    : source_(source), block_samples_(std::max<std::size_t>(block_samples, 1)) {
  source_.set_output_latency(0.0);
}

std::vector<std::vector<float>> PullOut::pull(std::size_t sample_count) {
  std::vector<std::vector<float>> pulled(2, std::vector<float>(sample_count));
  for (std::size_t done = 0; done < sample_count;) {
    const std::size_t count = std::min(block_samples_, sample_count - done);
    source_.prepare(count);
    std::array<float*, 2> channels{pulled[0].data() + done, pulled[1].data() + done};
    source_.render({channels, count});
    done += count;
  }
  return pulled;
}

}  // namespace lowstride::audio
