#pragma once

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>

#include "dsp/base/audio_view.hpp"
#include "src/base/result.hpp"

namespace lowstride::audio {

/// How WAV and FLAC keep a sample; FLAC has no floats and uses 24 bits for them.
enum class SampleFormat { pcm_16, pcm_24, float_32 };

/// Tags of the file, UTF-8; empty ones are left out.
struct AudioTags {
  std::string title{};
  std::string artist{};
  std::string comment{};
};

struct WriteOptions {
  int sample_rate_hz = 48000;
  int channel_count = 2;
  SampleFormat sample_format = SampleFormat::pcm_16;
  AudioTags tags{};
  /// Samples that will be written, where known: a WAV file over 4 GB needs the RF64 header.
  std::optional<std::int64_t> expected_sample_count{};
};

/// Writes a sound file in blocks, whole or not at all: until `commit` the target is untouched, and
/// without it nothing is left. The format follows the file's ending: .wav, .flac, .ogg (Vorbis),
/// .mp3. Values beyond -1..1 are clipped, never wrapped; what is not finite becomes 0.
class AudioWriter {
 public:
  /// Errors: invalid_argument (unknown ending; a rate or channel count that the format cannot
  /// hold, with one that can), cannot_write (no such folder, read-only).
  [[nodiscard]] static Result<std::unique_ptr<AudioWriter>> create(
      const std::filesystem::path& path, const WriteOptions& options);

  AudioWriter(const AudioWriter&) = delete;
  AudioWriter& operator=(const AudioWriter&) = delete;
  virtual ~AudioWriter() = default;

  /// Appends `block`, which has exactly `channel_count` channels.
  /// Errors: cannot_write (disk full), after which only destruction is left.
  [[nodiscard]] virtual Result<void> write(dsp::AudioView block) = 0;

  /// Finishes the file, syncs it and puts it in its place. Errors: cannot_write.
  [[nodiscard]] virtual Result<void> commit() = 0;

  [[nodiscard]] virtual std::size_t channel_count() const noexcept = 0;
  [[nodiscard]] virtual std::int64_t written_sample_count() const noexcept = 0;

 protected:
  AudioWriter() = default;
};

/// Checks an output name before long work begins: the same errors as AudioWriter::create, without
/// making anything.
[[nodiscard]] Result<void> check_audio_target(const std::filesystem::path& path,
                                              const WriteOptions& options);

}  // namespace lowstride::audio
