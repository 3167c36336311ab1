#include <cmath>
#include <cstdint>
#include <fstream>
#include <iterator>
#include <string>

#include "src/audio/recording.hpp"
#include "src/take/storage.hpp"
#include "tests/cli/command_run.hpp"

namespace lowstride::cli_test {
namespace {

class Slow : public CommandTest {
 protected:
  /// Samples of a mono 16-bit WAV file: the length of its `data` chunk (Microsoft & IBM,
  /// "Multimedia Programming Interface and Data Specifications 1.0", 1991: a chunk is four letters,
  /// its length in four bytes, little-endian, and its contents).
  [[nodiscard]] long long sample_count(const std::string& name) const {
    std::ifstream stream(in_folder(name), std::ios::binary);
    const std::string bytes((std::istreambuf_iterator<char>(stream)), {});
    for (std::size_t at = 12; at + 8 <= bytes.size();) {
      std::uint32_t length = 0;
      for (std::size_t i = 4; i-- > 0;) {
        length = (length << 8U) | static_cast<unsigned char>(bytes[at + 4 + i]);
      }
      if (bytes.compare(at, 4, "data") == 0) return length / 2;
      at += 8 + length + length % 2;
    }
    return -1;
  }
};

TEST_F(Slow, output_is_exact_to_the_sample) {
  const auto sound = plucked_line({{0.2, 1.0, 33}, {1.3, 1.0, 40}}, 2.50001);
  write_wav(in_folder("line.wav"), sound);
  const std::vector<std::pair<std::string, double>> speeds{
      {"50%", 0.5}, {"0.75", 0.75}, {"80", 0.8}, {"150%", 1.5}, {"20%", 0.2}};
  for (const auto& [text, ratio] : speeds) {
    const Outcome outcome =
        run({"slow", in_folder("line.wav"), "--speed", text, "-o", in_folder("out.wav")});
    ASSERT_EQ(outcome.exit_code, 0) << outcome.err;
    const auto expected = std::llround(static_cast<double>(sound.size()) / ratio);
    EXPECT_EQ(sample_count("out.wav"), expected) << text;
  }
}

TEST_F(Slow, a_stretch_of_the_recording_can_be_slowed) {
  write_wav(in_folder("line.wav"), plucked_line({{0.2, 1.0, 33}, {1.3, 1.0, 40}}, 3.0));
  const Outcome outcome = run({"slow", in_folder("line.wav"), "--speed", "50%", "--from", "1",
                               "--to", "0:02", "-o", in_folder("out.wav")});
  ASSERT_EQ(outcome.exit_code, 0) << outcome.err;
  EXPECT_EQ(sample_count("out.wav"), 88200);
}

/// Bars of four beats at 120 to the minute on 44.1 kHz, a note on each beat, a chord a bar.
take::Take line_take() {
  take::Take made;
  made.title = "Ferry Slip";
  made.time_base_hz = 44100;
  made.length_samples = 44100 * 9;
  std::uint64_t id = 1;
  for (int i = 0; i < 16; ++i) {
    const std::int64_t time = 22050 * (i + 1);
    made.beats.push_back({.id = take::BeatId{id++},
                          .time_samples = time,
                          .bar = i / 4 + 1,
                          .beat = i % 4 + 1,
                          .confidence = 1.0});
    made.notes.push_back({.id = take::NoteId{id++},
                          .onset_samples = time,
                          .offset_samples = time + 20000,
                          .midi = 33 + i % 5,
                          .confidence = 1.0,
                          .acoustic_midi = 33 + i % 5});
    if (i % 4 != 0) continue;
    made.chords.push_back(
        {.id = take::ChordId{id++},
         .begin_samples = time,
         .end_samples = time + 4 * 22050,
         .chord = {.root_pc = 9, .quality = dsp::ChordQuality::minor_seventh, .bass_pc = 9},
         .confidence = 1.0});
  }
  made.passages.push_back({.id = take::PassageId{id++},
                           .name = "bridge",
                           .begin_samples = 22050 * 5,
                           .end_samples = 22050 * 9});
  made.next_id = id;
  return made;
}

TEST_F(Slow, a_take_without_a_recording_is_heard_by_its_line) {
  ASSERT_TRUE(take::save_copy(line_take(), in_folder("line.take")));
  // Four beats at 120 are 2 s; at 60 to the minute 4 s, twice, and a bar of count-in of 4 s.
  const Outcome outcome = run({"slow", in_folder("line.take"), "--passage", "bridge", "--tempo",
                               "60", "--repeat", "2", "--count-in", "1", "--click", "2and4",
                               "--with", "line,chords", "-o", in_folder("out.wav")});
  ASSERT_EQ(outcome.exit_code, 0) << outcome.err;
  EXPECT_EQ(sample_count("out.wav"), 12 * 44100);
  EXPECT_NE(outcome.out.find("at 50 %, 2 times through"), std::string::npos) << outcome.out;
  const auto reader = audio::open_recording(in_folder("out.wav"));
  ASSERT_TRUE(reader);
  EXPECT_EQ((*reader)->info().title, "Ferry Slip, bridge (50 %)");
  // Nothing to be heard is said, and so is a grid that is missing.
  expect_refused(run({"slow", in_folder("line.take"), "--speed", "50%", "-o", in_folder("b.wav")}),
                 "line.take");
  expect_refused(run({"slow", in_folder("line.take"), "--tempo", "20", "--with", "line", "-o",
                      in_folder("b.wav")}),
                 "--tempo 20");
  EXPECT_EQ(names(), (std::vector<std::string>{"line.take", "out.wav"}));
}

TEST_F(Slow, a_level_is_heard_at_any_tempo) {
  ASSERT_TRUE(take::save_copy(line_take(), in_folder("line.take")));
  // Four beats at 20 to the minute, which no stretcher would reach from 120, are 12 s of 48 kHz.
  const Outcome outcome = run({"slow", in_folder("line.take"), "--passage", "bridge", "--tempo",
                               "20", "--level", "1", "-o", in_folder("roots.wav")});
  ASSERT_EQ(outcome.exit_code, 0) << outcome.err;
  EXPECT_EQ(sample_count("roots.wav"), 12 * 48000);
  expect_refused(run({"slow", in_folder("line.take"), "--speed", "50%", "--level", "9", "-o",
                      in_folder("b.wav")}),
                 "level 9");
}

TEST_F(Slow, a_take_with_its_recording_gets_click_ramp_and_low_voice) {
  const auto sound = plucked_line({{0.5, 1.0, 33}, {1.5, 1.0, 35}, {2.5, 1.0, 36}}, 9.0);
  write_wav(in_folder("line.wav"), sound);
  take::Take made = line_take();
  made.length_samples = static_cast<std::int64_t>(sound.size());
  made.recording = {.path = "line.wav",
                    .sample_count = made.length_samples,
                    .channel_count = 1,
                    .content_hash = *audio::content_hash_of(in_folder("line.wav"))};
  ASSERT_TRUE(take::save_copy(made, in_folder("line.take")));
  const Outcome ramp = run({"slow", in_folder("line.take"), "--passage", "bridge", "--ramp",
                            "50%..100%:25%", "--count-in", "1", "-o", in_folder("out.wav")});
  ASSERT_EQ(ramp.exit_code, 0) << ramp.err;
  // 2 s at 50, 75 and 100 %, each after a bar as long: 2 * (4 + 2.6667 + 2) s.
  EXPECT_EQ(sample_count("out.wav"), 2 * (176400 + 117600 + 88200));
  const Outcome minus = run({"slow", in_folder("line.take"), "--speed", "80%", "--bass", "minus",
                             "--bits", "24", "-o", in_folder("minus.flac")});
  ASSERT_EQ(minus.exit_code, 0) << minus.err;
  EXPECT_NE(minus.out.find("by the take's notes"), std::string::npos) << minus.out;
  const Outcome band = run({"slow", in_folder("line.wav"), "--speed", "80%", "--bass", "only",
                            "--octave-up", "-o", in_folder("only.ogg")});
  ASSERT_EQ(band.exit_code, 0) << band.err;
  EXPECT_NE(band.out.find("by its low band"), std::string::npos) << band.out;
  expect_refused(
      run({"slow", in_folder("line.take"), "--ramp", "50%-100%", "-o", in_folder("b.wav")}),
      "--ramp");
  expect_refused(run({"slow", in_folder("line.wav"), "--speed", "50%", "--with", "line", "-o",
                      in_folder("b.wav")}),
                 "line.wav");
  expect_refused(run({"slow", in_folder("line.wav"), "--speed", "50%", "--count-in", "1", "-o",
                      in_folder("b.wav")}),
                 "beats");
}

TEST_F(Slow, nonsense_is_refused_in_one_sentence) {
  write_wav(in_folder("line.wav"), plucked_line({{0.2, 1.0, 33}}, 3.0));
  for (const std::string speed : {"0", "-50%", "nan", "abc", "5", "300%", ""}) {
    const Outcome outcome =
        run({"slow", in_folder("line.wav"), "--speed=" + speed, "-o", in_folder("out.wav")});
    EXPECT_TRUE(outcome.exit_code == 1 || outcome.exit_code == 2) << speed;
    EXPECT_NE(outcome.err, "") << speed;
  }
  expect_refused(run({"slow", in_folder("line.wav"), "--speed", "50%", "--from", "10", "-o",
                      in_folder("out.wav")}),
                 "line.wav");
  expect_refused(run({"slow", in_folder("line.wav"), "--speed", "50%", "-o", in_folder("out.doc")}),
                 "out.doc");
  expect_refused(run({"slow", in_folder("line.wav"), "--speed", "50%", "--passage", "intro", "-o",
                      in_folder("out.wav")}),
                 "line.wav");
  EXPECT_EQ(names(), (std::vector<std::string>{"line.wav"}));
}

}  // namespace
}  // namespace lowstride::cli_test
