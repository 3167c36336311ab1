#include "src/audio/sndfile_reader.hpp"

#include <sndfile.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <system_error>
#include <utility>
#include <vector>

#include <fmt/format.h>

#include "src/audio/file_facts.hpp"
#include "src/audio/recording_limits.hpp"

namespace lowstride::audio {
namespace {

struct SndfileCloser {
  void operator()(SNDFILE* file) const { sf_close(file); }
};
using SndfilePtr = std::unique_ptr<SNDFILE, SndfileCloser>;

constexpr std::size_t block_samples = 4096;
constexpr std::uintmax_t largest_header_bytes = 4096;
// An Ogg page holds up to 255 packets, those of Vorbis up to 8192 samples, but encoders fill pages
// of 4 kB or a second; the library seeks beside the mark in the last page, whose end is cut.
constexpr std::int64_t ogg_tail_samples = 1 << 19;
// A packet of Vorbis overlaps with the one before, and one of Opus sounds right only after 80 ms of
// others (RFC 7845, 4.6): decoding begins before the sample that is asked for.
constexpr std::int64_t ogg_pre_roll_samples = 1 << 14;

/// Names of the kinds of file that we read by libsndfile; null for the others. It knows more, among
/// them headerless ones that it guesses by the file name's ending: a text named .au would be noise.
const char* container_name(int format) {
  switch (format & SF_FORMAT_TYPEMASK) {
    case SF_FORMAT_WAV:
    case SF_FORMAT_WAVEX:
      return "WAV";
    case SF_FORMAT_RF64:
      return "RF64";
    case SF_FORMAT_W64:
      return "W64";
    case SF_FORMAT_AIFF:
      return "AIFF";
    case SF_FORMAT_AU:
      return "AU";
    case SF_FORMAT_CAF:
      return "CAF";
    case SF_FORMAT_FLAC:
      return "FLAC";
    case SF_FORMAT_OGG:
      return "Ogg";
    default:
      return nullptr;
  }
}

std::string format_name(int format) {
  std::string name = container_name(format);
  switch (format & SF_FORMAT_SUBMASK) {
    case SF_FORMAT_PCM_S8:
    case SF_FORMAT_PCM_U8:
      return name + ", 8 bit";
    case SF_FORMAT_PCM_16:
      return name + ", 16 bit";
    case SF_FORMAT_PCM_24:
      return name + ", 24 bit";
    case SF_FORMAT_PCM_32:
      return name + ", 32 bit";
    case SF_FORMAT_FLOAT:
      return name + ", float";
    case SF_FORMAT_DOUBLE:
      return name + ", double";
    case SF_FORMAT_VORBIS:
      return "Ogg Vorbis";
    case SF_FORMAT_OPUS:
      return "Opus";
    default:
      return name;
  }
}

bool is_packed_format(int format) {
  const int major = format & SF_FORMAT_TYPEMASK;
  return major == SF_FORMAT_FLAC || major == SF_FORMAT_OGG;
}

std::string tag(SNDFILE* file, int which) {
  const char* text = sf_get_string(file, which);
  return text != nullptr ? clean_tag(text) : std::string();
}

class SndfileReader : public SampleReader {
 public:
  SndfileReader(SndfilePtr file, RecordingInfo info, int format)
      : file_(std::move(file)),
        info_(std::move(info)),
        block_(block_samples * static_cast<std::size_t>(info_.channel_count)),
        is_packed_(is_packed_format(format)),
        is_ogg_((format & SF_FORMAT_TYPEMASK) == SF_FORMAT_OGG) {}

  [[nodiscard]] const RecordingInfo& info() const noexcept override { return info_; }
  [[nodiscard]] std::int64_t position() const noexcept override { return position_; }

  [[nodiscard]] Result<std::size_t> read(dsp::MutableAudioView out) override {
    LOWSTRIDE_EXPECTS(out.channel_count() == static_cast<std::size_t>(info_.channel_count));
    const std::size_t wanted = static_cast<std::size_t>(std::clamp<std::int64_t>(
        info_.sample_count - position_, 0, static_cast<std::int64_t>(out.sample_count)));
    std::size_t done = 0;
    while (done < wanted) {
      const auto count = read_block(std::min(block_samples, wanted - done));
      if (!count) return tl::unexpected(count.error());
      for (std::size_t c = 0; c < out.channel_count(); ++c) {
        const auto channel = out.channel(c);
        for (std::size_t i = 0; i < *count; ++i) {
          const float value = block_[i * out.channel_count() + c];
          channel[done + i] = std::isfinite(value) ? value : 0.0F;
          if (!std::isfinite(value)) ++info_.non_finite_count;
        }
      }
      done += *count;
    }
    return done;
  }

