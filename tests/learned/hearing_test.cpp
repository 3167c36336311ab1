// What the embedded weights make of sounds whose answer is known.
#include <algorithm>
#include <cmath>
#include <numbers>
#include <random>
#include <vector>

#include <gtest/gtest.h>

#include "dsp/learned/listener.hpp"

namespace lowstride::dsp {
namespace {

constexpr double turn = 2.0 * std::numbers::pi;

Evidence listen(const std::vector<float>& sound) {
  Survey survey;
  survey.process(sound);
  auto weights = embedded_weights();
  Listener listener(std::get<Weights>(weights), survey.finish());
  listener.process(sound);
  return listener.finish();
}

struct Pluck {
  double seconds;
  int midi;
};

/// Plucked strings after Fletcher & Rossing, "The Physics of Musical Instruments", 1998, chapter 9:
/// partials of a string plucked at a fifth of its length, amplitude sin(k pi / 5) / k^2 of its
/// displacement (here over k, the velocity at the bridge), higher ones dying away faster.
std::vector<float> pluck(const std::vector<Pluck>& notes, double note_seconds, double seconds,
                         double a4_hz = 440.0) {
  std::vector<float> sound(static_cast<std::size_t>(seconds * analysis_rate_hz));
  for (const Pluck& note : notes) {
    const auto begin = static_cast<std::size_t>(note.seconds * analysis_rate_hz);
    const auto length = static_cast<std::size_t>(note_seconds * analysis_rate_hz);
    const double f0 = a4_hz * std::exp2((note.midi - 69) / 12.0);
    for (std::size_t n = 0; n < length && begin + n < sound.size(); ++n) {
      const double t = static_cast<double>(n) / analysis_rate_hz;
      double value = 0.0;
      for (int k = 1; k <= 12; ++k) {
        value += std::sin(k * std::numbers::pi / 5.0) / k * std::exp(-(1.0 + 0.4 * k) * t) *
                 std::sin(turn * k * f0 * std::sqrt(1.0 + 5e-5 * k * k) * t);
      }
      const double left = note_seconds - t;  // the hand stops the string in 10 ms
      sound[begin + n] += static_cast<float>(0.2 * value * std::min(1.0, left / 0.01));
    }
  }
  return sound;
}

const std::vector<int> line{28, 35, 40, 38, 36, 43, 33, 31, 45, 41, 30, 29, 34, 39, 37, 32};

double share_of_none(const Evidence& evidence) {
  double frames = 0.0;
  for (std::size_t t = 0; t < evidence.frame_count(); ++t) {
    if (evidence.pitch.at(t, no_pitch_column) > 0.5F) frames += 1.0;
  }
  return frames / static_cast<double>(evidence.frame_count());
}

TEST(Ears, hear_a_plucked_line_and_where_its_notes_begin) {
  for (const double a4_hz : {440.0, 431.0}) {
    std::vector<Pluck> notes;
    for (std::size_t i = 0; i < line.size(); ++i) {
      notes.push_back({0.25 + 0.5 * static_cast<double>(i), line[i]});
    }
    const Evidence evidence = listen(pluck(notes, 0.48, 8.5, a4_hz));
    EXPECT_NEAR(1200.0 * std::log2(evidence.a4_hz / a4_hz), 0.0, 2.0);
    int right_count = 0;
    int onset_count = 0;
    for (const Pluck& note : notes) {
      const auto frame = static_cast<std::size_t>(std::lround(seconds_frame(note.seconds + 0.2)));
      const auto column = static_cast<std::size_t>(note.midi - lowest_evidence_midi);
      if (evidence.pitch.at(frame, column) > 0.5F) ++right_count;
      // Strongest onset of this pitch within 0.1 s: two frames (23 ms) from the truth at most.
      const auto begin = static_cast<std::size_t>(std::lround(seconds_frame(note.seconds)));
      std::size_t best = begin - 9;
      for (std::size_t t = best; t <= begin + 9; ++t) {
        if (evidence.onset.at(t, column) > evidence.onset.at(best, column)) best = t;
      }
      if (evidence.onset.at(best, column) > 0.3F && best + 2 >= begin && best <= begin + 2) {
        ++onset_count;
      }
    }
    EXPECT_GE(right_count, 15) << "of 16, A4 = " << a4_hz;
    EXPECT_GE(onset_count, 15) << "of 16, A4 = " << a4_hz;
  }
}

TEST(Ears, hear_no_low_voice_where_there_is_none) {
  const auto samples = static_cast<std::size_t>(6.0 * analysis_rate_hz);
  EXPECT_GT(share_of_none(listen(std::vector<float>(samples))), 0.99) << "silence";
  std::mt19937 generator(5);
  std::normal_distribution<float> normal(0.0F, 0.1F);
  std::vector<float> noise(samples);
  for (float& sample : noise) sample = normal(generator);
  EXPECT_GT(share_of_none(listen(noise)), 0.95) << "white noise";
  // Noise bursts of 50 ms four times a second: a snare, if anything.
  std::vector<float> bursts(samples);
  for (std::size_t n = 0; n < samples; ++n) {
    const double since = std::fmod(static_cast<double>(n) / analysis_rate_hz, 0.25);
    bursts[n] = noise[n] * static_cast<float>(std::exp(-since / 0.02));
  }
  EXPECT_GT(share_of_none(listen(bursts)), 0.9) << "bursts of noise";
  std::vector<Pluck> melody;
  melody.reserve(12);
  for (int i = 0; i < 12; ++i) melody.push_back({0.5 * i, 76 + (i * 5) % 12});
  EXPECT_GT(share_of_none(listen(pluck(melody, 0.48, 6.0))), 0.9) << "a melody in the treble";
}

TEST(Ears, hear_the_root_of_a_plain_triad) {
  // C, F, G and A minor for two seconds each, over their roots.
  const std::vector<std::vector<int>> chords{
      {36, 60, 64, 67}, {41, 60, 65, 69}, {43, 59, 62, 67}, {45, 60, 64, 69}};
  const std::vector<std::size_t> roots{0, 5, 7, 9};
  std::vector<Pluck> notes;
  for (std::size_t i = 0; i < chords.size(); ++i) {
    for (const int midi : chords[i]) notes.push_back({2.0 * static_cast<double>(i), midi});
  }
  const Evidence evidence = listen(pluck(notes, 1.95, 8.0));
  for (std::size_t i = 0; i < roots.size(); ++i) {
    const double frame =
        seconds_frame(2.0 * static_cast<double>(i) + 1.0) / static_cast<double>(chord_hop_frames);
    const auto row = evidence.chord.row(static_cast<std::size_t>(frame));
    std::vector<float> by_root(pitch_class_count);
    for (std::size_t k = 0; k < no_chord_column; ++k) by_root[k / chord_quality_count] += row[k];
    EXPECT_EQ(static_cast<std::size_t>(std::max_element(by_root.begin(), by_root.end()) -
                                       by_root.begin()),
              roots[i])
        << "chord " << i;
  }
}

}  // namespace
}  // namespace lowstride::dsp
