#include "src/audio/recording.hpp"

#include <algorithm>
#include <cmath>
#include <utility>
#include <vector>

#include "src/audio/decoder_process.hpp"
#include "src/audio/file_facts.hpp"
#include "src/audio/forward_stream.hpp"
#include "src/audio/recording_limits.hpp"
#include "src/audio/sndfile_reader.hpp"
#include "src/audio/spooled_reader.hpp"

namespace lowstride::audio {
namespace {

/// Makes what is not finite silent; returns how many values that were.
std::int64_t silence_non_finite(std::span<float> values) {
  std::int64_t count = 0;
  for (float& value : values) {
    if (!std::isfinite(value)) {
      value = 0.0F;
      ++count;
    }
  }
  return count;
}

/// A recording as libsndfile reads it, block by block.
class KnownStream : public ForwardStream {
 public:
  explicit KnownStream(std::unique_ptr<SampleReader> reader)
      : reader_(std::move(reader)), info_(reader_->info()) {
    planes_.assign(channel_count(), std::vector<float>(block_samples));
    for (std::vector<float>& plane : planes_) pointers_.push_back(plane.data());
    block_.resize(block_samples * channel_count());
  }

  [[nodiscard]] const RecordingInfo& info() const noexcept override { return info_; }
  [[nodiscard]] std::optional<std::int64_t> expected_sample_count() const noexcept override {
    return info_.sample_count;
  }
  [[nodiscard]] bool is_length_known() const noexcept override { return true; }
  [[nodiscard]] Result<std::span<const float>> next_block() override {
    const auto count = reader_->read({pointers_, block_samples});
    if (!count) return tl::unexpected(count.error());
    for (std::size_t c = 0; c < planes_.size(); ++c) {
      for (std::size_t i = 0; i < *count; ++i) block_[i * planes_.size() + c] = planes_[c][i];
    }
    info_.non_finite_count = reader_->info().non_finite_count;
    info_.lost_note = reader_->info().lost_note;
    return std::span<const float>(block_).first(*count * planes_.size());
  }

 private:
  static constexpr std::size_t block_samples = 8192;
  [[nodiscard]] std::size_t channel_count() const {
    return static_cast<std::size_t>(info_.channel_count);
  }

  std::unique_ptr<SampleReader> reader_;
  RecordingInfo info_;
  std::vector<std::vector<float>> planes_;
  std::vector<float*> pointers_;
  std::vector<float> block_;
};

/// A recording as the decoding program sends it.
class DecodedStream : public ForwardStream {
 public:
  DecodedStream(std::unique_ptr<DecoderProcess> decoder, RecordingInfo info,
                std::int64_t begin_sample)
      : decoder_(std::move(decoder)), info_(std::move(info)), begin_(begin_sample) {}

  [[nodiscard]] const RecordingInfo& info() const noexcept override { return info_; }
  [[nodiscard]] std::optional<std::int64_t> expected_sample_count() const noexcept override {
    if (decoder_->promised_sample_count() <= 0) return std::nullopt;
    return decoder_->promised_sample_count();
  }
  [[nodiscard]] bool is_length_known() const noexcept override { return is_ended_; }
  [[nodiscard]] Result<std::span<const float>> next_block() override {
    while (true) {
      const auto block = decoder_->next_block();
      if (!block) return tl::unexpected(block.error());
      if (info_.format_name.empty()) {
        info_.title = decoder_->title();
        info_.artist = decoder_->artist();
        info_.format_name = decoder_->format_name();
      }
      info_.sample_count = decoder_->received_sample_count();
      if (block->empty()) {
        is_ended_ = true;
        info_.lost_note = cut_off_data_note(info_.path, info_.duration_seconds());
        if (info_.lost_note.empty()) info_.lost_note = decoder_->lost_note();
        if (auto within = check_length(info_); !within) return tl::unexpected(within.error());
        return *block;
      }
      const auto count = static_cast<std::int64_t>(block->size()) / info_.channel_count;
      const std::int64_t before =
          std::clamp<std::int64_t>(begin_ - (info_.sample_count - count), 0, count);
      if (before == count) continue;
      block_.assign(block->begin() + before * info_.channel_count, block->end());
      info_.non_finite_count += silence_non_finite(block_);
      return std::span<const float>(block_);
    }
  }

 private:
  std::unique_ptr<DecoderProcess> decoder_;
  RecordingInfo info_;
  std::int64_t begin_;
  bool is_ended_ = false;
  std::vector<float> block_;
};

Result<std::unique_ptr<ForwardStream>> open_by_decoder(const std::filesystem::path& path,
                                                       std::int64_t begin_sample,
                                                       const OpenOptions& options,
                                                       const WorkControl& control) {
  auto decoder = DecoderProcess::start(path, options, control, begin_sample);
  if (!decoder) return tl::unexpected(decoder.error());
  RecordingInfo info;
  info.path = path;
  info.sample_rate_hz = (*decoder)->sample_rate_hz();
  info.channel_count = (*decoder)->channel_count();
  if (auto within = check_limits(info); !within) return tl::unexpected(within.error());
  if (options.with_content_hash) {
    auto hash = content_hash_of(path, control);
    if (!hash) return tl::unexpected(hash.error());
    info.content_hash = std::move(*hash);
  }
  return std::make_unique<DecodedStream>(std::move(*decoder), std::move(info), begin_sample);
}

}  // namespace

Result<std::unique_ptr<ForwardStream>> open_forward(const std::filesystem::path& path,
                                                    std::int64_t begin_sample,
                                                    const OpenOptions& options,
                                                    const WorkControl& control) {
  if (const auto size = check_readable_file(path); !size) return tl::unexpected(size.error());
  auto reader = open_by_sndfile(path, options, control);
  if (!reader) return tl::unexpected(reader.error());
  if (*reader == nullptr) return open_by_decoder(path, begin_sample, options, control);
  const std::int64_t begin = std::min(begin_sample, (*reader)->info().sample_count);
  if (auto placed = (*reader)->seek(begin); !placed) return tl::unexpected(placed.error());
  return std::make_unique<KnownStream>(std::move(*reader));
}

Result<RecordingGlance> glance_at_recording(const std::filesystem::path& path,
                                            const OpenOptions& options,
                                            const WorkControl& control) {
  OpenOptions quick = options;
  quick.with_content_hash = false;
  const auto stream = open_forward(path, 0, quick, control);
  if (!stream) return tl::unexpected(stream.error());
  const RecordingInfo& info = (*stream)->info();
  return RecordingGlance{info.sample_rate_hz, info.channel_count,
                         (*stream)->expected_sample_count()};
}

Result<std::unique_ptr<SampleReader>> open_recording(const std::filesystem::path& path,
                                                     const OpenOptions& options,
                                                     const WorkControl& control) {
  if (const auto size = check_readable_file(path); !size) return tl::unexpected(size.error());
  auto reader = open_by_sndfile(path, options, control);
  if (!reader || *reader != nullptr) return reader;
  return open_spooled(
      [path, options](const WorkControl& decoding) {
        return open_by_decoder(path, 0, options, decoding);
      },
      !options.reads_while_decoding, control);
}

}  // namespace lowstride::audio
