#pragma once

#include <atomic>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <memory>
#include <mutex>
#include <optional>
#include <thread>
#include <vector>

#include "src/audio/recording.hpp"
#include "src/base/result.hpp"

namespace lowstride::desk {

/// Lowest and highest sample of a stretch, full scale = 127.
struct Level {
  std::int8_t low = 0;
  std::int8_t high = 0;

  bool operator==(const Level&) const = default;
};

/// The waveform of a recording at every zoom: extremes of 256 samples, of 1,024, 4,096, …, all
/// channels together. One thread fills it while another draws from it: what is not there yet is
/// answered from a coarse glance at 1,400 places, or not at all. 3 MB an hour.
class Levels {
 public:
  static constexpr std::int64_t base_samples = 256;
  static constexpr std::size_t glance_count = 1400;

  explicit Levels(std::int64_t sample_count);

  [[nodiscard]] std::int64_t sample_count() const noexcept { return sample_count_; }

  /// Places to glance at, in the order that tells most soonest: every 1,024th, then those half way
  /// between, and so on. A glance may stop anywhere in it.
  [[nodiscard]] const std::vector<std::size_t>& glance_order() const noexcept { return order_; }

  // The filling thread.
  /// The level at the next place in that order.
  void put_glance(Level level) noexcept;
  /// The next stretch of 256 samples, in order.
  void append(Level level) noexcept;

  // Any thread.
  /// Extremes of [begin, end), from whole stretches that overlap it; nothing where nothing is
  /// known. Costs at most eight entries, whatever the stretch.
  [[nodiscard]] std::optional<Level> between(double begin, double end) const noexcept;
  /// 0..1: how much of it is there.
  [[nodiscard]] double share_done() const noexcept;

 private:
  struct Row {
    std::int64_t samples;  // to an entry
    std::vector<Level> entries;
  };
  std::int64_t sample_count_;
  std::vector<Row> rows_;             // finest first
  std::atomic<std::size_t> done_{0};  // entries of the finest row
  std::vector<std::size_t> order_;    // of the places of the glance
  std::vector<std::size_t> rank_;     // of a place in that order
  std::vector<Level> glance_;         // by place
  std::atomic<std::size_t> glance_done_{0};
};

/// Samples of a short stretch, for zooms under 256 samples a pixel.
struct CloseUp {
  std::int64_t begin_sample = 0;
  std::vector<float> samples;  // mean of the channels
};

/// Fills levels from a file on a thread of its own, which then answers wishes for close-ups.
/// Without blocking the caller, ever.
class LevelsReader {
 public:
  explicit LevelsReader(std::filesystem::path recording, std::int64_t sample_count);
  LevelsReader(const LevelsReader&) = delete;
  LevelsReader& operator=(const LevelsReader&) = delete;
  ~LevelsReader();

  [[nodiscard]] const Levels& levels() const noexcept { return levels_; }
  /// The last close-up that was read, if it holds the whole of [begin, end); else it is wished for
  /// and will be there some frames later.
  [[nodiscard]] std::shared_ptr<const CloseUp> close_up(std::int64_t begin, std::int64_t end);

 private:
  void work(const std::stop_token& stop);
  void glance(audio::SampleReader& reader, const std::stop_token& stop);
  void read_all(audio::SampleReader& reader, const std::stop_token& stop);
  void answer_wish(audio::SampleReader& reader);

  std::filesystem::path recording_;
  Levels levels_;
  std::atomic<std::int64_t> wish_begin_{-1};
  std::atomic<std::int64_t> wish_end_{-1};
  std::atomic<std::uint32_t> wish_number_{0};
  std::uint32_t answered_ = 0;
  std::mutex mutex_;  // held to copy the pointer; libstdc++ 12's atomic one leaves reads unguarded
  std::shared_ptr<const CloseUp> close_up_;  // guarded by mutex_
  std::atomic<bool> is_stopped_{false};
  std::jthread thread_;
};

}  // namespace lowstride::desk
