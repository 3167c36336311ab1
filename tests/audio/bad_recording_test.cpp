#include <sndfile.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <unistd.h>

#include <atomic>
#include <chrono>
#include <csignal>
#include <cstring>

#include "src/audio/analysis_audio.hpp"
#include "src/audio/decoder_process.hpp"
#include "src/audio/decoder_protocol.hpp"
#include "src/audio/recording.hpp"
#include "tests/audio/audio_test_support.hpp"

namespace lowstride::audio {
namespace {

namespace fs = std::filesystem;

class BadRecording : public AudioFiles {
 protected:
  /// The error of opening, which must be one sentence that names the file and holds a cure.
  static Error error_of(const fs::path& path, const OpenOptions& options = {}) {
    const auto reader = open_recording(path, options);
    if (reader) {
      ADD_FAILURE() << path << " was opened";
      return {};
    }
    const std::string& message = reader.error().message;
    EXPECT_NE(message.find(path.filename().string()), std::string::npos) << message;
    EXPECT_EQ(message.find('\n'), std::string::npos) << message;
    EXPECT_NE(message.find("; "), std::string::npos) << message;  // the cure follows
    EXPECT_EQ(message.back(), '.') << message;
    return reader.error();
  }

  /// A WAV file of 16 bits with whatever its header says.
  fs::path write_wav(const std::string& name, std::uint16_t channel_count, std::uint32_t rate_hz,
                     std::uint32_t data_size, std::size_t present_bytes) const {
    std::string bytes = "RIFF....WAVEfmt ";
    const auto put = [&](auto value) {
      bytes.append(reinterpret_cast<const char*>(&value), sizeof value);
    };
    put(std::uint32_t{16});
    put(std::uint16_t{1});
    put(channel_count);
    put(rate_hz);
    put(rate_hz * 2U * channel_count);
    put(static_cast<std::uint16_t>(2U * channel_count));
    put(std::uint16_t{16});
    bytes += "data";
    put(data_size);
    bytes.append(present_bytes, '\x10');
    return write_bytes(name, bytes);
  }

  /// A decoding program written in shell; `body` may use `le32 N`, which writes four bytes.
  OpenOptions fake_decoder(const std::string& body) const {
    const fs::path path =
        write_bytes("decoder",
                    "#!/bin/sh\nle32() { printf \"\\\\$(printf %o $(($1 & 255)))\\\\$(printf %o "
                    "$(($1 >> 8 & 255)))\\\\$(printf %o $(($1 >> 16 & 255)))\\\\$(printf %o $(($1 "
                    ">> 24 & 255)))\"; }\nheader() { printf LSDEC001; le32 1; le32 16; le32 $1; "
                    "le32 $2; le32 -1; le32 -1; }\n" +
                        body + "\n");
    ::chmod(path.c_str(), 0755);
    OpenOptions options;
    options.decoder = path;
    options.decoder_stall_seconds = 0.4;
    return options;
  }
  [[nodiscard]] fs::path not_for_sndfile(std::size_t size = 100) const {
    std::string bytes = "stands for a file that libsndfile declines";
    bytes.resize(size, '.');
    return write_bytes("phone.m4a", bytes);
  }

