#include "src/audio/analysis_audio.hpp"

#include <soxr.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <new>
#include <numbers>
#include <utility>
#include <vector>

#include <fmt/format.h>

#include "dsp/base/evidence.hpp"
#include "src/audio/disk_samples.hpp"
#include "src/audio/file_facts.hpp"
#include "src/audio/forward_stream.hpp"

namespace lowstride::audio {
namespace {

struct SoxrCloser {
  void operator()(soxr* resampler) const { soxr_delete(resampler); }
};

/// Whether the low bands of two sides contradict each other. Second-order slope under 250 Hz: two
/// one-pole filters, enough to leave the bass and drop what wide stereo decorrelates.
class PolarityWitness {
 public:
  void hear(float left, float right) {
    for (std::size_t stage = 0; stage < 2; ++stage) {
      left_[stage] += rate_ * ((stage == 0 ? left : left_[0]) - left_[stage]);
      right_[stage] += rate_ * ((stage == 0 ? right : right_[0]) - right_[stage]);
    }
    left_energy_ += left_[1] * left_[1];
    right_energy_ += right_[1] * right_[1];
    product_ += left_[1] * right_[1];
  }

  /// The mean of two sides with correlation r keeps (1 + r) / 2 of the energy: -0.5 costs 6 dB.
  [[nodiscard]] bool is_contradiction() const {
    return product_ < -0.5 * std::sqrt(left_energy_ * right_energy_);
  }

 private:
  double rate_ = 1.0 - std::exp(-2.0 * std::numbers::pi * 250.0 / dsp::analysis_rate_hz);
  double left_[2] = {};
  double right_[2] = {};
  double left_energy_ = 0.0;
  double right_energy_ = 0.0;
  double product_ = 0.0;
};

/// Folds, resamples and keeps what it is fed.
class Conversion {
 public:
  Conversion(int sample_rate_hz, int channel_count, DiskSamples& out)
      : channel_count_(static_cast<std::size_t>(channel_count)),
        side_count_(channel_count == 1 ? 1 : 2),
        step_(sample_rate_hz / dsp::analysis_rate_hz),
        out_(out) {
    if (sample_rate_hz == static_cast<int>(dsp::analysis_rate_hz)) return;
    const soxr_io_spec_t io = soxr_io_spec(SOXR_FLOAT32_I, SOXR_FLOAT32_I);
    const soxr_quality_spec_t quality = soxr_quality_spec(SOXR_HQ, 0);
    const soxr_runtime_spec_t runtime = soxr_runtime_spec(1);
    soxr_error_t error = nullptr;
    resampler_.reset(soxr_create(sample_rate_hz, dsp::analysis_rate_hz,
                                 static_cast<unsigned>(side_count_), &error, &io, &quality,
                                 &runtime));
    // Rates are within limits: only memory can be lacking.
    if (error != nullptr || !resampler_) throw std::bad_alloc();
  }

  /// `block`: interleaved samples of the recording.
  Result<void> feed(std::span<const float> block) {
    const std::size_t sample_count = block.size() / channel_count_;
    sides_.resize(sample_count * side_count_);
    for (std::size_t i = 0; i < sample_count; ++i) {
      fold(block.subspan(i * channel_count_, channel_count_),
           std::span(sides_).subspan(i * side_count_, side_count_));
    }
    fed_ += static_cast<std::int64_t>(sample_count);
    if (!resampler_) return keep(sides_);
    resampled_.resize((static_cast<std::size_t>(static_cast<double>(sample_count) / step_) + 64) *
                      side_count_);
    const float* in = sides_.data();
    std::size_t left = sample_count;
    while (left > 0) {
      std::size_t taken = 0;
      std::size_t made = 0;
      soxr_process(resampler_.get(), in, left, &taken, resampled_.data(),
                   resampled_.size() / side_count_, &made);
      in += taken * side_count_;
      left -= taken;
      if (auto kept = keep(std::span(resampled_).first(made * side_count_)); !kept) return kept;
    }
    return {};
  }

  /// Takes out what the resampler holds back and makes the length exact.
  Result<void> finish() {
    const std::int64_t wanted = std::llround(static_cast<double>(fed_) / step_);
    resampled_.resize(4096 * side_count_);
    while (resampler_ && kept_ < wanted) {
      std::size_t made = 0;
      soxr_process(resampler_.get(), nullptr, 0, nullptr, resampled_.data(), 4096, &made);
      if (made == 0) break;
      const auto room = static_cast<std::size_t>(wanted - kept_);
      if (auto kept = keep(std::span(resampled_).first(std::min(made, room) * side_count_));
          !kept) {
        return kept;
      }
    }
    // Rounding may leave one sample that the resampler does not make.
    resampled_.assign(side_count_, 0.0F);
    while (kept_ < wanted) {
      if (auto kept = keep(resampled_); !kept) return kept;
    }
    kept_ = wanted;
    return {};
  }

  [[nodiscard]] std::int64_t sample_count() const { return kept_; }
  [[nodiscard]] bool is_contradiction() const {
    return side_count_ == 2 && polarity_.is_contradiction();
  }

 private:
  void fold(std::span<const float> channels, std::span<float> sides) const {
    if (channels.size() <= 2) {
      std::copy(channels.begin(), channels.end(), sides.begin());
      return;
    }
    std::fill(sides.begin(), sides.end(), 0.0F);
    // So that the mean of both sides is the mean of all channels.
    const float weight = 2.0F / static_cast<float>(channels.size());
    for (std::size_t c = 0; c < channels.size(); ++c) sides[c % 2] += weight * channels[c];
  }