  [[nodiscard]] Result<void> seek(std::int64_t sample) override {
    LOWSTRIDE_EXPECTS(sample >= 0 && sample <= info_.sample_count);
    if (sample == position_) return {};
    damage_end_ = 0;
    if (sample == info_.sample_count) {
      position_ = sample;
      is_placed_ = false;
      return {};
    }
    is_placed_ = true;
    position_ = sample;
    const std::int64_t tail = std::max<std::int64_t>(info_.sample_count - ogg_tail_samples, 0);
    const std::int64_t reach =
        is_ogg_ ? std::max<std::int64_t>(std::min(sample, tail) - ogg_pre_roll_samples, 0) : sample;
    if (sf_seek(file_.get(), reach, SEEK_SET) == reach) return skip(sample - reach);
    // The library cannot seek in a damaged file: from the start, then.
    SF_INFO facts{};
    file_.reset(sf_open(info_.path.c_str(), SFM_READ, &facts));
    if (!file_ || facts.channels != info_.channel_count) return medium_error();
    return skip(sample);
  }

 private:
  Result<void> skip(std::int64_t sample_count) {
    while (sample_count > 0) {
      const sf_count_t count = sf_readf_float(
          file_.get(), block_.data(),
          std::min<std::int64_t>(sample_count, static_cast<std::int64_t>(block_samples)));
      if (count <= 0) return medium_error();
      sample_count -= count;
    }
    return {};
  }

  /// `info_.sample_count` has been proven readable, so that less is damage on the way (silence
  /// stands for it, to keep what follows in its place), or the medium's fault.
  Result<std::size_t> read_block(std::size_t sample_count) {
    if (!is_placed_) {
      const std::int64_t place = std::exchange(position_, -1);
      if (auto placed = seek(place); !placed) return tl::unexpected(placed.error());
    }
    sf_count_t count = 0;
    if (position_ >= damage_end_) {
      count = sf_readf_float(file_.get(), block_.data(), static_cast<sf_count_t>(sample_count));
    }
    if (count <= 0) {
      if (!is_packed_) return tl::unexpected(medium_error().error());
      if (position_ >= damage_end_) find_end_of_damage();
      count = std::min(static_cast<sf_count_t>(sample_count), damage_end_ - position_);
      std::fill(block_.begin(), block_.end(), 0.0F);
    }
    position_ += count;
    return static_cast<std::size_t>(count);
  }

  /// Looks for the next place from which the library can go on, in steps of a block.
  void find_end_of_damage() {
    const std::int64_t begin = position_;
    std::int64_t place = begin;
    bool is_found = false;
    while (!is_found && place < info_.sample_count) {
      place = std::min(place + static_cast<std::int64_t>(block_samples), info_.sample_count);
      SF_INFO facts{};
      file_.reset(sf_open(info_.path.c_str(), SFM_READ, &facts));
      if (!file_ || place == info_.sample_count) break;
      is_found = sf_seek(file_.get(), place, SEEK_SET) == place &&
                 sf_readf_float(file_.get(), block_.data(), 1) == 1 &&
                 sf_seek(file_.get(), place, SEEK_SET) == place;
    }
    damage_end_ = place;
    damaged_samples_ += place - begin;
    info_.lost_note =
        fmt::format("Damaged parts of the file, {} in all, could not be decoded and are silent.",
                    spoken_duration(static_cast<double>(damaged_samples_) / info_.sample_rate_hz));
  }

  [[nodiscard]] Result<void> medium_error() const {
    return fail(ErrorCode::unreadable,
                fmt::format("{} cannot be read any more; check the medium it is on and that the "
                            "file has not changed.",
                            quoted(info_.path)));
  }