  /// A FLAC file of constant silence, 8 channels at 192 kHz, in blocks of 65,535 samples, as no
  /// encoder writes it. Format: RFC 9639, sections 8.2 (STREAMINFO), 9.1 (frame header), 9.2.3
  /// (constant subframe), 9.3 (footer).
  [[nodiscard]] fs::path write_flac_bomb(const std::string& name, std::uint32_t frame_count) const {
    constexpr std::uint32_t block = 65535;
    constexpr std::uint32_t rate_hz = 192000;
    std::string bytes = "fLaC";
    const auto put = [](std::string& to, std::uint64_t value, int byte_count) {
      for (int i = byte_count - 1; i >= 0; --i) {
        to += static_cast<char>(value >> static_cast<unsigned>(8 * i) & 0xFFU);
      }
    };
    put(bytes, 0x80000022U, 4);  // the last block of metadata: 34 bytes
    put(bytes, block, 2);
    put(bytes, block, 2);
    put(bytes, 0, 6);
    put(bytes,
        std::uint64_t{rate_hz} << 44U | std::uint64_t{7} << 41U | std::uint64_t{15} << 36U |
            std::uint64_t{block} * frame_count,
        8);
    bytes.append(16, '\0');
    const auto crc = [](const std::string& of, std::uint32_t polynomial, unsigned width) {
      std::uint32_t sum = 0;
      for (const char byte : of) {
        sum ^= static_cast<std::uint32_t>(static_cast<unsigned char>(byte)) << (width - 8);
        for (int bit = 0; bit < 8; ++bit) {
          sum = (sum << 1U) ^ ((sum >> (width - 1) & 1U) != 0 ? polynomial : 0U);
        }
      }
      return sum & ((1U << width) - 1);
    };
    for (std::uint32_t i = 0; i < frame_count; ++i) {
      std::string frame;
      put(frame, 0xFFF87078U, 4);  // length in 16 bits, rate above, 8 channels, 16 bits
      if (i < 0x80) {
        put(frame, i, 1);
      } else {
        put(frame, 0xC080U | (i & 0x7C0U) << 2U | (i & 0x3FU), 2);
      }
      put(frame, block - 1, 2);
      put(frame, crc(frame, 0x07, 8), 1);
      frame.append(std::size_t{8} * 3, '\0');
      put(frame, crc(frame, 0x8005, 16), 2);
      bytes += frame;
    }
    return write_bytes(name, bytes);
  }
};

TEST_F(BadRecording, what_is_not_there_or_cannot_be_read) {
  EXPECT_EQ(error_of(folder() / "none.wav").code, ErrorCode::not_found);
  fs::create_directory(folder() / "tunes.wav");
  EXPECT_EQ(error_of(folder() / "tunes.wav").code, ErrorCode::unreadable);
  ASSERT_EQ(::mkfifo((folder() / "pipe.wav").c_str(), 0600), 0);
  EXPECT_EQ(error_of(folder() / "pipe.wav").code, ErrorCode::unreadable);
  EXPECT_EQ(error_of(write_bytes("empty.wav", "")).code, ErrorCode::not_audio);
  fs::create_symlink("nowhere", folder() / "link.wav");
  EXPECT_EQ(error_of(folder() / "link.wav").code, ErrorCode::not_found);
  if (::geteuid() != 0) {
    const fs::path secret = write_bytes("secret.wav", "RIFF");
    ::chmod(secret.c_str(), 0);
    EXPECT_EQ(error_of(secret).code, ErrorCode::unreadable);
  }
}

// The superuser may read everything: try it as somebody else.
TEST_F(BadRecording, a_file_without_permission) {
  if (::geteuid() != 0) GTEST_SKIP() << "covered by the test above";
  const fs::path secret = write_bytes("secret.wav", "RIFF");
  ::chmod(folder().c_str(), 0755);
  ::chmod(secret.c_str(), 0);
  EXPECT_EQ(run_in_child([&] {
              if (::setuid(65534) != 0) return 2;
              const auto reader = open_recording(secret);
              return !reader && reader.error().code == ErrorCode::unreadable &&
                             reader.error().message.find("permissions") != std::string::npos
                         ? 0
                         : 1;
            }),
            0);
}

TEST_F(BadRecording, what_is_not_audio) {
  const std::string prose = "Bars 9 to 12: walk down from the sixth.\n";
  std::string text;
  while (text.size() < 50000) text += prose;
  for (const char* name : {"notes.wav", "notes.mp3", "notes.flac", "notes.au", "notes.vox",
                           "notes.gsm", "notes.m4a", "notes", "notes.raw", "notes.aac"}) {
    SCOPED_TRACE(name);
    EXPECT_EQ(error_of(write_bytes(name, text)).code, ErrorCode::not_audio);
  }
  std::string noise;
  std::uint32_t state = 99;
  while (noise.size() < 100000) {
    state = state * 1664525U + 1013904223U;
    noise += static_cast<char>(state >> 24U);
  }
  testing::internal::CaptureStderr();
  EXPECT_EQ(error_of(write_bytes("noise.wav", noise)).code, ErrorCode::not_audio);
  EXPECT_FALSE(open_recording(write_bytes("noise.mp3", noise)));
  EXPECT_EQ(testing::internal::GetCapturedStderr(), "");
}

TEST_F(BadRecording, headers_that_promise_the_impossible) {
  EXPECT_EQ(error_of(write_wav("a.wav", 64, 44100, 1U << 20U, 1U << 20U)).code,
            ErrorCode::unsupported);
  EXPECT_EQ(error_of(write_wav("b.wav", 2, 4000, 1U << 20U, 1U << 20U)).code,
            ErrorCode::unsupported);
  EXPECT_EQ(error_of(write_wav("c.wav", 2, 384000, 1U << 20U, 1U << 20U)).code,
            ErrorCode::unsupported);
  EXPECT_EQ(error_of(write_wav("d.wav", 2, 44100, 0, 0)).code, ErrorCode::unsupported);
  EXPECT_FALSE(open_recording(write_wav("e.wav", 65535, 0xFFFFFFFFU, 0xFFFFFFF0U, 1U << 20U)));
  EXPECT_FALSE(open_recording(write_wav("f.wav", 0, 44100, 1U << 20U, 1U << 20U)));
  // 1.5 GB promised, 4 s there: what is there is used.
  const auto reader = open_recording(write_wav("g.wav", 2, 44100, 0x60000000U, 4 * 44100 * 4));
  ASSERT_TRUE(reader) << reader.error().message;
  EXPECT_EQ((*reader)->info().sample_count, 4 * 44100);
  EXPECT_NE((*reader)->info().lost_note.find("are missing"), std::string::npos);
}

TEST_F(BadRecording, more_than_six_hours_is_refused_before_it_is_read) {
  // 8 kHz, 8 bit would need 173 MB: a file with a hole instead.
  const fs::path path = write_wav("long.wav", 1, 8000, 2 * 8000 * (6 * 3600 + 1), 0);
  fs::resize_file(path, 44 + 2ULL * 8000 * (6 * 3600 + 1));
  const Error error = error_of(path);
  EXPECT_EQ(error.code, ErrorCode::unsupported);
  EXPECT_NE(error.message.find("6 hours"), std::string::npos) << error.message;
}

TEST_F(BadRecording, a_film_without_sound_and_a_picture) {
  const std::string make =
      "ffmpeg -nostdin -v error -f lavfi -i color=c=black:s=64x64:d=2:r=5 -c:v mpeg4 '" +
      (folder() / "silent.mp4").string() + "' >/dev/null 2>&1";
  if (std::system(make.c_str()) != 0) GTEST_SKIP() << "the command ffmpeg is not installed";
  const Error error = error_of(folder() / "silent.mp4");
  EXPECT_EQ(error.code, ErrorCode::not_audio);
  EXPECT_NE(error.message.find("no sound"), std::string::npos) << error.message;
}

TEST_F(BadRecording, phone_files_cut_or_damaged_anywhere_never_break_anything) {
  write_by_sndfile(folder() / "source.wav", sine(2, 5 * 44100, 441, 0.5F), 44100,
                   SF_FORMAT_WAV | SF_FORMAT_PCM_16);
  if (!encode_by_ffmpeg(folder() / "source.wav", folder() / "a.m4a", "-c:a aac")) {
    GTEST_SKIP() << "the command ffmpeg is not installed";
  }
  const std::string whole = file_bytes(folder() / "a.m4a");
  // The index is at its end: nothing can be read, and that is not "no recording".
  EXPECT_EQ(error_of(write_bytes("half.m4a", whole.substr(0, whole.size() / 2))).code,
            ErrorCode::damaged);
  std::uint32_t state = 7;
  for (int round = 0; round < 12; ++round) {
    std::string bytes = whole;
    for (int i = 0; i < 40; ++i) {
      state = state * 1664525U + 1013904223U;
      bytes[state % bytes.size()] = static_cast<char>(state >> 24U);
    }
    const auto reader = open_recording(write_bytes("b.m4a", bytes));
    if (reader) {
      EXPECT_LE((*reader)->info().sample_count, 10 * 44100);
    } else {
      EXPECT_NE(reader.error().message.find("b.m4a"), std::string::npos);
    }
  }
}

TEST_F(BadRecording, a_decoder_that_hangs_is_given_up) {
  const auto before = std::chrono::steady_clock::now();
  const Error error = error_of(not_for_sndfile(), fake_decoder("exec sleep 60"));
  EXPECT_EQ(error.code, ErrorCode::damaged);
  EXPECT_NE(error.message.find("hangs"), std::string::npos) << error.message;
  EXPECT_LT(std::chrono::steady_clock::now() - before, std::chrono::seconds(20));
  EXPECT_EQ(error_of(not_for_sndfile(), fake_decoder("header 44100 2; exec sleep 60")).code,
            ErrorCode::damaged);
}

TEST_F(BadRecording, a_decoder_that_dies_is_one_sentence) {
  const fs::path phone = not_for_sndfile();
  EXPECT_EQ(error_of(phone, fake_decoder("kill -SEGV $$")).code, ErrorCode::damaged);
  EXPECT_EQ(error_of(phone, fake_decoder("header 44100 2; kill -KILL $$")).code,
            ErrorCode::damaged);
  EXPECT_EQ(error_of(phone, fake_decoder("header 44100 2; le32 5; le32 8; printf abc")).code,
            ErrorCode::damaged);
  EXPECT_EQ(error_of(phone, fake_decoder("exit 0")).code, ErrorCode::damaged);
}

TEST_F(BadRecording, a_decoder_that_lies_is_not_believed) {
  const fs::path phone = not_for_sndfile();
  for (const char* lie : {
           "yes nonsense | head -c 100000",                              // no magic
           "header 0 2",                                                 // no rate
           "header 44100 0",                                             // no channels
           "header 44100 2; le32 5; le32 -1; yes | head -c 100000",      // a block of 4 GB
           "header 44100 2; le32 5; le32 12; yes | head -c 100000",      // one and a half samples
           "header 44100 2; le32 5; le32 0",                             // an empty block
           "header 44100 2; le32 2; le32 100000; yes | head -c 100000",  // a title without end
           "header 44100 2; le32 77; le32 4; le32 0",                    // an unknown message
           "header 44100 2; le32 8; le32 8; le32 9; le32 0",             // left out unasked
           "header 44100 2; le32 1; le32 16; le32 1; le32 1; le32 1; le32 1",
       }) {
    SCOPED_TRACE(lie);
    EXPECT_EQ(error_of(phone, fake_decoder(lie)).code, ErrorCode::damaged);
  }
  EXPECT_EQ(error_of(phone, fake_decoder("header 44100 64; sleep 1")).code, ErrorCode::unsupported);
  EXPECT_EQ(error_of(phone, fake_decoder("header 44100 2; le32 6; le32 8; le32 0; le32 0")).code,
            ErrorCode::unsupported);  // no sound in it
}

// 1 MiB blocks of silence without end: stopped at six hours, 691 MB of output, of which none is
// kept.
TEST_F(BadRecording, a_decoder_that_never_ends_is_stopped_at_six_hours) {
  const fs::path block = folder() / "block";
  std::string message;
  const protocol::Message head{static_cast<std::uint32_t>(protocol::Kind::samples), 1U << 20U};
  message.append(reinterpret_cast<const char*>(&head), sizeof head);
  message.append(1U << 20U, '\0');
  write_bytes("block", message);
  const auto decoder = DecoderProcess::start(
      not_for_sndfile(40000),
      fake_decoder("header 8000 1; while cat '" + block.string() + "'; do :; done"), {});
  ASSERT_TRUE(decoder) << decoder.error().message;
  std::int64_t received = 0;
  auto got = (*decoder)->next_block();
  for (; got && !got->empty(); got = (*decoder)->next_block()) {
    received += static_cast<std::int64_t>(got->size());
    ASSERT_LE(received, 6LL * 3600 * 8000);
  }
  ASSERT_FALSE(got);
  EXPECT_EQ(got.error().code, ErrorCode::unsupported);
  EXPECT_NE(got.error().message.find("6 hours"), std::string::npos) << got.error().message;
}

TEST_F(BadRecording, what_unpacks_beyond_all_measure_is_refused) {
  // 31 s in 3 kB are 92 MB; the same 21 s are below the limit of what is weighed and are read.
  const Error error = error_of(write_flac_bomb("bomb.flac", 91));
  EXPECT_EQ(error.code, ErrorCode::unsupported);
  EXPECT_NE(error.message.find("10000 times"), std::string::npos) << error.message;
  const auto small = open_recording(write_flac_bomb("small.flac", 60));
  ASSERT_TRUE(small) << small.error().message;
  EXPECT_EQ((*small)->info().sample_count, 60 * 65535);

  const protocol::Message head{static_cast<std::uint32_t>(protocol::Kind::samples), 1U << 20U};
  std::string message(reinterpret_cast<const char*>(&head), sizeof head);
  message.append(1U << 20U, '\0');
  const fs::path block = write_bytes("block", message);
  EXPECT_NE(error_of(not_for_sndfile(),
                     fake_decoder("header 48000 2; while cat '" + block.string() + "'; do :; done"))
                .message.find("10000 times"),
            std::string::npos);
}

// Half an hour of digital silence, which packs better than anything that is played.
TEST_F(BadRecording, a_long_silence_is_a_recording) {
  write_by_sndfile(folder() / "silence.flac", Planes(2, std::vector<float>(1800 * 44100)), 44100,
                   SF_FORMAT_FLAC | SF_FORMAT_PCM_16);
  EXPECT_LT(fs::file_size(folder() / "silence.flac") * 1000, std::uintmax_t{1800} * 44100 * 4);
  EXPECT_TRUE(open_recording(folder() / "silence.flac"));
}

TEST_F(BadRecording, a_decoder_that_is_missing_is_named) {
  OpenOptions options;
  options.decoder = folder() / "nowhere" / "lowstride-decode";
  const Error error = error_of(not_for_sndfile(), options);
  EXPECT_EQ(error.code, ErrorCode::unsupported);
  EXPECT_NE(error.message.find("install"), std::string::npos) << error.message;
}

// The limits are the kernel's, so a shell shows its own.
TEST_F(BadRecording, the_decoder_runs_with_limits) {
  const fs::path limits = folder() / "limits";
  fs::create_directory(limits);
  // The program starts before its limits are set from outside: wait for them.
  error_of(not_for_sndfile(),
           fake_decoder("sleep 0.2; mkdir \"" + limits.string() +
                        "/cpu$(ulimit -t)mem$(ulimit -v)core$(ulimit -c)file$(ulimit -f)\""));
#if defined(__SANITIZE_THREAD__)
  EXPECT_TRUE(fs::exists(limits / "cpu2400memunlimitedcore0fileunlimited"));
#elif defined(__SANITIZE_ADDRESS__)
  EXPECT_TRUE(fs::exists(limits / "cpu2400memunlimitedcore0file0"));
#else
  EXPECT_TRUE(fs::exists(limits / "cpu2400mem1048576core0file0"));
#endif
}

TEST_F(BadRecording, decoding_can_be_stopped) {
  std::atomic<bool> cancel = true;
  OpenOptions options = fake_decoder("header 44100 2; exec sleep 60");
  options.decoder_stall_seconds = 30.0;
  const WorkControl control{{}, &cancel};
  const auto reader = open_recording(not_for_sndfile(), options, control);
  ASSERT_FALSE(reader);
  EXPECT_EQ(reader.error().code, ErrorCode::cancelled);
}

TEST_F(BadRecording, a_full_disk_while_decoding_says_where_to_free_space) {
  write_by_sndfile(folder() / "a.wav", sine(2, 20 * 44100, 441, 0.5F), 44100,
                   SF_FORMAT_WAV | SF_FORMAT_PCM_16);
  EXPECT_EQ(run_in_child([&] {
              std::signal(SIGXFSZ, SIG_IGN);
              const rlimit limit{1U << 20U, 1U << 20U};
              ::setrlimit(RLIMIT_FSIZE, &limit);
              const auto audio = prepare_analysis_audio(folder() / "a.wav");
              return !audio && audio.error().code == ErrorCode::cannot_write &&
                             audio.error().message.find("free some space") != std::string::npos
                         ? 0
                         : 1;
            }),
            0);
  EXPECT_TRUE(fs::is_empty(folder() / "cache" / "lowstride"));
}

TEST_F(BadRecording, a_name_full_of_control_characters_does_not_reach_the_terminal) {
  const auto reader = open_recording(folder() / "\x1b[31mred\n.wav");
  ASSERT_FALSE(reader);
  EXPECT_EQ(reader.error().message.find('\x1b'), std::string::npos);
  EXPECT_EQ(reader.error().message.find('\n'), std::string::npos);
}

}  // namespace
}  // namespace lowstride::audio
