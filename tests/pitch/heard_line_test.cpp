#include "tests/pitch/heard_line.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <random>
#include <vector>

#include "tests/pitch/plucked_line.hpp"

namespace lowstride::dsp {
namespace {

// A line of known notes against what is heard. What counts as found: onset within 50 ms; an end
// within 20 % of the note or 50 ms (MIREX note tracking; Raffel et al., mir_eval, ISMIR 2014).
struct Score {
  std::size_t found = 0;
  std::size_t ended = 0;
  std::size_t invented = 0;
  double worst_onset_ms = 0.0;
};

Score score(const std::vector<PluckedNote>& line, const std::vector<DecodedNote>& heard) {
  Score result;
  std::vector<bool> is_used(heard.size(), false);
  for (const PluckedNote& note : line) {
    for (std::size_t i = 0; i < heard.size(); ++i) {
      const double late = heard[i].onset_seconds - note.onset_seconds;
      if (is_used[i] || heard[i].midi != std::lround(note.midi) || std::abs(late) > 0.05) continue;
      is_used[i] = true;
      ++result.found;
      result.worst_onset_ms = std::max(result.worst_onset_ms, 1000.0 * std::abs(late));
      const double slack = std::max(0.05, 0.2 * (note.offset_seconds - note.onset_seconds));
      if (std::abs(heard[i].offset_seconds - note.offset_seconds) <= slack) ++result.ended;
      break;
    }
  }
  result.invented = heard.size() - result.found;
  return result;
}

// Every semitone of [lowest, highest] in steps of seven, so that neighbours share few partials.
std::vector<PluckedNote> every_semitone(int lowest, int highest, double step, double length) {
  const int count = highest - lowest + 1;
  std::vector<PluckedNote> line;
  for (int i = 0; i < count; ++i) {
    const double begin = 0.5 + step * i;
    line.push_back({begin, begin + length, lowest + static_cast<double>(i * 7 % count)});
  }
  return line;
}

// A walk in quarter notes: the smallest steps and their turning points.
std::vector<PluckedNote> walk(double bpm, int bars) {
  constexpr int steps[] = {31, 35, 38, 37, 36, 40, 43, 42, 41, 38, 36, 34, 33, 30, 28, 30};
  std::vector<PluckedNote> line;
  for (int i = 0; i < 4 * bars; ++i) {
    const double begin = 0.5 + 60.0 / bpm * i;
    line.push_back({begin, begin + 0.9 * 60.0 / bpm, static_cast<double>(steps[i % 16])});
  }
  return line;
}

// Higher than C4 the ears often take a lone string for somebody else's solo.
TEST(HeardLine, has_every_semitone_from_b0_to_c4) {
  const auto line = every_semitone(23, 60, 0.5, 0.45);
  const Score heard = score(line, hear(play_plucked(line, 21.0)));
  EXPECT_EQ(heard.found, line.size());
  EXPECT_GE(heard.ended + 1, line.size());
  EXPECT_EQ(heard.invented, 0U);
  EXPECT_LT(heard.worst_onset_ms, 30.0);
}

TEST(HeardLine, keeps_the_octave_when_the_fundamental_is_weak) {
  const auto line = every_semitone(28, 48, 0.5, 0.45);
  const Score heard = score(line, hear(play_plucked(line, 12.0, {.fundamental_gain = 0.1})));
  EXPECT_EQ(heard.found, line.size());
  EXPECT_EQ(heard.invented, 0U);
}

TEST(HeardLine, follows_250_quarter_notes_a_minute) {
  const auto line = walk(250.0, 8);
  const Score heard = score(line, hear(play_plucked(line, 9.0)));
  EXPECT_EQ(heard.found, line.size());
  EXPECT_EQ(heard.invented, 0U);
}

TEST(HeardLine, has_swung_eighths) {
  std::vector<PluckedNote> line;
  constexpr int pitches[] = {33, 36, 40, 38, 36, 35, 33, 31};
  for (int beat = 0; beat < 16; ++beat) {
    const double begin = 0.5 + 0.375 * beat;  // 160 beats a minute, divided 2:1
    line.push_back({begin, begin + 0.24, static_cast<double>(pitches[beat % 8])});
    line.push_back({begin + 0.25, begin + 0.365, static_cast<double>(pitches[beat % 8] + 2)});
  }
  const Score heard = score(line, hear(play_plucked(line, 7.0)));
  EXPECT_GE(heard.found + 1, line.size());
  EXPECT_LE(heard.invented, 1U);
}

TEST(HeardLine, tells_repeated_notes_from_held_ones) {
  std::vector<PluckedNote> repeated;
  repeated.reserve(16);
  for (int i = 0; i < 16; ++i) repeated.push_back({0.5 + 0.4 * i, 0.87 + 0.4 * i, 33});
  const Score again = score(repeated, hear(play_plucked(repeated, 7.5)));
  EXPECT_EQ(again.found, repeated.size());
  EXPECT_EQ(again.invented, 0U);

  std::vector<PluckedNote> held;
  held.reserve(4);
  for (int i = 0; i < 4; ++i) held.push_back({0.5 + 1.6 * i, 2.0 + 1.6 * i, 33.0 + 2 * i});
  const Score once = score(held, hear(play_plucked(held, 7.5, {.decay_seconds = 2.0})));
  EXPECT_EQ(once.found, held.size());
  EXPECT_EQ(once.invented, 0U);
}

TEST(HeardLine, leaves_rests_empty) {
  std::vector<PluckedNote> line;
  line.reserve(8);
  for (int i = 0; i < 8; ++i) line.push_back({0.5 + 1.0 * i, 0.9 + 1.0 * i, 33.0 + i});
  const auto heard = hear(play_plucked(line, 9.0));
  const Score result = score(line, heard);
  EXPECT_EQ(result.found, line.size());
  EXPECT_EQ(result.ended, line.size());
  EXPECT_EQ(result.invented, 0U);
}

TEST(HeardLine, follows_a_recording_that_is_out_of_tune) {
  const auto line = walk(120.0, 8);
  const double flat = 440.0 * std::exp2(-35.0 / 1200.0);
  const Score heard = score(line, hear(play_plucked(line, 17.0, {.a4_hz = flat})));
  EXPECT_EQ(heard.found, line.size());
  EXPECT_EQ(heard.invented, 0U);
}

TEST(HeardLine, is_sure_of_a_plain_line_and_of_its_octave) {
  const auto line = walk(120.0, 8);
  for (const DecodedNote& note : hear(play_plucked(line, 17.0))) {
    EXPECT_GT(note.confidence, 0.8) << note.onset_seconds;
    EXPECT_GT(note.octave_margin, 0.8) << note.onset_seconds;
  }
}

std::vector<float> noise(double seconds, unsigned seed) {
  std::mt19937 random(seed);
  std::normal_distribution<float> normal(0.0F, 0.1F);
  std::vector<float> sound(static_cast<std::size_t>(seconds * analysis_rate_hz));
  std::ranges::generate(sound, [&] { return normal(random); });
  return sound;
}

// A kick that falls from 90 Hz to 45 Hz, and bursts of noise, at 120 beats a minute.
std::vector<float> drums(double seconds) {
  const std::vector<float> grain = noise(seconds, 11);
  std::vector<float> sound(grain.size());
  double phase = 0.0;
  for (std::size_t n = 0; n < sound.size(); ++n) {
    const double time = static_cast<double>(n) / analysis_rate_hz;
    const double since = std::fmod(time, 0.5);
    const bool is_kick = std::fmod(time, 1.0) < 0.5;
    phase += 2.0 * std::numbers::pi * (45.0 + 45.0 * std::exp(-since / 0.03)) / analysis_rate_hz;
    const double kick = is_kick ? 0.6 * std::sin(phase) * std::exp(-since / 0.08) : 0.0;
    const double snare =
        is_kick ? 0.0 : 2.0 * static_cast<double>(grain[n]) * std::exp(-since / 0.06);
    const double hat =
        0.5 * static_cast<double>(grain[n]) * std::exp(-std::fmod(time, 0.25) / 0.02);
    sound[n] = static_cast<float>(kick + snare + hat);
  }
  return sound;
}

// Voiced syllables: pulses whose pitch glides between 95 and 160 Hz, through two formants.
std::vector<float> talk(double seconds) {
  std::mt19937 random(5);
  std::uniform_real_distribution<double> uniform(0.0, 1.0);
  std::vector<float> sound(static_cast<std::size_t>(seconds * analysis_rate_hz), 0.0F);
  std::size_t n = 4000;
  while (n + 8000 < sound.size()) {
    const auto length =
        static_cast<std::size_t>((0.08 + 0.14 * uniform(random)) * analysis_rate_hz);
    const double from_hz = 95.0 + 65.0 * uniform(random);
    const double to_hz = from_hz * (0.8 + 0.35 * uniform(random));
    const double formants_hz[] = {300.0 + 500.0 * uniform(random),
                                  1000.0 + 1200.0 * uniform(random)};
    double phase = 0.0;
    for (std::size_t i = 0; i < length; ++i) {
      const double part = static_cast<double>(i) / static_cast<double>(length);
      const double hz = from_hz + (to_hz - from_hz) * part;
      phase += hz / analysis_rate_hz;
      const double since = (phase - std::floor(phase)) / hz;  // from the last pulse
      double value = 0.0;
      for (const double formant : formants_hz) {
        value += std::exp(-since * 500.0) * std::sin(2.0 * std::numbers::pi * formant * since);
      }
      sound[n + i] = static_cast<float>(0.2 * value * std::sin(std::numbers::pi * part));
    }
    n += length + static_cast<std::size_t>((0.03 + 0.2 * uniform(random)) * analysis_rate_hz);
  }
  return sound;
}

TEST(HeardLine, is_empty_without_a_low_voice) {
  const auto samples = static_cast<std::size_t>(8.0 * analysis_rate_hz);
  EXPECT_TRUE(hear({}).empty());
  EXPECT_TRUE(hear(std::vector<float>(1, 0.5F)).empty());
  EXPECT_TRUE(hear(std::vector<float>(samples, 0.0F)).empty());
  EXPECT_TRUE(hear(std::vector<float>(samples, 0.3F)).empty());
  EXPECT_TRUE(hear(noise(8.0, 7)).empty());
  EXPECT_TRUE(hear(drums(12.0)).empty());
  EXPECT_TRUE(hear(talk(20.0)).empty());
}

}  // namespace
}  // namespace lowstride::dsp
