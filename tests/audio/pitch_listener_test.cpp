#include "src/audio/pitch_listener.hpp"

#include <stdlib.h>

#include <cmath>
#include <filesystem>
#include <numbers>
#include <random>
#include <span>
#include <string>
#include <vector>

#include <gtest/gtest.h>

#include "src/audio/live_input.hpp"
#include "src/audio/loopback.hpp"
#include "src/audio/writer.hpp"

namespace lowstride::audio {
namespace {

constexpr double rate = 44100.0;

/// A string that dies away: eight partials falling off as 1/k, with a weak fundamental.
void add_pluck(std::vector<float>& sound, double at, double length, double midi) {
  const double f0 = 440.0 * std::exp2((midi - 69.0) / 12.0);
  const auto first = static_cast<std::size_t>(at * rate);
  const auto count = static_cast<std::size_t>(length * rate);
  if (sound.size() < first + count) sound.resize(first + count, 0.0F);
  for (std::size_t i = 0; i < count; ++i) {
    const double t = static_cast<double>(i) / rate;
    double value = 0.0;
    for (int k = 1; k <= 8; ++k) {
      value += (k == 1 ? 0.4 : 1.0) / k * std::exp(-t * (1.0 + 0.5 * k)) *
               std::sin(2.0 * std::numbers::pi * k * f0 * t);
    }
    const double fade = std::min({1.0, t / 0.003, (length - t) / 0.01});
    sound[first + i] += static_cast<float>(0.3 * fade * value);
  }
}

TEST(PitchListener, hears_every_semitone_of_bass_and_guitar) {
  for (int midi = 23; midi <= 76; ++midi) {
    std::vector<float> sound;
    add_pluck(sound, 0.3, 0.8, midi + 0.1);
    sound.resize(sound.size() + 22050, 0.0F);
    const auto notes = hear_notes(sound);
    ASSERT_EQ(notes.size(), 1U) << midi;
    EXPECT_EQ(notes[0].midi, midi);
    // Under the E string a period is a third of the window and the attack still in it.
    EXPECT_NEAR(notes[0].cents, 10.0, midi < 28 ? 15.0 : 6.0) << midi;
    EXPECT_NEAR(notes[0].onset_seconds, 0.3, 0.03) << midi;
    EXPECT_NEAR(notes[0].offset_seconds, 1.1, 0.2) << midi;
  }
}

TEST(PitchListener, how_the_signal_is_cut_changes_nothing) {
  std::vector<float> sound;
  for (int i = 0; i < 8; ++i) add_pluck(sound, 0.2 + 0.4 * i, 0.38, 33 + 2 * i);
  const auto whole = hear_notes(sound);
  EXPECT_EQ(whole.size(), 8U);
  for (const std::size_t size : {1U, 64U, 480U, 4096U}) {
    PitchListener listener({});
    for (std::size_t at = 0; at < sound.size(); at += size) {
      listener.push(std::span(sound).subspan(at, std::min(size, sound.size() - at)));
    }
    listener.finish();
    EXPECT_EQ(listener.notes(), whole) << size;
  }
}

TEST(PitchListener, a_sounding_note_is_decided_in_time) {
  std::vector<float> sound;
  add_pluck(sound, 0.2, 2.0, 28);
  PitchListener listener({});
  double decided = 0.0;
  for (std::size_t at = 0; at + 256 <= sound.size() && decided == 0.0; at += 256) {
    listener.push(std::span(sound).subspan(at, 256));
    if (const auto note = listener.sounding()) {
      EXPECT_EQ(note->midi, 28);
      decided = listener.heard_seconds();
    }
  }
  EXPECT_GT(decided, 0.3);
  EXPECT_LT(decided, 0.2 + PitchListener::decision_seconds() + 0.05);
}

TEST(PitchListener, silence_noise_and_nonsense_are_no_notes) {
  EXPECT_TRUE(hear_notes({}).empty());
  EXPECT_TRUE(hear_notes(std::vector<float>(88200, 0.0F)).empty());
  EXPECT_TRUE(hear_notes(std::vector<float>(44100, std::nanf(""))).empty());
  std::mt19937 random(1);
  std::vector<float> hiss(88200);
  for (float& value : hiss) value = 1e-4F * (static_cast<float>(random() % 2001) / 1000.0F - 1.0F);
  EXPECT_TRUE(hear_notes(hiss).empty());
}

TEST(Tuner, names_the_nearest_string) {
  const std::vector<int> bass{28, 33, 38, 43};
  EXPECT_EQ(tune(bass, 33.0)->string_number, 3);
  EXPECT_NEAR(tune(bass, 42.8)->cents, -20.0, 1e-9);
  EXPECT_EQ(tune(bass, 42.8)->string_midi, 43);
  EXPECT_FALSE(tune(bass, 60.0));
}

TEST(Meter, tells_level_and_peak) {
  // A sine of peak 0.5 has -9.03 dB (its root mean square is 0.5 / sqrt 2).
  PitchListener listener({});
  std::vector<float> sine(44100);
  for (std::size_t i = 0; i < sine.size(); ++i)
    sine[i] = static_cast<float>(
        0.5 * std::sin(2.0 * std::numbers::pi * 110.0 * static_cast<double>(i) / rate));
  listener.push(sine);
  EXPECT_NEAR(listener.reading().level_db, -9.03, 0.3);
  EXPECT_NEAR(listener.reading().peak, 0.5, 0.01);
  ASSERT_TRUE(listener.reading().pitch_midi);
  EXPECT_NEAR(*listener.reading().pitch_midi, 45.0, 0.1);
}

TEST(Loopback, finds_a_known_delay_to_the_sample) {
  const auto sent = loopback_signal(rate);
  std::mt19937 random(2);
  for (const int delay : {0, 1, 4410, 9173, 43000}) {
    std::vector<float> received(static_cast<std::size_t>(3.6 * rate));
    // Weak, upside down and with noise, as by a microphone.
    for (float& value : received)
      value = 0.003F * (static_cast<float>(random() % 2001) / 1000.0F - 1.0F);
    for (std::size_t i = 0;
         i < sent.size() && i + static_cast<std::size_t>(delay) < received.size(); ++i) {
      received[i + static_cast<std::size_t>(delay)] -= 0.1F * sent[i];
    }
    const auto latency = loopback_latency_seconds(received, rate);
    ASSERT_TRUE(latency) << delay;
    EXPECT_NEAR(*latency * rate, delay, 1.0);
  }
  std::vector<float> noise(static_cast<std::size_t>(3.6 * rate));
  for (float& value : noise) value = static_cast<float>(random() % 2001) / 1000.0F - 1.0F;
  EXPECT_FALSE(loopback_latency_seconds(noise, rate));
  EXPECT_FALSE(loopback_latency_seconds({}, rate));
}

TEST(Loopback, the_file_device_has_the_delay_that_was_put_in) {
  const auto sent = loopback_signal(rate);
  std::string folder = (std::filesystem::temp_directory_path() / "lowstride-loop-XXXXXX").string();
  ASSERT_NE(::mkdtemp(folder.data()), nullptr);
  const std::filesystem::path path = std::filesystem::path(folder) / "loop.wav";
  WriteOptions options;
  options.sample_rate_hz = static_cast<int>(rate);
  options.channel_count = 1;
  options.sample_format = SampleFormat::float_32;
  auto writer = AudioWriter::create(path, options);
  ASSERT_TRUE(writer);
  const float* plane = sent.data();
  ASSERT_TRUE((*writer)->write({std::span(&plane, 1), sent.size()}));
  ASSERT_TRUE((*writer)->commit());
  for (const double delay : {0.0, 0.0371, 0.25}) {
    auto input = open_input_file(path, {delay});
    ASSERT_TRUE(input);
    std::vector<float> received(static_cast<std::size_t>(3.6 * rate));
    std::size_t filled = 0;
    while (!(*input)->is_ended() && filled < received.size()) {
      const auto some = std::min<std::size_t>(777, received.size() - filled);
      filled += *(*input)->read(std::span(received).subspan(filled, some));
    }
    const auto latency = loopback_latency_seconds(std::span(received).first(filled), rate);
    ASSERT_TRUE(latency);
    EXPECT_NEAR(*latency, delay, 1.0 / rate);
  }
  EXPECT_FALSE(open_input_file(std::filesystem::path(folder) / "none.wav"));
  std::filesystem::remove_all(folder);
}

// A plug that is pushed in, an interface that wakes up: the input jumps to another constant value.
TEST(PitchListener, an_offset_that_comes_or_goes_is_no_note) {
  for (const float height : {0.02F, 0.3F, -1.0F}) {
    std::vector<float> sound(2 * 44100, 0.0F);
    std::fill(sound.begin() + 30000, sound.begin() + 70000, height);
    EXPECT_TRUE(hear_notes(sound).empty()) << height;
  }
}

// On top of a constant offset a note is heard as without it.
TEST(PitchListener, a_note_on_an_offset_is_heard_as_it_is) {
  std::vector<float> sound(2 * 44100, 0.4F);
  for (std::size_t i = 0; i < 44100; ++i) {
    const double seconds = static_cast<double>(i) / 44100.0;
    sound[22050 + i] += static_cast<float>(0.4 * std::exp(-2.0 * seconds) *
                                           std::sin(2.0 * std::numbers::pi * 55.0 * seconds));
  }
  const auto notes = hear_notes(sound);
  ASSERT_EQ(notes.size(), 1U);
  EXPECT_EQ(notes[0].midi, 33);
  EXPECT_NEAR(notes[0].onset_seconds, 0.5, 0.05);
}

}  // namespace
}  // namespace lowstride::audio
