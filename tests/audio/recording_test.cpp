#include "src/audio/recording.hpp"

#include <sndfile.h>

#include <cmath>
#include <fstream>

#include "tests/audio/audio_test_support.hpp"

namespace lowstride::audio {
namespace {

class Recording : public AudioFiles {
 protected:
  /// Opens, or fails the test and returns null.
  static std::unique_ptr<SampleReader> open(const std::filesystem::path& path,
                                            const OpenOptions& options = {}) {
    auto reader = open_recording(path, options);
    if (!reader) {
      ADD_FAILURE() << reader.error().message;
      return nullptr;
    }
    return std::move(*reader);
  }
};

struct Kind {
  const char* name;
  int format;
  std::size_t channel_count;
  int sample_rate_hz;
  float tolerance;  // of a click's height; lossy codecs change it
};

TEST_F(Recording, every_kind_libsndfile_writes_is_read_whole_with_clicks_in_place) {
  const std::vector<Kind> kinds{
      {"a.wav", SF_FORMAT_WAV | SF_FORMAT_PCM_16, 2, 44100, 1e-4F},
      {"b.wav", SF_FORMAT_WAV | SF_FORMAT_PCM_24, 1, 48000, 1e-6F},
      {"c.wav", SF_FORMAT_WAV | SF_FORMAT_PCM_32, 8, 96000, 1e-6F},
      {"d.wav", SF_FORMAT_WAV | SF_FORMAT_FLOAT, 2, 192000, 0.0F},
      {"e.wav", SF_FORMAT_WAV | SF_FORMAT_PCM_U8, 1, 8000, 0.02F},
      {"f.aiff", SF_FORMAT_AIFF | SF_FORMAT_PCM_16, 2, 44100, 1e-4F},
      {"g.caf", SF_FORMAT_CAF | SF_FORMAT_PCM_24, 2, 44100, 1e-6F},
      {"h.flac", SF_FORMAT_FLAC | SF_FORMAT_PCM_16, 2, 44100, 1e-4F},
      {"i.flac", SF_FORMAT_FLAC | SF_FORMAT_PCM_24, 6, 48000, 1e-6F},
      {"j.ogg", SF_FORMAT_OGG | SF_FORMAT_VORBIS, 2, 44100, 0.5F},
      {"k.opus", SF_FORMAT_OGG | SF_FORMAT_OPUS, 2, 48000, 0.7F},
      {"l.mp3", SF_FORMAT_MPEG | SF_FORMAT_MPEG_LAYER_III, 2, 44100, 0.7F},
      {"m.mp3", SF_FORMAT_MPEG | SF_FORMAT_MPEG_LAYER_III, 1, 22050, 0.7F},
  };
  for (const Kind& kind : kinds) {
    SCOPED_TRACE(kind.name);
    const auto rate = static_cast<std::size_t>(kind.sample_rate_hz);
    const std::vector<std::size_t> places{rate / 2, rate + 7, 2 * rate - 100};
    const Planes source = clicks(kind.channel_count, 2 * rate + 13, places);
    write_by_sndfile(folder() / kind.name, source, kind.sample_rate_hz, kind.format);
    const auto reader = open(folder() / kind.name);
    ASSERT_NE(reader, nullptr);
    EXPECT_EQ(reader->info().sample_rate_hz, kind.sample_rate_hz);
    EXPECT_EQ(reader->info().sample_count, static_cast<std::int64_t>(source[0].size()));
    EXPECT_EQ(reader->info().lost_note, "");
    EXPECT_FALSE(reader->info().format_name.empty());
    const Planes got = read_all(*reader, 1000);
    ASSERT_EQ(got.size(), kind.channel_count);
    for (const auto& plane : got) {
      ASSERT_EQ(plane.size(), source[0].size());
      for (const std::size_t place : places) {
        EXPECT_NEAR(peak_place(plane, place - 90, place + 90), static_cast<double>(place), 0.3);
        EXPECT_NEAR(plane[place], 0.8F, kind.tolerance);
      }
    }
  }
}

TEST_F(Recording, every_kind_seeks_to_the_sample) {
  const std::vector<Kind> kinds{
      {"a.wav", SF_FORMAT_WAV | SF_FORMAT_PCM_16, 2, 44100, 0.0F},
      {"b.flac", SF_FORMAT_FLAC | SF_FORMAT_PCM_16, 2, 44100, 0.0F},
      {"c.ogg", SF_FORMAT_OGG | SF_FORMAT_VORBIS, 2, 44100, 0.0F},
      // Opus predicts each packet from the one before and comes near only (RFC 7845, 4.6).
      {"d.opus", SF_FORMAT_OGG | SF_FORMAT_OPUS, 2, 48000, 0.01F},
      {"e.mp3", SF_FORMAT_MPEG | SF_FORMAT_MPEG_LAYER_III, 2, 44100, 0.0F}};
  for (const Kind& kind : kinds) {
    SCOPED_TRACE(kind.name);
    write_by_sndfile(folder() / kind.name, sine(2, 900000, 401.3, 0.5F), kind.sample_rate_hz,
                     kind.format);
    const auto reader = open(folder() / kind.name);
    ASSERT_NE(reader, nullptr);
    const Planes whole = read_all(*reader);
    for (const std::int64_t place : {70001, 0, 119999, 33333, 600000, 120000, 899900, 900000}) {
      ASSERT_TRUE(reader->seek(place));
      EXPECT_EQ(reader->position(), place);
      const Planes rest = read_all(*reader);
      ASSERT_EQ(rest[1].size(), static_cast<std::size_t>(900000 - place));
      for (std::size_t i = 0; i < std::min<std::size_t>(rest[1].size(), 3000); ++i) {
        ASSERT_NEAR(rest[1][i], whole[1][static_cast<std::size_t>(place) + i], kind.tolerance)
            << "at " << place << " + " << i;
      }
    }
  }
}

TEST_F(Recording, phone_and_video_files_are_read_by_the_decoding_program) {
  const std::size_t length = 100003;
  const std::vector<std::size_t> places{22050, 60000, 99000};
  write_by_sndfile(folder() / "source.wav", clicks(2, length, places), 44100,
                   SF_FORMAT_WAV | SF_FORMAT_PCM_16);
  struct Phone {
    const char* name;
    const char* options;
    int sample_rate_hz;
    double length_slack;  // samples that the container or codec may add
  };
  const std::vector<Phone> kinds{
      {"aac.m4a", "-c:a aac -b:a 192k -metadata title=Blue -metadata artist=Trio", 44100, 45},
      {"alac.m4a", "-c:a alac", 44100, 0},
      {"film.mp4", "-f lavfi -i color=c=black:s=64x64:r=5 -shortest -c:v mpeg4 -c:a aac", 44100,
       12000},
      {"film.mov", "-c:a aac", 44100, 45},
      {"opus.webm", "-c:a libopus -b:a 160k", 48000, 1000},
      {"raw.aac", "-c:a aac -b:a 192k", 44100, 2048},
      {"wma.wma", "-c:a wmav2 -b:a 192k", 44100, 4096},
      {"unindexed.mp3", "-c:a libmp3lame -q:a 4 -write_xing 0", 44100, 3000},
  };
  int tried = 0;
  for (const Phone& kind : kinds) {
    SCOPED_TRACE(kind.name);
    if (!encode_by_ffmpeg(folder() / "source.wav", folder() / kind.name, kind.options)) continue;
    ++tried;
    const auto reader = open(folder() / kind.name);
    ASSERT_NE(reader, nullptr);
    EXPECT_EQ(reader->info().sample_rate_hz, kind.sample_rate_hz);
    EXPECT_EQ(reader->info().channel_count, 2);
    const auto glance = glance_at_recording(folder() / kind.name);
    ASSERT_TRUE(glance);
    EXPECT_EQ(glance->sample_rate_hz, kind.sample_rate_hz);
    EXPECT_EQ(glance->channel_count, 2);
    EXPECT_EQ(reader->info().lost_note, "");
    const double scale = kind.sample_rate_hz / 44100.0;
    const auto got = static_cast<double>(reader->info().sample_count);
    EXPECT_NEAR(got, std::round(static_cast<double>(length) * scale), kind.length_slack);
    const Planes planes = read_all(*reader, 777);
    ASSERT_EQ(planes[0].size(), static_cast<std::size_t>(reader->info().sample_count));
    if (std::string_view(kind.name) == "unindexed.mp3" ||
        std::string_view(kind.name) == "wma.wma") {
      continue;  // these have no place to say how late their encoder is
    }
    for (const std::size_t place : places) {
      const double wanted = static_cast<double>(place) * scale;
      const auto near = static_cast<std::size_t>(wanted);
      EXPECT_NEAR(peak_place(planes[0], near - 1500, near + 1000), wanted, 1.0);
    }
    ASSERT_TRUE(reader->seek(50000));
    const Planes rest = read_all(*reader);
    ASSERT_EQ(rest[0].size(), planes[0].size() - 50000);
    EXPECT_EQ(rest[0][123], planes[0][50123]);
    if (std::string_view(kind.name) == "aac.m4a") {
      EXPECT_EQ(reader->info().title, "Blue");
      EXPECT_EQ(reader->info().artist, "Trio");
    }
  }
  if (tried == 0) GTEST_SKIP() << "the command ffmpeg is not installed";
}

// The message digests of FIPS 180-4's examples: "abc" from its appendix (also RFC 6234), and one
// million times "a" from the NIST example values.
TEST_F(Recording, the_content_hash_is_sha_256) {
  EXPECT_EQ(content_hash_of(write_bytes("abc", "abc")),
            "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
  EXPECT_EQ(content_hash_of(write_bytes("million", std::string(1000000, 'a'))),
            "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0");
}

TEST_F(Recording, the_hash_is_of_the_file_and_can_be_left_out) {
  write_by_sndfile(folder() / "a.wav", sine(1, 50000, 100, 0.5F), 44100,
                   SF_FORMAT_WAV | SF_FORMAT_PCM_16);
  EXPECT_EQ(open(folder() / "a.wav")->info().content_hash, content_hash_of(folder() / "a.wav"));
  EXPECT_EQ(open(folder() / "a.wav", {.with_content_hash = false})->info().content_hash, "");
}

TEST_F(Recording, tags_lose_control_characters) {
  SF_INFO info{};
  info.samplerate = 44100;
  info.channels = 1;
  info.format = SF_FORMAT_WAV | SF_FORMAT_PCM_16;
  SNDFILE* file = sf_open((folder() / "a.wav").c_str(), SFM_WRITE, &info);
  ASSERT_NE(file, nullptr);
  sf_set_string(file, SF_STR_TITLE, "Late \x1b[31mBus\n in F\xE2\x99\xAF\xFF");
  sf_set_string(file, SF_STR_ARTIST,
                "The \xE2\x80\xAE"
                "Landing");
  const std::vector<float> silence(50000);
  sf_writef_float(file, silence.data(), 50000);
  sf_close(file);
  const auto reader = open(folder() / "a.wav");
  ASSERT_NE(reader, nullptr);
  EXPECT_EQ(reader->info().title, "Late [31mBus in F\xE2\x99\xAF");
  EXPECT_EQ(reader->info().artist, "The Landing");
}

TEST_F(Recording, non_finite_samples_are_silent_and_counted) {
  Planes planes = sine(2, 60000, 100, 0.5F);
  planes[0][100] = NAN;
  planes[1][40000] = INFINITY;
  planes[1][40001] = -INFINITY;
  write_by_sndfile(folder() / "a.wav", planes, 44100, SF_FORMAT_WAV | SF_FORMAT_FLOAT);
  const auto reader = open(folder() / "a.wav");
  ASSERT_NE(reader, nullptr);
  const Planes got = read_all(*reader);
  EXPECT_EQ(got[0][100], 0.0F);
  EXPECT_EQ(got[1][40000], 0.0F);
  EXPECT_EQ(got[0][101], planes[0][101]);
  EXPECT_EQ(reader->info().non_finite_count, 3);
}

TEST_F(Recording, a_truncated_file_is_used_and_the_loss_stated) {
  const Planes source = sine(2, 20 * 44100, 441, 0.5F);
  const std::vector<std::pair<const char*, int>> kinds{
      {"a.wav", SF_FORMAT_WAV | SF_FORMAT_PCM_16},
      {"b.aiff", SF_FORMAT_AIFF | SF_FORMAT_PCM_16},
      {"c.flac", SF_FORMAT_FLAC | SF_FORMAT_PCM_16},
      {"d.ogg", SF_FORMAT_OGG | SF_FORMAT_VORBIS},
      {"e.mp3", SF_FORMAT_MPEG | SF_FORMAT_MPEG_LAYER_III},
      {"f.caf", SF_FORMAT_CAF | SF_FORMAT_PCM_16}};
  for (const auto& [name, format] : kinds) {
    SCOPED_TRACE(name);
    write_by_sndfile(folder() / name, source, 44100, format);
    const Planes whole = read_all(*open(folder() / name));
    std::filesystem::resize_file(folder() / name, std::filesystem::file_size(folder() / name) / 3);
    testing::internal::CaptureStderr();
    const auto reader = open(folder() / name);
    ASSERT_NE(reader, nullptr);
    const double seconds = reader->info().duration_seconds();
    EXPECT_GT(seconds, 3.0);
    EXPECT_LT(seconds, 9.0);
    EXPECT_FALSE(reader->info().lost_note.empty());
    if (std::string_view(name) != "d.ogg") {  // Ogg says its length at the end only
      EXPECT_NE(reader->info().lost_note.find("of 20 s are missing"), std::string::npos)
          << reader->info().lost_note;
    }
    const Planes got = read_all(*reader);
    EXPECT_EQ(got[0].size(), static_cast<std::size_t>(reader->info().sample_count));
    for (std::size_t i = 0; i < got[0].size() - 3000; i += 97) {
      ASSERT_NEAR(got[0][i], whole[0][i], 2e-3F) << i;
    }
    // Near the end, where an index would be wrong.
    ASSERT_TRUE(reader->seek(reader->info().sample_count - 2000));
    const Planes rest = read_all(*reader);
    EXPECT_EQ(rest[0].size(), 2000U);
    EXPECT_NEAR(rest[0][10], got[0][got[0].size() - 1990], 2e-3F);
    EXPECT_EQ(testing::internal::GetCapturedStderr(), "");
  }
}

// A recorder that is cut off has not filled in the sizes; the sound is there.
TEST_F(Recording, a_wav_file_that_was_never_closed_is_read_to_its_end) {
  write_by_sndfile(folder() / "a.wav", sine(1, 88200, 441, 0.5F), 44100,
                   SF_FORMAT_WAV | SF_FORMAT_PCM_16);
  std::string bytes = file_bytes(folder() / "a.wav");
  const std::size_t data = bytes.find("data");
  ASSERT_NE(data, std::string::npos);
  for (const char filler : {'\x00', '\xff'}) {
    bytes.replace(4, 4, 4, filler);
    bytes.replace(data + 4, 4, 4, filler);
    const auto reader = open(write_bytes("b.wav", bytes));
    ASSERT_NE(reader, nullptr);
    EXPECT_EQ(reader->info().sample_count, 88200);
    EXPECT_EQ(reader->info().lost_note, "");
  }
}

TEST_F(Recording, a_damaged_stretch_in_the_middle_is_silent_and_told) {
  const Planes source = sine(2, 10 * 44100, 441, 0.5F);
  write_by_sndfile(folder() / "a.flac", source, 44100, SF_FORMAT_FLAC | SF_FORMAT_PCM_16);
  std::string bytes = file_bytes(folder() / "a.flac");
  const std::size_t middle = bytes.size() / 2;
  for (std::size_t i = middle; i < middle + bytes.size() / 10; ++i) bytes[i] = '\x55';
  const auto reader = open(write_bytes("b.flac", bytes));
  ASSERT_NE(reader, nullptr);
  const Planes got = read_all(*reader);
  ASSERT_EQ(got[0].size(), 441000U);
  for (std::size_t i = 430000; i < 441000; ++i) ASSERT_NEAR(got[0][i], source[0][i], 1e-3F) << i;
  EXPECT_FALSE(reader->info().lost_note.empty());
}

}  // namespace
}  // namespace lowstride::audio
