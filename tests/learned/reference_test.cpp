// The evidence that PyTorch computes with the weights of this version, for a sound that both sides
// make by formula: dsp/learned/training/export.py writes reference.txt and states the formula.
#include <array>
#include <cmath>
#include <fstream>
#include <map>
#include <numbers>
#include <sstream>
#include <string>
#include <vector>

#include <gtest/gtest.h>

#include "dsp/learned/listener.hpp"

namespace lowstride::dsp {
namespace {

std::vector<float> formula_sound() {
  constexpr std::array<int, 12> midi{33, 37, 40, 42, 38, 42, 45, 43, 40, 44, 47, 46};
  constexpr std::array<double, 4> partials{0.5, 1.0, 0.6, 0.3};
  constexpr double turn = 2.0 * std::numbers::pi;
  const auto hz = [](int note) { return 440.0 * std::exp2((note - 69) / 12.0); };
  std::vector<float> sound(66'150);
  for (std::size_t n = 0; n < sound.size(); ++n) {
    const double t = static_cast<double>(n) / 22050.0;
    const auto note = static_cast<std::size_t>(4.0 * t);
    const double u = t - static_cast<double>(note) / 4.0;
    double value = 0.0;
    for (std::size_t p = 0; p < 4; ++p) {
      value += partials[p] * std::sin(turn * static_cast<double>(p + 1) * hz(midi[note]) * u);
    }
    value *= std::exp(-6.0 * u) * (1.0 - std::exp(-400.0 * u));
    for (const int chord_note : {57, 61, 64, 67})
      value += 0.15 * std::sin(turn * hz(chord_note) * t);
    const double v = t - std::floor(t);
    value += 0.4 * std::exp(-300.0 * v) * std::sin(turn * 3000.0 * v);
    sound[n] = static_cast<float>(value);
  }
  return sound;
}

TEST(Listener, equals_pytorch) {
  const auto sound = formula_sound();
  double squares = 0.0;
  for (const float sample : sound) {
    squares += static_cast<double>(sample) * static_cast<double>(sample);
  }
  SurveyResult survey;  // the reference stands at 440 Hz
  survey.sample_count = sound.size();
  survey.rms = std::sqrt(squares / static_cast<double>(sound.size()));
  survey.is_silent = false;
  const auto weights = embedded_weights();
  ASSERT_TRUE(std::holds_alternative<Weights>(weights)) << std::get<WeightsError>(weights).message;
  Listener listener(std::get<Weights>(weights), survey);
  listener.process(sound);
  const Evidence evidence = listener.finish();

  const std::map<std::string, const ProbabilityTable*> tables{{"pitch", &evidence.pitch},
                                                              {"onset", &evidence.onset},
                                                              {"chord", &evidence.chord},
                                                              {"chord_bass", &evidence.chord_bass}};
  const std::map<std::string, const std::vector<float>*> curves{
      {"beat", &evidence.beat}, {"downbeat", &evidence.downbeat}, {"dead", &evidence.dead}};

  std::ifstream file(LOWSTRIDE_LEARNED_TESTS_DIR "/reference.txt");
  ASSERT_TRUE(file.is_open());
  std::map<std::string, int> seen;
  for (std::string line; std::getline(file, line);) {
    std::istringstream words(line);
    std::string name;
    words >> name;
    ++seen[name];
    if (name == "frames") {
      std::size_t frames = 0, chord_frames = 0;
      words >> frames >> name >> chord_frames;
      ASSERT_EQ(evidence.frame_count(), frames);
      ASSERT_EQ(evidence.chord.row_count(), chord_frames);
      continue;
    }
    if (name == "guitar_share") {
      double share = 0.0;
      words >> share;
      EXPECT_NEAR(evidence.guitar_share, share, 1e-4);
      continue;
    }
    std::size_t row = 0;
    words >> row;
    const auto table = tables.find(name);
    const auto curve = curves.find(name);
    ASSERT_TRUE(table != tables.end() || curve != curves.end()) << name;
    std::vector<float> here;
    if (table != tables.end()) {
      const auto values = table->second->row(row);
      here.assign(values.begin(), values.end());
    } else {
      here = *curve->second;
    }
    for (std::size_t i = 0; i < here.size(); ++i) {
      float expected = 0.0F;
      ASSERT_TRUE(words >> expected) << name << ' ' << row;
      EXPECT_NEAR(here[i], expected, 1e-4F) << name << ' ' << row << ' ' << i;
    }
    EXPECT_TRUE((words >> std::ws).eof()) << name << ' ' << row << ": more values than expected";
  }
  for (const auto* name : {"frames", "pitch", "onset", "chord", "chord_bass", "beat", "downbeat",
                           "dead", "guitar_share"}) {
    EXPECT_GE(seen[name], 1) << name;
  }
}

}  // namespace
}  // namespace lowstride::dsp
