#include "src/audio/slow.hpp"

#include <sndfile.h>
#include <sys/resource.h>

#include <atomic>
#include <cmath>
#include <csignal>
#include <limits>

#include "src/audio/forward_stream.hpp"
#include "tests/audio/audio_test_support.hpp"

namespace lowstride::audio {
namespace {

namespace fs = std::filesystem;

class Slow : public AudioFiles {
 protected:
  static constexpr int wav_16 = SF_FORMAT_WAV | SF_FORMAT_PCM_16;

  [[nodiscard]] SlowJob job(const char* input, const char* output, double speed_ratio) const {
    SlowJob job;
    job.input = folder() / input;
    job.output = folder() / output;
    job.speed_ratio = speed_ratio;
    return job;
  }
  static Planes read(const fs::path& path) {
    const auto reader = open_recording(path);
    if (!reader) {
      ADD_FAILURE() << reader.error().message;
      return {{}};
    }
    return read_all(**reader);
  }
  /// All of a recording, one block after the other.
  static Planes decoded_from_start(const fs::path& path) {
    const auto stream = open_forward(path, 0, {}, {});
    if (!stream) {
      ADD_FAILURE() << stream.error().message;
      return {{}};
    }
    Planes planes(static_cast<std::size_t>((*stream)->info().channel_count));
    while (true) {
      const auto block = (*stream)->next_block();
      if (!block || block->empty()) return planes;
      for (std::size_t i = 0; i < block->size(); ++i) {
        planes[i % planes.size()].push_back((*block)[i]);
      }
    }
  }
  /// Upward zero crossings in a second, from the middle.
  static double frequency_hz(const std::vector<float>& values, double rate_hz) {
    const std::size_t begin = values.size() / 4;
    const std::size_t end = values.size() * 3 / 4;
    double first = -1.0;
    double last = -1.0;
    int count = -1;
    for (std::size_t i = begin + 1; i < end; ++i) {
      if (values[i - 1] < 0.0F && values[i] >= 0.0F) {
        const double place = static_cast<double>(i) - values[i] / (values[i] - values[i - 1]);
        if (first < 0.0) first = place;
        last = place;
        ++count;
      }
    }
    return count < 1 ? 0.0 : count * rate_hz / (last - first);
  }
};

TEST_F(Slow, the_length_is_exact_at_every_speed) {
  write_by_sndfile(folder() / "a.wav", sine(2, 50021, 200.0, 0.5F), 44100, wav_16);
  for (const double speed : {0.2, 0.33, 0.5, 0.75, 0.97, 1.0, 1.25, 1.5}) {
    SCOPED_TRACE(speed);
    const auto report = render_slow(job("a.wav", "b.wav", speed));
    ASSERT_TRUE(report) << report.error().message;
    const auto wanted = static_cast<std::int64_t>(std::llround(50021.0 / speed));
    EXPECT_EQ(report->output_sample_count, wanted);
    EXPECT_EQ(static_cast<std::int64_t>(read(folder() / "b.wav")[0].size()), wanted);
  }
}

TEST_F(Slow, the_pitch_stays_and_the_transposition_is_in_equal_temperament) {
  write_by_sndfile(folder() / "a.wav", sine(1, 4 * 44100, 44100.0 / 110.0, 0.5F), 44100, wav_16);
  for (const auto& [speed, semitones] : std::vector<std::pair<double, double>>{
           {0.5, 0.0}, {0.75, 0.0}, {0.5, 12.0}, {1.0, -5.0}, {0.6, 0.37}}) {
    SlowJob now = job("a.wav", "b.wav", speed);
    now.shift_semitones = semitones;
    ASSERT_TRUE(render_slow(now));
    const double hz = frequency_hz(read(folder() / "b.wav")[0], 44100.0);
    EXPECT_NEAR(1200.0 * std::log2(hz / 110.0), 100.0 * semitones, 2.0);
  }
}

TEST_F(Slow, at_full_speed_nothing_changes) {
  write_by_sndfile(folder() / "a.wav", sine(2, 50000, 99.1, 0.9F), 44100, wav_16);
  ASSERT_TRUE(render_slow(job("a.wav", "b.wav", 1.0)));
  EXPECT_EQ(read(folder() / "b.wav"), read(folder() / "a.wav"));
}

TEST_F(Slow, a_passage_is_cut_exactly) {
  write_by_sndfile(folder() / "a.wav", sine(2, 441000, 99.1, 0.9F), 44100, wav_16);
  SlowJob now = job("a.wav", "b.flac", 1.0);
  now.begin_sample = 44107;
  now.end_sample = 90001;
  const auto report = render_slow(now);
  ASSERT_TRUE(report);
  EXPECT_EQ(report->begin_sample, 44107);
  EXPECT_EQ(report->end_sample, 90001);
  const Planes whole = read(folder() / "a.wav");
  const Planes part = read(folder() / "b.flac");
  ASSERT_EQ(part[0].size(), 90001U - 44107U);
  for (std::size_t i = 0; i < part[0].size(); ++i) ASSERT_EQ(part[1][i], whole[1][44107 + i]);
  now.end_sample = 10000000;  // past the end: the end
  EXPECT_EQ(render_slow(now)->end_sample, 441000);
}

// The reader goes to the passage; decoding all that lies before gives the same samples.
TEST_F(Slow, a_passage_sounds_as_if_all_before_it_had_been_decoded) {
  struct Kind {
    const char* name;
    int rate_hz;
    int format;
  };
  for (const Kind& kind : {Kind{"a.wav", 44100, SF_FORMAT_WAV | SF_FORMAT_PCM_24},
                           Kind{"a.flac", 44100, SF_FORMAT_FLAC | SF_FORMAT_PCM_16},
                           Kind{"a.ogg", 44100, SF_FORMAT_OGG | SF_FORMAT_VORBIS},
                           Kind{"a.mp3", 44100, SF_FORMAT_MPEG | SF_FORMAT_MPEG_LAYER_III},
                           Kind{"b.mp3", 22050, SF_FORMAT_MPEG | SF_FORMAT_MPEG_LAYER_III}}) {
    SCOPED_TRACE(kind.name);
    // Gliding tones with clicks: no two places alike.
    Planes planes = clicks(2, 900000, {100, 300000, 700100, 712345}, 0.5F);
    for (std::size_t i = 0; i < planes[0].size(); ++i) {
      const double place = static_cast<double>(i);
      planes[0][i] += 0.3F * static_cast<float>(std::sin(1e-7 * place * place + 0.02 * place));
      planes[1][i] += 0.2F * static_cast<float>(std::sin(2e-7 * place * place));
    }
    write_by_sndfile(folder() / kind.name, planes, kind.rate_hz, kind.format);
    const Planes whole = decoded_from_start(folder() / kind.name);
    write_by_sndfile(folder() / "whole.wav", whole, kind.rate_hz, SF_FORMAT_WAV | SF_FORMAT_FLOAT);
    for (const std::int64_t begin : {std::int64_t{5}, std::int64_t{40001}, std::int64_t{700000}}) {
      SlowJob by_seeking = job(kind.name, "seeking.wav", 0.7);
      by_seeking.begin_sample = begin;
      by_seeking.end_sample = begin + 30000;
      by_seeking.sample_format = SampleFormat::pcm_24;
      SlowJob from_start = by_seeking;
      from_start.input = folder() / "whole.wav";
      from_start.output = folder() / "start.wav";
      ASSERT_TRUE(render_slow(by_seeking));
      ASSERT_TRUE(render_slow(from_start));
      EXPECT_EQ(read(folder() / "seeking.wav"), read(folder() / "start.wav")) << begin;
    }
  }
}

TEST_F(Slow, silence_stays_silent) {
  write_by_sndfile(folder() / "a.wav", Planes(2, std::vector<float>(100000, 0.0F)), 44100, wav_16);
  const auto report = render_slow(job("a.wav", "b.wav", 0.5));
  ASSERT_TRUE(report);
  EXPECT_EQ(report->output_peak, 0.0);
  const Planes got = read(folder() / "b.wav");
  for (const float value : got[1]) ASSERT_EQ(value, 0.0F);
}

// A square wave at full scale is the worst for a phase vocoder's peaks.
TEST_F(Slow, clipped_input_never_wraps_around) {
  Planes planes = sine(2, 200000, 313.0, 4.0F);
  for (auto& plane : planes) {
    for (float& value : plane) value = std::clamp(value, -1.0F, 0.99996F);
  }
  write_by_sndfile(folder() / "a.wav", planes, 44100, wav_16);
  const auto report = render_slow(job("a.wav", "b.wav", 0.5));
  ASSERT_TRUE(report);
  EXPECT_LE(report->output_peak, 1.0);
  EXPECT_TRUE(report->was_limited);
  const auto got = read(folder() / "b.wav")[0];
  // Wrapping around would be a step of twice full scale from one sample to the next, with the
  // wrong sign; the wave's own edges take their time in the low band.
  double most = 0.0;
  for (const float value : got) most = std::max(most, std::abs(static_cast<double>(value)));
  EXPECT_LE(most, 1.0);
  EXPECT_NEAR(frequency_hz(got, 44100.0), 44100.0 / 313.0, 0.3);
}

TEST_F(Slow, phone_files_are_slowed_too_and_tags_say_what_was_done) {
  write_by_sndfile(folder() / "source.wav", sine(2, 3 * 44100, 200.0, 0.5F), 44100, wav_16);
  if (!encode_by_ffmpeg(folder() / "source.wav", folder() / "a.m4a",
                        "-c:a aac -metadata title='Late Bus' -metadata artist='The Landing'")) {
    GTEST_SKIP() << "the command ffmpeg is not installed";
  }
  const auto report = render_slow(job("a.m4a", "b.mp3", 0.5));
  ASSERT_TRUE(report) << report.error().message;
  EXPECT_EQ(report->output_sample_count, 2 * report->recording.sample_count);
  const auto reader = open_recording(folder() / "b.mp3");
  ASSERT_TRUE(reader);
  EXPECT_EQ((*reader)->info().sample_count, report->output_sample_count);
  EXPECT_EQ((*reader)->info().title, "Late Bus (50 %)");
  EXPECT_EQ((*reader)->info().artist, "The Landing");
}

TEST_F(Slow, values_without_meaning_are_refused) {
  write_by_sndfile(folder() / "a.wav", sine(1, 50000, 99.1, 0.9F), 44100, wav_16);
  const auto code = [](const SlowJob& now) {
    const auto report = render_slow(now);
    return report ? std::optional<ErrorCode>() : report.error().code;
  };
  for (const double speed : {0.0, -0.5, 0.19, 1.51, std::nan(""), HUGE_VAL}) {
    EXPECT_EQ(code(job("a.wav", "b.wav", speed)), ErrorCode::invalid_argument) << speed;
  }
  SlowJob now = job("a.wav", "b.wav", 0.5);
  now.shift_semitones = std::nan("");
  EXPECT_EQ(code(now), ErrorCode::invalid_argument);
  now.shift_semitones = 12.01;
  EXPECT_EQ(code(now), ErrorCode::invalid_argument);
  now = job("a.wav", "b.wav", 0.5);
  now.begin_sample = 50000;
  EXPECT_EQ(code(now), ErrorCode::invalid_argument);
  now.begin_sample = 100;
  now.end_sample = 100;
  EXPECT_EQ(code(now), ErrorCode::invalid_argument);
  EXPECT_EQ(code(job("a.wav", "a.wav", 0.5)), ErrorCode::invalid_argument);
  EXPECT_EQ(code(job("none.wav", "b.wav", 0.5)), ErrorCode::not_found);
  EXPECT_EQ(code(job("a.wav", "b.xyz", 0.5)), ErrorCode::invalid_argument);
  EXPECT_EQ(code(job("a.wav", "nowhere/b.wav", 0.5)), ErrorCode::cannot_write);
  EXPECT_EQ(file_names(), std::vector<std::string>{"a.wav"});
}

TEST_F(Slow, a_full_disk_and_a_stop_leave_nothing) {
  write_by_sndfile(folder() / "a.wav", sine(2, 400000, 99.1, 0.9F), 44100, wav_16);
  EXPECT_EQ(run_in_child([&] {
              std::signal(SIGXFSZ, SIG_IGN);
              const rlimit limit{100000, 100000};
              ::setrlimit(RLIMIT_FSIZE, &limit);
              const auto report = render_slow(job("a.wav", "b.wav", 0.5));
              return !report && report.error().code == ErrorCode::cannot_write ? 0 : 1;
            }),
            0);
  std::atomic<bool> cancel = false;
  const WorkControl control{[&](std::string_view, double share) { cancel = share > 0.2; }, &cancel};
  EXPECT_EQ(render_slow(job("a.wav", "b.wav", 0.5), control).error().code, ErrorCode::cancelled);
  EXPECT_EQ(file_names(), std::vector<std::string>{"a.wav"});
}

}  // namespace
}  // namespace lowstride::audio