  SndfilePtr file_;
  RecordingInfo info_;
  std::vector<float> block_;  // interleaved
  std::int64_t position_ = 0;
  bool is_placed_ = true;  // the library stands at position_
  bool is_packed_;
  bool is_ogg_;
  std::int64_t damage_end_ = 0;  // up to here, from position_ on, nothing can be decoded
  std::int64_t damaged_samples_ = 0;
};

/// Whether the last promised sample can be read.
bool holds_promise(SNDFILE* file, sf_count_t promised, std::vector<float>& block) {
  return promised > 0 && promised < std::numeric_limits<sf_count_t>::max() &&
         sf_seek(file, promised - 1, SEEK_SET) == promised - 1 &&
         sf_readf_float(file, block.data(), 1) == 1;
}

Result<std::int64_t> count_samples(SNDFILE* file, const RecordingInfo& info,
                                   std::vector<float>& block, const WorkControl& control) {
  const auto most =
      static_cast<std::int64_t>(longest_recording_seconds * highest_sample_rate_hz) + 1;
  std::int64_t total = 0;
  while (total <= most) {
    const sf_count_t count =
        sf_readf_float(file, block.data(), static_cast<sf_count_t>(block_samples));
    if (count <= 0) break;
    total += count;
    if (control.is_cancelled()) {
      return fail(ErrorCode::cancelled, "Stopped while reading " + quoted(info.path) + ".");
    }
  }
  return total;
}

}  // namespace

Result<std::unique_ptr<SampleReader>> open_by_sndfile(const std::filesystem::path& path,
                                                      const OpenOptions& options,
                                                      const WorkControl& control) {
  // Its MP3 decoder guesses the length of files without an index (to a sixth of the truth, where
  // the first seconds are loud) and talks on standard error about what it finds odd.
  if (is_mpeg_audio(path)) return nullptr;
  SF_INFO facts{};
  SndfilePtr file(sf_open(path.c_str(), SFM_READ, &facts));
  if (!file || container_name(facts.format) == nullptr) return nullptr;
  // A recorder that was cut off has left a length of 0 before the sound: FFmpeg reads on.
  std::error_code error;
  if (facts.frames == 0 && std::filesystem::file_size(path, error) > largest_header_bytes) {
    return nullptr;
  }

  RecordingInfo info;
  info.path = path;
  info.sample_rate_hz = facts.samplerate;
  info.channel_count = facts.channels;
  info.sample_count = std::max<sf_count_t>(facts.frames, 0);
  info.format_name = format_name(facts.format);
  info.title = tag(file.get(), SF_STR_TITLE);
  info.artist = tag(file.get(), SF_STR_ARTIST);
  if (auto within = check_limits(info); !within) return tl::unexpected(within.error());

  std::vector<float> block(block_samples * static_cast<std::size_t>(info.channel_count));
  const auto reopen = [&]() -> Result<void> {
    SF_INFO again{};
    file.reset(sf_open(path.c_str(), SFM_READ, &again));
    if (file != nullptr && again.channels == facts.channels) return {};
    return fail(ErrorCode::unreadable,
                quoted(path) + " changes while it is read; wait until it is written.");
  };
  const bool is_whole = facts.frames == 0 || holds_promise(file.get(), facts.frames, block);
  if (auto again = reopen(); !again) return tl::unexpected(again.error());
  if (!is_whole) {
    const auto counted = count_samples(file.get(), info, block, control);
    if (!counted) return tl::unexpected(counted.error());
    info.sample_count = *counted;
    info.lost_note = "The file breaks off; what is there is used.";
    if (facts.frames > *counted && facts.frames < std::numeric_limits<sf_count_t>::max()) {
      const double rate_hz = info.sample_rate_hz;
      info.lost_note = cut_off_note(static_cast<double>(facts.frames - *counted) / rate_hz,
                                    static_cast<double>(facts.frames) / rate_hz);
    }
    if (auto again = reopen(); !again) return tl::unexpected(again.error());
  } else if (!is_packed_format(facts.format)) {
    info.lost_note = cut_off_data_note(path, info.duration_seconds());
  }
  if (auto within = check_length(info); !within) return tl::unexpected(within.error());
  // Last, so that what is refused is not read whole first.
  if (options.with_content_hash) {
    auto hash = content_hash_of(path, control);
    if (!hash) return tl::unexpected(hash.error());
    info.content_hash = std::move(*hash);
  }
  return std::make_unique<SndfileReader>(std::move(file), std::move(info), facts.format);
}

}  // namespace lowstride::audio
