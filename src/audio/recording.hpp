#pragma once

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>

#include "dsp/base/audio_view.hpp"
#include "src/base/progress.hpp"
#include "src/base/result.hpp"

namespace lowstride::audio {

/// What recordings may be. Beyond these a file is refused with `unsupported`.
inline constexpr int lowest_sample_rate_hz = 8000;
inline constexpr int highest_sample_rate_hz = 192000;
inline constexpr int largest_channel_count = 8;
inline constexpr double longest_recording_seconds = 6.0 * 3600.0;

/// What is known about a recording once it is open.
struct RecordingInfo {
  std::filesystem::path path;
  int sample_rate_hz = 0;         // 8,000 .. 192,000
  int channel_count = 0;          // 1 .. 8
  std::int64_t sample_count = 0;  // that can be read; a sample is one instant of all channels
  std::string format_name;        // for people: "WAV", "MP3", "AAC in MP4"
  std::string title;              // tags: UTF-8 without control characters, empty when absent
  std::string artist;
  /// SHA-256 (FIPS 180-4, by the nettle library) of the file's bytes, 64 lower-case hex digits;
  /// empty when it was not asked for.
  std::string content_hash;
  /// What of a truncated or damaged file is missing, as a sentence for people; empty when whole.
  std::string lost_note;
  /// Values that were not finite and became silence, in what has been read so far.
  std::int64_t non_finite_count = 0;

  [[nodiscard]] double duration_seconds() const noexcept {
    return static_cast<double>(sample_count) / sample_rate_hz;
  }
};

/// How a recording is opened. The defaults are right outside of tests.
struct OpenOptions {
  bool with_content_hash = true;  // reads the whole file once: about 2 s for an hour of WAV
  /// The program that decodes what libsndfile does not know; empty: the one that belongs to this
  /// program, from its own folder, the installation's libexec folder or the build tree.
  std::filesystem::path decoder{};
  double decoder_stall_seconds = 30.0;  // silence of that program after which it is given up
  /// For listening: what must be decoded can be read at once where the file says how long it is,
  /// and is decoded on the way. `info().sample_count` is the file's promise until all has been
  /// decoded, `lost_note` comes then, and reading may wait.
  bool reads_while_decoding = false;
};

/// Reads an open recording in blocks at its own rate. One reader per thread; it holds a block or
/// two in memory, however long the recording is. May block on the disk: never on the audio thread.
class SampleReader {
 public:
  SampleReader() = default;
  SampleReader(const SampleReader&) = delete;
  SampleReader& operator=(const SampleReader&) = delete;
  virtual ~SampleReader() = default;

  [[nodiscard]] virtual const RecordingInfo& info() const noexcept = 0;

  /// The sample that the next `read` begins with.
  [[nodiscard]] virtual std::int64_t position() const noexcept = 0;

  /// Fills `out` (exactly `info().channel_count` channels) from `position()` on and returns the
  /// samples written: less than asked at the end only, where it is 0. Full scale is -1..1, floating
  /// point files may exceed it; what is not finite becomes 0 and is counted in `info()`.
  /// Errors: unreadable (the medium fails), naming the file.
  [[nodiscard]] virtual Result<std::size_t> read(dsp::MutableAudioView out) = 0;

  /// Goes to a sample, exactly. Requires 0 <= `sample` <= `info().sample_count`.
  [[nodiscard]] virtual Result<void> seek(std::int64_t sample) = 0;
};

/// Opens a recording: WAV, AIFF, FLAC, Ogg Vorbis, Opus, CAF and their kin by libsndfile; MP3,
/// M4A/AAC, MP4, MOV, WebM, WMA and what else FFmpeg's libraries know by a program of our own with
/// limited memory and time, whose output is kept in an unlinked file of the cache folder, 16 bits a
/// value (these files are decoded whole while opening, unless `reads_while_decoding`; `control`
/// reports the stage "Decoding"). MP3 is among
/// them because libsndfile's decoder guesses the length of files without an index.
/// A truncated file opens with what is there, and `lost_note` says what is not; damage found on the
/// way becomes silence of the same length and is added to it.
/// Errors, each one sentence that names the file and the cure: not_found, unreadable (permission,
/// folder, device), not_audio (also empty and text files), unsupported (no sound in it, beyond the
/// limits above), damaged, cannot_write (no room in the cache folder), cancelled.
[[nodiscard]] Result<std::unique_ptr<SampleReader>> open_recording(
    const std::filesystem::path& path, const OpenOptions& options = {},
    const WorkControl& control = {});

/// What can be told of a recording without decoding it.
struct RecordingGlance {
  int sample_rate_hz = 0;
  int channel_count = 0;
  /// Exact for what libsndfile reads, the container's promise for the others, if it gives one.
  std::optional<std::int64_t> expected_sample_count;
};

/// Quick, also for an hour of MP3: for turning typed seconds into samples. Errors: those of
/// open_recording, as far as they show at the start of a file.
[[nodiscard]] Result<RecordingGlance> glance_at_recording(const std::filesystem::path& path,
                                                          const OpenOptions& options = {},
                                                          const WorkControl& control = {});

/// SHA-256 of a file's bytes as in `RecordingInfo::content_hash`; to find a recording that moved.
/// Errors: not_found, unreadable, cancelled.
[[nodiscard]] Result<std::string> content_hash_of(const std::filesystem::path& path,
                                                  const WorkControl& control = {});

}  // namespace lowstride::audio
