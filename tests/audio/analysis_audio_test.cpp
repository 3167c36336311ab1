#include "src/audio/analysis_audio.hpp"

#include <sndfile.h>

#include <atomic>
#include <cmath>
#include <numbers>

#include "tests/audio/audio_test_support.hpp"

namespace lowstride::audio {
namespace {

class Analysis : public AudioFiles {
 protected:
  static std::vector<float> all_of(const Result<AnalysisAudio>& audio) {
    if (!audio) {
      ADD_FAILURE() << audio.error().message;
      return {};
    }
    std::vector<float> values(static_cast<std::size_t>(audio->sample_count()));
    EXPECT_TRUE(audio->read(0, values));
    return values;
  }
  static double rms(const std::vector<float>& values) {
    double sum = 0.0;
    for (const float value : values) sum += static_cast<double>(value) * value;
    return std::sqrt(sum / static_cast<double>(values.size()));
  }
};

// Sample n stands for n / 22050 s, whatever the file: a click at 1.5 s lies at 33075.
TEST_F(Analysis, clicks_keep_their_time_at_every_rate) {
  for (const int rate_hz : {8000, 11025, 16000, 22050, 32000, 44100, 48000, 88200, 96000, 192000}) {
    SCOPED_TRACE(rate_hz);
    const auto rate = static_cast<std::size_t>(rate_hz);
    const std::vector<std::size_t> places{rate / 2, rate * 3 / 2, rate * 5 / 2};
    // A click of one sample is mostly above half of 22050 Hz: a short bell of sound instead.
    Planes planes(2, std::vector<float>(3 * rate + 1));
    for (auto& plane : planes) {
      for (const std::size_t place : places) {
        for (std::size_t i = place - rate / 100; i < place + rate / 100; ++i) {
          const double t = (static_cast<double>(i) - static_cast<double>(place)) / rate_hz;
          plane[i] = static_cast<float>(0.9 * std::exp(-t * t / (2.0 * 3e-4 * 3e-4)));
        }
      }
    }
    write_by_sndfile(folder() / "a.wav", planes, rate_hz, SF_FORMAT_WAV | SF_FORMAT_FLOAT);
    const auto values = all_of(prepare_analysis_audio(folder() / "a.wav"));
    ASSERT_EQ(values.size(),
              static_cast<std::size_t>(std::lround((3.0 * rate_hz + 1.0) * 22050.0 / rate_hz)));
    for (const std::size_t place : places) {
      const double wanted = static_cast<double>(place) * 22050.0 / rate_hz;
      const auto near = static_cast<std::size_t>(wanted);
      EXPECT_NEAR(peak_place(values, near - 200, near + 200), wanted, 0.02);
      EXPECT_NEAR(values[near], 0.9F, 0.01F);
    }
  }
}

TEST_F(Analysis, clicks_keep_their_time_in_every_format) {
  const std::size_t place = 66150;  // 1.5 s
  Planes planes(2, std::vector<float>(3 * 44100));
  for (auto& plane : planes) {
    for (std::size_t i = place - 300; i < place + 300; ++i) {
      const double t = (static_cast<double>(i) - static_cast<double>(place)) / 44100.0;
      plane[i] = static_cast<float>(0.9 * std::exp(-t * t / (2.0 * 3e-4 * 3e-4)));
    }
  }
  write_by_sndfile(folder() / "source.wav", planes, 44100, SF_FORMAT_WAV | SF_FORMAT_PCM_16);
  write_by_sndfile(folder() / "a.flac", planes, 44100, SF_FORMAT_FLAC | SF_FORMAT_PCM_16);
  write_by_sndfile(folder() / "a.aiff", planes, 44100, SF_FORMAT_AIFF | SF_FORMAT_PCM_16);
  write_by_sndfile(folder() / "a.ogg", planes, 44100, SF_FORMAT_OGG | SF_FORMAT_VORBIS);
  write_by_sndfile(folder() / "a.mp3", planes, 44100, SF_FORMAT_MPEG | SF_FORMAT_MPEG_LAYER_III);
  std::vector<const char*> names{"source.wav", "a.flac", "a.aiff", "a.ogg", "a.mp3"};
  for (const auto& [name, options] :
       std::vector<std::pair<const char*, const char*>>{{"a.m4a", "-c:a aac -b:a 192k"},
                                                        {"a.webm", "-c:a libopus -b:a 128k"},
                                                        {"raw.aac", "-c:a aac -b:a 192k"}}) {
    if (encode_by_ffmpeg(folder() / "source.wav", folder() / name, options)) names.push_back(name);
  }
  for (const char* name : names) {
    SCOPED_TRACE(name);
    const auto values = all_of(prepare_analysis_audio(folder() / name));
    ASSERT_GT(values.size(), 66000U);
    EXPECT_NEAR(peak_place(values, 32000, 34000), 33075.0, 0.5);
  }
}

TEST_F(Analysis, a_range_begins_exactly_where_it_was_asked_to) {
  write_by_sndfile(folder() / "a.wav", sine(2, 10 * 44100, 44.1, 0.5F), 44100,
                   SF_FORMAT_WAV | SF_FORMAT_PCM_16);
  AnalysisAudioOptions options;
  options.begin_sample = 100001;
  options.end_sample = 100001 + 3 * 44100;
  const auto audio = prepare_analysis_audio(folder() / "a.wav", {}, options);
  const auto values = all_of(audio);
  ASSERT_EQ(values.size(), 3U * 22050U);
  EXPECT_EQ(audio->begin_sample(), 100001);
  EXPECT_EQ(audio->info().sample_count, 441000);
  for (std::size_t n = 2000; n < 64000; n += 777) {
    const double t = 100001.0 / 44100.0 + static_cast<double>(n) / 22050.0;
    EXPECT_NEAR(values[n], 0.5 * std::sin(2.0 * std::numbers::pi * 1000.0 * t), 1e-3);
  }
}

TEST_F(Analysis, reading_outside_gives_silence) {
  write_by_sndfile(folder() / "a.wav", sine(1, 3 * 22050, 50, 0.5F), 22050,
                   SF_FORMAT_WAV | SF_FORMAT_FLOAT);
  const auto audio = prepare_analysis_audio(folder() / "a.wav");
  const auto values = all_of(audio);
  std::vector<float> window(1000, 9.0F);
  ASSERT_TRUE(audio->read(-400, window));
  EXPECT_EQ(window[399], 0.0F);
  EXPECT_EQ(window[410], values[10]);
  ASSERT_TRUE(audio->read(3 * 22050 - 10, window));
  EXPECT_EQ(window[9], values.back());
  EXPECT_EQ(window[10], 0.0F);
  ASSERT_TRUE(audio->read(1000000, window));
  EXPECT_EQ(window[0], 0.0F);
}

TEST_F(Analysis, a_bass_on_one_side_and_one_upside_down_are_both_heard) {
  Planes planes = sine(2, 4 * 44100, 801.8, 0.5F);  // 55 Hz
  const double full = 0.5 / std::numbers::sqrt2;
  const auto heard = [&](const char* name) {
    write_by_sndfile(folder() / name, planes, 44100, SF_FORMAT_WAV | SF_FORMAT_FLOAT);
    const auto audio = prepare_analysis_audio(folder() / name);
    return std::pair{rms(all_of(audio)), audio && audio->is_polarity_turned()};
  };
  EXPECT_NEAR(heard("same.wav").first, full, 1e-3);
  for (float& value : planes[1]) value = -value;
  const auto [turned_rms, is_turned] = heard("turned.wav");
  EXPECT_NEAR(turned_rms, full, 1e-3);
  EXPECT_TRUE(is_turned);
  std::fill(planes[1].begin(), planes[1].end(), 0.0F);
  const auto [left_rms, is_left_turned] = heard("left.wav");
  EXPECT_NEAR(left_rms, full / 2.0, 1e-3);
  EXPECT_FALSE(is_left_turned);
  // Eight channels: the mean of all, at every place.
  Planes eight(8, std::vector<float>(4 * 44100, 0.0F));
  eight[5] = planes[0];
  planes = eight;
  EXPECT_NEAR(heard("eight.wav").first, full / 8.0, 1e-3);
}

TEST_F(Analysis, too_short_is_refused_with_the_cure) {
  write_by_sndfile(folder() / "a.wav", sine(2, 88199, 100, 0.5F), 44100,
                   SF_FORMAT_WAV | SF_FORMAT_PCM_16);
  const auto audio = prepare_analysis_audio(folder() / "a.wav");
  ASSERT_FALSE(audio);
  EXPECT_EQ(audio.error().code, ErrorCode::unsupported);
  EXPECT_NE(audio.error().message.find("a.wav"), std::string::npos);
  EXPECT_NE(audio.error().message.find("2 seconds"), std::string::npos);
  write_by_sndfile(folder() / "b.wav", sine(2, 88200, 100, 0.5F), 44100,
                   SF_FORMAT_WAV | SF_FORMAT_PCM_16);
  EXPECT_TRUE(prepare_analysis_audio(folder() / "b.wav"));
}

TEST_F(Analysis, a_range_without_meaning_is_refused) {
  write_by_sndfile(folder() / "a.wav", sine(2, 200000, 100, 0.5F), 44100,
                   SF_FORMAT_WAV | SF_FORMAT_PCM_16);
  AnalysisAudioOptions options;
  options.begin_sample = 200000;
  EXPECT_EQ(prepare_analysis_audio(folder() / "a.wav", {}, options).error().code,
            ErrorCode::invalid_argument);
  options.begin_sample = 1000;
  options.end_sample = 1000;
  EXPECT_EQ(prepare_analysis_audio(folder() / "a.wav", {}, options).error().code,
            ErrorCode::invalid_argument);
}

TEST_F(Analysis, it_can_be_stopped_and_tells_how_far_it_is) {
  write_by_sndfile(folder() / "a.wav", sine(2, 2000000, 100, 0.5F), 44100,
                   SF_FORMAT_WAV | SF_FORMAT_PCM_16);
  std::atomic<bool> cancel = false;
  double share = 0.0;
  WorkControl control{[&](std::string_view, double now) {
                        share = now;
                        if (now > 0.3) cancel = true;
                      },
                      &cancel};
  const auto audio = prepare_analysis_audio(folder() / "a.wav", control);
  ASSERT_FALSE(audio);
  EXPECT_EQ(audio.error().code, ErrorCode::cancelled);
  EXPECT_GT(share, 0.3);
  EXPECT_LT(share, 0.4);
  EXPECT_TRUE(std::filesystem::is_empty(folder() / "cache" / "lowstride"));
}

}  // namespace
}  // namespace lowstride::audio
