#include "src/audio/writer.hpp"

#include <fcntl.h>
#include <sndfile.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <cmath>
#include <system_error>
#include <utility>
#include <vector>

#include <fmt/format.h>

#include "src/audio/file_facts.hpp"
#include "src/audio/recording.hpp"
#include "src/base/atomic_file.hpp"
#include "src/base/disk.hpp"

namespace lowstride::audio {
namespace {

namespace fs = std::filesystem;

enum class Container { wav, flac, ogg, mp3 };

// This library's Vorbis encoder keeps a block on the stack: large ones overflow it.
constexpr std::size_t block_samples = 4096;
constexpr std::int64_t largest_wav_bytes = 0xFFFF0000LL;  // the header's 32 bits, with room for it

Result<Container> container_of(const fs::path& path) {
  std::string ending = path.extension().string();
  std::transform(ending.begin(), ending.end(), ending.begin(),
                 [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
  if (ending == ".wav") return Container::wav;
  if (ending == ".flac") return Container::flac;
  if (ending == ".ogg") return Container::ogg;
  if (ending == ".mp3") return Container::mp3;
  return fail(ErrorCode::invalid_argument,
              quoted(path) +
                  " has no ending that says which kind of file to write; end it in .wav, "
                  ".flac, .ogg or .mp3.");
}

int bytes_a_sample(SampleFormat format) {
  switch (format) {
    case SampleFormat::pcm_16:
      return 2;
    case SampleFormat::pcm_24:
      return 3;
    case SampleFormat::float_32:
      return 4;
  }
  return 4;
}

int sndfile_format(Container container, const WriteOptions& options) {
  const bool is_16 = options.sample_format == SampleFormat::pcm_16;
  switch (container) {
    case Container::wav: {
      const std::int64_t bytes = options.expected_sample_count.value_or(0) * options.channel_count *
                                 bytes_a_sample(options.sample_format);
      const int kind = bytes > largest_wav_bytes ? SF_FORMAT_RF64 : SF_FORMAT_WAV;
      if (options.sample_format == SampleFormat::float_32) return kind | SF_FORMAT_FLOAT;
      return kind | (is_16 ? SF_FORMAT_PCM_16 : SF_FORMAT_PCM_24);
    }
    case Container::flac:
      return SF_FORMAT_FLAC | (is_16 ? SF_FORMAT_PCM_16 : SF_FORMAT_PCM_24);
    case Container::ogg:
      return SF_FORMAT_OGG | SF_FORMAT_VORBIS;
    case Container::mp3:
      return SF_FORMAT_MPEG | SF_FORMAT_MPEG_LAYER_III;
  }
  return 0;
}

/// The file below libsndfile: our own calls, so that the reason of a failure is known.
struct Sink {
  int descriptor = -1;
  int error_number = 0;
};

sf_count_t sink_length(void* user) {
  const auto& sink = *static_cast<Sink*>(user);
  const off_t here = ::lseek(sink.descriptor, 0, SEEK_CUR);
  const off_t end = ::lseek(sink.descriptor, 0, SEEK_END);
  ::lseek(sink.descriptor, here, SEEK_SET);
  return end;
}

sf_count_t sink_seek(sf_count_t offset, int whence, void* user) {
  return ::lseek(static_cast<Sink*>(user)->descriptor, offset, whence);
}

sf_count_t sink_read(void* out, sf_count_t count, void* user) {
  return std::max<ssize_t>(
      ::read(static_cast<Sink*>(user)->descriptor, out, static_cast<std::size_t>(count)), 0);
}

sf_count_t sink_write(const void* data, sf_count_t count, void* user) {
  auto& sink = *static_cast<Sink*>(user);
  const char* bytes = static_cast<const char*>(data);
  sf_count_t left = count;
  while (left > 0 && sink.error_number == 0) {
    const ssize_t written = disk().write(sink.descriptor, bytes, static_cast<std::size_t>(left));
    if (written >= 0) {
      bytes += written;
      left -= written;
    } else if (errno != EINTR) {
      sink.error_number = errno;
    }
  }
  return count - left;
}

sf_count_t sink_tell(void* user) {
  return ::lseek(static_cast<Sink*>(user)->descriptor, 0, SEEK_CUR);
}

class SndfileWriter : public AudioWriter {
 public:
  SndfileWriter(PendingFile pending, fs::path path, const WriteOptions& options,
                Container container)
      : pending_(std::move(pending)),
        path_(std::move(path)),
        options_(options),
        is_whole_numbers_((container == Container::wav || container == Container::flac) &&
                          options.sample_format != SampleFormat::float_32),
        channel_count_(static_cast<std::size_t>(options.channel_count)) {
    if (container == Container::flac) is_whole_numbers_ = true;
    sink_.descriptor = pending_.descriptor();
    largest_sample_count_ =
        container == Container::wav &&
                (sndfile_format(container, options) & SF_FORMAT_TYPEMASK) == SF_FORMAT_WAV
            ? largest_wav_bytes / (options.channel_count * bytes_a_sample(options.sample_format))
            : INT64_MAX;
  }
  ~SndfileWriter() override {
    if (file_ != nullptr) sf_close(file_);
  }

  Result<void> open(int format) {
    SF_INFO info{};
    info.samplerate = options_.sample_rate_hz;
    info.channels = options_.channel_count;
    info.format = format;
    SF_VIRTUAL_IO calls{sink_length, sink_seek, sink_read, sink_write, sink_tell};
    file_ = sf_open_virtual(&calls, SFM_WRITE, &info, &sink_);
    if (file_ == nullptr) return error();
    // Its scales of 0 to 1: for Vorbis the quality, for MP3 the smallness. Pink noise gets 155 and
    // 127 kbit/s; a pupil's ear should not meet the codec.
    double quality = 0.7;
    if ((format & SF_FORMAT_TYPEMASK) == SF_FORMAT_OGG) {
      sf_command(file_, SFC_SET_VBR_ENCODING_QUALITY, &quality, sizeof quality);
    }
    if ((format & SF_FORMAT_TYPEMASK) == SF_FORMAT_MPEG) {
      int mode = SF_BITRATE_MODE_VARIABLE;
      double compression = 0.1;
      sf_command(file_, SFC_SET_BITRATE_MODE, &mode, sizeof mode);
      sf_command(file_, SFC_SET_COMPRESSION_LEVEL, &compression, sizeof compression);
    }
    set_tag(SF_STR_TITLE, options_.tags.title);
    set_tag(SF_STR_ARTIST, options_.tags.artist);
    set_tag(SF_STR_COMMENT, options_.tags.comment);
    return {};
  }

  [[nodiscard]] Result<void> write(dsp::AudioView block) override {
    LOWSTRIDE_EXPECTS(block.channel_count() == channel_count_);
    if (written_ + static_cast<std::int64_t>(block.sample_count) > largest_sample_count_) {
      return fail(ErrorCode::cannot_write,
                  quoted(path_) + " would be larger than 4 GB, which WAV cannot hold; write FLAC.");
    }
    for (std::size_t begin = 0; begin < block.sample_count; begin += block_samples) {
      const std::size_t count = std::min(block_samples, block.sample_count - begin);
      const auto wanted = static_cast<sf_count_t>(count);
      const sf_count_t done = is_whole_numbers_ ? write_whole_numbers(block, begin, count)
                                                : write_floats(block, begin, count);
      if (done != wanted || sink_.error_number != 0) return error();
      written_ += done;
    }
    return {};
  }

  [[nodiscard]] Result<void> commit() override {
    const int status = sf_close(std::exchange(file_, nullptr));
    if (status != 0 || sink_.error_number != 0) return error();
    return pending_.commit();
  }

  [[nodiscard]] std::size_t channel_count() const noexcept override { return channel_count_; }
  [[nodiscard]] std::int64_t written_sample_count() const noexcept override { return written_; }

 private:
  void set_tag(int which, const std::string& text) {
    const std::string clean = clean_tag(text);
    if (!clean.empty()) sf_set_string(file_, which, clean.c_str());
  }

  /// Rounds to the nearest step of full scale 2^15 or 2^23, without dither, so that silence stays
  /// silent and what was 16 bits comes out as it was.
  sf_count_t write_whole_numbers(dsp::AudioView block, std::size_t begin, std::size_t count) {
    const bool is_16 = options_.sample_format == SampleFormat::pcm_16;
    const double scale = is_16 ? 32768.0 : 8388608.0;
    const int shift = is_16 ? 16 : 8;
    whole_.resize(count * channel_count_);
    for (std::size_t c = 0; c < channel_count_; ++c) {
      const auto channel = block.channel(c).subspan(begin, count);
      for (std::size_t i = 0; i < count; ++i) {
        const double value = std::isfinite(channel[i]) ? channel[i] : 0.0;
        const double step = std::clamp(std::nearbyint(value * scale), -scale, scale - 1.0);
        whole_[i * channel_count_ + c] = static_cast<int>(step) * (1 << shift);
      }
    }
    return sf_writef_int(file_, whole_.data(), static_cast<sf_count_t>(count));
  }

  sf_count_t write_floats(dsp::AudioView block, std::size_t begin, std::size_t count) {
    floats_.resize(count * channel_count_);
    for (std::size_t c = 0; c < channel_count_; ++c) {
      const auto channel = block.channel(c).subspan(begin, count);
      for (std::size_t i = 0; i < count; ++i) {
        floats_[i * channel_count_ + c] =
            std::isfinite(channel[i]) ? std::clamp(channel[i], -1.0F, 1.0F) : 0.0F;
      }
    }
    return sf_writef_float(file_, floats_.data(), static_cast<sf_count_t>(count));
  }

  [[nodiscard]] Result<void> error() const {
    if (sink_.error_number != 0) return tl::unexpected(write_error(path_, sink_.error_number));
    return fail(ErrorCode::cannot_write, fmt::format("Cannot write {}: {}; choose another place.",
                                                     quoted(path_), sf_strerror(file_)));
  }

  PendingFile pending_;
  fs::path path_;
  WriteOptions options_;
  bool is_whole_numbers_;
  std::size_t channel_count_;
  std::int64_t largest_sample_count_ = INT64_MAX;
  Sink sink_;
  SNDFILE* file_ = nullptr;
  std::int64_t written_ = 0;
  std::vector<int> whole_;
  std::vector<float> floats_;
};

Result<Container> check_format(const fs::path& path, const WriteOptions& options) {
  LOWSTRIDE_EXPECTS(options.channel_count >= 1 && options.sample_rate_hz >= 1);
  auto container = container_of(path);
  if (!container) return container;
  SF_INFO info{};
  info.samplerate = options.sample_rate_hz;
  info.channels = options.channel_count;
  info.format = sndfile_format(*container, options);
  // ISO/IEC 11172-3 and 13818-3, and the usual extension to quarter rates.
  constexpr std::array<int, 9> mp3_rates_hz{8000,  11025, 12000, 16000, 22050,
                                            24000, 32000, 44100, 48000};
  const bool is_mp3 = *container == Container::mp3;
  if (is_mp3 && std::find(mp3_rates_hz.begin(), mp3_rates_hz.end(), options.sample_rate_hz) ==
                    mp3_rates_hz.end()) {
    return fail(ErrorCode::invalid_argument,
                fmt::format("{} cannot be written: MP3 does not know a rate of {} Hz; end its name "
                            "in .flac or .wav.",
                            quoted(path), options.sample_rate_hz));
  }
  if ((is_mp3 && options.channel_count > 2) || options.channel_count > largest_channel_count ||
      sf_format_check(&info) == 0) {
    return fail(ErrorCode::invalid_argument,
                fmt::format("{} cannot be written: this kind of file does not hold {} channels at "
                            "{} Hz; end its name in .wav.",
                            quoted(path), options.channel_count, options.sample_rate_hz));
  }
  return container;
}

}  // namespace

Result<std::unique_ptr<AudioWriter>> AudioWriter::create(const fs::path& path,
                                                         const WriteOptions& options) {
  const auto container = check_format(path, options);
  if (!container) return tl::unexpected(container.error());
  std::error_code error;
  if (fs::is_directory(path, error)) {
    return fail(ErrorCode::cannot_write, quoted(path) + " is a folder; name a file in it.");
  }
  auto pending = PendingFile::create(path);
  if (!pending) return tl::unexpected(pending.error());
  auto writer = std::make_unique<SndfileWriter>(std::move(*pending), path, options, *container);
  if (auto opened = writer->open(sndfile_format(*container, options)); !opened) {
    return tl::unexpected(opened.error());
  }
  return writer;
}

Result<void> check_audio_target(const fs::path& path, const WriteOptions& options) {
  const auto container = check_format(path, options);
  if (!container) return tl::unexpected(container.error());
  std::error_code error;
  if (fs::is_directory(path, error)) {
    return fail(ErrorCode::cannot_write, quoted(path) + " is a folder; name a file in it.");
  }
  const fs::path folder = path.has_parent_path() ? path.parent_path() : fs::path(".");
  if (!fs::is_directory(folder, error)) {
    return fail(ErrorCode::cannot_write,
                "Cannot write " + quoted(path) + ": its folder is not there; create it first.");
  }
  if (::access(folder.c_str(), W_OK) != 0) {
    return fail(ErrorCode::cannot_write,
                fmt::format("Cannot write {}: {}; choose a folder that you may write to.",
                            quoted(path), std::generic_category().message(errno)));
  }
  return {};
}

}  // namespace lowstride::audio
