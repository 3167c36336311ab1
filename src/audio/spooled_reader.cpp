#include "src/audio/spooled_reader.hpp"

#include <algorithm>
#include <atomic>
#include <chrono>
#include <condition_variable>
#include <mutex>
#include <optional>
#include <thread>
#include <utility>
#include <vector>

#include "src/audio/packed_samples.hpp"

namespace lowstride::audio {
namespace {

constexpr auto patience = std::chrono::milliseconds(50);  // between two looks at the cancel flag
constexpr std::size_t block_samples = 4096;

class SpooledReader final : public SampleReader {
 public:
  explicit SpooledReader(StreamOpener opener)
      : thread_([this, opener = std::move(opener)] { decode(opener); }) {}
  ~SpooledReader() override { is_cancelled_.store(true); }

  Result<void> wait(bool for_all, const WorkControl& control) {
    std::unique_lock lock(mutex_);
    while (!failure_ && !is_ended_ && (for_all || !expected_ || decoded_ == 0)) {
      const double share =
          expected_ ? std::min(static_cast<double>(decoded_) / static_cast<double>(*expected_), 1.0)
                    : 0.0;
      changed_.wait_for(lock, patience);
      if (control.is_cancelled()) is_cancelled_.store(true);
      lock.unlock();
      control.report("Decoding", share);
      lock.lock();
    }
    if (failure_) return tl::unexpected(*failure_);
    take_info();
    return {};
  }

  [[nodiscard]] const RecordingInfo& info() const noexcept override { return info_; }
  [[nodiscard]] std::int64_t position() const noexcept override { return position_; }

  [[nodiscard]] Result<std::size_t> read(dsp::MutableAudioView out) override {
    LOWSTRIDE_EXPECTS(out.channel_count() == static_cast<std::size_t>(info_.channel_count));
    std::size_t total = 0;
    {
      std::unique_lock lock(mutex_);
      const std::int64_t end = position_ + static_cast<std::int64_t>(out.sample_count);
      changed_.wait(lock, [&] { return failure_ || is_ended_ || decoded_ >= end; });
      if (failure_ && decoded_ < end) return tl::unexpected(*failure_);
      take_info();
      total = static_cast<std::size_t>(std::clamp<std::int64_t>(
          decoded_ - position_, 0, static_cast<std::int64_t>(out.sample_count)));
    }
    for (std::size_t done = 0; done < total;) {
      const std::size_t count = std::min(total - done, block_samples);
      block_.resize(count * out.channel_count());
      if (auto got = samples_->read(position_ * info_.channel_count, block_); !got) {
        return tl::unexpected(got.error());
      }
      for (std::size_t c = 0; c < out.channel_count(); ++c) {
        const auto channel = out.channel(c);
        for (std::size_t i = 0; i < count; ++i) {
          channel[done + i] = block_[i * out.channel_count() + c];
        }
      }
      done += count;
      position_ += static_cast<std::int64_t>(count);
    }
    return total;
  }

  [[nodiscard]] Result<void> seek(std::int64_t sample) override {
    LOWSTRIDE_EXPECTS(sample >= 0 && sample <= info_.sample_count);
    position_ = sample;
    return {};
  }

 private:
  /// Under the lock: what the decoding thread has learned about the recording.
  void take_info() {
    if (is_info_new_) info_ = known_;
    is_info_new_ = false;
    info_.sample_count = is_ended_ ? decoded_ : std::max(expected_.value_or(0), decoded_);
  }

  // ---- decoding thread ----

  void decode(const StreamOpener& opener) {
    const auto done = spool(opener);
    {
      const std::lock_guard lock(mutex_);
      if (!done) failure_ = done.error();
      is_ended_ = done.has_value();
    }
    changed_.notify_all();
  }

  Result<void> spool(const StreamOpener& opener) {
    auto samples = PackedSamples::create();
    if (!samples) return tl::unexpected(samples.error());
    {
      const std::lock_guard lock(mutex_);
      samples_ = std::move(*samples);
    }
    const WorkControl control{.on_progress = {}, .cancel = &is_cancelled_};
    const auto stream = opener(control);
    if (!stream) return tl::unexpected(stream.error());
    while (true) {
      const auto block = (*stream)->next_block();
      if (!block) return tl::unexpected(block.error());
      if (!block->empty()) {
        if (auto kept = samples_->append(*block); !kept) return kept;
      }
      const RecordingInfo& info = (*stream)->info();
      {
        const std::lock_guard lock(mutex_);
        expected_ = (*stream)->expected_sample_count();
        // Names come with the first block, losses with the last.
        if (decoded_ == 0 || block->empty()) {
          known_ = info;
          is_info_new_ = true;
        }
        decoded_ += static_cast<std::int64_t>(block->size()) / info.channel_count;
      }
      changed_.notify_all();
      if (block->empty()) return {};
    }
  }

  // The reader's own.
  RecordingInfo info_;
  std::vector<float> block_;
  std::int64_t position_ = 0;

  std::mutex mutex_;
  std::condition_variable changed_;
  std::unique_ptr<PackedSamples> samples_;  // there before anything is decoded
  RecordingInfo known_;                     // guarded, as all below
  bool is_info_new_ = false;
  std::optional<std::int64_t> expected_;
  std::int64_t decoded_ = 0;
  bool is_ended_ = false;
  std::optional<Error> failure_;

  std::atomic<bool> is_cancelled_{false};
  std::jthread thread_;  // last: it ends before what it uses
};

}  // namespace

Result<std::unique_ptr<SampleReader>> open_spooled(StreamOpener opener, bool waits_for_all,
                                                   const WorkControl& control) {
  auto reader = std::make_unique<SpooledReader>(std::move(opener));
  if (auto ready = reader->wait(waits_for_all, control); !ready) {
    return tl::unexpected(ready.error());
  }
  return reader;
}

}  // namespace lowstride::audio
