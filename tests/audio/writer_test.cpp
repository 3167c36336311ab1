#include "src/audio/writer.hpp"

#include <sndfile.h>
#include <sys/resource.h>
#include <unistd.h>

#include <cmath>
#include <csignal>

#include "tests/audio/audio_test_support.hpp"

namespace lowstride::audio {
namespace {

namespace fs = std::filesystem;

class Writer : public AudioFiles {
 protected:
  static Result<void> write(const fs::path& path, const Planes& planes, WriteOptions options,
                            std::size_t block_samples = 1000) {
    options.channel_count = static_cast<int>(planes.size());
    auto writer = AudioWriter::create(path, options);
    if (!writer) return tl::unexpected(writer.error());
    std::vector<const float*> pointers(planes.size());
    for (std::size_t begin = 0; begin < planes[0].size(); begin += block_samples) {
      const std::size_t count = std::min(block_samples, planes[0].size() - begin);
      for (std::size_t c = 0; c < planes.size(); ++c) pointers[c] = planes[c].data() + begin;
      if (auto done = (*writer)->write({pointers, count}); !done) return done;
    }
    EXPECT_EQ((*writer)->written_sample_count(), static_cast<std::int64_t>(planes[0].size()));
    return (*writer)->commit();
  }

  /// Read back by libsndfile itself.
  struct ReadBack {
    SF_INFO info{};
    Planes planes;
    std::string title, artist, comment;
  };
  static ReadBack read_back(const fs::path& path) {
    ReadBack back;
    SNDFILE* file = sf_open(path.c_str(), SFM_READ, &back.info);
    if (file == nullptr) {
      ADD_FAILURE() << sf_strerror(nullptr);
      return back;
    }
    const auto text = [&](int which) {
      const char* value = sf_get_string(file, which);
      return std::string(value != nullptr ? value : "");
    };
    back.title = text(SF_STR_TITLE);
    back.artist = text(SF_STR_ARTIST);
    back.comment = text(SF_STR_COMMENT);
    const auto channels = static_cast<std::size_t>(back.info.channels);
    back.planes.resize(channels);
    std::vector<float> block(4096 * channels);
    sf_count_t count = 0;
    while ((count = sf_readf_float(file, block.data(), 4096)) > 0) {
      for (std::size_t i = 0; i < static_cast<std::size_t>(count) * channels; ++i) {
        back.planes[i % channels].push_back(block[i]);
      }
    }
    sf_close(file);
    return back;
  }
};

TEST_F(Writer, every_format_keeps_length_place_level_and_tags) {
  struct Case {
    const char* name;
    SampleFormat format;
    int sndfile_format;
    float tolerance;
  };
  const Planes source = sine(2, 100001, 441.0, 0.7F);
  for (const Case& c :
       {Case{"a.wav", SampleFormat::pcm_16, SF_FORMAT_WAV | SF_FORMAT_PCM_16, 1.6e-5F},
        Case{"b.wav", SampleFormat::pcm_24, SF_FORMAT_WAV | SF_FORMAT_PCM_24, 7e-8F},
        Case{"c.WAV", SampleFormat::float_32, SF_FORMAT_WAV | SF_FORMAT_FLOAT, 0.0F},
        Case{"d.flac", SampleFormat::pcm_16, SF_FORMAT_FLAC | SF_FORMAT_PCM_16, 1.6e-5F},
        Case{"e.flac", SampleFormat::float_32, SF_FORMAT_FLAC | SF_FORMAT_PCM_24, 7e-8F},
        Case{"f.ogg", SampleFormat::pcm_16, SF_FORMAT_OGG | SF_FORMAT_VORBIS, 0.02F},
        Case{"g.mp3", SampleFormat::pcm_16, SF_FORMAT_MPEG | SF_FORMAT_MPEG_LAYER_III, 0.02F}}) {
    SCOPED_TRACE(c.name);
    WriteOptions options;
    options.sample_rate_hz = 44100;
    options.sample_format = c.format;
    options.tags = {"Late Bus, bars 9-12 (50 %)", "The Landing", "for F\xE2\x99\xAF"};
    const auto written = write(folder() / c.name, source, options);
    ASSERT_TRUE(written) << written.error().message;
    const ReadBack back = read_back(folder() / c.name);
    EXPECT_EQ(back.info.format & (SF_FORMAT_TYPEMASK | SF_FORMAT_SUBMASK), c.sndfile_format);
    EXPECT_EQ(back.info.samplerate, 44100);
    EXPECT_EQ(back.info.frames, 100001);
    EXPECT_EQ(back.title, "Late Bus, bars 9-12 (50 %)");
    EXPECT_EQ(back.artist, "The Landing");
    EXPECT_EQ(back.comment, "for F\xE2\x99\xAF");
    ASSERT_EQ(back.planes.size(), 2U);
    ASSERT_EQ(back.planes[1].size(), 100001U);
    for (std::size_t i = 2000; i < 98000; ++i) {
      ASSERT_NEAR(back.planes[1][i], source[1][i], c.tolerance) << i;
    }
  }
  EXPECT_EQ(file_names().size(), 7U);
}

TEST_F(Writer, sixteen_bits_come_out_as_they_were) {
  Planes planes(1, std::vector<float>(65536));
  for (std::size_t i = 0; i < 65536; ++i) {
    planes[0][i] = static_cast<float>(static_cast<int>(i) - 32768) / 32768.0F;
  }
  for (const char* name : {"a.wav", "a.flac"}) {
    ASSERT_TRUE(write(folder() / name, planes, {}));
    EXPECT_EQ(read_back(folder() / name).planes, planes);
  }
}

TEST_F(Writer, what_is_too_loud_is_clipped_and_never_wraps) {
  Planes planes(1, std::vector<float>(50000, 0.0F));
  planes[0][100] = 1.0F;
  planes[0][101] = 7.5F;
  planes[0][102] = -1.5F;
  planes[0][103] = NAN;
  planes[0][104] = INFINITY;
  for (const auto& [name, format] :
       std::vector<std::pair<const char*, SampleFormat>>{{"a.wav", SampleFormat::pcm_16},
                                                         {"b.wav", SampleFormat::pcm_24},
                                                         {"c.wav", SampleFormat::float_32},
                                                         {"d.flac", SampleFormat::pcm_24}}) {
    SCOPED_TRACE(name);
    WriteOptions options;
    options.sample_format = format;
    ASSERT_TRUE(write(folder() / name, planes, options));
    const auto back = read_back(folder() / name).planes[0];
    EXPECT_NEAR(back[100], 1.0F, 4e-5F);
    EXPECT_NEAR(back[101], 1.0F, 4e-5F);
    EXPECT_EQ(back[102], -1.0F);
    EXPECT_EQ(back[103], 0.0F);
    EXPECT_EQ(back[104], 0.0F);
    EXPECT_EQ(back[99], 0.0F);
  }
}

TEST_F(Writer, how_it_is_cut_into_blocks_changes_no_byte) {
  const Planes source = sine(2, 30000, 100.7, 0.7F);
  for (const char* name : {"a.wav", "a.flac", "a.mp3"}) {
    ASSERT_TRUE(write(folder() / name, source, {}, 1));
    const std::string ones = file_bytes(folder() / name);
    ASSERT_TRUE(write(folder() / name, source, {}, 30000));
    EXPECT_EQ(file_bytes(folder() / name), ones) << name;
  }
}

TEST_F(Writer, what_a_format_cannot_hold_is_refused_with_one_that_can) {
  const auto refusal = [&](const char* name, int rate_hz, int channel_count) {
    WriteOptions options;
    options.sample_rate_hz = rate_hz;
    options.channel_count = channel_count;
    const auto checked = check_audio_target(folder() / name, options);
    const auto made = AudioWriter::create(folder() / name, options);
    EXPECT_FALSE(made);
    EXPECT_FALSE(checked);
    if (checked || made) return std::string();
    EXPECT_EQ(checked.error(), made.error());
    EXPECT_EQ(made.error().code, ErrorCode::invalid_argument);
    EXPECT_NE(made.error().message.find(name), std::string::npos);
    return made.error().message;
  };
  EXPECT_NE(refusal("a.mp3", 96000, 2).find(".flac"), std::string::npos);
  EXPECT_NE(refusal("b.mp3", 44100, 6).find(".wav"), std::string::npos);
  EXPECT_NE(refusal("c.m4a", 44100, 2).find(".mp3"), std::string::npos);
  EXPECT_NE(refusal("noending", 44100, 2).find(".wav"), std::string::npos);
  EXPECT_TRUE(file_names().empty());
}

TEST_F(Writer, a_place_that_cannot_be_written_is_named) {
  EXPECT_EQ(AudioWriter::create(folder() / "nowhere" / "a.wav", {}).error().code,
            ErrorCode::cannot_write);
  EXPECT_EQ(check_audio_target(folder() / "nowhere" / "a.wav", {}).error().code,
            ErrorCode::cannot_write);
  fs::create_directory(folder() / "b.wav");
  EXPECT_EQ(AudioWriter::create(folder() / "b.wav", {}).error().code, ErrorCode::cannot_write);
}

TEST_F(Writer, nothing_is_left_without_commit_and_the_old_file_stays) {
  write_bytes("a.wav", "precious");
  {
    auto writer = AudioWriter::create(folder() / "a.wav", {});
    ASSERT_TRUE(writer);
    const Planes planes = sine(2, 4000, 100, 0.5F);
    const std::vector<const float*> pointers{planes[0].data(), planes[1].data()};
    ASSERT_TRUE((*writer)->write({pointers, 4000}));
  }
  EXPECT_EQ(file_bytes(folder() / "a.wav"), "precious");
  EXPECT_EQ(file_names().size(), 1U);
}

// A full disk, provoked by a limit on file size in a child process.
TEST_F(Writer, a_full_disk_is_told_and_leaves_nothing) {
  std::uint32_t state = 1;
  Planes noise(2, std::vector<float>(400000));
  for (auto& plane : noise) {
    for (float& value : plane) {
      state = state * 1664525U + 1013904223U;
      value = static_cast<float>(state >> 8U) / 8388608.0F - 1.0F;
    }
  }
  for (const char* name : {"a.wav", "a.flac", "a.ogg", "a.mp3"}) {
    SCOPED_TRACE(name);
    EXPECT_EQ(run_in_child([&] {
                std::signal(SIGXFSZ, SIG_IGN);
                const rlimit limit{60000, 60000};
                ::setrlimit(RLIMIT_FSIZE, &limit);
                const auto written = write(folder() / name, noise, {});
                return !written && written.error().code == ErrorCode::cannot_write &&
                               written.error().message.find(name) != std::string::npos &&
                               written.error().message.find("free some space") != std::string::npos
                           ? 0
                           : 1;
              }),
              0);
    EXPECT_TRUE(file_names().empty());
  }
}

}  // namespace
}  // namespace lowstride::audio
