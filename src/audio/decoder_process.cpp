#include "src/audio/decoder_process.hpp"

#include <fcntl.h>
#include <poll.h>
#include <spawn.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <chrono>
#include <csignal>
#include <limits>
#include <system_error>
#include <utility>

#include <fmt/format.h>

#include "src/audio/decoder_protocol.hpp"
#include "src/audio/file_facts.hpp"
#include "src/audio/recording_limits.hpp"

namespace lowstride::audio {
namespace {

namespace fs = std::filesystem;

// Six hours of AAC take about four minutes of one core; a decoder that needs ten times as long, or
// more memory than any sound codec, is in trouble.
constexpr rlim_t largest_cpu_seconds = 2400;
constexpr rlim_t largest_memory_bytes = rlim_t{1} << 30U;
constexpr double largest_wait_seconds = 3600.0;

fs::path own_folder() {
  std::error_code error;
  return fs::read_symlink("/proc/self/exe", error).parent_path();
}

fs::path decoder_program(const OpenOptions& options) {
  if (!options.decoder.empty()) return options.decoder;
  const fs::path folder = own_folder();
  std::vector<fs::path> places{folder / "lowstride-decode",
                               folder / LOWSTRIDE_LIBEXEC_FROM_BIN / "lowstride-decode"};
  // A program or test in the build tree: build/src/cli, build/tests/audio, build/gui.
  fs::path above = folder;
  for (int level = 0; level < 3; ++level) {
    above = above.parent_path();
    places.push_back(above / "src" / "audio" / "lowstride-decode");
  }
  for (const fs::path& place : places) {
    if (::access(place.c_str(), X_OK) == 0) return place;
  }
  return {};
}

void limit(pid_t process, __rlimit_resource resource, rlim_t value) {
  const rlimit both{value, value};
  ::prlimit(process, resource, &both, nullptr);
}

}  // namespace

DecoderProcess::DecoderProcess(fs::path path, const OpenOptions& options,
                               const WorkControl& control)
    : path_(std::move(path)), stall_seconds_(options.decoder_stall_seconds), control_(control) {}

DecoderProcess::~DecoderProcess() { stop(); }

void DecoderProcess::stop() noexcept {
  if (pipe_ >= 0) ::close(std::exchange(pipe_, -1));
  if (process_ > 0) {
    ::kill(process_, SIGKILL);
    int status = 0;
    while (::waitpid(process_, &status, 0) < 0 && errno == EINTR) {
    }
    process_ = -1;
  }
}

Error DecoderProcess::fault(const std::string& what) {
  stop();
  return {ErrorCode::damaged,
          fmt::format("{} cannot be decoded ({}); convert it to WAV or FLAC, or export it again.",
                      quoted(path_), what)};
}

Result<std::unique_ptr<DecoderProcess>> DecoderProcess::start(const fs::path& path,
                                                              const OpenOptions& options,
                                                              const WorkControl& control,
                                                              std::int64_t begin_sample) {
  const fs::path program = decoder_program(options);
  if (program.empty()) {
    return fail(ErrorCode::unsupported,
                fmt::format("Cannot decode {}: the program lowstride-decode, which belongs beside "
                            "this one, is missing; install Lowstride again.",
                            quoted(path)));
  }
  std::unique_ptr<DecoderProcess> decoder(new DecoderProcess(path, options, control));
  std::error_code error;
  const std::uintmax_t file_bytes = fs::file_size(path, error);
  // A file that has gone is not weighed: the decoder says what is wrong with it.
  decoder->file_bytes_ = error ? std::numeric_limits<std::uintmax_t>::max() : file_bytes;
  decoder->begin_ = begin_sample;
  if (auto spawned = decoder->spawn(program); !spawned) return tl::unexpected(spawned.error());
  if (auto header = decoder->receive_header(); !header) return tl::unexpected(header.error());
  return decoder;
}

Result<void> DecoderProcess::spawn(const fs::path& program) {
  std::array<int, 2> ends{};
  if (::pipe2(ends.data(), O_CLOEXEC) != 0) {
    return fail(ErrorCode::unreadable, fmt::format("Cannot decode {}: too many files are open; "
                                                   "close some and try again.",
                                                   quoted(path_)));
  }
  pipe_ = ends[0];
  // A longer pipe spares half of the switching between the two programs; not getting it is fine.
  ::fcntl(pipe_, F_SETPIPE_SZ, 1 << 20);
  std::error_code error;
  std::string file = fs::absolute(path_, error).string();
  std::string name = program.string();
  std::string from = std::to_string(begin_);
  std::array<char*, 4> arguments{name.data(), file.data(), begin_ > 0 ? from.data() : nullptr,
                                 nullptr};
  posix_spawn_file_actions_t actions;
  posix_spawn_file_actions_init(&actions);
  posix_spawn_file_actions_addopen(&actions, STDIN_FILENO, "/dev/null", O_RDONLY, 0);
  posix_spawn_file_actions_adddup2(&actions, ends[1], STDOUT_FILENO);
  posix_spawn_file_actions_addopen(&actions, STDERR_FILENO, "/dev/null", O_WRONLY, 0);
  posix_spawn_file_actions_addclosefrom_np(&actions, STDERR_FILENO + 1);
  // A process group of its own: Ctrl-C goes to us, who end it in order.
  posix_spawnattr_t attributes;
  posix_spawnattr_init(&attributes);
  posix_spawnattr_setflags(&attributes, POSIX_SPAWN_SETPGROUP | POSIX_SPAWN_SETSIGDEF);
  posix_spawnattr_setpgroup(&attributes, 0);
  sigset_t defaults;
  sigemptyset(&defaults);
  sigaddset(&defaults, SIGPIPE);
  sigaddset(&defaults, SIGXCPU);
  posix_spawnattr_setsigdefault(&attributes, &defaults);
  const int status =
      ::posix_spawn(&process_, name.c_str(), &actions, &attributes, arguments.data(), environ);
  posix_spawnattr_destroy(&attributes);
  posix_spawn_file_actions_destroy(&actions);
  ::close(ends[1]);
  if (status != 0) {
    process_ = -1;
    return fail(
        ErrorCode::unsupported,
        fmt::format("Cannot decode {}: {} does not start ({}); install Lowstride again.",
                    quoted(path_), quoted(program), std::generic_category().message(status)));
  }
#if !defined(__SANITIZE_ADDRESS__) && !defined(__SANITIZE_THREAD__)
  limit(process_, RLIMIT_AS, largest_memory_bytes);  // sanitizers reserve terabytes
#endif
  limit(process_, RLIMIT_CPU, largest_cpu_seconds);
  limit(process_, RLIMIT_CORE, 0);
#if !defined(__SANITIZE_THREAD__)
  limit(process_, RLIMIT_FSIZE, 0);  // that sanitizer begins with a file of its own
#endif
  return {};
}

Result<void> DecoderProcess::receive(void* out, std::size_t size) {
  using Clock = std::chrono::steady_clock;
  constexpr int patience_ms = 100;  // between two looks at the cancel flag
  char* bytes = static_cast<char*>(out);
  double stalled_seconds = 0.0;
  while (size > 0) {
    pollfd state{pipe_, POLLIN, 0};
    const auto before = Clock::now();
    const int ready = ::poll(&state, 1, patience_ms);
    const double seconds = std::chrono::duration<double>(Clock::now() - before).count();
    stalled_seconds += seconds;
    waited_seconds_ += seconds;
    if (control_.is_cancelled()) {
      stop();
      return fail(ErrorCode::cancelled, "Stopped while decoding " + quoted(path_) + ".");
    }
    if (stalled_seconds > stall_seconds_ || waited_seconds_ > largest_wait_seconds) {
      return tl::unexpected(fault("its decoder hangs"));
    }
    if (ready <= 0) continue;
    const ssize_t count = ::read(pipe_, bytes, size);
    if (count > 0) {
      bytes += count;
      size -= static_cast<std::size_t>(count);
      stalled_seconds = 0.0;
    } else if (count == 0) {
      int status = 0;
      const bool is_gone = ::waitpid(process_, &status, 0) == process_;
      if (is_gone) process_ = -1;
      const bool is_too_slow = is_gone && WIFSIGNALED(status) && WTERMSIG(status) == SIGXCPU;
      return tl::unexpected(fault(is_too_slow ? "it takes too long" : "its decoder broke off"));
    } else if (errno != EINTR) {
      return tl::unexpected(fault("its decoder cannot be heard"));
    }
  }
  return {};
}

Result<void> DecoderProcess::receive_text(std::string& text, std::uint32_t size) {
  if (size > protocol::largest_text_bytes) return tl::unexpected(fault("its decoder went wrong"));
  std::string raw(size, '\0');
  if (auto done = receive(raw.data(), size); !done) return done;
  text = clean_tag(raw);
  return {};
}

Result<void> DecoderProcess::receive_skipped(std::uint32_t size) {
  std::int64_t count = 0;
  if (size != sizeof count) return tl::unexpected(fault("its decoder went wrong"));
  if (auto done = receive(&count, sizeof count); !done) return done;
  if (count <= 0 || count > begin_ - received_) {
    return tl::unexpected(fault("its decoder went wrong"));
  }
  received_ += count;
  return {};
}

namespace {

Error failure_error(const fs::path& path, std::uint32_t reason) {
  switch (static_cast<protocol::Failure>(reason)) {
    case protocol::Failure::no_sound:
      return {ErrorCode::not_audio,
              quoted(path) + " has no sound track; choose a file with sound in it."};
    case protocol::Failure::no_codec:
      return {ErrorCode::unsupported,
              quoted(path) + " has a sound track of an unknown kind; convert it to WAV or FLAC."};
    case protocol::Failure::undecodable:
      return {ErrorCode::damaged,
              quoted(path) +
                  " is cut off or damaged so that nothing can be heard; copy or export it again."};
    case protocol::Failure::out_of_memory:
      return {ErrorCode::damaged,
              quoted(path) + " needs too much memory to decode; convert it to WAV or FLAC."};
    case protocol::Failure::not_audio:
    default:
      return {ErrorCode::not_audio,
              quoted(path) +
                  " is not a recording that can be read; choose a sound file such as "
                  "WAV, FLAC, MP3 or M4A."};
  }
}

}  // namespace

Result<void> DecoderProcess::receive_header() {
  std::array<char, protocol::magic.size()> magic{};
  if (auto done = receive(magic.data(), magic.size()); !done) return done;
  if (magic != protocol::magic) return tl::unexpected(fault("its decoder went wrong"));
  protocol::Message message;
  if (auto done = receive(&message, sizeof message); !done) return done;
  if (message.kind == static_cast<std::uint32_t>(protocol::Kind::failure) &&
      message.size == sizeof(std::uint32_t)) {
    std::uint32_t reason = 0;
    if (auto done = receive(&reason, sizeof reason); !done) return done;
    stop();
    return tl::unexpected(failure_error(path_, reason));
  }
  protocol::Header header;
  if (message.kind != static_cast<std::uint32_t>(protocol::Kind::header) ||
      message.size != sizeof header) {
    return tl::unexpected(fault("its decoder went wrong"));
  }
  if (auto done = receive(&header, sizeof header); !done) return done;
  // Anything over a million is no rate or count of this world; the caller says which are read.
  if (header.sample_rate_hz == 0 || header.sample_rate_hz > 1000000 || header.channel_count == 0 ||
      header.channel_count > 1024) {
    return tl::unexpected(fault("its decoder went wrong"));
  }
  sample_rate_hz_ = static_cast<int>(header.sample_rate_hz);
  channel_count_ = static_cast<int>(header.channel_count);
  promised_ = std::max<std::int64_t>(header.promised_sample_count, -1);
  return {};
}

Result<std::span<const float>> DecoderProcess::next_block() {
  while (!is_ended_) {
    protocol::Message message;
    if (auto done = receive(&message, sizeof message); !done) return tl::unexpected(done.error());
    Result<void> done;
    switch (static_cast<protocol::Kind>(message.kind)) {
      case protocol::Kind::title:
        done = receive_text(title_, message.size);
        break;
      case protocol::Kind::artist:
        done = receive_text(artist_, message.size);
        break;
      case protocol::Kind::format:
        done = receive_text(format_name_, message.size);
        break;
      case protocol::Kind::skipped:
        done = receive_skipped(message.size);
        break;
      case protocol::Kind::samples: {
        const std::size_t sample_bytes = static_cast<std::size_t>(channel_count_) * sizeof(float);
        if (message.size == 0 || message.size > protocol::largest_block_bytes ||
            message.size % sample_bytes != 0) {
          return tl::unexpected(fault("its decoder went wrong"));
        }
        block_.resize(message.size / sizeof(float));
        if (done = receive(block_.data(), message.size); !done) break;
        received_ += static_cast<std::int64_t>(message.size / sample_bytes);
        if (static_cast<double>(received_) > longest_recording_seconds * sample_rate_hz_) {
          stop();
          is_ended_ = true;
          return fail(ErrorCode::unsupported,
                      fmt::format("{} is longer than {:.0f} hours; cut it into shorter pieces.",
                                  quoted(path_), longest_recording_seconds / 3600.0));
        }
        if (auto within = check_unpacking(path_, file_bytes_, received_, channel_count_); !within) {
          stop();
          is_ended_ = true;
          return tl::unexpected(within.error());
        }
        return std::span<const float>(block_);
      }
      case protocol::Kind::end: {
        protocol::End end;
        if (message.size != sizeof end) return tl::unexpected(fault("its decoder went wrong"));
        done = receive(&end, sizeof end);
        damaged_packet_count_ = end.damaged_packet_count;
        is_cut_off_ = end.is_cut_off != 0;
        is_ended_ = true;
        stop();
        break;
      }
      default:
        return tl::unexpected(fault("its decoder went wrong"));
    }
    if (!done) return tl::unexpected(done.error());
  }
  return std::span<const float>();
}

std::string DecoderProcess::lost_note() const {
  const double missing_seconds =
      promised_ > received_ ? static_cast<double>(promised_ - received_) / sample_rate_hz_ : 0.0;
  // Containers that count in milliseconds or whole packets are off by a few hundredths.
  if (missing_seconds > 0.25) {
    return cut_off_note(missing_seconds, static_cast<double>(promised_) / sample_rate_hz_);
  }
  if (damaged_packet_count_ > 0) {
    return fmt::format("{} damaged pieces of the file could not be decoded and are silent.",
                       damaged_packet_count_);
  }
  if (is_cut_off_) return "The file breaks off; what is there is used.";
  return {};
}

}  // namespace lowstride::audio
