#pragma once

#include <sys/types.h>

#include <cstdint>
#include <filesystem>
#include <memory>
#include <span>
#include <string>
#include <vector>

#include "src/audio/recording.hpp"
#include "src/base/progress.hpp"
#include "src/base/result.hpp"

namespace lowstride::audio {

/// The decoding program at work on one file, with limited memory, processor time, waiting time and
/// output. Nothing it writes is believed: counts, sizes and order are checked, and what is wrong
/// ends it with one sentence. The destructor ends it.
class DecoderProcess {
 public:
  /// Starts the program and waits for its header. What lies before `begin_sample` may be left out:
  /// see `received_sample_count`. Errors: those of open_recording.
  [[nodiscard]] static Result<std::unique_ptr<DecoderProcess>> start(
      const std::filesystem::path& path, const OpenOptions& options, const WorkControl& control,
      std::int64_t begin_sample = 0);
  DecoderProcess(const DecoderProcess&) = delete;
  DecoderProcess& operator=(const DecoderProcess&) = delete;
  ~DecoderProcess();

  [[nodiscard]] int sample_rate_hz() const noexcept { return sample_rate_hz_; }
  [[nodiscard]] int channel_count() const noexcept { return channel_count_; }
  /// Samples that the file promises; -1 where it does not say.
  [[nodiscard]] std::int64_t promised_sample_count() const noexcept { return promised_; }
  [[nodiscard]] const std::string& title() const noexcept { return title_; }
  [[nodiscard]] const std::string& artist() const noexcept { return artist_; }
  [[nodiscard]] const std::string& format_name() const noexcept { return format_name_; }

  /// The next block, interleaved, whole samples; empty at the end. Valid until the next call.
  [[nodiscard]] Result<std::span<const float>> next_block();

  /// The sample of the recording that follows the last block.
  [[nodiscard]] std::int64_t received_sample_count() const noexcept { return received_; }

  /// After the end: what was lost, as a sentence, or empty.
  [[nodiscard]] std::string lost_note() const;

 private:
  DecoderProcess(std::filesystem::path path, const OpenOptions& options,
                 const WorkControl& control);
  Result<void> spawn(const std::filesystem::path& program);
  Result<void> receive_header();
  Result<void> receive(void* out, std::size_t size);
  Result<void> receive_skipped(std::uint32_t size);
  Result<void> receive_text(std::string& text, std::uint32_t size);
  Error fault(const std::string& what);
  void stop() noexcept;

  std::filesystem::path path_;
  std::uintmax_t file_bytes_ = 0;
  double stall_seconds_;
  WorkControl control_;
  pid_t process_ = -1;
  int pipe_ = -1;
  double waited_seconds_ = 0.0;  // in all
  int sample_rate_hz_ = 0;
  int channel_count_ = 0;
  std::int64_t promised_ = -1;
  std::int64_t begin_ = 0;     // what lies before it may be left out
  std::int64_t received_ = 0;  // samples, with those left out
  std::uint32_t damaged_packet_count_ = 0;
  bool is_cut_off_ = false;
  bool is_ended_ = false;
  std::string title_;
  std::string artist_;
  std::string format_name_;
  std::vector<float> block_;
};

}  // namespace lowstride::audio
