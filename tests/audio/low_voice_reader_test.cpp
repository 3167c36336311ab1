#include "src/audio/low_voice_reader.hpp"

#include <sndfile.h>

#include <cmath>
#include <numbers>

#include "tests/audio/audio_test_support.hpp"

namespace lowstride::audio {
namespace {

class LowVoices : public AudioFiles {
 protected:
  [[nodiscard]] std::unique_ptr<LowVoiceReader> reader(const std::vector<ScoreNote>& notes) const {
    Planes planes(2, std::vector<float>(90000));
    for (std::size_t n = 0; n < 90000; ++n) {
      const double turn = 2.0 * std::numbers::pi * static_cast<double>(n) / 44100.0;
      // The high tones lie between partials of A1 (k = 18 and 19, 23 and 24).
      const double low = 0.3 * std::sin(55.0 * turn) + 0.2 * std::sin(110.0 * turn);
      planes[0][n] = static_cast<float>(low + 0.2 * std::sin(1034.0 * turn));
      planes[1][n] = static_cast<float>(low - 0.2 * std::sin(1328.0 * turn));
    }
    write_by_sndfile(folder() / "a.wav", planes, 44100, SF_FORMAT_WAV | SF_FORMAT_FLOAT);
    auto opened = open_recording(folder() / "a.wav");
    EXPECT_TRUE(opened);
    return std::make_unique<LowVoiceReader>(std::move(*opened), notes, 440.0);
  }
  static Planes all(LowVoiceReader& reader, const LowVoiceSettings& settings) {
    EXPECT_TRUE(reader.set(settings));
    EXPECT_TRUE(reader.seek(0));
    return read_all(reader, 1000);
  }
};

const std::vector<ScoreNote> held_a1{{0, 90000, 33.0, false}};

TEST_F(LowVoices, without_a_wish_the_samples_pass_as_they_are) {
  const auto reader = this->reader(held_a1);
  const Planes plain = all(*reader, {});
  ASSERT_EQ(plain[0].size(), 90000U);
  EXPECT_NEAR(plain[0][1000],
              0.3 * std::sin(55.0 * 2.0 * std::numbers::pi * 1000.0 / 44100.0) +
                  0.2 * std::sin(110.0 * 2.0 * std::numbers::pi * 1000.0 / 44100.0) +
                  0.2 * std::sin(1034.0 * 2.0 * std::numbers::pi * 1000.0 / 44100.0),
              1e-6);
}

TEST_F(LowVoices, the_voice_alone_and_the_rest_add_up_to_the_recording) {
  for (const auto& notes : {held_a1, std::vector<ScoreNote>{}}) {
    const auto reader = this->reader(notes);
    EXPECT_EQ(reader->is_from_notes(), !notes.empty());
    const Planes plain = all(*reader, {});
    const Planes only = all(*reader, {.use = LowVoiceUse::only});
    const Planes minus = all(*reader, {.use = LowVoiceUse::minus});
    ASSERT_EQ(only[1].size(), plain[1].size());
    ASSERT_EQ(minus[1].size(), plain[1].size());
    double low_power = 0.0;
    double rest_power = 0.0;
    for (std::size_t n = 8000; n < 82000; ++n) {
      ASSERT_NEAR(only[1][n] + minus[1][n], plain[1][n], 1e-5) << n;
      low_power += only[1][n] * only[1][n];
      rest_power += minus[1][n] * minus[1][n];
    }
    // 0.3 and 0.2 below: (0.09 + 0.04) / 2 = 0.065 a sample; 0.2 above: 0.02.
    EXPECT_NEAR(low_power / 74000.0, 0.065, 0.003);
    EXPECT_NEAR(rest_power / 74000.0, 0.02, 0.002);
  }
}

TEST_F(LowVoices, a_sample_is_the_same_from_wherever_one_seeks) {
  const auto reader = this->reader(held_a1);
  const Planes whole = all(*reader, {.use = LowVoiceUse::minus});
  for (const std::int64_t from : {1, 1023, 40000, 89990}) {
    ASSERT_TRUE(reader->seek(from));
    const Planes rest = read_all(*reader, 777);
    ASSERT_EQ(rest[0].size(), 90000U - static_cast<std::size_t>(from));
    for (std::size_t n = 0; n < rest[0].size(); ++n) {
      ASSERT_NEAR(rest[0][n], whole[0][n + static_cast<std::size_t>(from)], 1e-6) << from;
    }
  }
}

TEST_F(LowVoices, up_brings_it_forward_by_nine_decibels) {
  const auto reader = this->reader(held_a1);
  const Planes only = all(*reader, {.use = LowVoiceUse::only});
  const Planes plain = all(*reader, {});
  const Planes up = all(*reader, {.use = LowVoiceUse::up});
  for (std::size_t n = 20000; n < 60000; ++n) {
    ASSERT_NEAR(up[0][n], plain[0][n] + 1.8 * only[0][n], 1e-4) << n;
  }
}

TEST_F(LowVoices, an_octave_up_doubles_its_pitch_and_leaves_the_rest) {
  const auto reader = this->reader(held_a1);
  const Planes raised = all(*reader, {.use = LowVoiceUse::only, .octave_up = true});
  ASSERT_EQ(raised[0].size(), 90000U);
  // Power at the partials, by sums over 0.9 s: 110 and 220 Hz are there, 55 Hz is gone.
  const auto amplitude = [&](double hz) {
    double re = 0.0;
    double im = 0.0;
    for (std::size_t n = 22050; n < 22050 + 39690; ++n) {
      const double turn = 2.0 * std::numbers::pi * hz * static_cast<double>(n) / 44100.0;
      re += raised[0][n] * std::cos(turn);
      im += raised[0][n] * std::sin(turn);
    }
    return 2.0 * std::hypot(re, im) / 39690.0;
  };
  EXPECT_NEAR(amplitude(110.0), 0.3, 0.03);
  EXPECT_NEAR(amplitude(220.0), 0.2, 0.03);
  EXPECT_LT(amplitude(55.0), 0.01);
}

TEST_F(LowVoices, other_notes_count_from_the_next_seek_on) {
  const auto reader = this->reader({});
  reader->set_notes(held_a1, 440.0);
  ASSERT_TRUE(reader->seek(0));
  EXPECT_TRUE(reader->is_from_notes());
}

}  // namespace
}  // namespace lowstride::audio