  Result<void> keep(std::span<const float> sides) {
    if (side_count_ == 2) {
      for (std::size_t i = 0; i < sides.size(); i += 2) polarity_.hear(sides[i], sides[i + 1]);
    }
    kept_ += static_cast<std::int64_t>(sides.size() / side_count_);
    return out_.append(sides);
  }

  std::size_t channel_count_;
  std::size_t side_count_;
  double step_;  // samples of the recording to one of the analysis
  DiskSamples& out_;
  std::unique_ptr<soxr, SoxrCloser> resampler_;  // null: the rate is the analysis's own
  PolarityWitness polarity_;
  std::vector<float> sides_;
  std::vector<float> resampled_;
  std::int64_t fed_ = 0;
  std::int64_t kept_ = 0;
};

Result<void> check_range(const AnalysisAudioOptions& options) {
  const std::int64_t begin = options.begin_sample.value_or(0);
  const std::int64_t end = options.end_sample.value_or(std::numeric_limits<std::int64_t>::max());
  if (begin < 0 || end <= begin) {
    return fail(ErrorCode::invalid_argument,
                "The stretch to analyse is empty; its end must come after its start.");
  }
  return {};
}

}  // namespace

AnalysisAudio::AnalysisAudio() = default;
AnalysisAudio::AnalysisAudio(AnalysisAudio&&) noexcept = default;
AnalysisAudio& AnalysisAudio::operator=(AnalysisAudio&&) noexcept = default;
AnalysisAudio::~AnalysisAudio() = default;

Result<void> AnalysisAudio::read(std::int64_t begin, std::span<float> out) const {
  const std::int64_t side_count = info_.channel_count == 1 ? 1 : 2;
  if (side_count == 1) return samples_->read(begin, out);
  std::vector<float> sides(std::min<std::size_t>(out.size(), 8192) * 2);
  const float sign = is_polarity_turned_ ? -0.5F : 0.5F;
  while (!out.empty()) {
    const std::size_t count = std::min(out.size(), sides.size() / 2);
    const auto block = std::span(sides).first(count * 2);
    if (auto got = samples_->read(begin * 2, block); !got) return got;
    for (std::size_t i = 0; i < count; ++i) out[i] = 0.5F * block[2 * i] + sign * block[2 * i + 1];
    out = out.subspan(count);
    begin += static_cast<std::int64_t>(count);
  }
  return {};
}

Result<AnalysisAudio> prepare_analysis_audio(const std::filesystem::path& path,
                                             const WorkControl& control,
                                             const AnalysisAudioOptions& options) {
  if (auto valid = check_range(options); !valid) return tl::unexpected(valid.error());
  const std::int64_t begin = options.begin_sample.value_or(0);
  const std::int64_t end = options.end_sample.value_or(std::numeric_limits<std::int64_t>::max());
  auto opened = open_forward(path, begin, options.open, control);
  if (!opened) return tl::unexpected(opened.error());
  ForwardStream& stream = **opened;
  auto samples = DiskSamples::create();
  if (!samples) return tl::unexpected(samples.error());

  const int rate_hz = stream.info().sample_rate_hz;
  const auto channel_count = static_cast<std::int64_t>(stream.info().channel_count);
  Conversion conversion(rate_hz, stream.info().channel_count, **samples);
  std::int64_t position = begin;
  while (position < end || !stream.is_length_known()) {
    const auto block = stream.next_block();
    if (!block) return tl::unexpected(block.error());
    if (block->empty()) break;
    const auto count = static_cast<std::int64_t>(block->size()) / channel_count;
    const std::int64_t wanted = std::clamp<std::int64_t>(end - position, 0, count);
    const auto part = block->first(static_cast<std::size_t>(wanted * channel_count));
    if (auto fed = conversion.feed(part); !fed) return tl::unexpected(fed.error());
    position += count;
    if (control.is_cancelled()) {
      return fail(ErrorCode::cancelled, "Stopped while reading " + quoted(path) + ".");
    }
    if (const auto expected = stream.expected_sample_count(); expected && *expected > begin) {
      const auto whole = static_cast<double>(std::min(end, *expected) - begin);
      control.report("Reading the recording",
                     std::min(1.0, static_cast<double>(position - begin) / whole));
    }
  }
  const std::int64_t length = stream.info().sample_count;
  if (begin >= length) {
    return fail(ErrorCode::invalid_argument,
                fmt::format("The stretch to analyse begins after the end of {}, which is {} long.",
                            quoted(path), spoken_duration(static_cast<double>(length) / rate_hz)));
  }
  const double seconds = static_cast<double>(std::min(end, length) - begin) / rate_hz;
  if (seconds < shortest_analysis_seconds) {
    const bool is_range = options.begin_sample || options.end_sample;
    return fail(
        ErrorCode::unsupported,
        fmt::format("{} {} {} and at least {:.0f} seconds are needed; {}.",
                    is_range ? "The chosen stretch of" : "The recording", quoted(path),
                    "is only " + spoken_duration(seconds) + " long", shortest_analysis_seconds,
                    is_range ? "choose a longer one" : "choose a longer recording"));
  }
  if (auto finished = conversion.finish(); !finished) return tl::unexpected(finished.error());

  AnalysisAudio audio;
  audio.info_ = stream.info();
  audio.sample_count_ = conversion.sample_count();
  audio.begin_sample_ = begin;
  audio.is_polarity_turned_ = conversion.is_contradiction();
  audio.samples_ = std::move(*samples);
  return audio;
}

}  // namespace lowstride::audio
