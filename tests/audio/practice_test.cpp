#include "src/audio/practice.hpp"

#include <sndfile.h>

#include <atomic>
#include <cmath>

#include "tests/audio/audio_test_support.hpp"

namespace lowstride::audio {
namespace {

using Click = PracticePlan::Click;

/// Bars 1.. of `beats_per_bar` beats, `interval` samples apart, the first at `begin`.
std::vector<PracticeBeat> even_beats(int bar_count, int beats_per_bar, std::int64_t begin,
                                     std::int64_t interval) {
  std::vector<PracticeBeat> beats;
  for (int bar = 1; bar <= bar_count; ++bar) {
    for (int beat = 1; beat <= beats_per_bar; ++beat) {
      beats.push_back({begin, bar, beat});
      begin += interval;
    }
  }
  return beats;
}

PracticePlan plan_of(const std::vector<PracticeBeat>& beats, std::int64_t begin, std::int64_t end,
                     const PracticeOptions& options) {
  const auto plan = plan_practice(beats, begin, end, options);
  if (plan) return *plan;
  ADD_FAILURE() << plan.error().message;
  return {};
}

TEST(PracticePlan, one_bar_of_count_in_then_the_passage_at_half_speed) {
  // Beats every 1000 samples from 500 on; the passage is bar 2: 4500 to 8500.
  const auto beats = even_beats(4, 4, 500, 1000);
  PracticeOptions options;
  options.count_in_bars = 1;
  options.click = ClickPattern::two_and_four;
  const PracticePlan plan = plan_of(beats, 4500, 8500, options);
  // Count-in: four clicks 2000 apart from 0; the passage at 8000, its beats 2 and 4 at 10000,
  // 14000.
  const std::vector<Click> wanted{{0, true},     {2000, false},  {4000, false},
                                  {6000, false}, {10000, false}, {14000, false}};
  EXPECT_EQ(plan.clicks, wanted);
  const std::vector<PracticePlan::Repetition> repetitions{{0.5, 0, 8000, 16000}};
  EXPECT_EQ(plan.repetitions, repetitions);
  EXPECT_EQ(plan.output_sample_count, 16000);
}

TEST(PracticePlan, the_count_in_has_the_feel_of_the_first_bar) {
  // A bar that hurries: distances 1000, 900, 1100, 800.
  std::vector<PracticeBeat> beats{{10000, 1, 1}, {11000, 1, 2}, {11900, 1, 3},
                                  {13000, 1, 4}, {13800, 2, 1}, {14800, 2, 2}};
  PracticeOptions options;
  options.speed_ratios = {1.0};
  options.count_in_bars = 2;
  const PracticePlan plan = plan_of(beats, 10000, 13800, options);
  const std::vector<Click> wanted{{0, true},    {1000, false}, {1900, false}, {3000, false},
                                  {3800, true}, {4800, false}, {5700, false}, {6800, false}};
  EXPECT_EQ(plan.clicks, wanted);
  EXPECT_EQ(plan.repetitions[0].begin_sample, 7600);
}

TEST(PracticePlan, a_passage_inside_a_bar_is_led_to_by_the_beats_before_it) {
  const auto beats = even_beats(3, 3, 0, 1000);
  PracticeOptions options;
  options.speed_ratios = {1.0};
  options.count_in_bars = 1;
  // From beat 3 of bar 1, 200 samples early (a pick-up): 1 2 3, 1 2, then the passage at 4800.
  const PracticePlan plan = plan_of(beats, 1800, 6000, options);
  const std::vector<Click> wanted{
      {0, true}, {1000, false}, {2000, false}, {3000, true}, {4000, false}};
  EXPECT_EQ(plan.clicks, wanted);
  EXPECT_EQ(plan.repetitions[0].begin_sample, 4800);
}

TEST(PracticePlan, click_patterns_follow_the_meter) {
  PracticeOptions options;
  options.speed_ratios = {1.0};
  const auto places = [&](int beats_per_bar, ClickPattern pattern) {
    options.click = pattern;
    std::vector<std::int64_t> found;
    for (const Click& click :
         plan_of(even_beats(2, beats_per_bar, 0, 10), 0, 20 * beats_per_bar, options).clicks) {
      found.push_back(click.sample / 10);
    }
    return found;
  };
  using Places = std::vector<std::int64_t>;
  EXPECT_EQ(places(4, ClickPattern::all), (Places{0, 1, 2, 3, 4, 5, 6, 7}));
  EXPECT_EQ(places(4, ClickPattern::two_and_four), (Places{1, 3, 5, 7}));
  EXPECT_EQ(places(4, ClickPattern::one), (Places{0, 4}));
  EXPECT_EQ(places(3, ClickPattern::two_and_four), (Places{1, 2, 4, 5}));
  EXPECT_EQ(places(3, ClickPattern::one), (Places{0, 3}));
  EXPECT_EQ(places(4, ClickPattern::none), Places());
}

TEST(PracticePlan, a_ramp_counts_in_at_each_new_speed_and_repeats_without_a_gap) {
  PracticeOptions options;
  options.speed_ratios = *ramp_speeds(0.5, 1.0, 0.25, 2);
  EXPECT_EQ(options.speed_ratios, (std::vector<double>{0.5, 0.5, 0.75, 0.75, 1.0, 1.0}));
  options.count_in_bars = 1;
  const PracticePlan plan = plan_of(even_beats(4, 4, 0, 300), 1200, 2400, options);
  ASSERT_EQ(plan.repetitions.size(), 6U);
  std::int64_t place = 0;
  for (std::size_t i = 0; i < 6; ++i) {
    const auto& repetition = plan.repetitions[i];
    EXPECT_EQ(repetition.count_in_sample, place);
    const auto length = std::llround(1200.0 / repetition.speed_ratio);
    EXPECT_EQ(repetition.begin_sample - repetition.count_in_sample, i % 2 == 0 ? length : 0);
    EXPECT_EQ(repetition.end_sample - repetition.begin_sample, length);
    place = repetition.end_sample;
  }
  EXPECT_EQ(plan.output_sample_count, place);
}

TEST(PracticePlan, ramps) {
  EXPECT_EQ(ramp_speeds(0.5, 1.0, 0.05, 1)->size(), 11U);
  EXPECT_EQ(ramp_speeds(0.5, 1.0, 0.05, 1)->back(), 1.0);
  EXPECT_EQ(*ramp_speeds(1.0, 0.5, 0.3, 1), (std::vector<double>{1.0, 0.7, 0.5}));
  EXPECT_EQ(*ramp_speeds(0.8, 0.8, 0.1, 3), (std::vector<double>{0.8, 0.8, 0.8}));
  for (const auto& bad :
       {ramp_speeds(0.1, 1.0, 0.1, 1), ramp_speeds(0.5, 1.6, 0.1, 1), ramp_speeds(0.5, 1.0, 0.0, 1),
        ramp_speeds(0.5, 1.0, -0.1, 1), ramp_speeds(0.5, 1.0, std::nan(""), 1),
        ramp_speeds(std::nan(""), 1.0, 0.1, 1), ramp_speeds(0.5, 1.0, 0.1, 0),
        ramp_speeds(0.5, 1.0, 1e-9, 1), ramp_speeds(0.5, 1.0, 0.001, 100)}) {
    ASSERT_FALSE(bad);
    EXPECT_EQ(bad.error().code, ErrorCode::invalid_argument);
  }
}

TEST(PracticePlan, values_without_meaning_are_refused) {
  const auto beats = even_beats(4, 4, 0, 1000);
  const auto is_refused = [&](const std::vector<PracticeBeat>& grid, std::int64_t begin,
                              std::int64_t end, const PracticeOptions& options) {
    const auto plan = plan_practice(grid, begin, end, options);
    return !plan && plan.error().code == ErrorCode::invalid_argument;
  };
  PracticeOptions good;
  good.count_in_bars = 1;
  EXPECT_FALSE(is_refused(beats, 0, 1000, good));
  EXPECT_TRUE(is_refused(beats, 1000, 1000, good));
  EXPECT_TRUE(is_refused(beats, -5, 1000, good));
  EXPECT_TRUE(is_refused({}, 0, 1000, good));
  EXPECT_TRUE(is_refused({{0, 1, 1}}, 0, 1000, good));
  EXPECT_TRUE(is_refused({{500, 1, 1}, {400, 1, 2}}, 0, 1000, good));
  PracticeOptions bad = good;
  bad.speed_ratios.clear();
  EXPECT_TRUE(is_refused(beats, 0, 1000, bad));
  bad.speed_ratios = {0.5, std::nan("")};
  EXPECT_TRUE(is_refused(beats, 0, 1000, bad));
  bad = good;
  bad.count_in_bars = 9;
  EXPECT_TRUE(is_refused(beats, 0, 1000, bad));
  bad = good;
  bad.click_gain_db = 3.0;
  EXPECT_TRUE(is_refused(beats, 0, 1000, bad));
}

class Practice : public AudioFiles {
 protected:
  /// Silence with a click of sound on each beat.
  PracticeJob job_on_beats(const char* output) const {
    PracticeJob job;
    job.input = folder() / "a.wav";
    job.output = folder() / output;
    job.score.beats = even_beats(4, 4, 22050, 22050);
    job.options.fade_in_seconds = 0.0;
    return job;
  }
  static Planes read(const std::filesystem::path& path) {
    const auto reader = open_recording(path);
    if (!reader) {
      ADD_FAILURE() << reader.error().message;
      return {{}};
    }
    return read_all(**reader);
  }
};

TEST_F(Practice, clicks_sound_exactly_where_they_are_planned) {
  write_by_sndfile(folder() / "a.wav", Planes(2, std::vector<float>(20 * 22050, 0.0F)), 44100,
                   SF_FORMAT_WAV | SF_FORMAT_PCM_16);
  PracticeJob job = job_on_beats("b.wav");
  job.begin_sample = 22050 * 5;
  job.end_sample = 22050 * 9;
  job.options.speed_ratios = {0.5, 0.75};
  job.options.count_in_bars = 1;
  job.options.click = ClickPattern::all;
  job.options.click_gain_db = -6.0;
  const auto report = render_practice(job);
  ASSERT_TRUE(report) << report.error().message;
  const Planes got = read(job.output);
  ASSERT_EQ(got[0].size(), static_cast<std::size_t>(report->plan.output_sample_count));
  EXPECT_EQ(report->plan.clicks.size(), 16U);
  std::size_t next = 0;
  for (std::size_t i = 0; i < got[1].size(); ++i) {
    const bool is_quiet = next == report->plan.clicks.size() ||
                          static_cast<std::int64_t>(i) <= report->plan.clicks[next].sample;
    // Sound begins one sample after the beat: the click begins at the zero of its sine.
    if (is_quiet &&
        (next == 0 || static_cast<std::int64_t>(i) > report->plan.clicks[next - 1].sample + 1800)) {
      ASSERT_EQ(got[1][i], 0.0F) << i;
    } else if (!is_quiet) {
      EXPECT_NE(got[1][i], 0.0F) << "click " << next;
      ++next;
    }
  }
  EXPECT_EQ(next, report->plan.clicks.size());
  EXPECT_NEAR(report->output_peak, 0.501, 0.01);  // -6 dB
}

TEST_F(Practice, a_score_alone_is_rendered_at_its_own_time_base) {
  PracticeJob job = job_on_beats("b.wav");
  job.input.reset();
  job.time_base_hz = 48000.0;
  job.score.length_samples = 480000;
  job.score.notes = {{96000, 144000, 33.0, false}, {192000, 240000, 40.0, false}};
  job.line_gain_db = 0.0;
  job.options.speed_ratios = {0.5, 0.5};
  const auto report = render_practice(job);
  ASSERT_TRUE(report) << report.error().message;
  EXPECT_EQ(report->sample_rate_hz, 48000);
  const Planes got = read(job.output);
  ASSERT_EQ(got.size(), 1U);
  ASSERT_EQ(got[0].size(), 1920000U);
  // Each note sounds from twice its onset on, in both repetitions, and not before.
  for (const std::size_t round : {0U, 960000U}) {
    for (const std::size_t onset : {192000U, 384000U}) {
      double before = 0.0;
      double after = 0.0;
      for (std::size_t i = 0; i < 4000; ++i) {
        before = std::max(before, std::abs(static_cast<double>(got[0][round + onset - 1 - i])));
        after = std::max(after, std::abs(static_cast<double>(got[0][round + onset + i])));
      }
      EXPECT_LT(before, 2e-3) << round + onset;
      EXPECT_GT(after, 0.3) << round + onset;
    }
  }
  job.score.length_samples = 0;
  const auto nothing = render_practice(job);
  ASSERT_FALSE(nothing);
  EXPECT_EQ(nothing.error().code, ErrorCode::invalid_argument);
}

TEST_F(Practice, the_low_voice_is_taken_out_by_its_notes) {
  auto planes = sine(2, 132300, 44100.0 / 55.0, 0.4F);
  const auto high = sine(2, 132300, 44100.0 / 997.0, 0.2F);
  for (std::size_t i = 0; i < planes[0].size(); ++i) planes[0][i] += high[0][i];
  write_by_sndfile(folder() / "a.wav", planes, 44100, SF_FORMAT_WAV | SF_FORMAT_FLOAT);
  PracticeJob job = job_on_beats("b.wav");
  job.options.speed_ratios = {0.8};
  job.score.notes = {{0, 132300, 33.0, false}};
  job.low_voice.use = LowVoiceUse::minus;
  job.tags.title = "Ferry Slip, bridge";
  ASSERT_TRUE(render_practice(job));
  const Planes got = read(job.output);
  const auto power = [](const std::vector<float>& values) {
    double sum = 0.0;
    for (std::size_t i = 20000; i < 140000; ++i) sum += values[i] * values[i];
    return sum / 120000.0;
  };
  EXPECT_NEAR(power(got[0]), 0.02, 0.002);  // only the high tone: 0.2^2 / 2
  EXPECT_LT(power(got[1]), 1e-4);
  EXPECT_EQ((*open_recording(job.output))->info().title, "Ferry Slip, bridge (80 %)");
}

TEST_F(Practice, repetitions_are_alike_and_begin_where_they_should) {
  write_by_sndfile(folder() / "a.wav", sine(2, 20 * 22050, 220.5, 0.5F), 44100,
                   SF_FORMAT_WAV | SF_FORMAT_PCM_16);
  PracticeJob job = job_on_beats("b.flac");
  job.begin_sample = 44100;
  job.end_sample = 44100 + 50001;
  job.options.speed_ratios = {0.5, 0.5, 1.0};
  const auto report = render_practice(job);
  ASSERT_TRUE(report) << report.error().message;
  const Planes got = read(job.output);
  ASSERT_EQ(got[0].size(), 100002U + 100002U + 50001U);
  for (std::size_t i = 0; i < 100002; ++i) ASSERT_EQ(got[0][i], got[0][i + 100002]) << i;
  // At full speed the passage is the recording's own, but for 5 ms at the cuts.
  const Planes source = read(*job.input);
  for (std::size_t i = 221; i < 50001 - 221; ++i) {
    ASSERT_EQ(got[1][200004 + i], source[1][44100 + i]) << i;
  }
  EXPECT_LT(std::abs(got[1][200004]), 1e-3F);
  EXPECT_LT(std::abs(got[1].back()), 1e-3F);
}

// A protective gain: the first sound, wherever it comes, is 18 dB under its level and there in a
// second; the next repetition comes whole.
TEST_F(Practice, the_first_sound_rises_to_its_level) {
  auto planes = sine(2, 20 * 22050, 441.0, 0.5F);
  for (auto& plane : planes) std::fill_n(plane.begin(), 30000, 0.0F);
  write_by_sndfile(folder() / "a.wav", planes, 44100, SF_FORMAT_WAV | SF_FORMAT_PCM_16);
  PracticeJob job = job_on_beats("b.flac");
  job.end_sample = 160000;
  job.options.speed_ratios = {1.0, 1.0};
  job.options.fade_in_seconds = PracticeOptions().fade_in_seconds;
  ASSERT_TRUE(render_practice(job));
  const Planes got = read(job.output);
  const auto level_db = [&](std::size_t begin) {
    float peak = 0.0F;
    for (std::size_t i = begin; i < begin + 441; ++i) peak = std::max(peak, std::abs(got[1][i]));
    return 20.0 * std::log10(static_cast<double>(peak) / 0.5);
  };
  EXPECT_NEAR(level_db(30441), -18.0, 0.5);
  EXPECT_NEAR(level_db(30000 + 22050), -9.0, 0.3);
  EXPECT_NEAR(level_db(30000 + 44100), 0.0, 0.05);
  EXPECT_NEAR(level_db(160000 + 30441), 0.0, 0.05);
}

TEST_F(Practice, errors_leave_nothing_behind) {
  write_by_sndfile(folder() / "a.wav", sine(2, 20 * 22050, 220.5, 0.5F), 44100,
                   SF_FORMAT_WAV | SF_FORMAT_PCM_16);
  PracticeJob job = job_on_beats("b.wav");
  job.begin_sample = 100 * 22050;
  EXPECT_EQ(render_practice(job).error().code, ErrorCode::invalid_argument);
  job = job_on_beats("a.wav");
  EXPECT_EQ(render_practice(job).error().code, ErrorCode::invalid_argument);
  job = job_on_beats("b.wav");
  job.options.shift_semitones = std::nan("");
  EXPECT_EQ(render_practice(job).error().code, ErrorCode::invalid_argument);
  job = job_on_beats("b.wav");
  job.score.beats.clear();
  job.options.click = ClickPattern::all;
  EXPECT_EQ(render_practice(job).error().code, ErrorCode::invalid_argument);
  job = job_on_beats("b.wav");
  std::atomic<bool> cancel = false;
  const WorkControl control{[&](std::string_view, double share) { cancel = share > 0.3; }, &cancel};
  EXPECT_EQ(render_practice(job, control).error().code, ErrorCode::cancelled);
  EXPECT_EQ(file_names(), std::vector<std::string>{"a.wav"});
}

}  // namespace
}  // namespace lowstride::audio
